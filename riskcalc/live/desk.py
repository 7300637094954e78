"""What lies on the desk: a scenario file, the changes laid over it, the way back; and the page that shows every key.

A change is one dotted key and its value in TOML, just what `--set` takes. Nothing is written unless `save` is called.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from importlib.resources import files
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

from riskcalc.errors import one_problem
from riskcalc.output import write_files
from riskcalc.pages.document import content_policy
from riskcalc.pages.look import COLOURS
from riskcalc.scenario import Scenario, assumptions, read_scenario
from riskcalc.scenario.fields import declared_at
from riskcalc.scenario.layers import override_tree
from riskcalc.scenario.new.text import toml_value
from riskcalc.scenario.schema import bounds_of, unit_of
from riskcalc.scenario.uncertain import SHARED_KEYS
from riskcalc.uncertainty.bounded import Beta, Pert, Triangular, Uniform
from riskcalc.uncertainty.endless import Lognormal, Normal
from riskcalc.uncertainty.quantity import SKETCH_LEVELS, Fixed, Quantity

#: Tables that may be taken from a shelf, and the folder beside the scenario where that shelf lies.
SHELVES = {"home": "homes", "kit": "kits", "tariff": "tariffs"}
#: Keys of a value that name a file: the workbench reads none but the scenario's own.
NAMES_A_FILE = ("from", "file", "csv")
#: More than anyone turns by hand; a page gone wild must not fill the memory.
MOST_CHANGES, MOST_STEPS_BACK = 200, 500
LONGEST_VALUE = 2_000

Changes = Mapping[str, str]


@dataclass
class Desk:
    """A scenario file and the changes made to it so far; `step` is where in the history we stand."""

    path: Path
    history: list[Changes] = field(default_factory=lambda: [{}])
    step: int = 0

    @property
    def changes(self) -> Changes:
        """The changes that hold now: dotted key -> value in TOML."""
        return self.history[self.step]

    @property
    def overrides(self) -> list[str]:
        """The changes as `--set` takes them."""
        return overrides_of(self.changes)

    def scenario(self) -> Scenario:
        """Return the scenario with its changes.

        Raises
        ------
        InputError
            If the file or a change no longer reads.
        """
        return read_scenario(self.path, self.overrides)

    def change(self, key: str, value: str | None) -> Scenario:
        """Set a key, or take its change back where `value` is None, and return the changed scenario.

        Raises
        ------
        InputError
            If the value is wrong or names a file; the desk is left as it was.
        """
        if value is None and key not in self.changes:
            raise one_problem("the workbench", key, "nothing to take back", "a key that was changed")
        after = {name: text for name, text in self.changes.items() if name != key}
        if value is not None:
            _check_value(key, value)
            after[key] = value
        return self._moved_to(after)

    def pick(self, table: str, name: str) -> Scenario:
        """Take a home, kit or tariff from its shelf; changes to that table give way to what it holds.

        Raises
        ------
        InputError
            If there is no such shelf or file.
        """
        if name not in self.shelf(table):
            raise one_problem(self.path.name, f"{table}.from", name, f"one of {', '.join(self.shelf(table)) or 'none'}")
        after = {key: text for key, text in self.changes.items() if not key.startswith(f"{table}.")}
        after[f"{table}.from"] = f'"{Path(os.path.relpath(self.path.parent / SHELVES[table] / name)).as_posix()}"'
        return self._moved_to(after)

    def shelf(self, table: str) -> list[str]:
        """Return the files that lie on the shelf of a table, in the order of their names."""
        if table not in SHELVES:
            return []
        return sorted(path.name for path in (self.path.parent / SHELVES[table]).glob("*.toml"))

    def undo(self) -> Scenario:
        """Go one change back, as far as there is one."""
        self.step = max(0, self.step - 1)
        return self.scenario()

    def redo(self) -> Scenario:
        """Go one change forward again, as far as there is one."""
        self.step = min(len(self.history) - 1, self.step + 1)
        return self.scenario()

    def reset(self) -> Scenario:
        """Return to the scenario as the file has it; this can be undone as well."""
        return self._moved_to({})

    def save(self, name: str) -> Path:
        """Write the scenario with its changes beside the file it came from and return where it lies.

        Comments and the order of the file stay. What was picked from a shelf is named by `from`.

        Raises
        ------
        InputError
            If the name is not one of a new file in that folder, or the folder cannot be written.
        """
        path = self.path.parent / name
        if Path(name).name != name or path.suffix != ".toml" or not name.removesuffix(".toml").strip("."):
            raise one_problem(name, "", "this name", "the name of a file that ends in .toml, without a folder")
        if path.exists():
            raise one_problem(path.as_posix(), "", "a file that is there already", "a new name: nothing is overwritten")
        return write_files(self.path.parent, {name: changed_text(self.path, self.changes)})[0]

    def _moved_to(self, after: Changes) -> Scenario:
        if len(after) > MOST_CHANGES:
            raise one_problem(self.path.name, "", f"{len(after)} changes", f"at most {MOST_CHANGES}: save the scenario")
        scenario = read_scenario(self.path, overrides_of(after))
        if after != self.changes:
            self.history = [*self.history[: self.step + 1], after][-MOST_STEPS_BACK:]
            self.step = len(self.history) - 1
        return scenario


def overrides_of(changes: Changes) -> list[str]:
    """Return changes as `--set` takes them."""
    return [f"{key}={value}" for key, value in changes.items()]


def changed_text(path: Path, changes: Changes) -> str:
    """Return the text of a scenario file with changes laid into it; its comments and its order stay."""
    import tomlkit

    document = tomlkit.parse(path.read_text(encoding="utf-8"))
    for override in overrides_of(changes):
        tree, problem = override_tree(override)
        if problem is not None or tree is None:
            raise one_problem(path.name, "", override, "a change that reads")
        _lay(document, tree, path.parent)
    return tomlkit.dumps(document)


def _lay(table: Any, tree: Mapping[str, Any], folder: Path) -> None:
    """Lay the one key of `tree` into a table of the document; a distribution replaces what was there."""
    import tomlkit

    for key, value in tree.items():
        if isinstance(value, dict) and not ("distribution" in value or "value" in value):
            if not hasattr(table.get(key), "items"):
                table[key] = tomlkit.table()
            _lay(table[key], value, folder)
        elif isinstance(value, dict):
            inline = tomlkit.inline_table()
            inline.update(value)
            table[key] = inline
        elif key == "from":
            table[key] = Path(os.path.relpath(value, folder)).as_posix()
        else:
            table[key] = value


def _check_value(key: str, value: str) -> None:
    """Refuse what names a file or is longer than any value."""
    tree, problem = override_tree(f"{key}={value}")
    if problem is not None or tree is None or len(value) > LONGEST_VALUE:
        raise one_problem("the workbench", key, value[:80], "a number, a text in quotes, or a distribution in braces")
    if any(name in NAMES_A_FILE for name in _names_in(tree)):
        raise one_problem("the workbench", key, value, "a value that names no file: write files into the scenario")


def _names_in(tree: Any) -> list[str]:
    """Return every key of a tree of tables and lists."""
    if isinstance(tree, dict):
        return [*tree, *(name for value in tree.values() for name in _names_in(value))]
    return [name for value in tree for name in _names_in(value)] if isinstance(tree, list) else []


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
