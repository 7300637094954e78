"""Tables [site] and [home]: where it stands, what the sky does there, who lives there and what they use."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, WithJsonSchema

from riskcalc.scenario.fields import Table, default, default_number, needed, optional
from riskcalc.scenario.series import HORIZON_SCHEMA, Monthly, horizon_line
from riskcalc.scenario.texts import NamedEntries, Text, Zone
from riskcalc.scenario.uncertain import Number, Uncertain, Whole
from riskcalc.uncertainty.quantity import Quantity

Share = Annotated[Quantity, Uncertain(0, 1, unit="share")]


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
        "time zone of the CSV file's times", "needed for source csv", title="Time zone of the weather file"
    )
    label: Literal["start", "middle", "end"] | None = optional(
        "what part of its hour a time in the CSV file stands for",
        "needed for source csv",
        title="Time label of the weather file",
    )
    yearly_spread: Annotated[float, Number(0, 0.3, unit="share")] | None = optional(
        "standard deviation of the yearly solar total, as a share of its mean",
        "that of the climate, 0.065 where none is known",
        title="Spread of the yearly solar total",
    )


class Site(Table):
    """Where the home stands."""

    place: Text = default("", "name of the place, for the report", title="Place")
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
    resource_factor: Annotated[Quantity, Uncertain(0.3, 2)] = default_number(
        1.0,
        "solar energy at the site over that of the weather source, in the long run",
        "the weather source itself",
        title="Solar resource at the site",
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


class Demand(Table):
    """How the use of electricity over the year is found."""

    source: Literal["appliances", "meter"] = default(
        "appliances", "built from appliances, or read from a meter file", title="Source of the demand years"
    )
    file: Text | None = optional("meter file, for source meter", "needed for source meter", title="Meter file")
    kind: Literal["minute", "half_hour"] | None = optional(
        "time step of the meter file", "needed for source meter", title="Time step of the meter file"
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
        "0 north, 90 east, 180 south, 270 west", title="Azimuth"
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

    name: Text = default("", "name of the home, for the report", title="Name of the home")
    kind: Text = default("home", "flat, house, cabin, workshop, ...", title="Kind of home")
    supply: Literal["grid", "none"] = default("grid", "does the home have a supply from the grid", title="Supply")
    occupants: Annotated[int, Whole(1, 12)] = default(2, "people living there", title="Occupants")
    annual_use_kwh: Annotated[Quantity, Uncertain(20, 100_000, unit="kWh/year")] = needed(
        "electricity used in a year without the car, in kWh", title="Electricity used in a year"
    )
    weekday_home_share: Share = default_number(
        0.4, "share of weekdays on which somebody is at home by day", title="Weekdays at home"
    )
    moved_share: Share = default_number(
        0.0, "share of days on which movable loads really move", title="Movable use that moves"
    )
    moved_to: Literal["sun", "cheap"] = default(
        "sun", "hours that movable loads move to", title="Hours that movable use moves to"
    )
    appliances: Annotated[dict[str, Literal["unit", "elsewhere"]], NamedEntries] = default(
        {}, "appliances of the home: can they be plugged into the unit, or not", "none: list them", title="Appliances"
    )
    car_kwh_per_year: Annotated[Quantity, Uncertain(0, 50_000, unit="kWh/year")] = default_number(
        0.0,
        "electricity an electric car draws from the home in a year",
        "no car unless given",
        title="Electricity for the car",
    )
    car_charger_w: Annotated[float, Number(500, 50_000, unit="W")] = default(
        2300.0, "power of the car's charger in watts", title="Power of the car charger"
    )
    demand: Demand = default(Demand(), "how use over the year is found", title="Demand")
    surfaces: Annotated[dict[str, Surface], NamedEntries] = default(
        {}, "places where modules can go", "none: list them", title="Surfaces"
    )
