"""What is asked to begin a scenario: each question with its words, its default and how the answer is read.

An answer is read from text, typed at the prompt or given as an option; what cannot be read is refused with what is
accepted. Every default is a start to be changed, not advice.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from riskcalc.scenario.complaints import nearest
from riskcalc.scenario.new.shelf import Kit, kit_named, shelf_kits
from riskcalc.scenario.texts import Currency, Windows, Zone

Answers = Mapping[str, Any]

#: Direction words with degrees from north.
COMPASS = {"n": 0, "ne": 45, "e": 90, "se": 135, "s": 180, "sw": 225, "w": 270, "nw": 315}
COMPASS |= {"north": 0, "east": 90, "south": 180, "west": 270}
HOME_ZONE = "Europe/London"
#: Appliances that most homes have, and those of them that a lead from a portable unit reaches; our own choice.
USUAL = (
    *("fridge_freezer", "television", "tv_receiver_box", "router_standby", "laptop", "phone_charger", "kettle"),
    *("toaster", "microwave", "personal_computer", "vacuum", "washing_machine", "oven", "hob", "lighting"),
    *("heating_pump", "other_always_on"),
)
PLUGGED = USUAL[:9]
#: What a small place without a supply has; our own choice.
OFF_GRID = ("refrigerator", "lighting", "laptop", "phone_charger", "television", "kettle")


@dataclass(frozen=True)
class Place:
    """Where the weather comes from: a built-in region or a file, with the zone and currency that go with it."""

    region: str = ""
    file: str = ""
    zone: str = HOME_ZONE
    currency: str = "GBP"


@dataclass(frozen=True)
class Question:
    """One question.

    name : key of the answer; with hyphens also the option.
    words : the question.
    read : text -> value; raises ValueError with what is accepted.
    usual : answers so far -> the default as text.
    applies : answers so far -> whether it is asked at all.
    told : whether it is asked aloud; False leaves it to the option and its default.
    notes : answers so far -> lines to show before it.
    """

    name: str
    words: str
    read: Callable[[str], Any]
    usual: Callable[[Answers], str]
    applies: Callable[[Answers], bool] = lambda _: True
    told: Callable[[Answers], bool] = lambda _: True
    notes: Callable[[Answers], Sequence[str]] = lambda _: ()

    @property
    def option(self) -> str:
        """The option of the command line."""
        return "--" + self.name.replace("_", "-")


def read_place(text: str) -> Place:
    """Read a region of the built-in climates, or the path of an EPW or TMY3 file."""
    from riskcalc.errors import InputError
    from riskcalc.weather.climates import climate, climate_names

    if text.lower().endswith((".epw", ".csv")):
        return _file_place(text)
    try:
        place = climate(text)
    except InputError as error:
        near = nearest(text.replace(" ", "_"), climate_names(), count=3)
        hint = f"nearest: {', '.join(near)}" if near else "`riskcalc sites` lists them"
        raise ValueError(f"a built-in region, or the path of an EPW or TMY3 file; {hint}") from error
    currency = "GBP" if place.zone == HOME_ZONE else "EUR" if place.zone.startswith("Europe/") else "USD"
    return Place(region=place.key, zone=place.zone, currency=currency)


def _file_place(text: str) -> Place:
    """Return a weather file with the fixed offset its first line states; summer time is for `--zone` to say."""
    try:
        with Path(text).open(encoding="utf-8", errors="replace") as stream:
            header = stream.readline(1000).split(",")
    except OSError as error:
        raise ValueError(f"a weather file that can be opened: {error.strerror}") from error
    column = 8 if text.lower().endswith(".epw") else 3
    try:
        offset = float(header[column])
    except (IndexError, ValueError) as error:
        raise ValueError(
            "an EPW file, or a TMY3 file whose first line states its offset from UTC; plain CSV files are described in"
            " scenarios/README.md under weather"
        ) from error
    hours = -round(offset)
    return Place(
        file=text, zone=f"Etc/GMT{hours:+d}" if hours else "Etc/GMT", currency="EUR" if 0 < offset < 3 else "USD"
    )


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


def _kit(answers: Answers) -> Kit:
    kit: Kit = answers["kit"]
    return kit


def _on_grid(answers: Answers) -> bool:
    return _kit(answers).coupling != "off_grid"


def _two_rates(answers: Answers) -> bool:
    return answers.get("tariff") == "two-rate"


def _money(answers: Answers) -> str:
    return str(answers["currency"])


def _usual_kit(answers: Answers) -> str:
    return "portable-2kwh-two-modules" if answers["tenure"] == "rent" else "rooftop-4kwp-5kwh"


def _kit_notes(_: Answers) -> list[str]:
    width = max(len(key) for key in shelf_kits())
    return ["Kits of the shelf:", *(f"  {key:<{width}}  {kit.name}" for key, kit in shelf_kits().items())]


def _plugged_notes(_: Answers) -> list[str]:
    return ["Others that can be named: " + ", ".join(name for name in USUAL if name not in PLUGGED)]


def _usual_plugged(answers: Answers) -> str:
    return ", ".join(PLUGGED if _on_grid(answers) else OFF_GRID)


QUESTIONS = (
    Question(
        "place",
        "Place: a region (`riskcalc sites` lists them) or the path of an EPW or TMY3 weather file",
        read_place,
        lambda _: "thames",
    ),
    Question(
        "zone",
        "Time zone of the clock on the wall",
        as_declared(Zone, "a time zone of the IANA database such as Europe/London"),
        lambda a: a["place"].zone,
        told=lambda a: bool(a["place"].file),
    ),
    Question(
        "currency",
        "Currency",
        as_declared(Currency, "a currency code of ISO 4217 such as GBP, EUR or USD"),
        lambda a: a["place"].currency,
        told=lambda a: bool(a["place"].file),
    ),
    Question("tenure", "Do you rent or own", one_of("rent", "own"), lambda _: "rent"),
    Question(
        "stay",
        "How many years you expect to stay, about",
        between(0.5, 60, "years"),
        lambda _: "5",
        applies=lambda a: a["tenure"] == "rent",
    ),
    Question(
        "kit", "Kit, or the path of a TOML file with [kit] and [purchase]", kit_named, _usual_kit, notes=_kit_notes
    ),
    Question(
        "cost", "Price of the kit with its installation", between(0, 1e8, ""), lambda a: f"{_kit(a).usual_price:g}"
    ),
    Question(
        "facing",
        "Where the modules face (n, ne, e, se, s, sw, w, nw or degrees from north)",
        read_direction,
        lambda _: "s",
        applies=lambda a: _kit(a).has_modules,
    ),
    Question(
        "use",
        "Electricity used in a year, in kWh",
        between(20, 100_000, "kWh"),
        lambda a: "2500" if _on_grid(a) else "500",
    ),
    Question(
        "plugged",
        "Appliances plugged into the unit, with commas",
        read_appliances,
        _usual_plugged,
        applies=lambda a: _kit(a).coupling in ("sockets", "off_grid"),
        notes=_plugged_notes,
    ),
    Question(
        "tariff",
        "Tariff, flat or two-rate (a cheap rate by night)",
        one_of("flat", "two-rate"),
        lambda a: "two-rate" if _kit(a).charges_from_supply and not _kit(a).has_modules else "flat",
        applies=_on_grid,
    ),
    Question(
        "price",
        "Price of a kWh (two rates: by day; off grid: of a kWh made otherwise)",
        between(0, 100_000, "per kWh"),
        lambda a: "0.28" if _on_grid(a) else "0.85",
    ),
    Question(
        "night_price",
        "Price of a kWh by night",
        between(0, 100_000, "per kWh"),
        lambda a: f"{0.5 * a['price']:.3g}",
        applies=_two_rates,
    ),
    Question("night", "Hours of the night rate", read_window, lambda _: "00:30-07:30", applies=_two_rates),
    Question(
        "export_price",
        "What a kWh sent to the grid earns",
        between(-100, 100_000, "per kWh"),
        lambda a: f"{0.4 * a['price']:.2g}",
        applies=lambda a: _kit(a).coupling == "whole_home",
    ),
)
