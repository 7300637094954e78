"""A meter file's table as text, and what its cells say: dates, clock times, numbers."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.table_file import MOST_COLUMNS, parser_fault, table_text

if TYPE_CHECKING:
    import pandas as pd

DATE_ORDERS = ("day_first", "month_first", "year_first")
LAYOUTS = (
    "a table with times and readings in kWh, Wh, W or kW: a reading per line or a day per line with 24, 48 or 96 "
    "readings; see the guide's section on meter files"
)
TIME_WORDS = "local time such as 2024-03-31 01:30, or all rows with their offset such as 2024-03-31T01:30+01:00"
VALUE_WORDS = "a number of 0 or more; an empty field for a gap"

_DATE_TEXT = r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|\d{1,2}[-. ][A-Za-z]{3,9}[-. ,]+\d{2,4}|(?:19|20)\d{6}"
CLOCK_TEXT = r"\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?(?: ?[AaPp][Mm])?"
_DATE = re.compile(rf"(?:{_DATE_TEXT})")
_CLOCK = re.compile(rf"(?:{CLOCK_TEXT})")
_MOMENT = re.compile(rf"(?:{_DATE_TEXT})[ T,]+(?:{CLOCK_TEXT}) ?(?:Z|[+-]\d\d:?\d\d)?")
_NUMBER = re.compile(r"[-+]?\d[\d.,' ]*(?:[eE][-+]?\d+)?")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FOOTER = re.compile(r"\s*(?:total|sum|summe|gesamt|end of|#|$)", re.IGNORECASE)
_SAMPLE = 300


@dataclass(frozen=True)
class MeterFormat:
    """What a scenario says of its meter file; what it leaves out is found in the file.

    `columns` and `registers` are summed; `unit` of UNITS; `dates` of DATE_ORDERS; `label` "start" or "end": what part of
    its interval a time names; `clock` "wall", "standard" (no summer time) or "utc", for times without an offset. `solar`:
    the columns wanted are those of solar modules, not of use; `key` is the table of the scenario that says all this.
    """

    columns: tuple[str, ...] = ()
    registers: tuple[str, ...] = ()
    unit: str | None = None
    dates: str | None = None
    label: str | None = None
    clock: str | None = None
    solar: bool = False
    key: str = "home.demand"


@dataclass(frozen=True)
class Table:
    """The body of a file as text, its first line, and which columns hold what."""

    path: Path
    cells: pd.DataFrame
    line: NDArray[np.int64]
    names: tuple[str, ...]
    preamble: str
    separator: str

    def problem(self, row: int, column: int, accepted: str, count: int = 1) -> Problem:
        """Return what is wrong with one cell, and how many others have the same fault."""
        hint = f"{count} rows have this fault; the first is shown" if count > 1 else ""
        where = f"line {self.line[row]}, {self.names[column]}"
        return Problem(str(self.path), where, repr(str(self.cells.iloc[row, column])), accepted, hint)


def read_table(path: Path) -> Table:
    """Return the table in a file of text, whatever parts its cells and whatever lines stand above it."""
    import pandas as pd

    text = table_text(path, accepted=LAYOUTS, any_head=True)
    lines = text.splitlines()
    separator = _separator(lines)
    rows = [_parted(line, separator) for line in lines[:_SAMPLE]]
    first = next((index for index, row in enumerate(rows) if _is_data(row)), None)
    if first is None:
        raise one_problem(path, "line 1", lines[0][:200] if lines else "an empty file", LAYOUTS)
    head = next((index for index in range(first - 1, -1, -1) if any(cell.strip() for cell in rows[index])), None)
    header = rows[head] if head is not None and len(rows[head]) > 1 else []
    usual = Counter(len(row) for row in rows[first:] if row).most_common(1)[0][0]
    width = max(len(header), usual)
    if width > MOST_COLUMNS:
        raise one_problem(path, f"line {first + 1}", f"{width} columns", f"{LAYOUTS}; at most {MOST_COLUMNS} columns")
    _check_width(path, lines, first, separator, width)
    body = "\n".join(lines[first:])
    try:
        cells = pd.read_csv(
            io.StringIO(body), sep=separator, header=None, names=list(range(width)), usecols=range(width), index_col=False,
            dtype=str, keep_default_na=False, skip_blank_lines=False, skipinitialspace=True,
        )  # fmt: skip
    except pd.errors.ParserError as error:
        raise one_problem(path, "", parser_fault(str(error), first), LAYOUTS) from error
    cells = cells.fillna("").apply(lambda column: column.str.strip())
    full = (cells != "").any(axis=1).to_numpy().copy()
    while full.any() and _FOOTER.match(str(cells[0].iloc[int(np.flatnonzero(full)[-1])])) and full.sum() > 2:
        full[np.flatnonzero(full)[-1]] = False
    line = np.flatnonzero(full) + first + 1
    names = tuple(
        (header[index].strip() if index < len(header) and header[index].strip() else f"column {index + 1}")
        for index in range(width)
    )
    preamble = "\n".join(lines[: max(first - 1, 0)])
    return Table(path, cells[full].reset_index(drop=True), line, names, preamble, separator)


def _separator(lines: list[str]) -> str:
    """Return what parts the cells: the first of tab, semicolon, bar, comma that most lines have alike."""
    bulk = [line for line in lines[-_SAMPLE:] if line.strip()]
    for separator in ("\t", ";", "|", ","):
        counts = Counter(len(_parted(line, separator)) for line in bulk)
        width, often = counts.most_common(1)[0] if counts else (1, 0)
        if width > 1 and often >= 0.6 * len(bulk):
            return separator
    return ","


def _parted(line: str, separator: str) -> list[str]:
    """Return the cells of a line; none where it is no line of a table."""
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:  # a cell without end, or a character that no line holds
        return []


def _is_data(row: list[str]) -> bool:
    cells = [cell.strip() for cell in row]
    dated = any(_DATE.fullmatch(cell) or _MOMENT.fullmatch(cell) for cell in cells)
    return dated and len(cells) > 1


def _check_width(path: Path, lines: list[str], first: int, separator: str, width: int) -> None:
    """Refuse a line with more cells than the others; empty ones at its end do not count."""
    for index in range(first, len(lines)):
        if lines[index].count(separator) < width:
            continue
        row = _parted(lines[index], separator)
        if any(cell.strip() for cell in row[width:]):
            accepted = f"{width} cells, as on most lines"
            hint = "is a decimal comma taken for a separator?" if separator == "," else ""
            raise one_problem(path, f"line {index + 1}", f"{len(row)} cells", accepted, hint)


def kind_of(column: pd.Series) -> str:
    """Return "moment", "date", "clock", "number", "text" or "empty": what most cells of a column are."""
    sample = [cell for cell in (*column.iloc[:_SAMPLE], *column.iloc[-50:]) if cell]
    if not sample:
        return "empty"
    for kind, pattern in (("moment", _MOMENT), ("date", _DATE), ("clock", _CLOCK), ("number", _NUMBER)):
        if sum(bool(pattern.fullmatch(cell)) for cell in sample) >= 0.6 * len(sample):
            return kind
    return "text"


def dates_of(
    table: Table, column: int, wanted: MeterFormat, text: pd.Series | None = None
) -> tuple[NDArray[np.datetime64], str]:
    """Return the dates of a column, and in words how they are written.

    Raises
    ------
    InputError
        Where a cell is no date, or day and month cannot be told apart.
    """
    import pandas as pd

    codes, unique = pd.factorize(table.cells[column] if text is None else text)
    parts = [_date_parts(str(cell)) for cell in unique]
    order = wanted.dates or _order(table, column, [part for part in parts if part], wanted.key)
    found = np.full(len(unique), np.datetime64("NaT"), dtype="datetime64[m]")
    for index, part in enumerate(parts):
        if part:
            first, second, third = part
            year, month, day = {
                "year_first": (first, second, third), "day_first": (third, second, first),
                "month_first": (third, first, second),
            }["year_first" if first > 999 else order]  # fmt: skip
            try:
                found[index] = np.datetime64(date(year + 2000 if year < 100 else year, month, day), "m")
            except ValueError:
                continue
    bad = np.isnat(found[codes])
    if bad.any():
        raise InputError(table.problem(int(np.argmax(bad)), column, TIME_WORDS, int(bad.sum())))
    return found[codes], order.replace("_", " ")


def _date_parts(text: str) -> tuple[int, int, int] | None:
    """Return the three numbers of a date in the order they stand, months by name made numbers."""
    if re.fullmatch(r"(?:19|20)\d{6}", text):
        return int(text[:4]), int(text[4:6]), int(text[6:])
    parts = re.split(r"[./\- ,]+", text.strip())
    if len(parts) != 3:
        return None
    numbers = [_MONTHS.index(part[:3].lower()) + 1 if part[:3].lower() in _MONTHS else part for part in parts]
    try:
        first, second, third = (int(number) for number in numbers)
    except ValueError:
        return None
    return first, second, third


def _order(table: Table, column: int, parts: list[tuple[int, int, int]], key: str) -> str:
    """Return in which order dates are written, from the dates themselves."""
    if all(first > 999 for first, _, _ in parts):
        return "year_first"
    cells = table.cells[column].iloc[:_SAMPLE]
    if any(first > 12 for first, _, _ in parts) or cells.str.contains(r"[A-Za-z]{3}|^\d+\.\d+\.", regex=True).all():
        return "day_first"
    if any(second > 12 for _, second, _ in parts):
        return "month_first"
    given = f"dates such as {cells.iloc[0]}, day or month first"
    accepted = f'{key}.dates = "day_first" or "month_first"'
    raise one_problem(table.path, f"line {table.line[0]}, {table.names[column]}", given, accepted)


def clocks_of(table: Table, column: int, text: pd.Series) -> NDArray[np.timedelta64]:
    """Return the time since midnight of clock times; InputError where a cell is none."""
    import pandas as pd

    codes, unique = pd.factorize(text)
    minutes = np.array([_minute(str(cell)) for cell in unique])
    bad = minutes[codes] < 0
    if bad.any():
        raise InputError(table.problem(int(np.argmax(bad)), column, TIME_WORDS, int(bad.sum())))
    return minutes[codes].astype("timedelta64[m]")


def _minute(text: str) -> int:
    """Return the minute of the day of a clock time, 24:00 included; -1 where it is none."""
    found = re.fullmatch(r"(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?(?: ?([AaPp])[Mm])?", text.strip())
    if not found:
        return -1
    hour, minute, half = int(found[1]), int(found[2]), (found[4] or "").lower()
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    return hour * 60 + minute if hour * 60 + minute <= 1440 and minute < 60 else -1


def numbers_of(table: Table, column: int, *, below_zero: bool = False) -> NDArray[np.float64]:
    """Return the values of a column, not a number where the field is empty; `below_zero` lets negative ones pass.

    Raises
    ------
    InputError
        Where a cell is no number, or is negative.
    """
    import pandas as pd

    text = table.cells[column]
    plain = text
    if text.str.contains(",", regex=False).any():
        comma_last = text.str.rfind(",") > text.str.rfind(".")
        decimal = bool(comma_last[text.str.contains(",", regex=False)].all())
        plain = text.str.replace("." if decimal else ",", "", regex=False).str.replace(",", ".", regex=False)
    values = pd.to_numeric(plain.where(plain != "", None), errors="coerce").to_numpy(dtype=float)
    problems = []
    for bad, accepted in (
        (~np.isfinite(values) & (text != "").to_numpy(), VALUE_WORDS),
        ((values < 0.0) & (not below_zero), "0 or more; export is a column of its own and not read here"),
    ):
        if bad.any():
            problems.append(table.problem(int(np.argmax(bad)), column, accepted, int(bad.sum())))
    if problems:
        raise InputError(problems)
    return values
