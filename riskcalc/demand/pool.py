"""Pool of demand years: a few streams that per-draw, per-day switches and a scale combine.

Habits differ from draw to draw, but draws that share a pool year must share their inputs. So the pool holds a
handful of
streams ("bases"). A weekday is either a day with somebody at home or a day out, whole; movable appliances run that
day either at their usual time or in the chosen window, whole. Nothing is ever blended, so a spike keeps its height.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.clock import DAYS, MINUTES_PER_YEAR
from riskcalc.errors import Question

#: Rows of `DemandPool.day_rank`.
HOME_ROW, MOVED_ROW = 0, 1
#: Values of `DemandPool.scale_row`.
HOUSEHOLD_SCALE, CAR_SCALE, BASE_SCALE, SMALL_SCALE = 0, 1, 2, 3
#: Least factor on what is not always on, however much is; judgement.
LEAST_ACTIVE = 0.2


@dataclass(frozen=True)
class DemandPool:
    """K demand years of B streams.

    Stream b counts on local day j of pool year k of a draw with shares (home, moved) if `rank_row[b]` is -1, or if
    (day_rank[k, row, j] < share[row]) == rank_below[b] with row = rank_row[b]. Its watts are multiplied by the draw's
    household scale (`scale_row` 0), car scale (1), base scale (2: what is always on) or small scale (3: lamps, screens
    and other small loads used at home).

    Attributes
    ----------
    run_w, run_minutes, first_run
        Demand that can be plugged into the kit, in runs of constant power [W]; see `riskcalc.demand.runs.Runs`.
    wired_w
        Demand out of the kit's reach, mean over each slot [W], float32, shape (years, bases, slots).
    basis
        Names of the streams.
    rank_row, rank_below, scale_row
        Shape (bases,); see above.
    day_rank
        Shape (years, 2, 365), in [0, 1); -1 on days on which the choice does not exist (weekends in row 0), which
        counts as below any share.
    step_minutes
        Within so many minutes runs may stand in any order.
    source
        Where the figures come from, for the report.
    notes
        What was filled, dropped or assumed.
    doubts
        What is possible but unlikely: key, given, usual, effect and source of each, in words.
    understood
        How a meter file was read, in words by subject; empty for made demand.
    slot_day
        Local day 0..364 of each slot, shape (slots,).
    """

    run_w: NDArray[np.float32]
    run_minutes: NDArray[np.uint8]
    first_run: NDArray[np.int64]
    wired_w: NDArray[np.float32]
    basis: tuple[str, ...]
    rank_row: NDArray[np.int64]
    rank_below: NDArray[np.bool_]
    scale_row: NDArray[np.int64]
    day_rank: NDArray[np.float64]
    step_minutes: int
    slot_day: NDArray[np.int64]
    source: str
    notes: tuple[str, ...] = ()
    doubts: tuple[Sequence[str], ...] = ()
    understood: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        years, bases, slots = self.years, len(self.basis), len(self.slot_day)
        expected = {
            "run_w": (len(self.run_minutes), bases),
            "first_run": (years, slots + 1),
            "wired_w": (years, bases, slots),
            "rank_row": (bases,),
            "rank_below": (bases,),
            "scale_row": (bases,),
            "day_rank": (years, 2, DAYS),
        }
        for name, shape in expected.items():
            array = getattr(self, name)
            if array.shape != shape:
                raise ValueError(f"{name}: shape {array.shape}; accepted: {shape}")
            array.flags.writeable = False
        self.run_minutes.flags.writeable = False
        total = int(self.run_minutes.sum(dtype=np.int64))
        if total != years * MINUTES_PER_YEAR:
            raise ValueError(f"run_minutes: {total} in all; accepted: {years} years of {MINUTES_PER_YEAR}")

    @property
    def questions(self) -> tuple[Question, ...]:
        """What is possible but unusual in the demand, to be asked where the answer stands."""
        return tuple(Question(*doubt) for doubt in self.doubts)

    @property
    def years(self) -> int:
        """Number of pool years."""
        return self.first_run.shape[0]

    def minutes_w(self, year: int) -> NDArray[np.float32]:
        """Return a year within reach minute by minute, (bases, minutes) [W]."""
        runs = slice(int(self.first_run[year, 0]), int(self.first_run[year, -1]))
        return np.ascontiguousarray(np.repeat(self.run_w[runs], self.run_minutes[runs], axis=0).T)

    @cached_property
    def reachable_day_kwh(self) -> NDArray[np.float64]:
        """Reachable energy by local day [kWh], shape (years, bases, 365)."""
        by_slot = np.empty((self.years, len(self.basis), len(self.slot_day)))
        for year, first in enumerate(self.first_run):
            runs = slice(int(first[0]), int(first[-1]))
            energy = self.run_w[runs] * self.run_minutes[runs, None].astype(np.float64)
            by_slot[year] = np.add.reduceat(energy, first[:-1] - first[0], axis=0).T
        return self._by_day(by_slot) / 60_000.0

    @cached_property
    def wired_day_kwh(self) -> NDArray[np.float64]:
        """Energy out of reach by local day [kWh], shape (years, bases, 365)."""
        return self._by_day(self.wired_w.astype(np.float64)) * (8.76 / len(self.slot_day))

    def mean_kwh(self, home_share: ArrayLike, moved_share: ArrayLike) -> NDArray[np.float64]:
        """Annual energy of each stream before scaling, averaged over the pool years [kWh/yr], shape (bases, draws).

        Parameters
        ----------
        home_share
            Share of weekdays on which somebody is at home, shape (draws,).
        moved_share
            Share of days on which movable use is moved, shape (draws,).

        Notes
        -----
        Exact for this pool: the sum over the days that the shares switch on, not an expectation over further pools.
        Share 1 gives the whole of a "below" stream and nothing of its counterpart (weekends aside).
        """
        shares = np.broadcast_arrays(np.atleast_1d(np.asarray(home_share, float)), np.asarray(moved_share, float))
        day_kwh = self.reachable_day_kwh + self.wired_day_kwh
        return np.stack([self._mean_kwh_of_basis(index, day_kwh[:, index], shares) for index in range(len(self.basis))])

    def household_scales(
        self,
        annual_use_kwh: ArrayLike,
        home_share: ArrayLike,
        moved_share: ArrayLike,
        base_factor: ArrayLike = 1.0,
        small_factor: ArrayLike = 1.0,
    ) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Factors that bring the household streams (the car aside) to the annual figure: household, base, small, (draws,) each.

        What is always on takes `base_factor` times its share of the year, and all else makes up for it, down to LEAST_ACTIVE
        of its own share. Of that, small loads take `small_factor` times as much against the others as they are made with.
        Limiting case: factors of 1 scale all alike.

        Raises
        ------
        ValueError
            If the household streams are empty, so that no factor can reach the figure.
        """
        kwh = self.mean_kwh(home_share, moved_share)
        large, base, small = (
            kwh[self.scale_row == row].sum(axis=0) for row in (HOUSEHOLD_SCALE, BASE_SCALE, SMALL_SCALE)
        )
        active = large + small
        if np.any(active + base <= 0.0):
            raise ValueError("annual use of the household streams: 0 kWh; accepted: more than 0")
        alike = np.asarray(annual_use_kwh, dtype=float) / (active + base)
        most = (active + base - LEAST_ACTIVE * active) / np.where(base > 0.0, base, 1.0)
        factor = np.where((active > 0.0) & (base > 0.0), np.minimum(base_factor, most), 1.0)
        weight = np.where(large > 0.0, small_factor, 1.0)
        weighed = large + weight * small
        rest = np.divide(active + base - factor * base, weighed, out=np.ones(active.shape), where=active > 0.0)
        return alike * rest, alike * factor, alike * rest * weight

    def _by_day(self, by_slot: NDArray[np.float64]) -> NDArray[np.float64]:
        years, bases, _ = by_slot.shape
        totals = np.zeros((years * bases, DAYS))
        # Slots run in order of days except for the year's last hours where summer time spans new year.
        for index, values in enumerate(by_slot.reshape(years * bases, -1)):
            totals[index] = np.bincount(self.slot_day, weights=values, minlength=DAYS)
        return totals.reshape(years, bases, DAYS)

    def _mean_kwh_of_basis(
        self, index: int, day_kwh: NDArray[np.float64], shares: tuple[NDArray[np.float64], ...]
    ) -> NDArray[np.float64]:
        row = int(self.rank_row[index])
        if row < 0:
            return np.full(shares[0].shape, day_kwh.sum() / self.years)
        rank = self.day_rank[:, row, :].ravel()
        order = np.argsort(rank, kind="stable")
        below = np.concatenate([[0.0], np.cumsum(day_kwh.ravel()[order])])
        switched_on = below[np.searchsorted(rank[order], shares[row], side="left")]
        total = switched_on if self.rank_below[index] else below[-1] - switched_on
        return total / self.years


def balanced_ranks(generator: np.random.Generator, *, years: int, days: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return ranks in [0, 1) for the marked days of each year, -1 elsewhere, shape (years, 365).

    Each year's ranks are one per stratum, shuffled, so that a share s switches on s times the marked days of every
    year to within one day; the share is a habit, not a source of luck between years.
    """
    ranks = np.full((years, DAYS), -1.0)
    marked = np.flatnonzero(days)
    for year in range(years):
        strata = (np.arange(marked.size) + generator.random(marked.size)) / marked.size
        ranks[year, marked] = generator.permutation(strata)
    return ranks
