"""Minutes for a meter that only says half-hours: what a small inverter sees lies between the readings.

Each interval is split into a base (the lowest interval mean some hours around) and an excess. Donors with a like
excess, and like
neighbours, are drawn from intervals of appliance homes; of a few, the one that joins the minute before best is
taken. Its minutes
above its own base, scaled to the excess, are put on the metered base. So the energy of every interval is the meter's
and the spikes
are of the size that appliances have.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import local_clock
from riskcalc.demand.events import appliance_years
from riskcalc.jit import compiled

if TYPE_CHECKING:
    from scipy.spatial import KDTree

#: Shortest interval that hides spikes worth restoring [min]; readings of shorter ones are held.
SHORTEST_INTERVAL = 15
#: How far to look for the base, each way [min].
BASE_REACH_MINUTES = 150
#: Donors are drawn from this many nearest neighbours, this many are compared at the joint.
NEIGHBOURS = 12
COMPARED = 4
#: Weight of the excess of the neighbours one, two and three intervals away against the interval's own.
NEIGHBOUR_WEIGHTS = (0.7, 0.5, 0.3)
#: Excess is compared on log(1 + excess/EXCESS_SCALE_W): ratios for large ones, differences for small ones.
EXCESS_SCALE_W = 60.0

# A well-equipped home and a sparse one: together they offer quiet and busy intervals of every kind.
_DONOR_HOMES = (
    (
        "fridge_freezer television second_television tv_receiver_box personal_computer kettle microwave oven hob "
        "small_cooking toaster hair_dryer washing_machine tumble_dryer dishwasher iron vacuum hi_fi lighting "
        "heating_pump storage_water_heater fan_heater router_standby other_always_on",
        4,
    ),
    (
        "refrigerator television laptop kettle microwave hob small_cooking toaster hair_dryer washing_machine iron "
        "vacuum lighting router_standby",
        2,
    ),
)
_DONOR_YEARS = 3


@dataclass(frozen=True)
class MeteredDays:
    """Metered days with the donors that suit each interval; arrays by day and interval.

    `mean_w`, `base_w`, `excess_w` have shape (days, intervals), `neighbours` (days, intervals, NEIGHBOURS).
    """

    mean_w: NDArray[np.float64]
    base_w: NDArray[np.float64]
    excess_w: NDArray[np.float64]
    neighbours: NDArray[np.int64]


def metered_days(power_w: NDArray[np.float64]) -> MeteredDays:
    """Find donors for every interval of a run of days, shape (days, intervals per day) [W].

    Searched once per file: a day keeps its donors wherever it is put.
    """
    mean_w = np.asarray(power_w, dtype=np.float64)
    intervals = power_w.shape[1]
    base, excess = _base_and_excess(mean_w.ravel(), 1440 // intervals)
    tree, _, _ = _donors(1440 // intervals)
    _, neighbours = tree.query(_features(excess), k=NEIGHBOURS)
    shape = mean_w.shape
    return MeteredDays(mean_w, base.reshape(shape), excess.reshape(shape), neighbours.reshape(*shape, NEIGHBOURS))


def restored_minutes(
    days: MeteredDays, rows: NDArray[np.int64] | None = None, *, seed: int | tuple[int, ...]
) -> NDArray[np.float32]:
    """Return one-minute power whose mean over each interval is the metered one, shape (len(rows), 1440).

    Parameters
    ----------
    days
        From `metered_days`.
    rows
        Which days, in which order; None: all as they are. A day that comes twice gets new minutes each time.
    seed
        Picks among the donors; the same seed gives the same minutes.

    Notes
    -----
    minute = base + (donor minute - donor base) * excess / donor excess, cut at 0 and rescaled to the interval's
    energy. A constant
    load has no excess and comes back constant.
    """
    rows = np.arange(len(days.mean_w)) if rows is None else rows
    _, above_base, donor_excess = _donors(1440 // days.mean_w.shape[1])
    neighbours = days.neighbours[rows].reshape(-1, NEIGHBOURS)
    drawn = np.random.default_rng(seed).integers(NEIGHBOURS, size=(len(neighbours), COMPARED))
    candidates = np.take_along_axis(neighbours, drawn, axis=1)
    mean_w, base, excess = (array[rows].ravel() for array in (days.mean_w, days.base_w, days.excess_w))
    return _joined(mean_w, base, excess, candidates, above_base, donor_excess).reshape(len(rows), 1440)


@compiled
def _joined(mean_w, base, excess, candidates, above_base, donor_excess):
    """Minutes of each interval from the candidate whose first minute is nearest to the minute before."""
    intervals, compared = candidates.shape
    length = above_base.shape[1]
    out = np.empty((intervals, length), np.float32)
    trial = np.empty(length)
    before = mean_w[0]
    for i in range(intervals):
        nearest = np.inf
        for c in range(compared):
            donor = candidates[i, c]
            scale = excess[i] / donor_excess[donor]
            total = 0.0
            for minute in range(length):
                trial[minute] = max(base[i] + above_base[donor, minute] * scale, 0.0)
                total += trial[minute]
            factor = mean_w[i] * length / total if total > 0.0 else 0.0
            distance = abs(trial[0] * factor - before)
            if distance < nearest:
                nearest = distance
                for minute in range(length):
                    out[i, minute] = trial[minute] * factor
        before = out[i, length - 1]
    return out


def _base_and_excess(
    flat: NDArray[np.float64], interval_minutes: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    from scipy.ndimage import minimum_filter1d  # a fifth of a second, for meters only

    width = 2 * (BASE_REACH_MINUTES // interval_minutes) + 1
    base = minimum_filter1d(flat, size=max(width, 3), mode="nearest")
    return base, flat - base


def _features(excess: NDArray[np.float64]) -> NDArray[np.float64]:
    """Excess of the interval and, with less weight, of its neighbours, on a log scale; shape (intervals, features)."""
    level = np.log1p(excess / EXCESS_SCALE_W)
    columns = [level]
    for distance, weight in enumerate(NEIGHBOUR_WEIGHTS, start=1):
        columns += [weight * np.roll(level, distance), weight * np.roll(level, -distance)]
    return np.stack(columns, axis=1)


@lru_cache(maxsize=4)
def _donors(interval_minutes: int) -> tuple[KDTree, NDArray[np.float32], NDArray[np.float64]]:
    """Search tree over donor intervals, their minutes above base (donors, interval), their excess."""
    from scipy.spatial import KDTree  # as above

    excesses, minutes = [], []
    for number, (keys, occupants) in enumerate(_DONOR_HOMES):
        pool = appliance_years(
            dict.fromkeys(keys.split(), "unit"),
            clock=local_clock("Etc/UTC"),
            years=_DONOR_YEARS,
            seed=4099 + number,
            occupants=occupants,
            home_share=0.5,
        )
        for year in range(pool.years):
            stream = dict(zip(pool.basis, pool.minutes_w(year), strict=True))
            at_home = np.repeat(pool.day_rank[year, 0] < 0.5, 1440)
            total = (
                stream["always"] + stream["movable_usual"] + np.where(at_home, stream["home_day"], stream["away_day"])
            )
            blocks = total.reshape(-1, interval_minutes)
            base, excess = _base_and_excess(blocks.mean(axis=1, dtype=np.float64), interval_minutes)
            minutes.append(blocks - base[:, None].astype(np.float32))
            excesses.append(excess)
    features = np.concatenate([_features(excess) for excess in excesses])
    joined = np.concatenate(excesses)
    some = joined > 1.0
    return KDTree(features[some]), np.concatenate(minutes)[some], joined[some]
