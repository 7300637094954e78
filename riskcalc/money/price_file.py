"""A price path from a file: one row per year, the first being the year of purchase."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.table_file import csv_rows
from riskcalc.types import Floats

YEAR, IMPORT, EXPORT, INFLATION = "year", "import", "export", "inflation"
LARGEST_FILE = 1_000_000


@dataclass(frozen=True)
class FilePath:
    """Import and export price over the first year's, and yearly inflation, (years,) each; None where it has none."""

    import_path: Floats
    export_path: Floats | None
    inflation_per_year: Floats | None


def read_price_file(path: str | Path, *, years: int) -> FilePath:
    """Return the first `years` rows of a CSV file with the columns year, import and perhaps export and inflation.

    Import and export are prices or an index of them, in money of the year; only their ratio to the first row counts.
    Inflation is a decimal per year, that from the year before; its first row is not used.

    Raises
    ------
    InputError
        With the line: a header, year or figure that cannot be read, years that do not follow each other, a price that
        is not above 0 (import) or has no ratio (export begins at 0), fewer rows than `years`.
    """
    file = Path(path)
    try:
        stamp = file.stat()
    except OSError as error:
        raise one_problem(file, "", "no such file", "a file of prices by year") from error
    whole = _read(file, stamp.st_mtime_ns, stamp.st_size)
    rows = len(whole.import_path)
    if rows < years:
        raise one_problem(file, YEAR, f"{rows} years", f"at least {years} years, the horizon")
    cut = [None if part is None else part[:years] for part in (whole.export_path, whole.inflation_per_year)]
    return FilePath(whole.import_path[:years], *cut)


@lru_cache(maxsize=4)
def _read(file: Path, _changed: int, size: int) -> FilePath:
    if size > LARGEST_FILE:
        raise one_problem(file, "", f"{size} bytes", f"a file of prices by year of at most {LARGEST_FILE} bytes")
    try:
        rows = csv_rows(file, file.read_bytes().decode("utf-8-sig"), "comma-separated text, one header line")
        header = [cell.strip().lower() for cell in next(rows, [])]
        table = [(line, row) for line, row in enumerate(rows, start=2) if any(cell.strip() for cell in row)]
    except UnicodeDecodeError as error:
        raise one_problem(file, "", "not a CSV file in UTF-8", "comma-separated text, one header line") from error
    if YEAR not in header or IMPORT not in header:
        accepted = f"a header line with {YEAR}, {IMPORT} and, if known, {EXPORT}, {INFLATION}"
        raise one_problem(file, "line 1", ",".join(header)[:80] or "nothing", accepted)
    if not table:
        raise one_problem(file, "line 2", "no rows", "one row per year")
    problems: list[Problem] = []
    columns = {
        name: _column(table, header.index(name), name, file, problems)
        for name in (YEAR, IMPORT, EXPORT, INFLATION)
        if name in header
    }
    if problems:
        raise InputError(problems[:5])
    steps = np.diff(columns[YEAR])
    if (steps != 1.0).any():
        line, _ = table[int(np.argmax(steps != 1.0)) + 1]
        raise one_problem(
            file, f"line {line}, {YEAR}", "not the year after the one above", "years in order, none left out"
        )
    for name in (IMPORT, EXPORT):
        low = columns.get(name, np.ones(1)) <= 0.0 if name == IMPORT else columns.get(name, np.ones(1))[:1] == 0.0
        if low.any():
            line, row = table[int(np.argmax(low))]
            accepted = (
                "a price above 0" if name == IMPORT else "a price other than 0: the years after are told by their ratio"
            )
            raise one_problem(file, f"line {line}, {name}", row[header.index(name)].strip(), accepted)
    if (np.abs(columns.get(INFLATION, np.zeros(1))) > 0.5).any():
        line, row = table[int(np.argmax(np.abs(columns[INFLATION]) > 0.5))]
        given = row[header.index(INFLATION)].strip()
        raise one_problem(file, f"line {line}, {INFLATION}", given, "a decimal per year, such as 0.02 for 2 %")
    ratio = {name: columns[name] / columns[name][0] for name in (IMPORT, EXPORT) if name in columns}
    return FilePath(ratio[IMPORT], ratio.get(EXPORT), columns.get(INFLATION))


def _column(table: list[tuple[int, list[str]]], place: int, name: str, file: Path, problems: list[Problem]) -> Floats:
    values = []
    for line, row in table:
        cell = row[place].strip() if len(row) > place else ""
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            problems.append(Problem(str(file), f"line {line}, {name}", repr(cell), "a finite number in every line"))
        values.append(value)
    return np.array(values)
