"""How an answer of `riskcalc new` is read from text, typed or given; what cannot be read is refused with what is accepted."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter, ValidationError

from riskcalc.scenario.complaints import nearest
from riskcalc.scenario.texts import Windows

if TYPE_CHECKING:
    from riskcalc.weather.climates import Climate

#: Direction words with degrees from north.
COMPASS = {"n": 0, "ne": 45, "e": 90, "se": 135, "s": 180, "sw": 225, "w": 270, "nw": 315}
COMPASS |= {"north": 0, "east": 90, "south": 180, "west": 270}
HOME_ZONE = "Europe/London"
#: Likeness of names from which one is offered for another: "thmes" is like "thames", "boston" is not like "rostock".
ALIKE = 0.7
_COORDINATES = re.compile(r"[-+]?\d+(\.\d+)?\s*[,\s]\s*[-+]?\d+(\.\d+)?")


@dataclass(frozen=True)
class Place:
    """Where the weather comes from: a built-in region or a file, with the zone and currency that go with it."""

    region: str = ""
    file: str = ""
    has_head: bool = False
    zone: str = HOME_ZONE
    currency: str = "GBP"


def read_place(text: str) -> Place:
    """Read a region of the built-in climates, coordinates, or the path of an EPW, TMY3 or weather CSV file."""
    from riskcalc.errors import InputError
    from riskcalc.weather.climates import climate, climate_names

    if text.lower().endswith((".epw", ".csv")):
        return _file_place(text)
    if _COORDINATES.fullmatch(text.strip()):
        return _near_place(*(float(part) for part in re.split(r"[,\s]+", text.strip())))
    try:
        return _climate_place(climate(text))
    except InputError as error:
        near = nearest(text.replace(" ", "_"), climate_names(), count=3, cutoff=ALIKE)
        hint = f"nearest in name: {', '.join(near)}" if near else "`riskcalc sites` lists them"
        accepted = "a built-in region, latitude and longitude such as 42.4 -71.1, or the path of a weather file"
        raise ValueError(f"{accepted}; {hint}") from error


def _climate_place(place: Climate) -> Place:
    currency = "GBP" if place.zone == HOME_ZONE else "EUR" if place.zone.startswith("Europe/") else "USD"
    return Place(region=place.key, zone=place.zone, currency=currency)


def _near_place(latitude_deg: float, longitude_deg: float) -> Place:
    """Return the built-in climate that stands for a place, or say how far the nearest is."""
    from riskcalc.weather.climates import NEAR_KM, far_line, nearest_climates
    from riskcalc.weather.doubts import check_place
    from riskcalc.weather.sea import check_on_land

    check_place(latitude_deg, longitude_deg, file="--place")
    insist = "name a region (`riskcalc sites` lists them) or a weather file of the place"
    check_on_land(latitude_deg, longitude_deg, file="--place", insist=insist)
    ((found, away_km),) = nearest_climates(latitude_deg, longitude_deg, count=1)
    if away_km > NEAR_KM:
        raise ValueError(f"a place near a built-in climate, or a weather file. {far_line(latitude_deg, longitude_deg)}")
    return _climate_place(found)


def _file_place(text: str) -> Place:
    """Return a weather file with the fixed offset its first line states; summer time is for `--zone` to say."""
    try:
        with Path(text).open(encoding="utf-8-sig", errors="replace") as stream:
            header = stream.readline(1000).split(",")
    except OSError as error:
        raise ValueError(f"a weather file that can be opened: {error.strerror}") from error
    if header[0].startswith("#"):
        return Place(file=text, has_head=True, zone="Etc/GMT", currency="USD")
    column = 8 if text.lower().endswith(".epw") else 3
    try:
        offset = float(header[column])
    except (IndexError, ValueError) as error:
        raise ValueError(
            "an EPW file, a TMY3 file whose first line states its offset from UTC, or a weather CSV file with a head, as"
            ' "Weather files" in scenarios/README.md describes it'
        ) from error
    hours = -round(offset)
    zone = f"Etc/GMT{hours:+d}" if hours else "Etc/GMT"
    return Place(file=text, zone=zone, currency="EUR" if 0 < offset < 3 else "USD")


def one_of(*choices: str) -> Callable[[str], str]:
    """Return the reader of one of some words."""

    def read(text: str) -> str:
        word = text.strip().lower()
        if word not in choices:
            raise ValueError(" or ".join(choices))
        return word

    return read


def between(low: float, high: float, unit: str) -> Callable[[str], float]:
    """Return the reader of a number within bounds."""
    accepted = f"a number from {low:g} to {high:g} {unit}".rstrip()

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError as error:
            hint = "; write the decimal point as a point" if "," in text else ""
            raise ValueError(accepted + hint) from error
        if not (math.isfinite(value) and low <= value <= high):
            raise ValueError(accepted)
        return value

    return read


def read_direction(text: str) -> float:
    """Read a compass word, or degrees from north."""
    word = text.strip().lower().replace("-", "")
    if word in COMPASS:
        return float(COMPASS[word])
    try:
        return between(0, 360, "")(word)
    except ValueError as error:
        raise ValueError("n, ne, e, se, s, sw, w, nw, or degrees from north (90 is east)") from error


def read_appliances(text: str) -> tuple[str, ...]:
    """Read appliance keys separated by commas; "none" is an empty list."""
    from riskcalc.demand.appliances import appliance_keys

    names = tuple(dict.fromkeys(name.strip().replace(" ", "_") for name in text.split(",") if name.strip()))
    if names == ("none",):
        return ()
    for name in names:
        if name not in appliance_keys() or name == "car":
            near = nearest(name, appliance_keys(), count=3)
            known = ", ".join(near) if near else ", ".join(appliance_keys())
            raise ValueError(f"{name} is not known; appliances such as {known}")
    return names


def as_declared(kind: Any, accepted: str) -> Callable[[Any], Any]:
    """Return the reader of what the schema has a check for."""
    adapter = TypeAdapter(kind)

    def read(text: Any) -> Any:
        try:
            return adapter.validate_python(text)
        except ValidationError as error:
            raise ValueError(accepted) from error

    return read


def read_window(text: str) -> str:
    """Read one window of the day."""
    return str(as_declared(Windows, "a window of the day such as 00:30-07:30")([text.strip()])[0])


def read_stay(text: str) -> float | None:
    """Read years, or None for who stays."""
    return None if text.strip().lower() == "always" else _or_always(text)


def _or_always(text: str) -> float:
    try:
        return between(0.5, 60, "years")(text)
    except ValueError as error:
        raise ValueError(f'{error}, or "always"') from error


def read_data_file(text: str) -> str:
    """Read the path of a file of a meter or an array; empty for none."""
    if text and not Path(text).is_file():
        raise ValueError("the path of a file that is there; scenarios/README.md describes the layouts")
    return text


def read_yes(text: str) -> bool:
    """Read yes or no."""
    return one_of("yes", "no")(text) == "yes"
