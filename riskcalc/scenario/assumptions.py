"""The table of assumptions: every setting, how it was given, where it comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from riskcalc.quantity import Quantity
from riskcalc.scenario.complaints import shown
from riskcalc.scenario.schema import Scenario, family_of
from riskcalc.scenario.units import unit_of

#: Settings that describe the scenario rather than assume something about the world.
NOT_ASSUMED = ("name", "description", "currency")


@dataclass(frozen=True)
class Assumption:
    """One row: the key, its meaning, what was given in words, unit, where it comes from, whether it is our default."""

    key: str
    label: str
    given: str
    kind: str
    unit: str
    source: str
    is_default: bool
    family: str
    note: str = ""


def assumptions(scenario: Scenario) -> tuple[Assumption, ...]:
    """Return a row for every setting, in the order of the schema.

    Numbers that may be uncertain have the kind of their distribution; other settings are `number`, `choice` or `list`.
    A default carries the source of the default, a given figure the `source` that was written beside it.
    """
    rows = []
    for key, value, declared in scenario.leaves():
        if key in NOT_ASSUMED or key.endswith(".name") or value in ({}, ""):
            continue
        is_default = not scenario.is_given(key)
        origin = str((declared.json_schema_extra or {}).get("source", ""))
        rows.append(
            Assumption(
                key=key,
                label=declared.description or key,
                given=_words(value, origin),
                kind=value.kind if isinstance(value, Quantity) else _kind(value),
                unit=unit_of(key, scenario.currency),
                source=_source(value, origin, is_default=is_default),
                is_default=is_default,
                family=family_of(key),
                note=value.note if isinstance(value, Quantity) else "",
            )
        )
    return tuple(rows)


def _source(value: Any, origin: str, *, is_default: bool) -> str:
    if is_default:
        return origin
    return value.source if isinstance(value, Quantity) and value.source else "given in the scenario"


def _words(value: Any, origin: str) -> str:
    if isinstance(value, Quantity):
        return value.words()
    if value is None:
        return f"not given: {origin}"
    if isinstance(value, str):
        return value
    return shown(value).strip("[]").replace('"', "") if isinstance(value, tuple) else shown(value)


def _kind(value: Any) -> str:
    if isinstance(value, bool | str) or value is None:
        return "choice"
    return "list" if isinstance(value, tuple) else "number"
