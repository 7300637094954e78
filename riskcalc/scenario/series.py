"""Lists of numbers with a meaning: one per month, one number or twelve, a horizon line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from riskcalc.scenario.complaints import Complaint, refusal, refuse, shown
from riskcalc.scenario.uncertain import Bounds, number_in, number_schema, slip_hint

MOST_HORIZON_POINTS = 360
MOST_YEARS = 60


@dataclass(frozen=True)
class Monthly(Bounds):
    """Twelve plain numbers, January first; a single number too when `one_will_do`, or `word` if there is one."""

    one_will_do: bool = False
    word: str = ""

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        twelve = {"type": "array", "items": number_schema(self), "minItems": 12, "maxItems": 12}
        words = [{"const": self.word}] if self.word else []
        return {"anyOf": [number_schema(self), twelve, *words]} if self.one_will_do else twelve

    def read(self, raw: object) -> float | str | tuple[float, ...]:
        """Return the number, the twelve or the word, or raise what is wrong."""
        if self.word and raw == self.word:
            return self.word
        accepted = f"12 numbers, January first, each {self.words()}"
        if not isinstance(raw, list | tuple):
            value = number_in(raw)
            if self.one_will_do and value is not None and self.holds(value, value):
                return value
            hint = slip_hint(value, self.holds, self.unit) if self.one_will_do and value is not None else ""
            accepted = f"a number {self.words()}, or {accepted}" if self.one_will_do else accepted
            accepted += f', or "{self.word}"' if self.word else ""
            raise refuse(raw, accepted, hint, about_key=True)
        numbers = [number_in(item) for item in raw[:13]]
        if len(raw) != 12:
            raise refuse(raw, accepted, f"{len(raw)} were given")
        for place, (item, value) in enumerate(zip(raw, numbers, strict=True)):
            if value is None or not self.holds(value, value):
                hint = "" if value is None else slip_hint(value, self.holds, self.unit)
                raise refusal([Complaint((place,), shown(item), f"a number {self.words()}", hint)])
        return tuple(numbers)  # type: ignore[arg-type]


@dataclass(frozen=True)
class Yearly(Bounds):
    """Plain numbers, one per year; `first` is what the first must be, if anything."""

    first: float | None = None

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "array", "items": number_schema(self), "minItems": 1, "maxItems": MOST_YEARS}

    def read(self, raw: object) -> tuple[float, ...]:
        """Return the numbers, or raise what is wrong."""
        accepted = f"1 to {MOST_YEARS} numbers, one per year, each {self.words()}"
        if not isinstance(raw, list | tuple) or not 1 <= len(raw) <= MOST_YEARS:
            raise refuse(raw, accepted, about_key=True)
        numbers = [number_in(item) for item in raw]
        for place, (item, value) in enumerate(zip(raw, numbers, strict=True)):
            if value is None or not self.holds(value, value):
                hint = "" if value is None else slip_hint(value, self.holds, self.unit)
                raise refusal([Complaint((place,), shown(item), f"a number {self.words()}", hint)])
        if self.first is not None and numbers[0] != self.first:
            hint = f"the first year is that of the purchase: divide all by {shown(raw[0])}"
            raise refusal([Complaint((0,), shown(raw[0]), f"{self.first:g}", hint)])
        return tuple(numbers)  # type: ignore[arg-type]


def horizon_line(raw: object) -> tuple[tuple[float, float], ...]:
    """Return pairs (azimuth, elevation) in degrees, or raise what is wrong with them."""
    accepted = "a list of [azimuth 0 to 360, elevation 0 to 90] in rising azimuth, such as [[90, 5], [180, 20]]"
    if not isinstance(raw, list | tuple) or not 1 <= len(raw) <= MOST_HORIZON_POINTS:
        raise refuse(raw, accepted)
    points: list[tuple[float, float]] = []
    for place, item in enumerate(raw):
        pair = [number_in(part) for part in item] if isinstance(item, list | tuple) and len(item) == 2 else [None]
        azimuth, elevation = pair if len(pair) == 2 else (None, None)
        if azimuth is None or elevation is None or not (0 <= azimuth <= 360 and 0 <= elevation <= 90):
            raise refusal([Complaint((place,), shown(item), accepted)])
        if points and azimuth <= points[-1][0]:
            raise refusal([Complaint((place,), shown(item), accepted, "put the points in rising order of azimuth")])
        points.append((azimuth, elevation))
    return tuple(points)


HORIZON_SCHEMA = {
    "type": "array",
    "minItems": 1,
    "items": {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
}
