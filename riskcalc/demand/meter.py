"""Pool years from the home's own meter: whole days, resampled within month and kind of day."""

from __future__ import annotations

from calendar import month_name
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, LocalClock, wall_minute_of_step
from riskcalc.demand.gaps import WholeDays, whole_days
from riskcalc.demand.meter_file import read_meter_days
from riskcalc.demand.pool import DemandPool
from riskcalc.demand.spikes import SHORTEST_INTERVAL, metered_days, restored_minutes
from riskcalc.errors import one_problem

KINDS = {"minute": 1, "half_hour": 30}
DAY_KINDS = ("workday", "Saturday", "Sunday")


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
        CSV with `time` and `power_w` or `energy_kwh`; long enough that every month has workdays, Saturdays and Sundays.
    clock
        Wall clock of the site.
    years, seed
        Number of pool years and the seed.
    step_minutes
        Resolution of the pool; must divide the slot.
    reachable_share
        Share of the demand that can be plugged into the kit. A whole-home meter cannot say which load runs when, so
        every minute is split alike; spikes that really stay on one side are understated.
    kind
        "minute", "half_hour" or None to take the interval from the file. Intervals of 15 minutes and more get spikes
        back: energy of each interval as metered, minutes as in like intervals of the appliance model.
    label
        Whether `time` is the "start" or "end" of the interval.

    Raises
    ------
    InputError
        Whatever is wrong with the file, with its line; gaps that are too long; a month without a usable workday,
        Saturday or Sunday.

    Notes
    -----
    Days are drawn one by one, so cold or busy spells longer than a day are broken up; the spread within a month stays.
    """
    if kind is not None and kind not in KINDS:
        raise one_problem(path, "kind", repr(kind), '"minute" or "half_hour"')
    if not 0.0 <= reachable_share <= 1.0:
        raise one_problem(path, "reachable_share", reachable_share, "0 to 1")
    if clock.slot_minutes % step_minutes:
        raise ValueError(f"step_minutes: {step_minutes}; accepted: a divisor of the slot, {clock.slot_minutes}")
    read = read_meter_days(path, zone=clock.zone, label=label, interval_minutes=KINDS.get(kind or ""))
    days = whole_days(read)
    choice = _chosen_days(days, path, clock=clock, years=years, seed=seed)
    minutes_of_year = _minutes_of_year(days, choice, interval_minutes=read.interval_minutes, seed=seed)
    wall_step = wall_minute_of_step(clock, step_minutes=step_minutes) // step_minutes
    reachable_w = np.empty((years, 1, wall_step.size), dtype=np.float32)
    wired_w = np.empty((years, 1, clock.slots), dtype=np.float32)
    for year in range(years):
        step_w = minutes_of_year(year).reshape(-1, step_minutes).mean(axis=1)[wall_step]
        reachable_w[year, 0] = reachable_share * step_w
        wired_w[year, 0] = (1.0 - reachable_share) * step_w.reshape(clock.slots, -1).mean(axis=1)
    last_day = read.first_day + timedelta(days=len(read.power_w) - 1)
    return DemandPool(
        reachable_w=reachable_w,
        wired_w=wired_w,
        basis=("meter",),
        rank_row=np.array([-1]),
        rank_below=np.array([True]),
        scale_row=np.array([0]),
        day_rank=np.full((years, 2, DAYS), -1.0),
        step_minutes=step_minutes,
        slot_day=clock.day,
        source=f"meter file {Path(path).name}, {read.first_day} to {last_day}, every {read.interval_minutes} minutes",
        notes=days.notes,
    )


def _chosen_days(days: WholeDays, path: str | Path, *, clock: LocalClock, years: int, seed: int) -> NDArray[np.int64]:
    """Row of the file's day for each local day of each pool year, shape (years, 365).

    Within a month and kind of day the file's days are dealt like cards: all once before any comes again.
    """
    local_month, local_kind = np.empty(DAYS, dtype=np.int64), np.empty(DAYS, dtype=np.int64)
    local_month[clock.day] = clock.month
    local_kind[clock.day] = np.maximum(clock.weekday - 4, 0)
    generator = np.random.default_rng([seed, 31337])
    choice = np.empty((years, DAYS), dtype=np.int64)
    absent = []
    for month in range(12):
        for kind, name in enumerate(DAY_KINDS):
            donors = np.flatnonzero((days.month == month) & (days.kind == kind))
            target = np.flatnonzero((local_month == month) & (local_kind == kind))
            if donors.size == 0:
                absent.append(f"{name} in {month_name[month + 1]}")
                continue
            deals = -(-years * target.size // donors.size)
            cards = np.concatenate([generator.permutation(donors) for _ in range(deals)])
            choice[:, target] = cards[: years * target.size].reshape(years, target.size)
    if absent:
        given = f"no usable {absent[0]}" + (f", nor {len(absent) - 1} other kinds of day" if len(absent) > 1 else "")
        accepted = "at least one workday, Saturday and Sunday of each month, as a whole year has"
        raise one_problem(path, "time", given, accepted)
    return choice


def _minutes_of_year(
    days: WholeDays, choice: NDArray[np.int64], *, interval_minutes: int, seed: int
) -> Callable[[int], NDArray[np.float32]]:
    """Return the function that gives the wall-clock minutes of a pool year [W], shape (365 * 1440,)."""
    if interval_minutes < SHORTEST_INTERVAL:
        held = days.power_w.astype(np.float32)
        return lambda year: np.repeat(held[choice[year]].ravel(), interval_minutes)
    metered = metered_days(days.power_w)
    return lambda year: restored_minutes(metered, choice[year], seed=(seed, year)).ravel()
