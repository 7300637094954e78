"""How the tables of a scenario declare a key, and how a declaration is found again by its dotted name.

A declaration holds all there is to know of a key: bounds and unit in its annotation, its name in words, what it means,
its default, and where that default comes from. The title is a short noun phrase, the same on the page, in the terminal
and in the JSON Schema; the longer help in `about` completes messages.
"""

from __future__ import annotations

import types
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Union, cast, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, JsonValue
from pydantic.fields import FieldInfo

from riskcalc.scenario.uncertain import Bounds
from riskcalc.uncertainty.quantity import Fixed, Quantity

Location = tuple[str | int, ...]


@dataclass(frozen=True)
class Origin:
    """Where a default comes from, in words, and what kind of source that is."""

    words: str
    kind: str


def field_study(words: str) -> Origin:
    """Name a study of many installations or homes in use."""
    return Origin(words, "field study")


def standard(words: str) -> Origin:
    """Name a standard, a code or a tariff in force."""
    return Origin(words, "standard")


def published_law(words: str) -> Origin:
    """Name a published law or model, fitted to measurements."""
    return Origin(words, "law")


def judgement(words: str) -> Origin:
    """Say that we chose it, and from what."""
    return Origin(words, "judgement")


def common_practice(words: str) -> Origin:
    """Say who does it that way, where nobody measured."""
    return Origin(words, "common practice")


def absent(words: str) -> Origin:
    """Say what holds while nothing is assumed: not given, not counted."""
    return Origin(words, "not counted")


COMMON_PRACTICE = common_practice("common practice, no source")
OURS = judgement("our own choice, see DEVELOPERS.md")


class Table(BaseModel):
    """A table of the scenario: unknown keys refused, nothing converted silently, never changed after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False, validate_default=False)


def needed(about: str, *, title: str = "") -> Any:
    """Declare a key that must be given; `about` completes the message when it is missing."""
    return Field(description=about, title=title or None)


def optional(about: str, without: str = "not counted unless given", *, title: str = "") -> Any:
    """Declare a key that may be left out; `without` says what holds then."""
    return default(None, about, absent(without), title=title)


def default(value: Any, about: str, source: Origin = COMMON_PRACTICE, *, title: str = "") -> Any:
    """Declare a plain key with a default and the source of that default."""
    return Field(default=value, description=about, title=title or None, json_schema_extra=_extra(source))


def default_number(value: float | Quantity, about: str, source: Origin = COMMON_PRACTICE, *, title: str = "") -> Any:
    """Declare a number that may be uncertain, with a default (a number or a distribution) and its source."""
    quantity = replace(value if isinstance(value, Quantity) else Fixed(value=value), source=source.words)
    written = value.written() if isinstance(value, Quantity) else value
    extra = _extra(source) | {"default": cast("JsonValue", written)}
    return Field(default=quantity, description=about, title=title or None, json_schema_extra=extra)


def _extra(source: Origin) -> dict[str, JsonValue]:
    return {"source": source.words, "kind_of_source": source.kind}


def all_keys(model: type[BaseModel], start: str = "") -> Iterator[str]:
    """Yield the dotted key of everything in the schema; named entries appear as `<name>`."""
    for name, field in model.model_fields.items():
        key = f"{start}{name}"
        yield key
        inner, named = table_in(field.annotation)
        if inner is not None:
            yield from all_keys(inner, f"{key}.<name>." if named else f"{key}.")


def declared_at(model: type[BaseModel], location: Location) -> tuple[type[BaseModel] | None, FieldInfo | None]:
    """Return the table that holds the key at `location` and the key's declaration, None where there is none."""
    owner: type[BaseModel] | None = model
    field: FieldInfo | None = None
    skip = False
    for place, part in enumerate(location):
        if skip:
            skip = False
            continue
        if owner is None:
            return None, None
        field = owner.model_fields.get(str(part))
        if place == len(location) - 1 or field is None:
            return owner, field
        owner, skip = table_in(field.annotation)
        if skip and place == len(location) - 2:
            return owner, field
    return owner, field


def table_in(annotation: Any) -> tuple[type[BaseModel] | None, bool]:
    """Return the table type inside an annotation, and whether it is reached through a name or a place in a list."""
    origin = get_origin(annotation)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    if origin in (Union, types.UnionType):
        for part in get_args(annotation):
            inner, named = table_in(part)
            if inner is not None:
                return inner, named
    if origin is dict:
        return table_in(get_args(annotation)[1])[0], True
    if origin in (tuple, list):
        return table_in(get_args(annotation)[0])[0], True
    return None, False


@cache
def declared_bounds(model: type[BaseModel], key: str) -> Bounds:
    """Return the bounds and the unit that a dotted key is declared with; no bounds and no unit where there are none."""
    _, field = declared_at(model, tuple(key.split(".")))
    if field is None:
        return Bounds()
    found = (item for item in (*field.metadata, *_inside(field.annotation)) if isinstance(item, Bounds))
    return next(found, Bounds())


def _inside(annotation: Any) -> list[Any]:
    """Return everything that is named within an annotation such as `Annotated[Quantity, Uncertain(0, 1)] | None`."""
    parts = list(get_args(annotation))
    return [*parts, *(item for part in parts for item in _inside(part))]
