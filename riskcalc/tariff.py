"""Which price level of the tariff holds when, on the wall clock.

A tariff is a set of named *rates*. Each says when it holds: windows of the day (may wrap midnight), days of the week,
months. One rate may leave all three open: it holds for the remaining time. The simulation bills by
(rate index, weight) per slot; windows give weight 1, a price series from a file would give its own weights.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MINUTES_PER_DAY, MONTH_OF_DAY, SLOT_CHOICES, LocalClock, local_clock
from riskcalc.errors import InputError, Problem

WEEKDAY_NAMES = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
DAY_GROUPS = {"all": frozenset(range(7)), "weekdays": frozenset(range(5)), "weekends": frozenset((5, 6))}
WINDOW_FORM = 'a window of the day such as "00:30-07:30", in whole 5 minutes (24:00 may end it)'
DAYS_FORM = '"all", "weekdays", "weekends" or a list of day names such as ["saturday", "sunday"]'
MONTHS_FORM = "a list of month numbers, 1 to 12"
_WINDOW = re.compile(r"\s*(\d{1,2}):(\d{2})\s*-\s*(\d{1,2}):(\d{2})\s*")


class RateTimes(Protocol):
    """What a rate must say about its times; any object with these three attributes will do."""

    @property
    def windows(self) -> Sequence[str] | None:
        """Windows of the day, or nothing for the whole day."""

    @property
    def days(self) -> str | Sequence[str] | None:
        """Days of the week."""

    @property
    def months(self) -> Sequence[int] | None:
        """Months, 1 to 12, or nothing for all."""


def window_minutes(window: str, *, key: str = "windows", file: str = "scenario") -> tuple[int, int]:
    """Return start and end of a window in minutes of the day.

    The end is larger than the start: 23:00-07:00 gives (1380, 1860), 00:00-24:00 gives (0, 1440).

    Raises
    ------
    InputError
        If the text is not a window, a boundary is not a whole 5 minutes, or the window is empty.
    """
    match = _WINDOW.fullmatch(window) if isinstance(window, str) else None
    if match is None:
        raise InputError(Problem(file, key, repr(window), WINDOW_FORM))
    start_hour, start_minute, end_hour, end_minute = (int(part) for part in match.groups())
    start, end = 60 * start_hour + start_minute, 60 * end_hour + end_minute
    finest = SLOT_CHOICES[-1]
    if max(start_minute, end_minute) > 59 or start >= MINUTES_PER_DAY or end > MINUTES_PER_DAY:
        raise InputError(Problem(file, key, repr(window), WINDOW_FORM))
    if start % finest or end % finest:
        raise InputError(Problem(file, key, repr(window), WINDOW_FORM, "round to the nearest 5 minutes"))
    if start == end % MINUTES_PER_DAY and end != MINUTES_PER_DAY:
        raise InputError(Problem(file, key, repr(window), WINDOW_FORM, "for the whole day write 00:00-24:00"))
    return start, end if end > start else end + MINUTES_PER_DAY


def slot_minutes(windows: Iterable[str], *, zone: str | None = None) -> int:
    """Return the longest slot, 60, 30, 15 or 5 minutes, on whose edges every window begins and ends.

    Pass every window of the scenario (rates, off hours, ...). With `zone`, the shift of summer time counts too
    (half an hour on Lord Howe Island).
    """
    edges = [minute for window in windows for minute in window_minutes(window)]
    if zone is not None:
        edges.extend(np.unique(local_clock(zone, slot_minutes=30).shift_minutes).tolist())
    return next(choice for choice in SLOT_CHOICES if all(edge % choice == 0 for edge in edges))


def slots_in_windows(
    windows: Sequence[str] | None,
    clock: LocalClock,
    *,
    days: str | Sequence[str] | None = "all",
    months: Sequence[int] | None = None,
    key: str = "",
    file: str = "scenario",
) -> NDArray[np.bool_]:
    """Return for each slot whether it lies in one of the windows, shape (slots,).

    No windows means the whole day. A window that wraps midnight belongs to the day on which it starts: Friday
    22:00-06:00 reaches into Saturday, and one of 31 January into February. `key` is that of the table that holds the
    windows, days and months, for messages.
    """
    prefix = f"{key}." if key else ""
    days_wanted = _weekdays(days, key=f"{prefix}days", file=file)
    months_wanted = _months(months, key=f"{prefix}months", file=file)

    def day_matches(back: int) -> NDArray[np.bool_]:
        month = MONTH_OF_DAY[(clock.day - back) % len(MONTH_OF_DAY)]
        return np.isin((clock.weekday - back) % 7, days_wanted) & np.isin(month, months_wanted)

    today, yesterday = day_matches(0), day_matches(1)
    inside = np.zeros(clock.slots, dtype=bool)
    for window in windows or ("00:00-24:00",):
        start, end = window_minutes(window, key=f"{prefix}windows", file=file)
        inside |= today & (clock.minute >= start) & (clock.minute < end)
        inside |= yesterday & (clock.minute + MINUTES_PER_DAY < end)
    return inside


def rate_of_slot(rates: Mapping[str, RateTimes], clock: LocalClock, *, file: str = "scenario") -> NDArray[np.int64]:
    """Return the index of the rate (in the order of `rates`) that holds in each slot, shape (slots,).

    Raises
    ------
    InputError
        With every problem found: no rate; two rates without times; two rates that claim the same time; time that no
        rate claims; a window, day or month that cannot be read.
    """
    if not rates:
        raise InputError(Problem(file, "tariff.rates", "no rate", "at least one rate"))
    problems: list[Problem] = []
    rate = np.full(clock.slots, -1, dtype=np.int64)
    names = list(rates)
    rest = [name for name in names if is_remaining_time(rates[name])]
    if len(rest) > 1:
        accepted = "one rate without windows, days and months: it holds for the remaining time"
        problems.append(Problem(file, "tariff.rates", "no times in " + ", ".join(rest), accepted))
    for index, name in enumerate(names):
        if name in rest:
            continue
        times = rates[name]
        try:
            inside = slots_in_windows(
                times.windows, clock, days=times.days, months=times.months, key=f"tariff.rates.{name}", file=file
            )
        except InputError as error:
            problems.extend(error.problems)
            continue
        for other in np.unique(rate[inside & (rate >= 0)]):
            first = int(np.flatnonzero(inside & (rate == other))[0])
            given = f"overlaps {names[other]}, first at {_when(clock, first)}"
            problems.append(Problem(file, f"tariff.rates.{name}", given, "times that no other rate claims"))
        rate[inside & (rate < 0)] = index
    if problems:
        raise InputError(problems)
    if rest:
        rate[rate < 0] = names.index(rest[0])
    elif (rate < 0).any():
        given = f"no rate at {_when(clock, int(np.argmax(rate < 0)))}"
        raise InputError(
            Problem(file, "tariff.rates", given, "one rate without windows, days and months, or no gap between them")
        )
    return rate


def is_remaining_time(times: RateTimes) -> bool:
    """Return whether a rate leaves its times open and so holds whenever no other does."""
    return not times.windows and not times.months and times.days in (None, "all")


def _weekdays(days: str | Sequence[str] | None, *, key: str, file: str) -> list[int]:
    if days is None:
        days = "all"
    if isinstance(days, str):
        if days in DAY_GROUPS:
            return sorted(DAY_GROUPS[days])
        days = [days]
    unknown = [day for day in days if str(day).lower() not in WEEKDAY_NAMES]
    if unknown or not days:
        raise InputError(Problem(file, key, repr(unknown[0] if unknown else []), DAYS_FORM))
    return [WEEKDAY_NAMES.index(day.lower()) for day in days]


def _months(months: Sequence[int] | None, *, key: str, file: str) -> list[int]:
    if not months:
        return list(range(12))
    wrong = [month for month in months if month not in range(1, 13)]
    if wrong:
        raise InputError(Problem(file, key, repr(wrong[0]), MONTHS_FORM))
    return [month - 1 for month in months]


def _when(clock: LocalClock, slot: int) -> str:
    weekday, month = WEEKDAY_NAMES[clock.weekday[slot]], int(clock.month[slot]) + 1
    return f"{clock.minute[slot] // 60:02d}:{clock.minute[slot] % 60:02d} on a {weekday} in month {month}"
