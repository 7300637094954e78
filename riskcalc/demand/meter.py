"""Pool years from the home's own meter: whole days, resampled within month and kind of day."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MINUTES_PER_DAY, LocalClock, wall_minute_of_step
from riskcalc.demand.meter_file import MeterDays, read_meter_days
from riskcalc.demand.pool import DemandPool
from riskcalc.demand.spikes import SHORTEST_INTERVAL, metered_days, restored_minutes
from riskcalc.errors import InputError, Problem, one_problem

KINDS = {"minute": 1, "half_hour": 30}
DAY_CLASSES = ("workday", "Saturday", "Sunday")
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")

#: Gaps up to this long are bridged by a straight line; longer ones are filled from a like day. Common practice, no source.
STRAIGHT_LINE_MINUTES = 5
#: A day with more missing than this is not used as a donor of whole days.
MOST_MISSING_SHARE = 0.25
#: Longest gap that resampling may paper over [days]: half a month leaves days of each kind in the month.
LONGEST_GAP_DAYS = 14


def read_meter(
    path: str | Path,
    *,
    clock: LocalClock,
    years: int,
    seed: int,
    step_minutes: int = 1,
    reachable_share: float = 1.0,
    kind: str | None = None,
    label: str = "start",
) -> DemandPool:
    """Return pool years made of whole days of a meter file.

    Parameters
    ----------
    path
        CSV with `time` and `power_w` or `energy_kwh`; at least a year, so that every month has workdays, Saturdays and Sundays.
    clock
        Wall clock of the site.
    years, seed
        Number of pool years and the seed.
    step_minutes
        Resolution of the pool; must divide the slot.
    reachable_share
        Share of the demand that can be plugged into the kit. A whole-home meter cannot say which load runs when, so every minute is
        split alike; spikes that really stay on one side are understated.
    kind
        "minute", "half_hour" or None to take the interval from the file. Intervals of 15 minutes and more get their spikes
        back: energy of each interval as metered, minutes as in like intervals of the appliance model.
    label
        "start" or "end" of the interval.

    Raises
    ------
    InputError
        Whatever is wrong with the file, with its line; gaps longer than LONGEST_GAP_DAYS; months without a usable day of each kind.
    """
    if kind is not None and kind not in KINDS:
        raise one_problem(path, "kind", repr(kind), '"minute" or "half_hour"')
    if not 0.0 <= reachable_share <= 1.0:
        raise one_problem(path, "reachable_share", reachable_share, "0 to 1")
    days = read_meter_days(path, zone=clock.zone, label=label, interval_minutes=KINDS.get(kind or ""))
    power_w, usable, notes = filled_days(days)
    month, day_class = _calendar(days)
    choice = _chosen_days(days, month, day_class, usable, clock=clock, years=years, seed=seed)
    reachable, wired = _years_from_days(
        power_w, choice, clock=clock, step_minutes=step_minutes, interval_minutes=days.interval_minutes, share=reachable_share, seed=seed
    )
    last_day = days.first_day + timedelta(days=len(power_w) - 1)
    return DemandPool(
        reachable_w=reachable,
        wired_w=wired,
        basis=("meter",),
        rank_row=np.array([-1]),
        rank_below=np.array([True]),
        scale_row=np.array([0]),
        day_rank=np.full((years, 2, DAYS), -1.0),
        step_minutes=step_minutes,
        slot_day=clock.day,
        source=f"meter file {Path(path).name}, {days.first_day} to {last_day}, every {days.interval_minutes} minutes",
        notes=tuple(notes),
    )


def filled_days(days: MeterDays) -> tuple[NDArray[np.float64], NDArray[np.bool_], list[str]]:
    """Return complete days, which of them may be resampled, and what was done.

    Short gaps are bridged; longer ones are copied from the nearest day of the same month and kind that was read there.

    Raises
    ------
    InputError
        If a gap is longer than LONGEST_GAP_DAYS.
    """
    power = days.power_w.copy()
    missing = np.isnan(power) & ~days.skipped
    # The file's first and last day may be cut by its ends; that is no gap, the day is simply not whole.
    _check_gaps(days, missing)
    usable = missing.mean(axis=1) <= MOST_MISSING_SHARE
    month, day_class = _calendar(days)
    bridged = _bridge(power, longest=STRAIGHT_LINE_MINUTES // days.interval_minutes)
    copied = _copy_from_like_days(power, np.flatnonzero(usable), month, day_class, days)
    hours = days.interval_minutes / 60.0
    notes = []
    if bridged:
        notes.append(f"{bridged * hours:.2f} h of gaps up to {STRAIGHT_LINE_MINUTES} minutes bridged by a straight line")
    if copied:
        notes.append(f"{copied * hours:.2f} h of longer gaps filled from like days (same month and kind of day)")
    dropped = int((~usable).sum())
    if dropped:
        notes.append(f"{dropped} of {len(usable)} days not used: more than {MOST_MISSING_SHARE:.0%} missing")
    return power, usable, notes


def _calendar(days: MeterDays) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    dates = [days.first_day + timedelta(days=index) for index in range(len(days.power_w))]
    month = np.array([day.month - 1 for day in dates])
    return month, np.maximum(np.array([day.weekday() for day in dates]) - 4, 0)


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
        given = f"a gap of {(last - first) * days.interval_minutes / MINUTES_PER_DAY:.1f} days"
        accepted = f"gaps of at most {LONGEST_GAP_DAYS} days"
        problems.append(Problem(str(days.path), f"line {line}", given, accepted, "leave out the part before or after the gap"))
    if problems:
        raise InputError(problems)


def _bridge(power: NDArray[np.float64], *, longest: int) -> int:
    flat = power.ravel()
    bridged = 0
    for first, last in _runs(np.isnan(flat)):
        if last - first <= longest and first > 0 and last < flat.size:
            flat[first:last] = np.interp(np.arange(first, last), [first - 1, last], [flat[first - 1], flat[last]])
            bridged += last - first
    return bridged


def _copy_from_like_days(
    power: NDArray[np.float64], rows: NDArray[np.int64], month: NDArray[np.int64], day_class: NDArray[np.int64], days: MeterDays
) -> int:
    known = ~np.isnan(power)
    copied = 0
    for row in rows:
        holes = ~known[row]
        if not holes.any():
            continue
        like = np.flatnonzero((month == month[row]) & (day_class == day_class[row]) & known[:, holes].all(axis=1))
        if like.size == 0:
            # No like day was read at that time: the day's own mean keeps its energy.
            power[row, holes] = power[row, known[row]].mean()
        else:
            donor = like[np.argmin(np.abs(like - row))]
            power[row, holes] = power[donor, holes]
        copied += int((holes & ~days.skipped[row]).sum())
    return copied


def _chosen_days(
    days: MeterDays,
    month: NDArray[np.int64],
    day_class: NDArray[np.int64],
    usable: NDArray[np.bool_],
    *,
    clock: LocalClock,
    years: int,
    seed: int,
) -> NDArray[np.int64]:
    """Row of the file's day for each local day of each pool year, shape (years, 365).

    Within a month and kind of day the file's days are dealt like cards: all once before any comes again.
    """
    local_month = np.empty(DAYS, dtype=np.int64)
    local_month[clock.day] = clock.month
    local_class = np.empty(DAYS, dtype=np.int64)
    local_class[clock.day] = np.maximum(clock.weekday - 4, 0)
    generator = np.random.default_rng([seed, 31337])
    choice = np.empty((years, DAYS), dtype=np.int64)
    absent = []
    for this_month in range(12):
        for kind in range(3):
            donors = np.flatnonzero(usable & (month == this_month) & (day_class == kind))
            target = np.flatnonzero((local_month == this_month) & (local_class == kind))
            if donors.size == 0:
                absent.append(f"{DAY_CLASSES[kind]} in {MONTHS[this_month]}")
                continue
            deals = -(-years * target.size // donors.size)
            cards = np.concatenate([generator.permutation(donors) for _ in range(deals)])
            choice[:, target] = cards[: years * target.size].reshape(years, target.size)
    if absent:
        given = f"no whole {absent[0]}" + (f" and {len(absent) - 1} more kinds" if len(absent) > 1 else "")
        accepted = "at least one whole workday, Saturday and Sunday in each month, as a file of a full year has"
        raise one_problem(days.path, "time", given, accepted)
    return choice


def _years_from_days(
    power_w: NDArray[np.float64],
    choice: NDArray[np.int64],
    *,
    clock: LocalClock,
    step_minutes: int,
    interval_minutes: int,
    share: float,
    seed: int,
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    if clock.slot_minutes % step_minutes:
        raise ValueError(f"step_minutes: {step_minutes}; accepted: a divisor of the slot, {clock.slot_minutes}")
    years = len(choice)
    wall = wall_minute_of_step(clock, step_minutes=step_minutes) // step_minutes
    steps_per_slot = clock.slot_minutes // step_minutes
    reachable = np.empty((years, 1, wall.size), dtype=np.float32)
    wired = np.empty((years, 1, clock.slots), dtype=np.float32)
    held = None if interval_minutes >= SHORTEST_INTERVAL else power_w.astype(np.float32)
    days = metered_days(power_w) if held is None else None
    for year in range(years):
        if days is not None:
            minutes = restored_minutes(days, choice[year], seed=(seed, year))
        else:
            minutes = np.repeat(held[choice[year]], interval_minutes, axis=1)
        step_w = minutes.reshape(-1, step_minutes).mean(axis=1)[wall] if step_minutes > 1 else minutes.ravel()[wall]
        reachable[year, 0] = share * step_w
        wired[year, 0] = (1.0 - share) * step_w.reshape(-1, steps_per_slot).mean(axis=1)
    return reachable, wired
