"""Half-hourly prices from a file, put on the slots of the standard-time year.

Only their shape is used: what a slot costs over the mean of its rate. The level of each rate, and how sure one is of
it, stay in the scenario.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import CALENDAR_YEAR, DAYS, MINUTES_PER_DAY, MINUTES_PER_YEAR, standard_offset_minutes
from riskcalc.errors import InputError, Problem, Question, one_problem
from riskcalc.table_file import csv_rows
from riskcalc.types import Floats

TIME, PRICE = "time", "price_per_kwh"
INTERVALS = (60, 30, 15)
#: Longest gap that is filled on a straight line; common practice, no source.
LONGEST_GAP_HOURS = 3
LARGEST_FILE = 20_000_000
#: Highest price over the mean of a year, and least mean over the mean size of the prices, beyond which a file is asked about.
MOST_TIMES_MEAN, LEAST_MEAN_SHARE = 40.0, 0.2
RANGE_SOURCE = "judgement: the dearest hours of 2021 to 2023 in Europe were some 10 to 20 times the mean of a year"

_TIME_FORM = "a time in ISO 8601, the start of its interval, such as 2024-03-31T01:30 or 2024-03-31T01:30+01:00"


@dataclass(frozen=True)
class PriceSeries:
    """A year of prices on the standard-time axis: (intervals,), the length of an interval, and remarks."""

    price_per_kwh: Floats
    interval_minutes: int
    notes: tuple[str, ...]

    @property
    def questions(self) -> tuple[Question, ...]:
        """What is possible in a year of prices but looks wrong: a spike that outweighs the year, a mean near 0."""
        mean, highest = float(self.price_per_kwh.mean()), float(self.price_per_kwh.max())
        typical = float(np.abs(self.price_per_kwh).mean())
        effect = "every interval is billed by its price over the mean of its rate"
        asked = []
        if mean > 0.0 and highest > MOST_TIMES_MEAN * mean:
            given = f"a highest price of {highest:.4g}, {highest / mean:,.0f} times the mean of {mean:.3g}"
            usual = f"at most {MOST_TIMES_MEAN:g} times the mean"
            asked.append(Question("tariff.series.file", given, usual, effect, RANGE_SOURCE))
        if abs(mean) < LEAST_MEAN_SHARE * typical:
            given = f"a mean of {mean:.3g} beside prices of {typical:.3g} in size"
            usual = f"a mean of at least {LEAST_MEAN_SHARE:g} of their size"
            asked.append(Question("tariff.series.file", given, usual, effect, RANGE_SOURCE))
        return tuple(asked)

    def of_slots(self, slot_minutes: int) -> Floats:
        """Return the price of each slot, (slots,); slots are no longer than the intervals."""
        return np.repeat(self.price_per_kwh, self.interval_minutes // slot_minutes)


def rate_weights(series: Floats, rate: NDArray[np.int64], *, names: Sequence[str], file: str) -> Floats:
    """Return what each slot costs over the mean of the slots of its rate, (slots,).

    Raises
    ------
    InputError
        If the mean of a rate's slots is not above 0: then nothing can be scaled by it.
    """
    weights = np.ones(len(series))
    for index, name in enumerate(names):
        held = rate == index
        if not held.any():
            continue
        mean = float(series[held].mean())
        if not mean > 0.0:
            given = f"a mean of {mean:.4g} per kWh in the times of rate {name}"
            raise one_problem(file, PRICE, given, "prices whose mean over the times of each rate lies above 0")
        weights[held] = series[held] / mean
    return weights


def read_price_series(path: str | Path, *, zone: str) -> PriceSeries:
    """Return the last whole year of a CSV file with the columns `time` and `price_per_kwh`.

    Times name the start of their interval, with an offset on every row or on none (wall clock of `zone`). Prices may be
    negative. Gaps of at most three hours are filled on straight lines. 29 February is left out. The year is laid on the
    calendar so that days of the week keep their place, at most three days from their date.

    Raises
    ------
    InputError
        With the line: a header, time or price that cannot be read, times that repeat or run backwards, an interval
        other than 15, 30 or 60 minutes, a longer gap, less than 365 days.
    """
    file = Path(path)
    try:
        stamp = file.stat()
    except OSError as error:
        raise one_problem(file, "", "no such file", "a file of prices") from error
    return _read(file, zone, stamp.st_mtime_ns, stamp.st_size)


@lru_cache(maxsize=4)
def _read(file: Path, zone: str, _changed: int, size: int) -> PriceSeries:
    if size > LARGEST_FILE:
        raise one_problem(file, "", f"{size} bytes", f"a file of prices of at most {LARGEST_FILE} bytes")
    times, prices, lines = _rows(file, zone)
    interval = _interval(times, file)
    offset = standard_offset_minutes(zone)
    place = times + offset
    _check_order(times, lines, interval, file)
    end = place[-1] + interval
    days_365 = end - MINUTES_PER_YEAR
    if place[0] > days_365:
        given = f"{(end - place[0]) / MINUTES_PER_DAY:.1f} days"
        raise one_problem(file, TIME, given, f"at least {DAYS} days")
    filled, notes = _without_gaps(place, prices, lines, interval, file)
    # One day more than a year, so that a 29 February can be left out of it.
    wanted = MINUTES_PER_YEAR + MINUTES_PER_DAY
    tail = filled[-min(len(filled), wanted // interval) :]
    first_minute = end - len(tail) * interval
    return PriceSeries(_on_calendar(tail, first_minute, interval), interval, tuple(notes))


def _table(file: Path) -> Iterator[list[str]]:
    try:
        text = file.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise one_problem(file, "", "not UTF-8 text", "UTF-8; save the file again with that encoding") from error
    except OSError as error:
        raise one_problem(file, "", error.strerror or "cannot be read", "a file of prices") from error
    return iter(list(csv_rows(file, text, "comma-separated text, one header line")))


def _rows(file: Path, zone: str) -> tuple[NDArray[np.int64], Floats, list[int]]:
    rows = _table(file)
    header = [cell.strip().lower() for cell in next(rows, [])]
    if TIME not in header or PRICE not in header:
        raise one_problem(file, "line 1", ",".join(header)[:80] or "nothing", f"a header line with {TIME} and {PRICE}")
    at_time, at_price = header.index(TIME), header.index(PRICE)
    problems: list[Problem] = []
    moments: list[datetime] = []
    prices: list[float] = []
    lines: list[int] = []
    for line, row in enumerate(rows, start=2):
        if not any(cell.strip() for cell in row):
            continue
        cells = [row[place].strip() if len(row) > place else "" for place in (at_time, at_price)]
        moment, price = _moment(cells[0]), _number(cells[1])
        if moment is None:
            problems.append(Problem(str(file), f"line {line}, {TIME}", repr(cells[0]), _TIME_FORM))
        if price is None:
            accepted = "a number with a decimal point; leave the whole line out for a gap"
            problems.append(Problem(str(file), f"line {line}, {PRICE}", repr(cells[1]), accepted))
        if len(problems) >= 5:
            break
        if moment is not None and price is not None:
            moments.append(moment)
            prices.append(price)
            lines.append(line)
    if problems:
        raise InputError(problems)
    if len(moments) < 2:
        raise one_problem(file, "line 2", f"{len(moments)} rows", "a year of prices")
    return _utc_minutes(moments, lines, zone, file), np.array(prices), lines


def _moment(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def _number(text: str) -> float | None:
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _utc_minutes(moments: list[datetime], lines: list[int], zone: str, file: Path) -> NDArray[np.int64]:
    """Return minutes since 1970 UTC; local times in the hour that autumn repeats are told apart by their order."""
    with_offset = [moment.tzinfo is not None for moment in moments]
    if len(set(with_offset)) > 1:
        odd = with_offset.index(not with_offset[0])
        raise one_problem(
            file, f"line {lines[odd]}, {TIME}", moments[odd].isoformat(), "an offset on every row or on none"
        )
    epoch = datetime(1970, 1, 1, tzinfo=UTC)
    info = ZoneInfo(zone)
    minutes = np.empty(len(moments), dtype=np.int64)
    for index, moment in enumerate(moments):
        aware = moment if with_offset[0] else moment.replace(tzinfo=info)
        passed = (aware - epoch) // timedelta(minutes=1)
        if not with_offset[0] and index and passed <= minutes[index - 1]:
            passed = (moment.replace(tzinfo=info, fold=1) - epoch) // timedelta(minutes=1)
        minutes[index] = passed
    return minutes


def _interval(times: NDArray[np.int64], file: Path) -> int:
    steps, counts = np.unique(np.diff(times), return_counts=True)
    interval = int(steps[np.argmax(counts)])
    if interval not in INTERVALS:
        raise one_problem(file, TIME, f"rows every {interval} minutes", "rows every 15, 30 or 60 minutes")
    return interval


def _check_order(times: NDArray[np.int64], lines: list[int], interval: int, file: Path) -> None:
    steps = np.diff(times)
    for wrong, given, accepted in (
        (steps == 0, "the same time twice", "each time once"),
        (steps < 0, "a time before the one above it", "rows in order of time"),
        (steps % interval != 0, "a time off the rhythm of the others", f"times {interval} minutes apart"),
    ):
        if wrong.any():
            raise one_problem(file, f"line {lines[int(np.argmax(wrong)) + 1]}, {TIME}", given, accepted)
    if times[0] % interval:
        raise one_problem(file, f"line {lines[0]}, {TIME}", "a time within its interval", "the start of each interval")


def _without_gaps(
    place: NDArray[np.int64], prices: Floats, lines: list[int], interval: int, file: Path
) -> tuple[Floats, list[str]]:
    steps = np.diff(place)
    gaps = steps > interval
    long = steps - interval > 60 * LONGEST_GAP_HOURS
    if long.any():
        at = int(np.argmax(long))
        given = f"nothing for {(steps[at] - interval) / 60:.1f} hours after this line"
        raise one_problem(file, f"line {lines[at]}, {TIME}", given, f"gaps of at most {LONGEST_GAP_HOURS} hours")
    every = np.arange(place[0], place[-1] + interval, interval)
    missing = len(every) - len(place)
    notes = []
    if gaps.any():
        notes.append(f"{missing * interval / 60:.1f} missing hours of prices in {file.name} filled on straight lines")
    return np.interp(every, place, prices), notes


def _on_calendar(prices: Floats, first_minute: int, interval: int) -> Floats:
    """Return the prices of 365 days in the order of the calendar year, weekdays kept; 29 February left out."""
    per_day = MINUTES_PER_DAY // interval
    start = datetime(1970, 1, 1) + timedelta(minutes=int(first_minute))
    stamps = np.datetime64(start, "m") + np.arange(len(prices)) * np.timedelta64(interval, "m")
    days = stamps.astype("datetime64[D]")
    in_year = (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64)
    year = days.astype("datetime64[Y]").astype(np.int64) + 1970
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    is_29_february = leap & (in_year == 59)
    day_of_year = in_year - (leap & (in_year > 59))
    slot = (stamps - days).astype("timedelta64[m]").astype(np.int64) // interval
    # Weekday of each calendar day in the file against that of the simulated year: shift by -3 to 3 days.
    weekday = (days.astype(np.int64) + 3) % 7
    calendar_weekday = (datetime(CALENDAR_YEAR, 1, 1).weekday() + day_of_year) % 7
    shift = (weekday - calendar_weekday + 3) % 7 - 3
    target = day_of_year + shift
    table = np.full((DAYS, per_day), np.nan)
    kept = ~is_29_february & (target >= 0) & (target < DAYS)
    table[target[kept], slot[kept]] = prices[kept]
    return _whole_days(table).ravel()


def _whole_days(table: Floats) -> Floats:
    """Return the days with those that the shift of weekdays left open filled by the same weekday a week off."""
    for day in np.flatnonzero(np.isnan(table).any(axis=1)):
        for other in (day - 7, day + 7, day - 14, day + 14):
            hole = np.isnan(table[day])
            if 0 <= other < DAYS:
                table[day, hole] = table[other, hole]
    return table
