"""Months measured after the purchase, read from a CSV file: one line per calendar month."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.table_file import csv_rows

#: Columns that may be measured, with what each holds.
QUANTITIES = {
    "import_kwh": "electricity taken from the grid in the month",
    "generation_kwh": "solar energy that went into the kit in the month, as its display or inverter shows it",
    "bill": "bill of the month, standing charge included, in the scenario's currency",
}
LARGEST_BYTES = 1_000_000
MOST_MONTHS = 720
WHAT = "a CSV file with the columns month (2026-04) and at least one of " + ", ".join(QUANTITIES)
_MONTH = re.compile(r"(\d{4})-(\d{2})")


@dataclass(frozen=True)
class Measured:
    """Measured calendar months in rising order; NaN where a month's figure is missing.

    `months` counts from January of year 0 (12 year + month - 1); `values` maps each quantity to (months,).
    """

    path: str
    sha256: str
    months: NDArray[np.int64]
    values: Mapping[str, NDArray[np.float64]]


def month_number(text: str) -> int | None:
    """Return 12 year + month - 1 for a month such as 2026-04, None for what is none."""
    match = _MONTH.fullmatch(text.strip())
    if match is None or not 1 <= int(match[2]) <= 12 or not 1990 <= int(match[1]) <= 2200:
        return None
    return 12 * int(match[1]) + int(match[2]) - 1


def month_name(number: int) -> str:
    """Return a month as it is written, such as 2026-04."""
    return f"{number // 12:04d}-{number % 12 + 1:02d}"


def read_measured(path: str | Path) -> Measured:
    """Return the months in a CSV file.

    Raises
    ------
    InputError
        With every fault and its line: no such file, no CSV, unknown columns, months that repeat or run backwards,
        figures that are no numbers or negative (a bill may be negative), no figure at all.
    """
    file = Path(path).as_posix()
    content = _content(Path(path))
    try:
        rows = list(csv_rows(file, content.decode("utf-8-sig"), WHAT, strict=True))
    except UnicodeDecodeError as error:
        raise one_problem(file, "", f"byte 0x{content[error.start]:02x} is not UTF-8", WHAT) from error
    header = [cell.strip() for cell in rows[0]] if rows else []
    _check_header(file, header)
    problems: list[Problem] = []
    months: list[int] = []
    table: list[list[float]] = []
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        cells = dict(zip(header, [*row, *[""] * len(header)], strict=False))
        number = month_number(cells["month"])
        if len(row) > len(header):
            problems.append(Problem(file, f"line {line}", f"{len(row)} cells", f"{len(header)}, as in the first line"))
        elif number is None:
            problems.append(Problem(file, f"line {line}, month", repr(cells["month"]), "a month such as 2026-04"))
        elif months and number <= months[-1]:
            accepted = "months in rising order, each once"
            problems.append(Problem(file, f"line {line}, month", cells["month"].strip(), accepted))
        else:
            months.append(number)
            table.append([_figure(cells.get(name, ""), name, file, line, problems) for name in QUANTITIES])
    if not problems and not any(math.isfinite(value) for row in table for value in row):
        problems.append(Problem(file, "", "no figure", "at least one measured month"))
    if len(months) > MOST_MONTHS:
        problems.append(Problem(file, "", f"{len(months)} months", f"at most {MOST_MONTHS}"))
    if problems:
        raise InputError(problems[:100])
    values = np.array(table)
    held = {name: values[:, place] for place, name in enumerate(QUANTITIES) if np.isfinite(values[:, place]).any()}
    return Measured(file, hashlib.sha256(content).hexdigest(), np.array(months), held)


def _content(path: Path) -> bytes:
    file = path.as_posix()
    try:
        if path.exists() and not path.is_file():
            raise one_problem(file, "", "a folder" if path.is_dir() else "no regular file", WHAT)
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise one_problem(file, "", f"{size} bytes", f"{WHAT}; at most {LARGEST_BYTES} bytes")
        return path.read_bytes()
    except FileNotFoundError as error:
        raise one_problem(file, "", "no such file", WHAT) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise one_problem(file, "", f"cannot be read: {reason}", WHAT) from error


def _check_header(file: str, header: list[str]) -> None:
    unknown = [name for name in header if name not in ("month", *QUANTITIES)]
    twice = sorted({name for name in header if header.count(name) > 1})
    if "month" not in header or unknown or twice or not set(header) & set(QUANTITIES):
        raise one_problem(file, "line 1", ", ".join(header) or "nothing", WHAT)


def _figure(text: str, name: str, file: str, line: int, problems: list[Problem]) -> float:
    if not text.strip():
        return math.nan
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    least = -math.inf if name == "bill" else 0.0
    if not math.isfinite(value) or value < least or abs(value) > 1e9 or "_" in text:
        accepted = "a number" if name == "bill" else "a number of 0 or more"
        hint = "write decimals with a point" if re.fullmatch(r"\s*-?\d+,\d+\s*", text) else ""
        problems.append(Problem(file, f"line {line}, {name}", repr(text[:60]), f"{accepted}, or an empty cell", hint))
        return math.nan
    return value
