"""The page of the workbench, and its left side: every key of a scenario with its words, unit, bounds, source and shape."""

from __future__ import annotations

import math
from dataclasses import fields
from importlib.resources import files
from typing import Any, Literal, Union, get_args, get_origin

from riskcalc.live.desk import SHELVES, Desk
from riskcalc.pages.document import content_policy
from riskcalc.pages.look import COLOURS
from riskcalc.scenario import Scenario, assumptions
from riskcalc.scenario.fields import declared_at
from riskcalc.scenario.new.text import toml_value
from riskcalc.scenario.schema import bounds_of, unit_of
from riskcalc.scenario.uncertain import SHARED_KEYS
from riskcalc.uncertainty.bounded import Beta, Pert, Triangular, Uniform
from riskcalc.uncertainty.endless import Lognormal, Normal
from riskcalc.uncertainty.quantity import SKETCH_LEVELS, Fixed, Quantity

#: Kinds that the shape editor offers; each is drawn, dragged and typed by its own parameters.
EDITED = {
    kind.kind: [name for name in (field.name for field in fields(kind)) if name not in SHARED_KEYS]
    for kind in (Fixed, Uniform, Triangular, Pert, Normal, Lognormal, Beta)
}


def form(desk: Desk, scenario: Scenario) -> dict[str, Any]:
    """Return tables of keys, in the order of the schema, and the shelves that homes, kits and tariffs come from."""
    rows = {row.key: row for row in assumptions(scenario)}
    tables: dict[str, list[dict[str, Any]]] = {}
    for key, value, declared in scenario.leaves():
        row = rows.get(key)
        if row is None or key.endswith((".file", ".name")) or not _can_be_turned(value):
            continue
        low, high = bounds_of(key)
        tables.setdefault(key.split(".", maxsplit=1)[0], []).append(
            {
                "key": key,
                "label": row.label,
                "help": declared.description or "",
                "unit": unit_of(key, scenario.currency),
                "low": _finite(low),
                "high": _finite(high),
                "source": row.source,
                "is_default": row.is_default,
                "is_changed": key in desk.changes,
                "given": row.given,
                "value": _written(value),
                "choices": choices_of(key),
                "shape": shape(value),
                "may_vary": isinstance(value, Quantity),
            }
        )
    return {
        "title": scenario.called,
        "file": desk.path.name,
        "currency": scenario.currency,
        "kinds": EDITED,
        "tables": [{"name": name, "keys": keys} for name, keys in tables.items()],
        "shelves": {table: {"files": desk.shelf(table), "picked": _picked(desk, table)} for table in SHELVES},
        "can_undo": desk.step > 0,
        "can_redo": desk.step < len(desk.history) - 1,
        "changes": dict(desk.changes),
    }


def shape(value: Any) -> dict[str, Any] | None:
    """Return the quantiles of a distribution and its parameters as written; None for what is one number."""
    if not isinstance(value, Quantity) or not value.is_uncertain:
        return None
    written = value.written()
    parameters = written if isinstance(written, dict) else {}
    return {
        "quantiles": [float(point) for point in value.quantile(SKETCH_LEVELS)],
        "parameters": {name: part for name, part in parameters.items() if isinstance(part, int | float | str)},
    }


def choices_of(key: str) -> list[str]:
    """Return the words that a key accepts, empty where it takes anything else."""
    _, field = declared_at(Scenario, tuple(key.split(".")))
    return [] if field is None else _literals(field.annotation)


def _literals(annotation: Any) -> list[str]:
    if get_origin(annotation) is Literal:
        return [str(choice) for choice in get_args(annotation)]
    if get_origin(annotation) is Union or type(annotation).__name__ == "UnionType":
        return [choice for part in get_args(annotation) for choice in _literals(part)]
    return []


def _can_be_turned(value: Any) -> bool:
    if isinstance(value, Quantity):
        return not any(name in str(value.written()) for name in ("'file'", "'column'"))
    return isinstance(value, bool | int | float | str)


def _written(value: Any) -> str:
    return toml_value(value.written() if isinstance(value, Quantity) else value)


def _finite(bound: float) -> float | None:
    return bound if math.isfinite(bound) else None


def _picked(desk: Desk, table: str) -> str | None:
    said = desk.changes.get(f"{table}.from")
    return None if said is None else said.strip('"').rpartition("/")[2]


def live_html() -> str:
    """Return the page; it asks for everything else with the token of its own address."""
    template = _own("live.html")
    return template.replace("/*style*/", live_style()).replace("/*script*/", live_script())


def live_style() -> str:
    """Return the style sheet of the workbench behind the colours of all our pages, light and dark."""
    light, dark = ("".join(f"--{name}:{pair[tone]};" for name, pair in COLOURS.items()) for tone in (0, 1))
    dark_screen = f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
    return f":root{{color-scheme:light dark;{light}}}{dark_screen}" + _own("live.css")


def live_script() -> str:
    """Return the script of the workbench: the editor of shapes first."""
    return _own("live.shape.js") + _own("live.js")


def live_policy() -> str:
    """Return the content policy: style and script known by their hashes, calls and frames to this server only."""
    known = content_policy(live_style(), live_script())
    return f"{known}; connect-src 'self'; frame-src 'self'; frame-ancestors 'none'"


def _own(name: str) -> str:
    return files("riskcalc.live").joinpath(name).read_text(encoding="utf-8")
