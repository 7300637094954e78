"""Table [site]: where the home stands, and where its weather comes from."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import StrictBool

from riskcalc.scenario.complaints import Complaint, listed, nearest, shown
from riskcalc.scenario.fields import Table, absent, default, default_number, judgement, needed, optional
from riskcalc.scenario.texts import Names, Text, Zone
from riskcalc.scenario.uncertain import Number, Uncertain
from riskcalc.uncertainty.endless import Normal
from riskcalc.uncertainty.quantity import Quantity, plain

if TYPE_CHECKING:
    from riskcalc.scenario.home import Home

FROM_FILE = absent("found in the file")


class Weather(Table):
    """Where the weather years come from."""

    source: Literal["climate", "tmy3", "epw", "csv"] = needed(
        "what the weather years are made from", title="Source of the weather years"
    )
    region: Text | None = optional(
        "built-in climate, for source climate", "needed for source climate", title="Climate region"
    )
    file: Text | None = optional(
        "weather file, for sources tmy3, epw and csv", "needed for files", title="Weather file"
    )
    zone: Zone | None = optional(
        "time zone of the CSV file's times", "from the head of the file", title="Time zone of the weather file"
    )
    label: Literal["start", "middle", "end"] | None = optional(
        "what part of its hour a time in the CSV file stands for",
        "from the head of the file",
        title="Time label of the weather file",
    )
    yearly_spread: Annotated[float, Number(0, 0.3, unit="share")] | None = optional(
        "standard deviation of the yearly solar total, as a share of its mean",
        "that of the climate; by its clearness, 0.02 to 0.065, where none is known",
        title="Spread of the yearly solar total",
    )


class MeasuredPv(Table):
    """Power that an array was measured to give, the household's own or a neighbour's, in place of the modelled one."""

    file: Text = needed("file of times and measured power or energy", title="File of measured solar power")
    peak_w: Annotated[float, Number(10, 1_000_000, unit="W")] = needed(
        "rated power of the modules that were measured, in watts", title="Rated power of the measured modules"
    )
    surfaces: Names = default(
        (),
        "surfaces of the home whose arrays give what was measured",
        absent("all of them"),
        title="Surfaces the measured power stands for",
    )
    after_inverter: StrictBool = default(
        False,
        "was the power measured behind the inverter, as alternating current",
        absent("no: at the modules"),
        title="Measured behind the inverter",
    )
    scale: Annotated[Quantity, Uncertain(0.3, 2)] = default_number(
        Normal(mean=1.0, sd=0.07, minimum=0.7, maximum=1.3),
        "long-run power of the kit's array over the measured one, per watt of rated power",
        judgement(
            "one year beside the long run 5 % (years differ by 2 to 6.5 % by climate, decades by 5 %). Another array of the"
            " same kind 5 %: dirt, rated power, angles"
        ),
        title="Long-run power over measured power",
    )
    columns: Names = default(
        (), "names of the file's columns of solar power, which are summed", FROM_FILE, title="Columns of solar power"
    )
    registers: Names = default(
        (), "names of the inverters or meters in the file, which are summed", FROM_FILE, title="Inverters in the file"
    )
    unit: Literal["kWh", "Wh", "MWh", "W", "kW"] | None = optional(
        "unit of the readings", "that of the file", title="Unit of the solar file"
    )
    dates: Literal["day_first", "month_first", "year_first"] | None = optional(
        "order of day, month and year in its dates", "that of the file", title="Dates of the solar file"
    )
    label: Literal["start", "end"] | None = optional(
        "what part of its interval a time names", "found in the file", title="Times of the solar file"
    )
    clock: Literal["wall", "standard", "utc"] | None = optional(
        "clock of the file: wall, standard (no summer time) or utc",
        "wall, or standard where the sun shows that the file does not follow summer time",
        title="Clock of the solar file",
    )


class Site(Table):
    """Where the home stands."""

    place: Text = default("", "name of the place, for the report", absent("for the report only"), title="Place")
    latitude_deg: Annotated[float, Number(-90, 90, unit="°")] | None = optional(
        "degrees north", "from the climate or weather file", title="Latitude"
    )
    longitude_deg: Annotated[float, Number(-180, 180, unit="°")] | None = optional(
        "degrees east", "from the climate or weather file", title="Longitude"
    )
    altitude_m: Annotated[float, Number(-430, 6000, unit="m")] | None = optional(
        "height above the sea in metres", "from the climate or weather file, else 0", title="Height above the sea"
    )
    zone: Zone = needed("the IANA time zone of the wall clock, such as Europe/London", title="Time zone")
    weather: Weather = needed(
        'where the weather years come from, such as { source = "climate", region = ... }', title="Weather"
    )
    measured_pv: MeasuredPv | None = optional(
        "measured power of an array, in place of the modelled one", "power is modelled", title="Measured solar power"
    )
    resource_factor: Annotated[Quantity, Uncertain(0.3, 2)] = default_number(
        Normal(mean=1.0, sd=0.05, minimum=0.8, maximum=1.2),
        "solar energy at the site over that of the weather source, in the long run",
        judgement(
            "the light of one decade differs from that of the next: the halves of a 23-year record in the Netherlands by 6 %"
            " (see Wild, Journal of Geophysical Research 114 (2009) D00D16, on decades of dimming and brightening), and a"
            " site from its region"
        ),
        title="How sunny the place is",
    )
    record_low_c: Annotated[float, Number(-70, 30, unit="°C")] | None = optional(
        "lowest temperature ever expected, for the open-circuit voltage",
        "lowest of the weather years",
        title="Record low temperature",
    )
    design_high_c: Annotated[float, Number(0, 60, unit="°C")] | None = optional(
        "high air temperature, for the operating voltage of hot cells",
        "highest of the weather years",
        title="High temperature for design",
    )
    battery_place: Literal["indoors", "outdoors"] = default(
        "indoors", "where the battery stands", title="Place of the battery"
    )
    albedo: Annotated[float, Number(0, 0.95, unit="share")] = default(
        0.2, "share of light the ground reflects", title="Reflection of the ground"
    )


def site_complaints(site: Site, home: Home | None) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `site`."""
    for name in site.measured_pv.surfaces if site.measured_pv and home else ():
        if home is not None and name not in home.surfaces:
            accepted = "a surface of [home.surfaces]: " + (", ".join(home.surfaces) or "there is none")
            yield Complaint(("site", "measured_pv", "surfaces"), name, accepted)
    weather, at = site.weather, ("site", "weather")
    unused: tuple[str, ...]
    if weather.source == "climate":
        wanted, unused = {"region": weather.region}, ("file", "zone", "label")
    else:
        wanted, unused = {"file": weather.file}, ("region",)
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
