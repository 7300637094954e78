"""The table of assumptions: every setting, how it was given, where it comes from."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from riskcalc.scenario.complaints import shown
from riskcalc.scenario.schema import Scenario, family_of, unit_of
from riskcalc.uncertainty.quantity import Quantity, plain

#: Settings that describe the scenario rather than assume something about the world.
NOT_ASSUMED = ("name", "title", "description", "currency", "study.language")
APPLIANCES = "home.appliances"
DAYTIME = {"day": "daytime"}


@dataclass(frozen=True)
class Assumption:
    """One row: key, name in words, what was given, unit, where it comes from, whether it is our default.

    `label` is the title of the key; where several entries of a table share it, the name of the entry follows in
    brackets: "Price per kWh from the grid (night rate)".
    """

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
    for key, value, declared in _joined(scenario.leaves()):
        if key in NOT_ASSUMED or key.endswith(".name") or value in ({}, ""):
            continue
        is_default = not scenario.is_given(key)
        origin = str((declared.json_schema_extra or {}).get("source", ""))
        rows.append(
            Assumption(
                key=key,
                label=declared.title or key,
                given=_words(value, origin),
                kind=value.kind if isinstance(value, Quantity) else _kind(value),
                unit="" if value is None else unit_of(key, scenario.currency),
                source=_source(value, origin, is_default=is_default),
                is_default=is_default,
                family=family_of(key),
                note=value.note if isinstance(value, Quantity) else "",
            )
        )
    shared = Counter(row.label for row in rows)
    return tuple(
        replace(row, label=f"{row.label} ({_entry(row.key)})") if shared[row.label] > 1 else row for row in rows
    )


def _entry(key: str) -> str:
    """Return what an entry of a table is called: by its name, a rate of the tariff as such."""
    name = key.split(".")[-2]
    # "Day rate" reads as a price per day.
    return f"{DAYTIME.get(name, name)} rate" if key.startswith("tariff.rates.") else name


def _joined(leaves: Iterable[tuple[str, Any, Any]]) -> Iterable[tuple[str, Any, Any]]:
    """Yield the leaves with all appliances as one, in words, at the place of the first."""
    places: dict[str, list[str]] = {}
    held = []
    for key, value, declared in leaves:
        if key.startswith(f"{APPLIANCES}."):
            if not places:
                held.append((APPLIANCES, places, declared))
            places.setdefault(value, []).append(key.rpartition(".")[2].replace("_", " "))
        else:
            held.append((key, value, declared))
    for key, value, declared in held:
        yield key, _appliance_words(places) if value is places else value, declared


def _appliance_words(places: dict[str, list[str]]) -> str:
    said = {"unit": "plugged into the unit", "elsewhere": "elsewhere"}
    return "; ".join(f"{words}: {', '.join(places[place])}" for place, words in said.items() if place in places)


def _source(value: Any, origin: str, *, is_default: bool) -> str:
    own = value.source if isinstance(value, Quantity) else ""
    return own or (origin if is_default else "given in the scenario")


def _words(value: Any, origin: str) -> str:
    if isinstance(value, Quantity):
        return value.words()
    if value is None:
        return f"not given: {origin}"
    if isinstance(value, str):
        return value
    if isinstance(value, float):
        return plain(value)
    return shown(value).strip("[]").replace('"', "") if isinstance(value, tuple) else shown(value)


def _kind(value: Any) -> str:
    if isinstance(value, bool | str) or value is None:
        return "choice"
    return "list" if isinstance(value, tuple) else "number"
