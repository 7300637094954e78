"""What a meter file's columns mean: separator, header, dates, units, registers, found once for every usual layout.

Each layout comes out as one list of readings. Where a file can be read in two ways the error names the choices and the
key that decides; nothing is guessed that would change the year's energy.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from riskcalc.demand.meter_cells import (
    CLOCK_TEXT,
    LAYOUTS,
    TIME_WORDS,
    MeterFormat,
    Table,
    clocks_of,
    dates_of,
    kind_of,
    numbers_of,
    read_table,
)  # fmt: skip
from riskcalc.errors import InputError, one_problem

if TYPE_CHECKING:
    import pandas as pd

_PARTS = re.compile(rf"^(?P<date>.*?)(?:[ T,]+(?P<clock>{CLOCK_TEXT}))?$")
_OFFSET = r"\d\d ?(?:Z|[+-]\d\d:?\d\d)$"
#: What one of each unit is: mean power over the interval, or the energy in it.
UNITS = {"kWh": "energy", "Wh": "energy", "MWh": "energy", "W": "power", "kW": "power"}
_UNIT_OF_WORD = {unit.lower(): unit for unit in UNITS} | {"watt": "W", "watts": "W", "kilowatt": "kW"}
#: Readings that a line may hold for a day.
DAY_COLUMNS = (24, 48, 96)
#: Words in the names of columns and registers.
_NOT_USE = re.compile(
    r"export|feed|inject|return|generat|solar|\bpv\b|einspeis|reactive|kvar|cost|price|amount|temp|status|quality|flag"
    r"|serial|mpan|mprn|nmi|\bid\b|number|nummer|total|\bsum\b|summe|interval",
    re.IGNORECASE,
)
_REGISTER = re.compile(
    r"day|night|peak|off|shoulder|register|tariff|\brate\b|\bt\d|\bht\b|\bnt\b|\bhp\b|\bhc\b|high|low|normal|controlled",
    re.IGNORECASE,
)
_NOT_SOLAR = re.compile(
    r"use|usage|consum|demand|load|verbrauch|bezug|import|export|feed|battery|grid|irradi|ghi|dni|dhi|reactive|kvar|cost|price"
    r"|amount|temp|status|quality|flag|serial|\bid\b|number|nummer|total|\bsum\b|summe|interval|volt|amp|current|freq|effic",
    re.IGNORECASE,
)
_SOLAR = re.compile(r"solar|pv|generat|produc|yield|array|string|mppt|roof|erzeug|ertrag", re.IGNORECASE)
#: What is wanted, what is not it, and what may be summed: of a meter of use, of solar modules.
_WANTED = {False: ("the use", _NOT_USE, _REGISTER), True: ("the power of the modules", _NOT_SOLAR, _SOLAR)}
_END = re.compile(r"\bend|\bto\b|until|\bbis\b|\bende", re.IGNORECASE)


@dataclass(frozen=True)
class Readings:
    """Readings in the order of the file: when, how much in `unit`, and on which line each stands.

    `label` says what part of its interval a time names, None where the file does not tell; `name` is that of the column
    of values; `understood` is what was found, in words, by subject.
    """

    time: pd.DatetimeIndex
    value: NDArray[np.float64]
    line: NDArray[np.int64]
    unit: str
    label: str | None
    name: str
    time_name: str
    understood: dict[str, str] = field(default_factory=dict)


def read_readings(path: Path, wanted: MeterFormat) -> Readings:
    """Return the readings of a meter file in any usual layout.

    Raises
    ------
    InputError
        Unreadable file, no table in it, times or values that are neither, or a file that can be read in two ways.
    """
    table = read_table(path)
    kinds = [kind_of(table.cells[index]) for index in range(len(table.names))]
    days = _day_columns(table, kinds)
    if days is not None:
        return _from_days(table, kinds, days, wanted)
    return _from_rows(table, kinds, wanted)


def _day_columns(table: Table, kinds: list[str]) -> list[int] | None:
    """Return the columns of a day's readings where each line holds a day, in their order, else None."""
    if "date" not in kinds or "moment" in kinds:
        return None
    start = kinds.index("date") + 1
    clocks = [index for index, name in enumerate(table.names) if re.match(rf"(?:.*\D)?{CLOCK_TEXT}(?:\D.*)?$", name)]
    columns = clocks if len(clocks) in DAY_COLUMNS else []
    if not columns:
        run = []
        for index in range(start, len(kinds)):
            if kinds[index] in ("number", "empty"):
                run.append(index)
            elif len(run) >= DAY_COLUMNS[0]:
                break
            else:
                run = []
        columns = [
            index for index in run if not re.search(r"total|\bsum|tages|daily", table.names[index], re.IGNORECASE)
        ]
        while columns and kinds[columns[-1]] == "empty" and len(columns) not in DAY_COLUMNS:
            columns.pop()
        #: Two or four columns more hold the hour that autumn repeats.
        columns = next((columns[:count] for count in DAY_COLUMNS if len(columns) in (count, count * 25 // 24)), [])
    return columns or None


def _from_days(table: Table, kinds: list[str], columns: list[int], wanted: MeterFormat) -> Readings:
    import pandas as pd

    at = kinds.index("date")
    dates, order = dates_of(table, at, wanted)
    rows, several = _chosen_registers(table, kinds, dates.astype(np.int64), (at, *columns), wanted)
    per_day = len(columns)
    values = np.stack([numbers_of(table, index, below_zero=wanted.solar) for index in columns], axis=1)[rows]
    day, line = dates[rows], table.line[rows]
    unique, place = np.unique(day, return_inverse=True)
    if len(unique) < len(day) and not several:
        again = int(np.flatnonzero(np.bincount(place)[place] > 1)[1])
        raise InputError(table.problem(again, at, "each day once"))
    if several:
        summed = np.zeros((len(unique), per_day))
        np.add.at(summed, place, values)
        values, day, line = summed, unique, line[np.unique(place, return_index=True)[1]]
    unit = _unit(table, wanted, columns)
    minutes = np.arange(per_day) * (1440 // per_day)
    time = (day[:, None] + minutes.astype("timedelta64[m]")[None, :]).ravel()
    said = {"layout": f"a day per line, {per_day} readings", "dates": order, "unit": unit}
    return Readings(
        pd.DatetimeIndex(time), values.ravel(), np.repeat(line, per_day), unit, "start", table.names[columns[0]],
        table.names[at], said,
    )  # fmt: skip


def _from_rows(table: Table, kinds: list[str], wanted: MeterFormat) -> Readings:
    time, label, used, order = _times(table, kinds, wanted)
    columns = _value_columns(table, kinds, used, wanted)
    unit = _unit(table, wanted, columns)
    instant = time.as_unit("s").asi8
    rows, several = _chosen_registers(table, kinds, instant, (*used, *columns), wanted)
    values = np.zeros(len(time))
    for index in columns:
        values += numbers_of(table, index, below_zero=wanted.solar)
    time, values, line = time[rows], values[rows], table.line[rows]
    if several:
        time, values, line = _summed(time, values, line)
    if len(time) > 1 and np.mean(np.diff(time.as_unit("s").asi8) < 0) > 0.9:
        time, values, line = time[::-1], values[::-1], line[::-1]
    names = " + ".join(table.names[index] for index in columns)
    said = {"layout": "a reading per line", "dates": order, "unit": unit, "column": names}
    return Readings(time, values, line, unit, wanted.label or label, names, table.names[used[0]], said)


def _summed(
    time: pd.DatetimeIndex, values: NDArray[np.float64], line: NDArray[np.int64]
) -> tuple[pd.DatetimeIndex, NDArray[np.float64], NDArray[np.int64]]:
    """Return one reading for each time: the sum over the registers."""
    unique, first, place = np.unique(time.as_unit("s").asi8, return_index=True, return_inverse=True)
    return time[first], np.bincount(place, weights=values, minlength=len(unique)).astype(np.float64), line[first]


def _times(
    table: Table, kinds: list[str], wanted: MeterFormat
) -> tuple[pd.DatetimeIndex, str | None, tuple[int, ...], str]:
    """Return the times, what part of the interval they name, the columns they stand in, and how dates are written."""
    moments = [index for index, kind in enumerate(kinds) if kind == "moment"]
    dates = [index for index, kind in enumerate(kinds) if kind == "date"]
    clocks = [index for index, kind in enumerate(kinds) if kind == "clock"]
    candidates: list[tuple[int, ...]] = [(index,) for index in moments] or [
        (dates[0], index) for index in clocks if dates
    ]
    if not candidates:
        given = ", ".join(table.names)
        raise one_problem(table.path, f"line {table.line[0]}", given, f"a column of times; {TIME_WORDS}")
    found = [(*_moments(table, columns, wanted), columns) for columns in candidates[:2]]
    time, order, columns = found[0]
    label = "end" if _END.search(table.names[columns[-1]]) else None
    if len(found) == 2:
        later = np.median(found[1][0].as_unit("s").asi8 - time.as_unit("s").asi8)
        if later < 0:
            time, order, columns = found[1]
        label = "start"
    used = tuple(dict.fromkeys((*columns, *(index for pair in candidates for index in pair))))
    return time, label, used, order


def _moments(table: Table, columns: tuple[int, ...], wanted: MeterFormat) -> tuple[pd.DatetimeIndex, str]:
    import pandas as pd

    if len(columns) == 2:
        days, order = dates_of(table, columns[0], wanted)
        return pd.DatetimeIndex(days + clocks_of(table, columns[1], table.cells[columns[1]])), order
    text = table.cells[columns[0]]
    offset = text.str.contains(_OFFSET, regex=True).to_numpy() & text.str.contains(":", regex=False).to_numpy()
    if offset.any() and not offset.all():
        odd = int(np.argmax(offset != offset[0]))
        raise InputError(table.problem(odd, columns[0], "offsets on every row or on none"))
    if bool(re.match(r"\d{4}-\d", text.iloc[0])) and not text.str.contains("24:00", regex=False).any():
        times = pd.to_datetime(text, format="ISO8601", errors="coerce", utc=bool(offset[0]))
        bad = times.isna().to_numpy()
        if bad.any():
            raise InputError(table.problem(int(np.argmax(bad)), columns[0], TIME_WORDS, int(bad.sum())))
        return pd.DatetimeIndex(times), "year first"
    parts = text.str.extract(_PARTS)
    bad = (parts["date"].isna() | parts["clock"].isna()).to_numpy() if not offset.any() else np.ones(len(text), bool)
    if bad.any():
        raise InputError(table.problem(int(np.argmax(bad)), columns[0], TIME_WORDS, int(bad.sum())))
    days, order = dates_of(table, columns[0], wanted, parts["date"])
    return pd.DatetimeIndex(days + clocks_of(table, columns[0], parts["clock"])), order


def _value_columns(table: Table, kinds: list[str], used: tuple[int, ...], wanted: MeterFormat) -> list[int]:
    """Return the columns of use, which are summed.

    Raises
    ------
    InputError
        Where there is none, or several that are not plainly registers of one meter.
    """
    lower = [name.lower() for name in table.names]
    free = [index for index in range(len(kinds)) if index not in used]
    if wanted.columns:
        absent = [name for name in wanted.columns if name.lower() not in lower]
        if absent:
            raise one_problem(table.path, f"{wanted.key}.columns", ", ".join(absent), "of " + ", ".join(table.names))
        return [lower.index(name.lower()) for name in wanted.columns]
    numbers = [index for index in free if kinds[index] == "number" or _unit_in(table.names[index])]
    what, other, parts = _WANTED[wanted.solar]
    use = [index for index in numbers if not other.search(table.names[index])]
    if wanted.solar:
        use = [index for index in use if parts.search(table.names[index])] or use
    use = [index for index in use if _unit_in(table.names[index])] or use
    if len(use) > 1 and not all(parts.search(table.names[index]) for index in use):
        given = f"several columns that may be {what}: " + ", ".join(table.names[index] for index in use)
        raise one_problem(
            table.path, f"line {table.line[0]}", given, f"{wanted.key}.columns, the names of those to be summed"
        )
    if not use:
        raise one_problem(table.path, f"line {table.line[0]}", ", ".join(table.names), f"a column of {what}; {LAYOUTS}")
    return use


def _chosen_registers(
    table: Table, kinds: list[str], instant: NDArray[np.int64], used: tuple[int, ...], wanted: MeterFormat
) -> tuple[NDArray[np.int64], bool]:
    """Return the rows of the registers that count, and whether each time stands once for each register."""
    every = np.arange(len(instant))
    repeated = len(np.unique(instant)) < 0.7 * len(instant)
    if not repeated and not wanted.registers:
        return every, False
    for index in (index for index in range(len(kinds)) if index not in used and kinds[index] in ("text", "number")):
        names = table.cells[index].to_numpy()
        known = list(dict.fromkeys(names))
        if not 2 <= len(known) <= 8:
            continue
        use = [name for name in known if not _NOT_USE.search(name)]
        if wanted.registers:
            use = [name for name in known if name.lower() in {given.lower() for given in wanted.registers}]
        elif len(use) > 1 and not all(_REGISTER.search(name) for name in use):
            use = []
        if not use:
            given = f"several registers in {table.names[index]}: " + ", ".join(known)
            accepted = f"{wanted.key}.registers, the names of those that are use and are to be summed"
            raise one_problem(table.path, f"line {table.line[0]}", given, accepted)
        return every[np.isin(names, use)], True
    return every, False


def _unit_in(text: str) -> str | None:
    words = re.findall(r"[a-z]+", text.lower())
    return next((_UNIT_OF_WORD[word] for word in words if word in _UNIT_OF_WORD), None)


def _unit(table: Table, wanted: MeterFormat, columns: list[int]) -> str:
    """Return the unit of the values: as given, in the header, in a column of units, or above the table."""
    if wanted.unit:
        return wanted.unit
    units = {unit for index in columns if (unit := _unit_in(table.names[index]))}
    if not units:
        cells = (str(cell) for cell in table.cells.iloc[0] if re.fullmatch(r"[A-Za-z]+", str(cell)))
        units = {unit for cell in cells if (unit := _unit_in(cell))}
    if not units:
        names = " ".join(table.names)
        units = {unit for text in (names, table.preamble) if (unit := _unit_in(text))}
    if len(units) == 1:
        return units.pop()
    given = "readings without a unit" if not units else "readings in " + " and ".join(sorted(units))
    where = f"line {table.line[0]}, {table.names[columns[0]]}"
    raise one_problem(table.path, where, given, f'{wanted.key}.unit = "kWh", "Wh", "W" or "kW"')
