"""Pool years from the home's own meter: whole days, resampled within month and kind of day."""

from __future__ import annotations

from calendar import month_name
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, LocalClock, wall_minute_of_step
from riskcalc.demand.gaps import MADE_MONTH_SPREAD, Donors, WholeDays, donors, month_swing, whole_days, year_of
from riskcalc.demand.meter_cells import MeterFormat
from riskcalc.demand.meter_file import MeterDays, read_meter_days
from riskcalc.demand.pool import DemandPool
from riskcalc.demand.runs import joined, runs_of_year
from riskcalc.demand.spikes import SHORTEST_INTERVAL, LikelyHome, metered_days, restored_minutes
from riskcalc.errors import one_problem

KINDS = {"minute": 1, "half_hour": 30}
#: Annual use and the file's year may differ this much before it is said, and before they are no longer one home.
SAID_SCALE, MOST_SCALE = 0.10, 5.0
#: Largest mean over an interval of an ordinary connection [kW]: three phases of 63 A at 230 V.
USUAL_MOST_KW = 43.0
#: Days in a row without any use that are asked about: less than that is a holiday with everything off. Judgement.
LONGEST_ZERO_DAYS = 3.0


@dataclass(frozen=True)
class MeteredYear:
    """What a meter file holds: its whole days, what stands for what, and what it says of a year.

    `year_kwh` and `year_sd_kwh` as from `gaps.year_of`; `understood` tells in words how the file was read.
    """

    read: MeterDays
    days: WholeDays
    donors: Donors
    year_kwh: float
    year_sd_kwh: float

    def on(self, dates: NDArray[np.int64], *, southern: bool) -> MeteredYear:
        """Return what the file holds of these dates (days since 1970) only, in their order."""
        days = self.days.on(dates)
        found = donors(days, self.read.path, swing=month_swing(southern=southern))
        return replace(self, days=days, donors=found)

    @property
    def understood(self) -> dict[str, str]:
        """How the file was read, by subject, for a check and for the page."""
        read, days = self.read, self.days
        said = {
            "file": read.path.name,
            "period": f"{read.first_day} to {read.last_day}, {len(read.power_w)} days",
            **read.understood,
            "gaps": f"{days.missing_h:.1f} h without a reading, {days.filled_h:.1f} h of them filled"
            + (
                f", {len(read.power_w) - len(days.power_w)} days left out"
                if len(days.power_w) < len(read.power_w)
                else ""
            ),
            "year": f"{self.year_kwh:,.0f} kWh",
        }
        if self.donors.made:
            months = ", ".join(month_name[month + 1] for month in self.donors.made)
            said["months made"] = f"{months}: from the months most like them, +- {MADE_MONTH_SPREAD:.0%}"
        return said

    @property
    def notes(self) -> tuple[str, ...]:
        """What was filled, left out or made, in sentences."""
        notes = self.days.notes
        if self.donors.made:
            months = ", ".join(month_name[month + 1] for month in self.donors.made)
            notes += (
                f"the meter file lacks {months}: made from the months most like them, at the level that homes have then, "
                f"with a standard deviation of {MADE_MONTH_SPREAD:.0%}",
            )
        return notes

    def doubts(self, annual_use_kwh: float | None) -> tuple[tuple[str, str, str, str, str], ...]:
        """Return what is possible but unlikely: key, given, usual, effect, source of each.

        Raises
        ------
        InputError
            If the file cannot be that of a home with this annual use.
        """
        found = []
        peak_kw = float(np.max(self.days.power_w)) / 1000.0
        if peak_kw > USUAL_MOST_KW:
            row = np.unravel_index(np.nanargmax(self.read.power_w), self.read.power_w.shape)
            given = f"{peak_kw:,.0f} kW over {self.read.interval_minutes} minutes, line {self.read.line[row]}"
            effect = "one such reading comes again in every year that is made from the file"
            found.append(("home.demand.file", given, f"at most {USUAL_MOST_KW:g} kW", effect, "three phases of 63 A"))
        zero_days = _longest_run(self.days.power_w.ravel() == 0.0) * self.read.interval_minutes / 1440.0
        if zero_days > LONGEST_ZERO_DAYS:
            given = f"no use at all for {zero_days:.1f} days"
            effect = "the year's use is too low if the meter was not read then"
            found.append(("home.demand.file", given, "a few watts at any time", effect, "judgement"))
        if annual_use_kwh is not None:
            ratio = annual_use_kwh / self.year_kwh
            given = f"{annual_use_kwh:,.0f} kWh a year beside a meter file of {self.year_kwh:,.0f} kWh a year"
            if not 1.0 / MOST_SCALE <= ratio <= MOST_SCALE:
                accepted = f"within {MOST_SCALE:g} times of what the meter file holds"
                hint = "leave home.annual_use_kwh out, and it is taken from the file"
                raise one_problem("scenario", "home.annual_use_kwh", given, accepted, hint)
            if abs(ratio - 1.0) > SAID_SCALE:
                effect = f"every reading is multiplied by {ratio:.2f}, its peaks too"
                found.append(("home.annual_use_kwh", given, f"within {SAID_SCALE:.0%}", effect, "judgement"))
        return tuple(found)


def metered_year(
    path: str | Path, *, zone: str, wanted: MeterFormat | None = None, kind: str | None = None, southern: bool = False
) -> MeteredYear:
    """Return what a meter file in any usual layout holds; parameters and errors as of `read_meter`."""
    if kind is not None and kind not in KINDS:
        raise one_problem(path, "kind", repr(kind), '"minute" or "half_hour"')
    state = Path(path).stat() if Path(path).exists() else None
    key = (state.st_mtime_ns, state.st_size) if state else ()
    return _metered_year(str(path), key, zone, wanted or MeterFormat(), kind, southern)


@lru_cache(maxsize=2)
def _metered_year(
    path: str, _state: tuple[int, ...], zone: str, wanted: MeterFormat, kind: str | None, southern: bool
) -> MeteredYear:
    """Return what `metered_year` returns; a scenario asks twice, for the year's use and for the days."""
    read = read_meter_days(path, zone=zone, wanted=wanted, interval_minutes=KINDS.get(kind or ""))
    days = whole_days(read)
    found = donors(days, path, swing=month_swing(southern=southern))
    return MeteredYear(read, days, found, *year_of(days, found))


def read_meter(
    path: str | Path,
    *,
    clock: LocalClock,
    years: int,
    seed: int,
    step_minutes: int = 1,
    reachable_share: float = 1.0,
    kind: str | None = None,
    wanted: MeterFormat | None = None,
    annual_use_kwh: float | None = None,
    southern: bool = False,
    only: NDArray[np.int64] | None = None,
    home: LikelyHome | None = None,
) -> DemandPool:
    """Return pool years made of whole days of a meter file.

    Parameters
    ----------
    path
        A table in any usual layout, of at least four weeks; months that it lacks are made from those most like them.
    clock
        Wall clock of the site.
    years, seed
        Number of pool years and the seed.
    step_minutes
        Within so many minutes alike ones may be taken together; must divide the slot. No peak is averaged.
    reachable_share
        Share of the demand that can be plugged into the kit. A whole-home meter cannot say which load runs when, so
        every minute is split alike; spikes that really stay on one side are understated.
    kind
        "minute", "half_hour" or None to take the interval from the file. Intervals of 15 minutes and more get spikes
        back: energy of each interval as metered, minutes as in like intervals of made homes.
    wanted
        What is known of the file's layout; the rest is found.
    annual_use_kwh
        What the home is said to use in a year [kWh]: asked about where the file's year is another.
    southern
        Whether the home lies south of the equator, for months that the file lacks.
    only
        Dates (days since 1970) to which the days are limited: those on which something else was measured too.
    home
        Appliances and people of the home, for the peaks within intervals of 15 minutes and more.

    Raises
    ------
    InputError
        Whatever is wrong with the file, with its line; fewer than four weeks of whole days; an annual use that cannot be
        that of the file.

    Notes
    -----
    Days are drawn one by one, so cold or busy spells longer than a day are broken up; the spread within a month stays.
    """
    if not 0.0 <= reachable_share <= 1.0:
        raise one_problem(path, "reachable_share", reachable_share, "0 to 1")
    if clock.slot_minutes % step_minutes:
        raise ValueError(f"step_minutes: {step_minutes}; accepted: a divisor of the slot, {clock.slot_minutes}")
    metered = metered_year(path, zone=clock.zone, wanted=wanted, kind=kind, southern=southern)
    metered = metered if only is None else metered.on(only, southern=southern)
    choice, factor = dealt_days(metered.donors, clock=clock, years=years, seed=seed)
    interval = metered.read.interval_minutes
    minutes_of_year = _minutes_of_year(metered, choice, factor, home=home or LikelyHome(), seed=seed)
    wall_minute = wall_minute_of_step(clock, step_minutes=1)
    runs = []
    wired_w = np.empty((years, 1, clock.slots), dtype=np.float32)
    for year in range(years):
        minute_w = minutes_of_year(year)[wall_minute]
        reached_w = (reachable_share * minute_w).astype(np.float32)[None]
        runs.append(runs_of_year(reached_w, slot_minutes=clock.slot_minutes, step_minutes=step_minutes))
        wired_w[year, 0] = (1.0 - reachable_share) * minute_w.reshape(clock.slots, -1).mean(axis=1)
    found = joined(runs)
    doubts = metered.doubts(annual_use_kwh)
    notes = metered.notes
    if interval >= SHORTEST_INTERVAL:
        notes += (_peaks_note(interval, listed=home is not None and bool(home.appliances)),)
    if annual_use_kwh is not None and abs(annual_use_kwh / metered.year_kwh - 1.0) > 0.01:
        notes += (f"the meter file's {metered.year_kwh:,.0f} kWh a year are scaled to {annual_use_kwh:,.0f} kWh",)
    return DemandPool(
        run_w=found.watts,
        run_minutes=found.minutes,
        first_run=found.first,
        wired_w=wired_w,
        basis=("meter",),
        rank_row=np.array([-1]),
        rank_below=np.array([True]),
        scale_row=np.array([0]),
        day_rank=np.full((years, 2, DAYS), -1.0),
        step_minutes=step_minutes,
        slot_day=clock.day,
        source=f"meter file {Path(path).name}, {metered.read.first_day} to {metered.read.last_day}, every {interval} minutes",
        notes=notes,
        doubts=doubts,
        understood=metered.understood,
    )


def _longest_run(mask: NDArray[np.bool_]) -> int:
    """Return the length of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


def dealt_days(
    found: Donors, *, clock: LocalClock, years: int, seed: int
) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
    """Row of the file's day for each local day of each pool year, and the factor on its power, both (years, 365).

    Within a month and kind of day the file's days are dealt like cards: all once before any comes again. Months that were
    made share one error in each pool year.
    """
    local_month, local_kind = np.empty(DAYS, dtype=np.int64), np.empty(DAYS, dtype=np.int64)
    local_month[clock.day] = clock.month
    local_kind[clock.day] = np.maximum(clock.weekday - 4, 0)
    generator = np.random.default_rng([seed, 31337])
    choice = np.empty((years, DAYS), dtype=np.int64)
    for month in range(12):
        for kind in range(3):
            rows = found.rows[month][kind]
            target = np.flatnonzero((local_month == month) & (local_kind == kind))
            deals = -(-years * target.size // rows.size)
            cards = np.concatenate([generator.permutation(rows) for _ in range(deals)])
            choice[:, target] = cards[: years * target.size].reshape(years, target.size)
    factor = np.broadcast_to(found.factor[local_month, local_kind], (years, DAYS)).copy()
    if found.made:
        spread = np.sqrt(np.log1p(MADE_MONTH_SPREAD**2))
        error = np.exp(spread * generator.standard_normal(years) - 0.5 * spread**2)
        factor[:, np.isin(local_month, found.made)] *= error[:, None]
    return choice, factor.astype(np.float32)


def _peaks_note(interval_minutes: int, *, listed: bool) -> str:
    """Return what a long interval hides, where its peaks come from and how far they may be off.

    The sizes are the largest of seven homes whose minutes are known: `tests/studies/half_hours.py`.
    """
    hidden = f"a reading of {interval_minutes} minutes says nothing of the peaks within it; "
    if listed:
        return hidden + (
            "they are drawn from made days of a home with the listed appliances; the saving of a small unit may be off by 1 % "
            "(more if a large load is not listed)"
        )
    return hidden + (
        "they are drawn from made homes whose readings look most like these, so the saving of a small unit may be off by 6 %; "
        "list the home's appliances under home.appliances, and it is 1 %"
    )


def _minutes_of_year(
    metered: MeteredYear, choice: NDArray[np.int64], factor: NDArray[np.float32], *, home: LikelyHome, seed: int
) -> Callable[[int], NDArray[np.float32]]:
    """Return the function that gives the wall-clock minutes of a pool year [W], shape (365 * 1440,)."""
    interval_minutes = metered.read.interval_minutes
    if interval_minutes < SHORTEST_INTERVAL:
        held = metered.days.power_w.astype(np.float32)
        return lambda year: np.repeat((held[choice[year]] * factor[year][:, None]).ravel(), interval_minutes)
    days = metered_days(metered.days.power_w, year_kwh=metered.year_kwh, home=home)
    return lambda year: (restored_minutes(days, choice[year], seed=(seed, year)) * factor[year][:, None]).ravel()
