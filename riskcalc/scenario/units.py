"""Units live in the names of the keys; slips between neighbouring units are guessed and said."""

from __future__ import annotations

from collections.abc import Callable

from riskcalc.uncertainty.quantity import plain

#: Endings of keys, longest first, with the unit they stand for; {money} is the scenario's currency.
UNIT_OF_ENDING = (
    ("price_per_kwh", "{money}/kWh"),
    ("extra_per_kwh", "{money}/kWh"),
    ("price_per_m", "{money}/m"),
    ("charge_per_day", "{money}/day"),
    ("upkeep_per_year", "{money}/year"),
    ("kwh_per_year", "kWh/year"),
    ("chance_per_year", "1/year"),
    ("_per_year", "share/year"),
    ("_per_k", "share/K"),
    ("_use_kwh", "kWh/year"),
    ("_kwh", "kWh"),
    ("_w", "W"),
    ("_v", "V"),
    ("_a", "A"),
    ("_c", "°C"),
    ("_deg", "°"),
    ("_m", "m"),
    ("_years", "years"),
    ("_minutes", "minutes"),
    ("_share", "share"),
    ("efficiency", "share"),
    ("efficiency_half_load", "share"),
    ("efficiency_full_load", "share"),
    ("price", "{money}"),
    ("installation", "{money}"),
    ("incentive", "{money}"),
    ("value_per_hour", "{money}/h"),
    ("value_per_kwh", "{money}/kWh"),
    ("hours_each", "h"),
    ("per_year", "1/year"),
    ("_cost", "{money}"),
    ("soiling", "share"),
    ("wiring", "share"),
    ("mismatch", "share"),
    ("shading", "share"),
    ("albedo", "share"),
)

#: What a figure out of bounds may have been meant in: unit of the key -> (factor to apply, what the figure looks like).
SLIPS = {
    "W": ((1000.0, "kilowatts"),),
    "kWh": ((0.001, "watt-hours"), (1000.0, "megawatt-hours")),
    "kWh/year": ((1000.0, "megawatt-hours"), (0.001, "watt-hours")),
    "share": ((0.01, "per cent"),),
    "share/year": ((0.01, "per cent a year"),),
    "share/K": ((0.01, "per cent per kelvin"),),
    "V": ((0.001, "millivolts"),),
    "A": ((0.001, "milliamperes"),),
}


def unit_of(key: str, currency: str = "") -> str:
    """Return the unit that a dotted key carries in its name, empty when it has none."""
    last = key.rsplit(".", 1)[-1]
    matching = [(len(ending), unit) for ending, unit in UNIT_OF_ENDING if last.endswith(ending)]
    return max(matching)[1].format(money=currency) if matching else ""


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
    "share/K": " per kelvin",
    "kWh/year": " kWh a year",
    "°": " degrees",
}


def said_unit(unit: str) -> str:
    """Return the unit as it follows a figure in a message, with its space."""
    return AFTER_FIGURE.get(unit, f" {unit}" if unit else "")


UNIT_NAMES = {
    "W": "watts",
    "kWh": "kilowatt-hours",
    "kWh/year": "kilowatt-hours a year",
    "share": "shares of 1",
    "share/year": "shares of 1 a year",
    "share/K": "shares of 1 per kelvin",
    "V": "volts",
    "A": "amperes",
}
