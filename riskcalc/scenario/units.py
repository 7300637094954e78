"""Units in words, and slips between neighbouring units, which are guessed and said."""

from __future__ import annotations

from collections.abc import Callable

from riskcalc.uncertainty.quantity import plain

#: What a figure out of bounds may have been meant in: unit of the key -> (factor to apply, what the figure looks like).
SLIPS = {
    "W": ((1000.0, "kilowatts"),),
    "kWh": ((0.001, "watt-hours"), (1000.0, "megawatt-hours")),
    "kWh/year": ((1000.0, "megawatt-hours"), (0.001, "watt-hours")),
    "share": ((0.01, "per cent"),),
    "share/year": ((0.01, "per cent a year"),),
    "1/year": ((0.01, "per cent a year"),),
    "share/K": ((0.01, "per cent per kelvin"),),
    "V": ((0.001, "millivolts"),),
    "A": ((0.001, "milliamperes"),),
}


def slip_hint(value: float, holds: Callable[[float, float], bool], unit: str) -> str:
    """Return a guess at the unit the author had in mind, when the figure would fit in another one."""
    for factor, name in SLIPS.get(unit, ()):
        converted = value * factor
        if converted != value and holds(converted, converted):
            return f"{plain(value)} looks like {name}; this key is in {UNIT_NAMES.get(unit, unit)}: {plain(converted)}"
    return ""


#: How a unit is said after a figure in a message; shares need no word.
AFTER_FIGURE = {
    "share": "",
    "share/year": " a year",
    "1/year": " a year",
    "{money}": "",
    "{money}/kWh": " per kWh",
    "{money}/day": " a day",
    "{money}/year": " a year",
    "{money}/m": " per metre",
    "{money}/h": " per hour",
    "h": " hours",
    "share/K": " per kelvin",
    "kWh/year": " kWh a year",
    "°": " degrees",
}


#: What stands after a figure of exactly 1.
AFTER_ONE = {"years": "year", "minutes": "minute", "h": "hour"}


def said_unit(unit: str, figure: str = "") -> str:
    """Return the unit as it follows a figure in a message, with its space."""
    if figure == "1" and unit in AFTER_ONE:
        return f" {AFTER_ONE[unit]}"
    return AFTER_FIGURE.get(unit, f" {unit}" if unit else "")


UNIT_NAMES = {
    "W": "watts",
    "kWh": "kilowatt-hours",
    "kWh/year": "kilowatt-hours a year",
    "share": "shares of 1",
    "share/year": "shares of 1 a year",
    "1/year": "shares of 1 a year",
    "share/K": "shares of 1 per kelvin",
    "V": "volts",
    "A": "amperes",
}
