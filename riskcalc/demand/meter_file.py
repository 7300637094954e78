"""Reading a meter file into wall-clock days: the only place in this package that meets pandas."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MINUTES_PER_DAY
from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.table_file import table_text

if TYPE_CHECKING:
    import pandas as pd

#: Interval lengths a file may have [min].
INTERVALS = (1, 5, 15, 30, 60)
#: Mean power of a home beyond which a unit has been mixed up [W]: less than a clock, more than a factory hall.
LEAST_MEAN_W, MOST_MEAN_W = 2.0, 200_000.0
VALUE_COLUMNS = ("power_w", "energy_kwh")
_HEADER = "a header line `time,power_w` or `time,energy_kwh` (comma-separated)"
_TIME = "local time such as 2024-03-31 01:30, or all rows with their offset such as 2024-03-31T01:30+01:00"
_VALUE = "a number of 0 or more with a decimal point; an empty field for a gap"


@dataclass(frozen=True)
class MeterDays:
    """What a file says, by wall-clock day.

    `power_w` has shape (days, intervals per day), NaN where nothing was read; `skipped` marks intervals that the
    change to summer
    time leaves out; `line` is the line of the file that holds the last reading before or in each interval.
    """

    path: Path
    first_day: date
    interval_minutes: int
    power_w: NDArray[np.float64]
    skipped: NDArray[np.bool_]
    line: NDArray[np.int64]


def read_meter_days(
    path: str | Path, *, zone: str, label: str = "start", interval_minutes: int | None = None
) -> MeterDays:
    """Return the readings of a meter file by wall-clock day.

    Parameters
    ----------
    path
        CSV, `.gz`, `.bz2` and `.xz` are unpacked; columns `time` and `power_w` (mean over the interval) or `energy_kwh` (in the
        interval).
    zone
        IANA zone of the wall clock; times with an offset are converted to it.
    label
        Whether `time` names the "start" or the "end" of its interval.
    interval_minutes
        Interval the file must have; None accepts any of INTERVALS.

    Raises
    ------
    InputError
        Unreadable file, bad header, times or values that are not what the header says, duplicates, unsorted rows,
        wrong interval.
    """
    path = Path(path)
    if label not in ("start", "end"):
        raise one_problem(path, "label", repr(label), '"start" or "end"')
    rows = _rows(path)
    column = next(name for name in VALUE_COLUMNS if name in rows.columns)
    values = _values(path, rows[column], column)
    times = _times(path, rows["time"])
    wall = times.tz_convert(zone).tz_localize(None) if times.tz is not None else times
    instant = (times.as_unit("s").asi8 // 60) if times.tz is not None else _unfolded_minutes(wall, zone)
    _check_order(path, instant, rows["time"])
    interval = _interval(path, instant, rows["time"], interval_minutes)
    minute = wall.as_unit("s").asi8 // 60 - (interval if label == "end" else 0)
    if column == "energy_kwh":
        values = values * (60_000.0 / interval)
    _check_units(path, values, column)
    return _by_day(path, minute, values, interval, zone)


def _rows(path: Path) -> pd.DataFrame:
    import pandas as pd

    text = table_text(path, accepted=_HEADER)
    try:
        rows = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False, skip_blank_lines=False)
    except pd.errors.ParserError as error:
        accepted = "comma-separated rows with as many fields as the header"
        raise one_problem(path, "", str(error).strip(), accepted) from error
    names = [str(name).strip() for name in rows.columns]
    rows.columns = names
    if "time" not in names or sum(name in VALUE_COLUMNS for name in names) != 1:
        raise one_problem(path, "line 1", ",".join(names), _HEADER)
    if len(rows) < 2:
        raise one_problem(path, "line 2", f"{len(rows)} rows", "at least two rows")
    return rows


def _values(path: Path, text: pd.Series, column: str) -> NDArray[np.float64]:
    import pandas as pd

    stripped = text.fillna("").str.strip()
    values = pd.to_numeric(stripped.where(stripped != "", None), errors="coerce").to_numpy(dtype=float)
    problems = []
    for bad, accepted in (
        (~np.isfinite(values) & (stripped != "").to_numpy(), _VALUE),
        (values < 0.0, "0 or more; export is a column of its own and not read here"),
    ):
        if bad.any():
            problems.append(_row_problem(path, int(np.argmax(bad)), column, text, accepted, count=int(bad.sum())))
    if problems:
        raise InputError(problems)
    return values


def _check_units(path: Path, power_w: NDArray[np.float64], column: str) -> None:
    """Refuse a home that uses next to nothing or out of all proportion, and say what its figures look like."""
    if not np.isfinite(power_w).any():
        raise one_problem(path, column, "no value in any row", _VALUE)
    mean_w = float(np.nanmean(power_w))
    if not LEAST_MEAN_W <= mean_w <= MOST_MEAN_W:
        small = mean_w < LEAST_MEAN_W
        looks = {
            "power_w": "kilowatts; this column is in watts" if small else "milliwatts, or a figure for many homes",
            "energy_kwh": "megawatt-hours; this column is in kWh" if small else "watt-hours; this column is in kWh",
        }[column]
        accepted = f"{LEAST_MEAN_W:g} to {MOST_MEAN_W:g} W on average"
        raise one_problem(path, column, f"{mean_w:.3g} W on average", accepted, f"this looks like {looks}")


def _times(path: Path, text: pd.Series) -> pd.DatetimeIndex:
    import pandas as pd

    stripped = text.fillna("").str.strip()
    has_offset = stripped.str.contains(r"(?:Z|[+-]\d\d:?\d\d)$", regex=True).to_numpy()
    if has_offset.any() and not has_offset.all():
        odd = int(np.argmax(has_offset != has_offset[0]))
        raise InputError(_row_problem(path, odd, "time", text, "offsets on every row or on none"))
    times = pd.to_datetime(stripped, format="ISO8601", errors="coerce", utc=bool(has_offset[0]))
    bad = times.isna().to_numpy()
    if bad.any():
        raise InputError(_row_problem(path, int(np.argmax(bad)), "time", text, _TIME, count=int(bad.sum())))
    return pd.DatetimeIndex(times)


def _unfolded_minutes(wall: pd.DatetimeIndex, zone: str) -> NDArray[np.int64]:
    """Minutes that keep rising through the hour that summer time's end repeats, if the file repeats it.

    A local file without offsets may show that hour twice. The step back is accepted only where the zone's clock does
    so.
    """
    minute = wall.as_unit("s").asi8 // 60
    unfolded = minute.copy()
    info = ZoneInfo(zone)
    for row in np.flatnonzero(np.diff(minute) < 0) + 1:
        local = wall[row].to_pydatetime()
        first, second = (local.replace(tzinfo=info, fold=fold).utcoffset() for fold in (0, 1))
        if first is None or second is None or first == second:
            continue
        # Compared with true time, everything after the step back is later by what the clock was set back.
        unfolded[row:] += int((first - second).total_seconds() // 60)
    return unfolded


def _check_order(path: Path, instant: NDArray[np.int64], text: pd.Series) -> None:
    step = np.diff(instant)
    for bad, accepted in ((step == 0, "each time once"), (step < 0, "rows in order of time")):
        if bad.any():
            row = int(np.argmax(bad)) + 1
            raise InputError(_row_problem(path, row, "time", text, accepted, count=int(bad.sum())))


def _interval(path: Path, instant: NDArray[np.int64], text: pd.Series, wanted: int | None) -> int:
    step = np.diff(instant)
    values, counts = np.unique(step, return_counts=True)
    interval = int(values[np.argmax(counts)])
    accepted = f"{wanted} minutes" if wanted else "one of " + ", ".join(str(x) for x in INTERVALS) + " minutes"
    if interval not in ((wanted,) if wanted else INTERVALS):
        raise InputError(
            _row_problem(path, 1, "time", text, f"rows every {accepted}", given=f"rows every {interval} minutes")
        )
    off = (instant % interval) != 0
    if off.any():
        accepted = f"times on whole multiples of {interval} minutes"
        raise InputError(_row_problem(path, int(np.argmax(off)), "time", text, accepted, count=int(off.sum())))
    return interval


def _by_day(path: Path, minute: NDArray[np.int64], values: NDArray[np.float64], interval: int, zone: str) -> MeterDays:
    per_day = MINUTES_PER_DAY // interval
    first = int(minute[0] // MINUTES_PER_DAY)
    days = int(minute[-1] // MINUTES_PER_DAY) - first + 1
    place = minute // interval - first * per_day
    read = np.isfinite(values)
    count = np.bincount(place[read], minlength=days * per_day)
    total = np.bincount(place[read], weights=values[read], minlength=days * per_day)
    # The hour that autumn repeats is read twice: its mean stands for both.
    power = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    line = np.zeros(days * per_day, dtype=np.int64)
    line[place] = np.arange(len(place)) + 2
    line = np.maximum.accumulate(line)
    first_day = date(1970, 1, 1) + timedelta(days=first)
    return MeterDays(
        path=path,
        first_day=first_day,
        interval_minutes=interval,
        power_w=power.reshape(days, per_day),
        skipped=_skipped(first_day, days, interval, zone),
        line=line.reshape(days, per_day),
    )


def _skipped(first_day: date, days: int, interval: int, zone: str) -> NDArray[np.bool_]:
    """Intervals of the wall clock that the change to summer time leaves out, shape (days, intervals per day)."""
    info = ZoneInfo(zone)
    skipped = np.zeros((days, MINUTES_PER_DAY // interval), dtype=bool)
    midnight = datetime(first_day.year, first_day.month, first_day.day)
    for day in range(days):
        start = (midnight + timedelta(days=day)).replace(tzinfo=info)
        end = (midnight + timedelta(days=day + 1)).replace(tzinfo=info)
        if start.utcoffset() == end.utcoffset():
            continue
        for index in range(skipped.shape[1]):
            local = (midnight + timedelta(days=day, minutes=index * interval)).replace(tzinfo=info)
            there_and_back = local.astimezone(UTC).astimezone(info)
            skipped[day, index] = there_and_back.replace(tzinfo=None) != local.replace(tzinfo=None)
    return skipped


def _row_problem(
    path: Path, row: int, column: str, text: pd.Series, accepted: str, *, count: int = 1, given: str | None = None
) -> Problem:
    hint = f"{count} rows have this fault; the first is shown" if count > 1 else ""
    return Problem(str(path), f"line {row + 2}, {column}", given or repr(str(text.iloc[row])), accepted, hint)
