"""The shelf: files of homes and kits, found by pattern and told apart by what they hold."""

from __future__ import annotations

import glob
import os
from collections.abc import Iterable, Mapping, Sequence
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
