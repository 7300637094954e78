"""Data files that a scenario names: their paths, their hashes, and columns of observed values."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.scenario.complaints import did_you_mean, shown
from riskcalc.scenario.layers import Tree
from riskcalc.scenario.overrides import OVERRIDE
from riskcalc.scenario.problems import dotted
from riskcalc.scenario.sources import Sources, neighbour
from riskcalc.scenario.uncertain import WORST_LENGTH, number_in

#: Keys that name a data file; the modules that read those files check what is inside.
FILE_KEYS = (
    ("site", "weather", "file"),
    ("home", "demand", "file"),
    ("tariff", "series", "file"),
    ("prices", "path_file"),
)
#: Files that come with the solar library are named by this prefix; the model finds them.
SHIPPED_PREFIX = "pvlib:"
LARGEST_COLUMN_FILE = 20_000_000
LARGEST_DATA_FILE = 1_000_000_000


def data_paths(tree: Tree, sources: Sources, file: str) -> dict[str, Path]:
    """Return where each named data file lies; missing ones are noted in `sources.problems`."""
    found = {}
    for path in FILE_KEYS:
        given = _value_at(tree.tables, path)
        if not isinstance(given, str) or given.startswith(SHIPPED_PREFIX):
            continue
        key, where = dotted(path), tree.file_of(path, file)
        try:
            place = inside(where, given, key=key, sources=sources)
            _check_plain_file(place)
            sources.remember(place, _sha256(place))
        except InputError as error:
            sources.problems.extend(error.problems)
        except (OSError, ValueError) as error:
            reason = (getattr(error, "strerror", None) or str(error)).lower()
            accepted = "a data file that can be read; its path is relative to the file that names it"
            hint = neighbour(beside(where, given))
            sources.problems.append(Problem(where, key, f"{shown(given)}: {reason}", accepted, hint))
        else:
            found[key] = place
    return found


def fill_columns(tree: Tree, sources: Sources, file: str) -> list[tuple[str | int, ...]]:
    """Put the observed values into every empirical distribution that names a file; return the paths that failed."""
    failed = []
    for path, table in list(_empirical(tree.tables, ())):
        where = tree.file_of((*path, "file"), file)
        try:
            if "values" in table:
                raise one_problem(where, dotted((*path, "values")), shown(table["values"]), "values or file, not both")
            table["values"] = column_values(table, where, key=dotted(path), sources=sources)
        except InputError as error:
            sources.problems.extend(error.problems)
            failed.append(path)
    return failed


def column_values(table: dict[str, Any], where: str, *, key: str, sources: Sources) -> list[float]:
    """Return the numbers in one column of a CSV file with a header line.

    Raises
    ------
    InputError
        If the file or column is missing or a cell is not a finite number; the message names the line.
    """
    name, column = table["file"], table.get("column")
    if not isinstance(name, str) or not isinstance(column, str):
        wrong = "column" if isinstance(name, str) else "file"
        raise one_problem(
            where, f"{key}.{wrong}", shown(table.get(wrong)), f"the {wrong} with the observed values, in quotes"
        )
    path = inside(where, name, key=f"{key}.file", sources=sources)
    content = sources.read_bytes(path, largest=LARGEST_COLUMN_FILE, what=f"the CSV file that {key} names in {where}")
    try:
        rows = csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""))
        header = [cell.strip() for cell in next(rows, [])]
        if column not in header:
            hint = did_you_mean(column, header)
            raise one_problem(
                where, f"{key}.column", shown(column), "one of the columns " + ", ".join(header)[:200], hint
            )
        return _numbers(rows, header.index(column), path.as_posix(), column)
    except (UnicodeDecodeError, csv.Error) as error:
        raise one_problem(
            path.as_posix(), "", f"not a CSV file: {error}", "comma-separated text saved as UTF-8"
        ) from error


def beside(where: str, given: str) -> Path:
    """Return the path of a data file named in the file `where`; one named by an override is relative to here."""
    return Path(given) if where == OVERRIDE else Path(where).parent / given


def inside(where: str, given: str, *, key: str, sources: Sources) -> Path:
    """Return the path of a data file; one that a file names may not lead out of the scenario's folder.

    Raises
    ------
    InputError
        If it does. Whoever names a file by an override may name any.
    """
    hint = "" if where == OVERRIDE or "\0" in given else sources.leads_out(given, Path(where))
    if hint:
        accepted = f"a path relative to this file, inside the folder {sources.root.name or sources.root}"
        raise one_problem(where, key, shown(given), accepted, hint)
    return beside(where, given)


def _numbers(rows: Iterator[list[str]], place: int, file: str, column: str) -> list[float]:
    values: list[float] = []
    for line, row in enumerate(rows, start=2):
        cell = row[place].strip() if len(row) > place else ""
        if not any(part.strip() for part in row):
            continue
        try:
            number = number_in(float(cell))
        except ValueError:
            number = None
        if number is None:
            raise one_problem(file, f"line {line}, column {column}", shown(cell), "a finite number in every line")
        values.append(number)
        if len(values) > WORST_LENGTH:
            raise one_problem(
                file, f"column {column}", f"more than {WORST_LENGTH} values", f"at most {WORST_LENGTH} values"
            )
    if not values:
        raise one_problem(file, f"column {column}", "no values", "at least one line below the header")
    return values


def _empirical(
    table: dict[str, Any], path: tuple[str | int, ...]
) -> Iterator[tuple[tuple[str | int, ...], dict[str, Any]]]:
    for key, value in table.items():
        if isinstance(value, dict):
            if value.get("distribution") == "empirical" and "file" in value:
                yield (*path, key), value
            else:
                yield from _empirical(value, (*path, key))


def _value_at(table: Any, path: tuple[str, ...]) -> object:
    for part in path:
        table = table.get(part) if isinstance(table, dict) else None
    return table


def _check_plain_file(path: Path) -> None:
    """Raise for what is no file of a sensible size: reading a device or pipe might never end."""
    size = path.stat().st_size
    if not path.is_file():
        raise ValueError("a folder" if path.is_dir() else "no regular file")
    if size > LARGEST_DATA_FILE:
        raise ValueError(f"{size} bytes, more than {LARGEST_DATA_FILE}")


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
