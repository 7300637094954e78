"""Writes scenarios/KEYS.md: every key of a scenario with its meaning, what it accepts and what holds without it.

python tests/studies/keys.py
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

from riskcalc.scenario.fields import all_keys, declared_at, declared_bounds, table_in
from riskcalc.scenario.schema import Scenario
from riskcalc.scenario.uncertain import said_unit
from riskcalc.uncertainty.quantity import Fixed, Quantity

TARGET = Path(__file__).parents[2] / "scenarios" / "KEYS.md"
#: Tables that stand in a list, one after the other.
LISTS = ("correlations.<name>", "claims.<name>")
HEAD = """\
# Every key

Written by `python tests/studies/keys.py` from what the program checks; do not edit. `<name>` stands for a name that you
choose, such as `night` for a rate. Most numbers may be uncertain: see [README](README.md#numbers-you-are-unsure-of).
Where the last column says "needed", the key has to be given once its table is there.
"""


def leaves() -> Iterator[str]:
    """Yield every key that is not itself a table."""
    for key in all_keys(Scenario):
        _, field = declared(key)
        if field is not None and (table_in(field.annotation)[0] is None or key == "home.appliances"):
            yield key


def declared(key: str) -> tuple[Any, Any]:
    """Return the table and the declaration of a key."""
    return declared_at(Scenario, tuple(key.replace("<name>", "x").split(".")))


def page() -> str:
    """Return the whole page."""
    tables: dict[str, list[str]] = {}
    for key in leaves():
        tables.setdefault(key.rpartition(".")[0], []).append(_row(key))
    lines = [HEAD]
    for table, rows in tables.items():
        title = (
            f"[[{table.removesuffix('.<name>')}]]" if table in LISTS else f"[{table}]" if table else "Top of the file"
        )
        lines += [f"## {title}", "", "| key | meaning | accepts | without it |", "|---|---|---|---|", *rows, ""]
    return "\n".join(lines)


def _row(key: str) -> str:
    _, field = declared(key)
    extra = field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}
    cells = (f"`{key.rpartition('.')[2]}`", field.description or "", _accepts(key, field), _without(field, extra))
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _accepts(key: str, field: Any) -> str:
    words = _choices(field.annotation)
    if words:
        return ", ".join(f"`{word}`" for word in words)
    bounds = declared_bounds(Scenario, key.replace("<name>", "x"))
    if bounds.low == float("-inf") and bounds.high == float("inf"):
        unit = said_unit(bounds.unit)
        return f"a number{unit}" if unit else ""
    return bounds.words().replace("{money}", "money")


def _choices(annotation: Any) -> list[str]:
    """Return the words of a Literal within an annotation."""
    if getattr(annotation, "__origin__", None) is not None and "Literal" in str(annotation.__origin__):
        return [str(word) for word in get_args(annotation)]
    if annotation is bool:
        return ["true", "false"]
    return [word for part in get_args(annotation) if part is not annotation for word in _choices(part)]


def _without(field: Any, extra: dict[str, Any]) -> str:
    if field.is_required():
        return "needed"
    default, source = field.default, str(extra.get("source", ""))
    if isinstance(default, Fixed):
        return f"{default.value:g} ({source})"
    if isinstance(default, Quantity):
        return f"{default.words()} ({source})"
    if default is None or default in ("", (), {}):
        return source
    return f"{str(default).lower() if isinstance(default, bool) else default} ({source})"


if __name__ == "__main__":
    TARGET.write_text(page(), encoding="utf-8")
    print(TARGET)
