"""How the tables of a scenario declare a key: its name in words, what it means, its default and where that comes from.

The title is a short noun phrase, the same on the page, in the terminal and in the JSON Schema; the longer help in
`about` completes messages.
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field, JsonValue

from riskcalc.uncertainty.quantity import Fixed

COMMON_PRACTICE = "common practice, no source"


class Table(BaseModel):
    """A table of the scenario: unknown keys refused, nothing converted silently, never changed after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False, validate_default=False)


def needed(about: str, *, title: str = "") -> Any:
    """Declare a key that must be given; `about` completes the message when it is missing."""
    return Field(description=about, title=title or None)


def optional(about: str, without: str = "not counted unless given", *, title: str = "") -> Any:
    """Declare a key that may be left out; `without` says what holds then."""
    return Field(default=None, description=about, title=title or None, json_schema_extra={"source": without})


def default(value: Any, about: str, source: str = COMMON_PRACTICE, *, title: str = "") -> Any:
    """Declare a plain key with a default and the source of that default."""
    return Field(default=value, description=about, title=title or None, json_schema_extra={"source": source})


def default_number(value: float, about: str, source: str = COMMON_PRACTICE, *, title: str = "") -> Any:
    """Declare a number that may be uncertain, with a default and the source of that default."""
    extra: dict[str, JsonValue] = {"source": source, "default": value}
    fixed = Fixed(value=value, source=source)
    return Field(default=fixed, description=about, title=title or None, json_schema_extra=extra)
