"""Gaps in a meter file: bridged when short, copied from like days when longer, refused when too long."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MINUTES_PER_DAY
from riskcalc.demand.meter_file import MeterDays
from riskcalc.errors import InputError, Problem

#: Gaps up to this long are bridged by a straight line. Common practice, no source.
STRAIGHT_LINE_MINUTES = 5
#: A day with more missing than this is not used. Common practice, no source.
MOST_MISSING_SHARE = 0.25
#: Longest gap [days]: half a month leaves days of each kind in its month.
LONGEST_GAP_DAYS = 14


@dataclass(frozen=True)
class WholeDays:
    """Days without gaps: power [W] (days, intervals), month 0..11, kind (0 workday, 1 Saturday, 2 Sunday), remarks."""

    power_w: NDArray[np.float64]
    month: NDArray[np.int64]
    kind: NDArray[np.int64]
    notes: tuple[str, ...]


def whole_days(days: MeterDays) -> WholeDays:
    """Return the usable days of a file, complete.

    A longer gap is copied from the nearest day of the same month and kind that was read at that time; the hour that
    the change to summer time leaves out is filled likewise, as the day may be put on another date.

    Raises
    ------
    InputError
        If a gap is longer than LONGEST_GAP_DAYS.
    """
    missing = np.isnan(days.power_w) & ~days.skipped
    _check_gaps(days, missing)
    dates = [days.first_day + timedelta(days=index) for index in range(len(missing))]
    month = np.array([day.month - 1 for day in dates])
    kind = np.maximum(np.array([day.weekday() for day in dates]) - 4, 0)
    power = days.power_w.copy()
    bridged = _bridge(power, longest=STRAIGHT_LINE_MINUTES // days.interval_minutes)
    usable = missing.mean(axis=1) <= MOST_MISSING_SHARE
    still_missing = np.isnan(power)
    _copy_from_like_days(power, np.flatnonzero(usable), month, kind)
    copied = int((still_missing & ~days.skipped)[usable].sum())
    hours = days.interval_minutes / 60.0
    notes = []
    if bridged:
        notes.append(f"{bridged * hours:.2f} h in gaps up to {STRAIGHT_LINE_MINUTES} minutes: straight line")
    if copied:
        notes.append(f"{copied * hours:.2f} h in longer gaps: filled from like days (same month and kind of day)")
    if not usable.all():
        dropped = int((~usable).sum())
        notes.append(f"{dropped} of {len(usable)} days left out: more than {MOST_MISSING_SHARE:.0%} missing")
    return WholeDays(power[usable], month[usable], kind[usable], tuple(notes))


def _runs(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """First index and one past the last of each run of True, shape (runs, 2)."""
    edge = np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8))
    return np.stack([np.flatnonzero(edge == 1), np.flatnonzero(edge == -1)], axis=1)


def _check_gaps(days: MeterDays, missing: NDArray[np.bool_]) -> None:
    runs = _runs(missing.ravel())
    longest = LONGEST_GAP_DAYS * MINUTES_PER_DAY // days.interval_minutes
    problems = []
    for first, last in runs[runs[:, 1] - runs[:, 0] > longest]:
        line = days.line.ravel()[max(first - 1, 0)]
        length = (last - first) * days.interval_minutes / MINUTES_PER_DAY
        accepted = f"gaps of at most {LONGEST_GAP_DAYS} days"
        hint = "leave out what stands before or after the gap"
        problems.append(Problem(str(days.path), f"line {line}, time", f"a gap of {length:.1f} days", accepted, hint))
    if problems:
        raise InputError(problems)


def _bridge(power: NDArray[np.float64], *, longest: int) -> int:
    """Fill short runs of NaN in place by a straight line; returns how many values were filled."""
    flat = power.ravel()
    bridged = 0
    for first, last in _runs(np.isnan(flat)):
        if last - first <= longest and first > 0 and last < flat.size:
            ends = [flat[first - 1], flat[last]]
            flat[first:last] = np.interp(np.arange(first, last), [first - 1, last], ends)
            bridged += int(last - first)
    return bridged


def _copy_from_like_days(
    power: NDArray[np.float64], rows: NDArray[np.int64], month: NDArray[np.int64], kind: NDArray[np.int64]
) -> None:
    """Fill the NaN of the given rows in place."""
    known = ~np.isnan(power)
    for row in rows:
        holes = ~known[row]
        if not holes.any():
            continue
        like = np.flatnonzero((month == month[row]) & (kind == kind[row]) & known[:, holes].all(axis=1))
        if like.size:
            power[row, holes] = power[like[np.argmin(np.abs(like - row))], holes]
        else:
            # No like day was read at that time: the day's own mean keeps its energy.
            power[row, holes] = power[row, known[row]].mean()
