"""Numbers in a scenario: plain ones, whole ones, and those that may be uncertain.

`Uncertain(0, 1)` inside `Annotated[Quantity, ...]` reads `0.5` as well as `{ distribution = "uniform", low = 0.2,
high = 0.8 }`, and holds the *whole* distribution to the bounds: a value that could be drawn must be one that could be
written.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import MISSING, dataclass, fields
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from riskcalc.output import clean_text
from riskcalc.scenario.complaints import Complaint, did_you_mean, listed, nearest, refusal, refuse, shown
from riskcalc.uncertainty.bounded import Beta, Pert, Triangular, Uniform
from riskcalc.uncertainty.endless import Lognormal, Normal
from riskcalc.uncertainty.observed import Discrete, Empirical
from riskcalc.uncertainty.quantity import Fixed, Quantity, plain

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


KINDS: dict[str, type[Quantity]] = {
    kind.kind: kind for kind in (Uniform, Triangular, Normal, Lognormal, Beta, Pert, Discrete, Empirical)
}
#: Keys that any quantity may carry beside the parameters of its distribution.
SHARED_KEYS = ("minimum", "maximum", "source", "note")
#: Least share of a distribution that a cut must leave; below it the arithmetic has no digits left.
LEAST_LEFT = 1e-9
WORST_LENGTH = 100_000
_FIGURE_IN_TEXT = re.compile(r"\s*(-?\d{1,12}(?:[.,]\d{1,12})?)\s*([^\d\s][^\d]{0,20})?\s*")
#: Figures of a distribution outside these sizes are slips, and would overflow further on.
SMALLEST, LARGEST = 1e-12, 1e12
#: Stands in the JSON Schema where `scenario.editor_schema` puts a reference to the distributions.
DISTRIBUTION_MARK = {"title": "Distribution", "type": "object"}


@dataclass(frozen=True)
class Bounds:
    """What a number may be: from `low` to `high`, `above` when `low` itself is excluded; `unit` for the message."""

    low: float = -math.inf
    high: float = math.inf
    above: bool = False
    unit: str = ""

    def holds(self, low: float, high: float) -> bool:
        """Return whether everything from `low` to `high` is allowed."""
        return (low > self.low if self.above else low >= self.low) and high <= self.high

    def words(self) -> str:
        """Return the bounds in words, such as `above 0 and at most 1`."""
        unit = said_unit(self.unit)
        if self.low == -math.inf and self.high == math.inf:
            return f"any number{unit}"
        if self.high == math.inf:
            return f"a number above {plain(self.low)}{unit}" if self.above else f"{plain(self.low)} or more{unit}"
        if self.low == -math.inf:
            return f"at most {plain(self.high)}{unit}"
        if self.above:
            return f"above {plain(self.low)} and at most {plain(self.high)}{unit}"
        return f"from {plain(self.low)} to {plain(self.high)}{unit}"


@dataclass(frozen=True)
class Number(Bounds):
    """A plain number inside bounds: for what cannot be uncertain."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return number_schema(self)

    def read(self, raw: object) -> float:
        """Return the number, or raise what is wrong with it."""
        value = number_in(raw)
        if value is None or not self.holds(value, value):
            hint = text_hint(raw) if value is None else slip_hint(value, self.holds, self.unit)
            raise refuse(raw, f"a plain number {self.words()}", hint, about_key=True)
        return value


@dataclass(frozen=True)
class Whole(Bounds):
    """A whole number inside bounds."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return number_schema(self) | {"type": "integer"}

    def read(self, raw: object) -> int:
        """Return the whole number, or raise what is wrong with it."""
        accepted = f"a whole number {self.words()}"
        if isinstance(raw, bool) or not isinstance(raw, int):
            whole = isinstance(raw, float) and raw.is_integer()
            raise refuse(raw, accepted, "write it without a decimal point" if whole else text_hint(raw), about_key=True)
        if not self.low <= raw <= self.high:
            raise refuse(raw, accepted, about_key=True)
        return raw


@dataclass(frozen=True)
class Uncertain(Bounds):
    """A number or a distribution, all of it inside bounds."""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(
            self.read, serialization=core_schema.plain_serializer_function_ser_schema(Quantity.written)
        )

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"anyOf": [number_schema(self), DISTRIBUTION_MARK]}

    def read(self, raw: object) -> Quantity:
        """Return the quantity, or raise everything that is wrong with it."""
        quantity = raw if isinstance(raw, Quantity) else quantity_from(raw, self.accepted())
        low, high = quantity.practical_support
        if not self.holds(low, high):
            raise self._outside(raw, quantity, low, high)
        return quantity

    def accepted(self) -> str:
        """Return what this key accepts, in words."""
        return f"a number or a distribution, {self.words()}"

    def _outside(self, raw: object, quantity: Quantity, low: float, high: float) -> Exception:
        if isinstance(quantity, Fixed):
            hint = slip_hint(quantity.value, self.holds, self.unit)
            given = quantity.value if isinstance(raw, dict | Quantity) else raw
            return refuse(given, self.accepted(), hint, about_key=True)
        given = quantity.words()
        if (low, high) != quantity.support:
            given += f", which reaches from {plain(low)} to {plain(high)}"
        missing = []
        full_low, full_high = quantity.full_support
        if not self.holds(low, min(low, self.high)) and (full_low == -math.inf or full_low < low):
            missing.append("minimum")
        if high > self.high and full_high == math.inf:
            missing.append("maximum")
        if missing:
            ends = {"minimum": self.low, "maximum": self.high}
            strict = " or a little more" if self.above and "minimum" in missing else ""
            hint = "cut it: add " + " and ".join(f"{end} = {plain(ends[end])}" for end in missing) + strict
        else:
            hint = slip_hint((low + high) / 2, self.holds, self.unit)
        return refusal([Complaint((), given, self.accepted(), hint, about_key=True)])


#: An amount of money in the currency of the scenario.
Money = Uncertain(0, 1e9, unit="{money}")


def quantity_from(raw: object, accepted: str) -> Quantity:
    """Return the quantity that a number or a table describes; bounds are the caller's.

    Raises
    ------
    PydanticCustomError
        With every complaint: no number, unknown distribution or key, a parameter missing, contradictory or not finite.
    """
    if not isinstance(raw, dict):
        value = number_in(raw)
        if value is None:
            raise refuse(raw, accepted, text_hint(raw), about_key=True)
        return Fixed(value=value)
    kind = _kind(raw, accepted)
    parameters, complaints = _parameters(raw, kind)
    if complaints:
        raise refusal(complaints)
    quantity = kind(**parameters)
    trouble = quantity.complaint()
    if trouble is not None:
        key, wanted = trouble
        raise refuse(raw.get(key), wanted, path=(key,))
    _check_cut(quantity, raw)
    return quantity


def number_in(raw: object) -> float | None:
    """Return the finite number in `raw`, or None: text, true/false, nan and inf are no numbers here."""
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        return None
    try:
        value = float(raw)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None


def text_hint(raw: object) -> str:
    """Return what may have happened when something that is no number stands where one should."""
    if isinstance(raw, float):
        return "" if math.isfinite(raw) else "leave the key out if there is no figure"
    if isinstance(raw, list | tuple) and len(raw) == 2:
        return range_hint(*raw)
    match = _FIGURE_IN_TEXT.fullmatch(raw) if isinstance(raw, str) else None
    if match is None:
        return ""
    value, unit = float(match[1].replace(",", ".")), (match[2] or "").strip()
    if unit == "%":
        return f"write {plain(value / 100)}"
    if unit:
        return f"write the number alone, in the unit that the key's name says: {plain(value)}"
    return f"write it without quotes: {plain(value)}"


def range_hint(low: object, high: object) -> str:
    """Return how a range is written."""
    ends = [number_in(low), number_in(high)]
    if None in ends:
        return ""
    return f'for a range write {{ distribution = "uniform", low = {shown(low)}, high = {shown(high)} }}'


def _kind(raw: dict[str, object], accepted: str) -> type[Quantity]:
    if "distribution" not in raw:
        if "value" in raw or not raw:
            return Fixed
        if {"min", "max"} <= set(raw):
            raise refuse(raw, accepted, range_hint(raw["min"], raw["max"]), about_key=True)
        likely = [name for name, kind in KINDS.items() if set(raw) - set(SHARED_KEYS) <= _own_keys(kind)]
        hint = f'add distribution = "{likely[0]}"' if likely else ""
        raise refuse(raw, accepted, hint or "a table needs distribution = ... or value = ...", about_key=True)
    name = raw["distribution"]
    if not isinstance(name, str) or name not in (*KINDS, "fixed"):
        hint = did_you_mean(name, KINDS) if isinstance(name, str) else ""
        raise refuse(name, "one of " + listed(KINDS), hint, path=("distribution",))
    return KINDS.get(name, Fixed)


def _own_keys(kind: type[Quantity]) -> set[str]:
    return {field.name for field in fields(kind)} - set(SHARED_KEYS)


def _parameters(raw: dict[str, object], kind: type[Quantity]) -> tuple[dict[str, Any], list[Complaint]]:
    parameters: dict[str, Any] = {}
    complaints: list[Complaint] = []
    meant: set[str] = set()
    known = {field.name: field for field in fields(kind)}
    if kind is Fixed:
        known = {key: known[key] for key in ("value", "source", "note")}
    for key, given in raw.items():
        if key == "distribution":
            continue
        if key not in known:
            accepted = f"for {kind.kind}: " + ", ".join(sorted(known))
            close = nearest(key, known.keys() - raw.keys())
            meant.update(close)
            hint = did_you_mean(key, close) if close else ""
            complaints.append(Complaint((key,), shown(given), accepted, hint))
            continue
        value, accepted = _parameter(key, given)
        if value is None:
            complaints.append(Complaint((key,), shown(given), accepted, text_hint(given)))
        parameters[key] = value
    for key, field in known.items():
        if key not in raw and key not in meant and field.default is MISSING:
            accepted = f"a number: {kind.kind} needs it" if kind is not Fixed else "a number"
            complaints.append(Complaint((key,), "nothing", accepted))
    return parameters, complaints


def _parameter(key: str, given: object) -> tuple[object | None, str]:
    if key in ("source", "note", "file", "column"):
        text = clean_text(given) if isinstance(given, str) and len(given) <= 1000 else None
        return text, "a text of up to 1000 characters"
    if key in ("values", "weights"):
        if not isinstance(given, list | tuple) or len(given) > WORST_LENGTH:
            return None, f"a list of numbers, at most {WORST_LENGTH}"
        numbers = tuple(number_in(item) for item in given)
        return (None if None in numbers else numbers), "a list of finite numbers"
    value = number_in(given)
    if value is not None and value and not SMALLEST <= abs(value) <= LARGEST:
        value = None
    return value, "a finite number of a sensible size"


def _check_cut(quantity: Quantity, raw: dict[str, object]) -> None:
    if quantity.minimum is None and quantity.maximum is None:
        return
    key = "minimum" if quantity.minimum is not None else "maximum"
    both = quantity.minimum is not None and quantity.maximum is not None
    if both and not quantity.minimum < quantity.maximum:  # type: ignore[operator]
        raise refuse(raw[key], f"a number below maximum ({plain(quantity.maximum)})", path=(key,))  # type: ignore[arg-type]
    if quantity.cut_share() < LEAST_LEFT:
        accepted = f"a cut that leaves part of the distribution ({quantity.core_words()})"
        raise refuse(raw[key], accepted, path=(key,))


def number_schema(bounds: Bounds) -> dict[str, Any]:
    """Return the JSON Schema of a plain number inside bounds."""
    schema: dict[str, Any] = {"type": "number"}
    if bounds.low != -math.inf:
        schema["exclusiveMinimum" if bounds.above else "minimum"] = bounds.low
    if bounds.high != math.inf:
        schema["maximum"] = bounds.high
    return schema
