"""What must hold inside a site and a home: each source of weather and demand has what it needs, and no more."""

from __future__ import annotations

from collections.abc import Iterator

from riskcalc.demand.appliances import appliance_keys
from riskcalc.scenario.complaints import Complaint, listed, nearest, shown
from riskcalc.scenario.kit import Kit
from riskcalc.scenario.place import Home, Site
from riskcalc.uncertainty.quantity import plain


def site_complaints(site: Site) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `site`."""
    weather, at = site.weather, ("site", "weather")
    unused: tuple[str, ...]
    if weather.source == "climate":
        wanted, unused = {"region": weather.region}, ("file", "zone", "label")
    else:
        wanted, unused = {"file": weather.file}, ("region",)
    if weather.source == "csv":
        wanted |= {"zone": weather.zone, "label": weather.label}
        for name in ("latitude_deg", "longitude_deg"):
            if getattr(site, name) is None:
                yield Complaint(("site", name), "nothing", "needed for weather source csv, which does not tell it")
    for name, value in wanted.items():
        if value is None:
            yield Complaint((*at, name), "nothing", f'needed for weather source "{weather.source}"')
    if weather.source == "climate" and weather.region is not None:
        yield from _region(weather.region)
    for name in unused:
        if getattr(weather, name) is not None:
            accepted = f'nothing: weather source "{weather.source}" does not use it'
            yield Complaint((*at, name), shown(getattr(weather, name)), accepted, "remove it, or change the source")
    if site.record_low_c is not None and site.design_high_c is not None and not site.record_low_c < site.design_high_c:
        accepted = f"a temperature below design_high_c ({plain(site.design_high_c)} °C)"
        yield Complaint(("site", "record_low_c"), shown(site.record_low_c), accepted)


def home_complaints(home: Home, kit: Kit | None) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `home`."""
    demand, at = home.demand, ("home", "demand")
    if demand.source == "meter":
        for name in ("file", "kind"):
            if getattr(demand, name) is None:
                yield Complaint((*at, name), "nothing", 'needed for demand source "meter"')
        if kit is not None and kit.coupling == "sockets" and demand.reachable_share is None:
            accepted = "share of the metered use that is plugged into the unit: a meter cannot tell it"
            yield Complaint((*at, "reachable_share"), "nothing", accepted)
    else:
        if demand.file is not None:
            accepted = 'nothing: demand source "appliances" reads no file'
            yield Complaint((*at, "file"), shown(demand.file), accepted, 'add source = "meter"')
        if not home.appliances:
            accepted = 'at least one appliance, such as fridge_freezer = "unit" below [home.appliances]'
            yield Complaint(("home", "appliances"), "nothing", accepted)
    known = appliance_keys()
    for name in home.appliances:
        if name not in known:
            accepted = "an appliance of tables/appliances.csv, such as fridge_freezer or kettle"
            close = nearest(name, known, count=3)
            hint = f"did you mean {listed(close)}?" if close else ""
            yield Complaint(("home", "appliances", name), "an unknown appliance", accepted, hint)


def _region(region: str) -> Iterator[Complaint]:
    from riskcalc.errors import InputError
    from riskcalc.weather.climates import climate, climate_names

    try:
        climate(region)
    except InputError:
        known = climate_names()
        close = nearest(region, known, count=3)
        accepted = "a built-in climate of tables/climate_sites.csv, such as thames"
        hint = f"did you mean {listed(close)}?" if close else ""
        yield Complaint(("site", "weather", "region"), shown(region), accepted, hint)
