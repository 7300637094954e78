"""A meter file by wall-clock day: its step, its clock, its label, and what cannot be a home's."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MINUTES_PER_DAY, standard_offset_minutes
from riskcalc.demand.meter_cells import VALUE_WORDS, MeterFormat
from riskcalc.demand.meter_layout import Readings, read_readings
from riskcalc.errors import InputError, Problem, one_problem

if TYPE_CHECKING:
    import pandas as pd

#: Interval lengths a file may have [min].
INTERVALS = (1, 5, 15, 30, 60)
#: Mean power of a home beyond which a unit has been mixed up [W]: less than a clock, more than a factory hall.
LEAST_MEAN_W, MOST_MEAN_W = 2.0, 200_000.0
#: No home's connection carries this for an interval [W]; a counter that ran over or a line that was garbled does.
MOST_READING_W = 250_000.0
#: W of one unit of power, Wh of one unit of energy.
_SIZE = {"W": 1.0, "kW": 1000.0, "Wh": 1.0, "kWh": 1000.0, "MWh": 1_000_000.0}
#: Readings that rise all the time and stand this many steps high are those of a counter.
_COUNTER_STEPS = 50.0


@dataclass(frozen=True)
class MeterDays:
    """What a file says, by wall-clock day.

    `power_w` has shape (days, intervals per day), NaN where nothing was read; `skipped` marks intervals that the
    change to summer time leaves out; `line` is the line of the file that holds the last reading before or in each
    interval. `understood` says in words how the file was read, by subject.
    """

    path: Path
    first_day: date
    interval_minutes: int
    power_w: NDArray[np.float64]
    skipped: NDArray[np.bool_]
    line: NDArray[np.int64]
    understood: dict[str, str] = field(default_factory=dict)

    @property
    def last_day(self) -> date:
        """Last day with a reading or a gap."""
        return self.first_day + timedelta(days=len(self.power_w) - 1)


def read_meter_days(
    path: str | Path, *, zone: str, wanted: MeterFormat | None = None, interval_minutes: int | None = None
) -> MeterDays:
    """Return the readings of a meter file by wall-clock day.

    Parameters
    ----------
    path
        A table in any usual layout; `.gz`, `.bz2` and `.xz` are unpacked.
    zone
        IANA zone of the wall clock; times with an offset are converted to it.
    wanted
        What is known of the file; what is left out is found in it.
    interval_minutes
        Interval the file must have; None accepts any of INTERVALS.

    Raises
    ------
    InputError
        Unreadable file, no table of readings, a file that can be read in two ways, times or values that are neither,
        duplicates, unsorted rows, wrong interval, readings that no home has.
    """
    path = Path(path)
    wanted = wanted or MeterFormat()
    readings = read_readings(path, wanted)
    if len(readings.time) < 2:
        raise one_problem(path, f"line {readings.line[0]}", f"{len(readings.time)} rows", "at least two rows")
    wall, instant, clock = _clock(readings, zone, wanted)
    _check_order(path, instant, readings)
    interval = _interval(path, instant, readings, interval_minutes)
    label, found = (readings.label, True) if readings.label else (_label(wall, interval), False)
    minute = wall.as_unit("s").asi8 // 60 - (interval if label == "end" else 0)
    values, counter = _interval_values(readings, instant, interval)
    power_w = values * _SIZE[readings.unit] * (60.0 / interval if readings.unit.endswith("h") else 1.0)
    _check_units(path, power_w, readings, wanted.key)
    understood = readings.understood | {
        "step": f"{interval} minutes",
        "clock": clock,
        "time": f"{label} of the interval" + ("" if found else ", found from the first and last reading"),
    }
    if counter:
        understood["unit"] = f"{readings.unit}, a counter: each reading less the one before"
    return _by_day(path, minute, power_w, interval, zone, readings.line, understood)


def _clock(readings: Readings, zone: str, wanted: MeterFormat) -> tuple[pd.DatetimeIndex, NDArray[np.int64], str]:
    """Return wall-clock times, minutes that rise with true time, and in words what clock the file keeps.

    A file that has readings in the hour that summer time leaves out cannot follow the wall clock: it keeps standard time.
    """
    times = readings.time
    if times.tz is not None:
        return times.tz_convert(zone).tz_localize(None), times.as_unit("s").asi8 // 60, "times with their offset"
    offset = {"utc": 0, "standard": standard_offset_minutes(zone)}.get(wanted.clock or "")
    if (
        offset is None
        and wanted.clock is None
        and not wanted.solar
        and _reads_skipped_hours(times, readings.value, zone)
    ):
        offset = standard_offset_minutes(zone)
    if offset is None:
        return times, _unfolded_minutes(times, zone), f"wall clock of {zone}"
    minute = times.as_unit("s").asi8 // 60
    utc = (times - np.timedelta64(offset, "m")).tz_localize("UTC")
    words = "UTC" if wanted.clock == "utc" else f"standard time of {zone}, no summer time"
    return utc.tz_convert(zone).tz_localize(None), minute, words


def _reads_skipped_hours(times: pd.DatetimeIndex, values: NDArray[np.float64], zone: str) -> bool:
    """Return whether something was used in an hour that the zone's wall clock leaves out."""
    info = ZoneInfo(zone)
    days = np.unique(times.to_numpy().astype("datetime64[D]"))
    for day in days:
        start = datetime.combine(day.astype(date), datetime.min.time())
        before, after = (moment.replace(tzinfo=info).utcoffset() for moment in (start, start + timedelta(days=1)))
        if before is None or after is None or after <= before:
            continue
        rows = np.flatnonzero((times >= start) & (times < start + timedelta(days=1)))
        for row in rows[values[rows] > 0.0]:
            local = times[row].to_pydatetime().replace(tzinfo=info)
            if local.astimezone(UTC).astimezone(info).replace(tzinfo=None) != local.replace(tzinfo=None):
                return True
    return False


def _label(wall: pd.DatetimeIndex, interval: int) -> str:
    """Return what part of its interval a time names, as whole days show: 00:15 to 24:00 are ends, else starts."""
    minute = wall.hour * 60 + wall.minute
    return "end" if minute[0] == interval % MINUTES_PER_DAY and minute[-1] == 0 else "start"


def _interval_values(readings: Readings, instant: NDArray[np.int64], interval: int) -> tuple[NDArray[np.float64], bool]:
    """Return what was used in each interval, and whether the file holds a counter's readings."""
    values = readings.value
    known = values[np.isfinite(values)]
    step = np.diff(known)
    rising = len(known) > 48 and readings.unit.endswith("h") and bool((step >= 0.0).all())
    if not rising or known[0] < _COUNTER_STEPS * max(float(np.mean(step)), 1e-12) or known[0] == known[-1]:
        return values, False
    used = np.append(np.diff(values), np.nan)
    used[:-1][np.diff(instant) != interval] = np.nan
    return used, True


def _check_units(path: Path, power_w: NDArray[np.float64], readings: Readings, key: str) -> None:
    """Refuse a home that uses next to nothing or out of all proportion, and say what its figures look like."""
    if not np.isfinite(power_w).any():
        raise one_problem(path, readings.name, "no value in any row", VALUE_WORDS)
    mean_w = float(np.nanmean(power_w))
    if mean_w < 0.0:
        accepted = "0 or more on average: turn the sign, or name another column"
        raise one_problem(path, readings.name, f"{mean_w:.3g} W on average", accepted, f"{key}.columns")
    high = np.flatnonzero(power_w > MOST_READING_W)
    if high.size and high.size < 0.01 * len(power_w):
        worst = int(high[np.argmax(power_w[high])])
        where = f"line {readings.line[worst]}, {readings.name}"
        given = f"{readings.value[worst]:g} {readings.unit}, {power_w[worst] / 1000.0:,.0f} kW over its interval"
        hint = "a counter that ran over, or a garbled line: leave the field empty" + (
            f"; {high.size} rows have this fault" if high.size > 1 else ""
        )
        raise one_problem(path, where, given, f"at most {MOST_READING_W / 1000:g} kW, more than any home draws", hint)
    if not LEAST_MEAN_W <= mean_w <= MOST_MEAN_W:
        small = mean_w < LEAST_MEAN_W
        other = {
            "W": ("kilowatts", "milliwatts, or a figure for many homes"),
            "kW": ("megawatts", "watts"),
            "Wh": ("kWh", "figures for many homes"),
            "kWh": ("megawatt-hours", "watt-hours"),
            "MWh": ("GWh", "kWh"),
        }[readings.unit][0 if small else 1]
        accepted = f"{LEAST_MEAN_W:g} to {MOST_MEAN_W:g} W on average"
        hint = f"read in {readings.unit}; this looks like {other}: say it with {key}.unit"
        raise one_problem(path, readings.name, f"{mean_w:.3g} W on average", accepted, hint)


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


def _check_order(path: Path, instant: NDArray[np.int64], readings: Readings) -> None:
    step = np.diff(instant)
    for bad, accepted in ((step == 0, "each time once"), (step < 0, "rows in order of time")):
        if bad.any():
            raise InputError(_row_problem(path, int(np.argmax(bad)) + 1, readings, accepted, count=int(bad.sum())))


def _interval(path: Path, instant: NDArray[np.int64], readings: Readings, wanted: int | None) -> int:
    step = np.diff(instant)
    values, counts = np.unique(step, return_counts=True)
    interval = int(values[np.argmax(counts)])
    accepted = f"{wanted} minutes" if wanted else "one of " + ", ".join(str(x) for x in INTERVALS) + " minutes"
    if interval not in ((wanted,) if wanted else INTERVALS):
        given = f"rows every {interval} minutes"
        raise InputError(_row_problem(path, 1, readings, f"rows every {accepted}", given=given))
    off = (instant % interval) != 0
    if off.any():
        accepted = f"times on whole multiples of {interval} minutes"
        raise InputError(_row_problem(path, int(np.argmax(off)), readings, accepted, count=int(off.sum())))
    return interval


def _by_day(
    path: Path, minute: NDArray[np.int64], values: NDArray[np.float64], interval: int, zone: str,
    lines: NDArray[np.int64], understood: dict[str, str],
) -> MeterDays:  # fmt: skip
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
    line[place] = lines
    line = np.maximum.accumulate(line)
    first_day = date(1970, 1, 1) + timedelta(days=first)
    return MeterDays(
        path=path,
        first_day=first_day,
        interval_minutes=interval,
        power_w=power.reshape(days, per_day),
        skipped=_skipped(first_day, days, interval, zone),
        line=line.reshape(days, per_day),
        understood=understood,
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
    path: Path, row: int, readings: Readings, accepted: str, *, count: int = 1, given: str | None = None
) -> Problem:
    hint = f"{count} rows have this fault; the first is shown" if count > 1 else ""
    where = f"line {readings.line[row]}, {readings.time_name}"
    return Problem(str(path), where, given or f"'{readings.time[row]:%Y-%m-%d %H:%M}'", accepted, hint)
