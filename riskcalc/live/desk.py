"""What lies on the desk: a scenario file, the changes laid over it, and the way back and forth between them.

A change is one dotted key and its value in TOML, just what `--set` takes. Nothing is written unless `save` is called.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from riskcalc.errors import one_problem
from riskcalc.output import write_files
from riskcalc.scenario import Scenario, read_scenario
from riskcalc.scenario.layers import override_tree

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
