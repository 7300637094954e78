"""Table [home]: who lives there, what they use, and where modules can go."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BeforeValidator, WithJsonSchema

from riskcalc.demand.appliances import appliance_keys, car_problem
from riskcalc.scenario.complaints import Complaint, listed, nearest, shown
from riskcalc.scenario.fields import Table, absent, default, default_number, judgement, needed, optional
from riskcalc.scenario.series import HORIZON_SCHEMA, Monthly, horizon_line
from riskcalc.scenario.texts import NamedEntries, Names, Text
from riskcalc.scenario.uncertain import Number, Uncertain, Whole
from riskcalc.uncertainty.bounded import Beta
from riskcalc.uncertainty.endless import Lognormal
from riskcalc.uncertainty.quantity import Fixed, Quantity

if TYPE_CHECKING:
    from riskcalc.scenario.kit import Kit

FROM_FILE = absent("found in the file")

Share = Annotated[Quantity, Uncertain(0, 1, unit="share")]


class Demand(Table):
    """How the use of electricity over the year is found."""

    source: Literal["appliances", "meter"] = default(
        "appliances", "built from appliances, or read from a meter file", title="Source of the demand years"
    )
    file: Text | None = optional("meter file, for source meter", "needed for source meter", title="Meter file")
    kind: Literal["minute", "half_hour"] | None = optional(
        "time step that the meter file must have", "that of the file", title="Time step of the meter file"
    )
    columns: Names = default(
        (), "names of the meter file's columns of use, which are summed", FROM_FILE, title="Columns of the meter file"
    )
    registers: Names = default(
        (), "names of the meter's registers of use, which are summed", FROM_FILE, title="Registers of the meter"
    )
    unit: Literal["kWh", "Wh", "MWh", "W", "kW"] | None = optional(
        "unit of the meter file's readings", "that of the file", title="Unit of the meter file"
    )
    dates: Literal["day_first", "month_first", "year_first"] | None = optional(
        "order of day, month and year in the meter file's dates", "that of the file", title="Dates of the meter file"
    )
    label: Literal["start", "end"] | None = optional(
        "what part of its interval a time in the meter file names", "found in the file", title="Times of the meter file"
    )
    clock: Literal["wall", "standard", "utc"] | None = optional(
        "clock of the meter file: wall, standard (no summer time) or utc",
        "wall, or standard where the file does not follow summer time",
        title="Clock of the meter file",
    )
    reachable_share: Share | None = optional(
        "share of the metered use that is plugged into the unit",
        "needed for source meter with coupling sockets",
        title="Metered use within reach",
    )


class Surface(Table):
    """A place where modules can go."""

    tilt_deg: Annotated[Quantity, Uncertain(0, 90, unit="°")] = needed(
        "tilt from the horizontal; 90 is a balcony rail", title="Tilt"
    )
    azimuth_deg: Annotated[Quantity, Uncertain(-45, 405, unit="°")] = needed(
        "0 north, 90 east, 180 south, 270 west", title="Compass direction of the modules"
    )
    shading: Share = default_number(0.0, "share of the light lost to shade all year", title="Shading")
    monthly_shading: Annotated[tuple[float, ...], Monthly(0, 1, unit="share")] | None = optional(
        "share of the light lost to shade, month by month", "no seasonal shade", title="Shading by month"
    )
    horizon: (
        Annotated[tuple[tuple[float, float], ...], BeforeValidator(horizon_line), WithJsonSchema(HORIZON_SCHEMA)] | None
    ) = optional("skyline as [azimuth, elevation] in degrees", "a flat horizon", title="Skyline")
    mounting: Literal["open", "rail", "roof"] = default(
        "open", "how air reaches the back of the modules", title="Mounting"
    )
    most_modules: Annotated[int, Whole(1, 10_000)] | None = optional(
        "how many modules fit", "no limit", title="Room for modules"
    )


class Home(Table):
    """Who lives there and what they use."""

    name: Text = default(
        "", "name of the home, for the report", absent("for the report only"), title="Name of the home"
    )
    kind: Text = default("home", "flat, house, cabin, workshop, ...", title="Kind of home")
    supply: Literal["grid", "none"] = default("grid", "does the home have a supply from the grid", title="Supply")
    occupants: Annotated[int, Whole(1, 12)] = default(2, "people living there", title="Occupants")
    annual_use_kwh: Annotated[Quantity, Uncertain(20, 100_000, unit="kWh/year")] = needed(
        "electricity used in a year without the car, in kWh",
        title="Electricity used in a year",
    )
    weekday_home_share: Share = default_number(
        Beta(alpha=2.0, beta=3.0),
        "share of weekdays on which somebody is at home by day",
        judgement("from hardly ever to nearly always: one description fits many households"),
        title="Weekdays at home",
    )
    always_on_factor: Annotated[Quantity, Uncertain(0.1, 10)] = default_number(
        Lognormal(median=1.0, sigma=0.3, minimum=0.5, maximum=2.0),
        "what is always on, over what the list of appliances says; all else makes up for it",
        judgement(
            "homes of one use differ in shape: with the days at home it spreads direct use by 2.3 points, in four measured"
            " homes it ranges over 7 (30 to 37 %)"
        ),
        title="Power drawn by always-on appliances",
    )
    lamps_and_screens_factor: Annotated[Quantity, Uncertain(0.1, 10)] = default_number(
        Lognormal(median=1.0, sigma=0.4, minimum=0.5, maximum=2.0),
        "how much lamps, screens and other loads under 200 W are used against all else, over what the list says",
        judgement("evenings of homes of one use differ; how far is our guess"),
        title="Use of lamps and screens",
    )
    moved_share: Share = default_number(
        0.0, "share of days on which movable loads really move", title="Movable use that moves"
    )
    moved_to: Literal["sun", "cheap"] = default(
        "sun", "hours that movable loads move to", title="Hours that movable use moves to"
    )
    appliances: Annotated[dict[str, Literal["unit", "elsewhere"]], NamedEntries] = default(
        {},
        "appliances of the home: can they be plugged into the unit, or not",
        absent("none: list them"),
        title="Appliances",
    )
    car_kwh_per_year: Annotated[Quantity, Uncertain(0, 50_000, unit="kWh/year")] = default_number(
        0.0,
        "electricity an electric car draws from the home in a year",
        absent("no car unless given"),
        title="Electricity for the car",
    )
    car_charger_w: Annotated[float, Number(500, 50_000, unit="W")] = default(
        2300.0, "power of the car's charger in watts", title="Power of the car charger"
    )
    demand: Demand = default(Demand(), "how use over the year is found", title="Demand")
    surfaces: Annotated[dict[str, Surface], NamedEntries] = default(
        {}, "places where modules can go", absent("none: list them"), title="Surfaces"
    )


def home_complaints(home: Home, kit: Kit | None) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `home`."""
    demand, at = home.demand, ("home", "demand")
    if demand.source == "meter":
        if demand.file is None:
            yield Complaint((*at, "file"), "nothing", 'needed for demand source "meter"')
        if kit is not None and kit.coupling.traits.between_mains and demand.reachable_share is None:
            accepted = "share of the metered use that is plugged into the unit: a meter cannot tell it"
            yield Complaint((*at, "reachable_share"), "nothing", accepted)
    else:
        if demand.file is not None:
            accepted = 'nothing: demand source "appliances" reads no file'
            yield Complaint((*at, "file"), shown(demand.file), accepted, 'add source = "meter"')
        if not home.appliances:
            accepted = 'at least one appliance, such as fridge_freezer = "unit" below [home.appliances]'
            yield Complaint(("home", "appliances"), "nothing", accepted)
    wrong = car_problem(_mean(home.car_kwh_per_year), home.car_charger_w)
    if wrong:
        yield Complaint(("home", "car_kwh_per_year"), *wrong)
    known = appliance_keys()
    for name in home.appliances:
        if name not in known:
            accepted = "an appliance of tables/appliances.csv, such as fridge_freezer or kettle"
            close = nearest(name, known, count=3)
            hint = f"did you mean {listed(close)}?" if close else ""
            yield Complaint(("home", "appliances", name), "an unknown appliance", accepted, hint)


def _mean(quantity: Quantity) -> float:
    """Return the expected value; distributions bring scientific libraries, which a plain number does without."""
    if isinstance(quantity, Fixed):
        return quantity.value

    return quantity.expected()
