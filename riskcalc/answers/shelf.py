"""The shelf: files of homes and kits, told apart by what they hold; and the sizes of a kit: modules, stacked batteries."""

from __future__ import annotations

import glob
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.scenario.layers import Tree
from riskcalc.scenario.sources import Sources


def shelf_files(patterns: Sequence[str]) -> list[Path]:
    """Return the files that match the patterns, each once, sorted; a pattern is a path that may hold * and ?.

    Raises
    ------
    InputError
        If a pattern matches nothing.
    """
    found: set[Path] = set()
    problems = []
    for pattern in patterns:
        # Windows leaves patterns to the program, and a quoted one reaches it on every system.
        paths = [Path(path) for path in glob.glob(pattern, recursive=True)]  # noqa: PTH207 - absolute patterns too
        if not paths:
            problems.append(Problem(pattern, "", "no such file", "a path or a pattern such as 'homes/*.toml'"))
        found.update(paths)
    if problems:
        raise InputError(problems)
    return sorted(found, key=lambda path: path.as_posix())


def told_apart(paths: Iterable[Path]) -> tuple[list[Path], list[Path]]:
    """Return (homes, kits) among files: a home file has a [home], a kit file a [kit] and no [home].

    Raises
    ------
    InputError
        If a file has neither.
    """
    homes, kits = [], []
    for path in paths:
        tables = Sources(path).read_toml(path)
        if isinstance(tables.get("home"), dict):
            homes.append(path)
        elif isinstance(tables.get("kit"), dict):
            kits.append(path)
        else:
            raise one_problem(path.as_posix(), "", "neither [home] nor [kit]", "a file with one of the two tables")
    return homes, kits


def tables_of(path: Path, names: Sequence[str]) -> frozenset[str]:
    """Return which of these tables a shelf file holds."""
    tables = Sources(path).read_toml(path)
    return frozenset(name for name in names if isinstance(tables.get(name), dict))


def kit_tables(path: Path) -> Mapping[str, Any]:
    """Return [kit] and [purchase] of a kit file as they stand, with what they take from other files, unchecked."""
    sources, tree = Sources(path), Tree()
    for table in tables_of(path, ("kit", "purchase")):
        sources.lay_shared(tree, table, path.name, path, anchor=path, chain=())
    if sources.problems:
        raise InputError(sources.problems)
    return tree.tables


def taking(table: str, path: Path) -> str:
    """Return the change of a scenario that takes a table from a shelf file."""
    relative = Path(os.path.relpath(path)).as_posix()
    return f'{table}.from="{relative}"'


@dataclass(frozen=True)
class Size:
    """One size of a kit; None leaves what the kit file says."""

    modules: int | None = None
    batteries: int | None = None
    is_any_other: bool = False

    @property
    def words(self) -> str:
        """How the size is called beside the kit, empty for the size of the file."""
        if self.is_any_other:
            return "other sizes"
        parts = []
        if self.modules is not None:
            parts.append(f"{self.modules} module{'s' if self.modules != 1 else ''}")
        if self.batteries is not None:
            parts.append(f"{self.batteries} batter{'ies' if self.batteries != 1 else 'y'}")
        return ", ".join(parts)

    def titled(self, kit: str) -> str:
        """Return what a reader calls a kit in this size."""
        return f"{kit}, {'in' if self.is_any_other else 'changed to'} {self.words}" if self.words else kit


#: Stands for all sizes of a kit that could not be looked at for one and the same reason.
OTHER = Size(is_any_other=True)


def sizes_asked(kit: Mapping[str, Any], *, modules: Sequence[int], batteries: Sequence[int]) -> list[Size]:
    """Return the sizes to look at, that of the file first; sizes that are the file's own appear once.

    A kit without modules has no size in modules, one without a battery none in batteries.
    """
    own_modules, own_batteries = modules_in(kit), batteries_in(kit)
    module_choices = [count for count in dict.fromkeys(modules) if count != own_modules] if own_modules else []
    battery_choices = [count for count in dict.fromkeys(batteries) if count != own_batteries] if own_batteries else []
    return [Size(m, b) for b in (None, *battery_choices) for m in (None, *module_choices)]


def modules_in(kit: Mapping[str, Any]) -> int:
    """Return the number of modules that a kit table names, 0 for none or what cannot be read."""
    total = 0
    for array in _tables(kit.get("arrays")):
        in_series, in_parallel = array.get("modules_in_series"), array.get("strings_in_parallel", 1)
        if isinstance(in_series, int) and isinstance(in_parallel, int):
            total += in_series * in_parallel
    return total


def batteries_in(kit: Mapping[str, Any]) -> int:
    """Return the number of batteries that a kit table names."""
    battery = kit.get("battery")
    if not isinstance(battery, dict):
        return 0
    extra = battery.get("extra_batteries", 0)
    return 1 + (extra if isinstance(extra, int) else 0)


def size_problem(tables: Mapping[str, Any], size: Size) -> str:
    """Return why a kit cannot be had in that size, empty where it can."""
    kit, purchase = tables.get("kit", {}), tables.get("purchase", {})
    if size.modules is not None and len(kit.get("arrays", {})) > 1:
        return "its modules stand in more than one array: sizes are swept for one array only"
    if size.modules is not None and "module_price" not in purchase:
        return "purchase.module_price is not given: other numbers of modules would cost nothing"
    if size.batteries is not None and "extra_battery_price" not in purchase:
        return "purchase.extra_battery_price is not given: more batteries would cost nothing"
    return ""


def arrangements(modules: int) -> list[tuple[int, int]]:
    """Return every (in series, in parallel) that makes up the number of modules, longest strings first."""
    return [(series, modules // series) for series in range(modules, 0, -1) if modules % series == 0]


def _tables(table: object) -> list[dict[str, Any]]:
    return [entry for entry in table.values() if isinstance(entry, dict)] if isinstance(table, dict) else []
