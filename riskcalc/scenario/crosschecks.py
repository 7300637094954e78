"""What must hold between keys and tables, once each of them is sound by itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from riskcalc.quantity import Quantity, plain
from riskcalc.demand.appliances import appliance_keys
from riskcalc.scenario.bill import Prices, Tariff
from riskcalc.scenario.complaints import Complaint, did_you_mean, listed, shown
from riskcalc.scenario.kit import Kit
from riskcalc.scenario.kit_checks import kit_complaints
from riskcalc.scenario.place import Home, Site
from riskcalc.scenario.plans import Dispatch, Purchase, Study, Tenure
from riskcalc.scenario.texts import STRONG_CURRENCIES

#: Most that a kilowatt-hour, and a day's standing charge, cost in a strong currency; beyond it pence or cents are meant.
MOST_PER_KWH, MOST_PER_DAY = 5.0, 20.0


@dataclass(frozen=True)
class Parts:
    """The tables that are sound by themselves; None for those that are absent or broken."""

    currency: str | None = None
    site: Site | None = None
    home: Home | None = None
    tariff: Tariff | None = None
    prices: Prices | None = None
    kit: Kit | None = None
    dispatch: Dispatch | None = None
    purchase: Purchase | None = None
    tenure: Tenure | None = None
    study: Study | None = None
    present: frozenset[str] = field(default_factory=frozenset)


def cross_complaints(parts: Parts) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at the top of the scenario."""
    if parts.site is not None:
        yield from _site(parts.site)
    if parts.home is not None:
        yield from _home(parts.home, parts.kit)
    if parts.tariff is not None:
        yield from _tariff(parts.tariff, parts.site, parts.currency)
    if parts.kit is not None:
        yield from kit_complaints(parts.kit, parts.home)
    if parts.kit is not None and parts.dispatch is not None:
        yield from _dispatch_with_kit(parts.dispatch, parts.kit)
    if parts.dispatch is not None:
        yield from _dispatch(parts.dispatch, parts.tariff)
    yield from _purchase(parts)
    if parts.study is not None:
        within = parts.study.odds_within_years
        if within is not None and within > parts.study.horizon_years:
            accepted = f"a whole number from 1 to horizon_years ({parts.study.horizon_years})"
            yield Complaint(("study", "odds_within_years"), shown(within), accepted)


def _site(site: Site) -> Iterator[Complaint]:
    weather, at = site.weather, ("site", "weather")
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
    for name in unused:
        if getattr(weather, name) is not None:
            accepted = f'nothing: weather source "{weather.source}" does not use it'
            yield Complaint((*at, name), shown(getattr(weather, name)), accepted, "remove it, or change the source")
    if site.record_low_c is not None and site.design_high_c is not None and not site.record_low_c < site.design_high_c:
        accepted = f"a temperature below design_high_c ({plain(site.design_high_c)} °C)"
        yield Complaint(("site", "record_low_c"), shown(site.record_low_c), accepted)


def _home(home: Home, kit: Kit | None) -> Iterator[Complaint]:
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
            accepted = "one of " + ", ".join(known)
            yield Complaint(("home", "appliances", name), "an unknown appliance", accepted, did_you_mean(name, known))


def _tariff(tariff: Tariff, site: Site | None, currency: str | None) -> Iterator[Complaint]:
    if not tariff.rates:
        yield Complaint(("tariff", "rates"), "nothing", "at least one rate, such as [tariff.rates.day]")
    elif site is not None:
        yield from _rate_times(tariff, site.zone)
    if currency in STRONG_CURRENCIES:
        for name, rate in tariff.rates.items():
            path = ("tariff", "rates", name, "import_price_per_kwh")
            yield from _too_dear(path, rate.import_price_per_kwh, MOST_PER_KWH, currency, "kWh")
        path = ("tariff", "export_price_per_kwh")
        yield from _too_dear(path, tariff.export_price_per_kwh, MOST_PER_KWH, currency, "kWh")
        path = ("tariff", "standing_charge_per_day")
        yield from _too_dear(path, tariff.standing_charge_per_day, MOST_PER_DAY, currency, "day")


def _too_dear(
    path: tuple[str, ...], price: Quantity, most: float, currency: str | None, per: str
) -> Iterator[Complaint]:
    highest = price.practical_support[1]
    if highest > most:
        small = "pence" if currency == "GBP" else "cents"
        hint = f"{price.words()} looks like {small}; this key is in {currency} per {per}"
        if not price.is_uncertain:
            hint += f": {plain(highest / 100)}"
        yield Complaint(path, price.words(), f"at most {plain(most)} {currency} per {per}", hint)


def _rate_times(tariff: Tariff, zone: str) -> Iterator[Complaint]:
    """Let the tariff itself say what is wrong with the times of its rates."""
    from riskcalc.clock import local_clock
    from riskcalc.errors import InputError
    from riskcalc.tariff import is_remaining_time, rate_of_slot, slot_minutes

    if len(tariff.rates) == 1 and all(is_remaining_time(rate) for rate in tariff.rates.values()):
        return
    windows = [window for rate in tariff.rates.values() for window in rate.windows or ()]
    try:
        rate_of_slot(tariff.rates, local_clock(zone, slot_minutes=slot_minutes(windows, zone=zone)))
    except InputError as error:
        for problem in error.problems:
            yield Complaint(tuple(problem.key.split(".")), problem.given, problem.accepted, problem.hint)


def _dispatch(dispatch: Dispatch, tariff: Tariff | None) -> Iterator[Complaint]:
    for name in ("charge_at", "discharge_at"):
        for rate in getattr(dispatch, name) or ():
            if tariff is not None and tariff.rates and rate not in tariff.rates:
                accepted = "names of rates: " + listed(tariff.rates, joiner="and")
                yield Complaint(("dispatch", name), shown(rate), accepted, did_you_mean(rate, tariff.rates))
    for rate in dispatch.discharge_at or ():
        if rate in dispatch.charge_at:
            yield Complaint(("dispatch", "discharge_at"), shown(rate), "rates that are not in charge_at as well")
    ends = {"solar_only_from": dispatch.solar_only_from, "solar_only_until": dispatch.solar_only_until}
    for name, value in ends.items():
        if value is None and any(ends.values()):
            yield Complaint(("dispatch", name), "nothing", "both solar_only_from and solar_only_until, or neither")


def _dispatch_with_kit(dispatch: Dispatch, kit: Kit) -> Iterator[Complaint]:
    if not dispatch.charge_at:
        return
    given, at = shown(dispatch.charge_at), ("dispatch", "charge_at")
    if kit.coupling == "off_grid":
        yield Complaint(at, given, "nothing: off grid there is no supply to charge from", "remove charge_at")
    elif kit.battery is None:
        yield Complaint(at, given, "nothing: the kit has no battery", "add [kit.battery], or remove charge_at")
    elif kit.charger is None:
        yield Complaint(at, given, "a kit with a charger", "add [kit.charger], or remove charge_at")


def _purchase(parts: Parts) -> Iterator[Complaint]:
    if "kit" in parts.present and "purchase" not in parts.present:
        yield Complaint(("purchase",), "nothing", "needed with [kit]: [purchase] with price = ...")
    if "purchase" in parts.present and "kit" not in parts.present:
        yield Complaint(("kit",), "nothing", "needed with [purchase]: the kit that is bought", "or remove [purchase]")
    purchase, kit = parts.purchase, parts.kit
    if purchase is None or kit is None or purchase.when_worn != "replace":
        return
    needs = {
        "battery_replacement_price": kit.battery is not None,
        "electronics_replacement_price": kit.ageing.electronics_life_years is not None,
    }
    for name, is_needed in needs.items():
        if is_needed and getattr(purchase, name) is None:
            yield Complaint(("purchase", name), "nothing", 'needed for when_worn = "replace"')
