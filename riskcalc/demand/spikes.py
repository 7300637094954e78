"""Minutes for a meter that only says half-hours: what a small inverter sees lies between the readings.

Each interval is split into a base (the lowest interval mean some hours around) and an excess. A donor is drawn from
intervals of made homes with a like excess, like neighbours and a like hour. Its minutes above its own base are put on the
metered base and then raised or lowered together until the energy is the meter's, so that a spike keeps its height.

Which homes are made decides most: those with the appliances of the scenario's list; without a list, those of many made
homes whose intervals look most like the meter's.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MINUTES_PER_YEAR, local_clock
from riskcalc.demand.appliances import CAR, appliance_table
from riskcalc.demand.events import appliance_years

if TYPE_CHECKING:
    from scipy.spatial import KDTree

#: Shortest interval that hides spikes worth restoring [min]; readings of shorter ones are held.
SHORTEST_INTERVAL = 15
#: How far to look for the base, each way [min].
BASE_REACH_MINUTES = 150
#: Donors are drawn from this many nearest neighbours. Few: alike in the mean is what keeps the spikes unbiased.
NEIGHBOURS = 4
#: Weight of the excess of the intervals before and after against the interval's own, and of the hour of the day.
NEIGHBOUR_WEIGHT, HOUR_WEIGHT = 0.2, 0.3
#: Excess is compared on log(1 + excess/EXCESS_SCALE_W): ratios for large ones, differences for small ones.
EXCESS_SCALE_W = 60.0
#: Below this excess in an interval and its neighbours the meter saw a steady load [W].
STEADY_W = 0.5
#: Years that are made of a home with a list; homes that are made where there is no list, and how many of them are taken.
LISTED_YEARS, HOMES_MADE, HOMES_TAKEN = 4, 24, 3
#: Homes are made for yearly uses that lie so far apart in their logarithm: most files find them made.
USE_STEP = 0.25
#: Large loads that the table's chances give to no home; every second made home has one entry, each in turn. Homes that
#: heat rooms by electricity mostly heat water by it too. Judgement.
LARGE_LOADS = (
    ("tank_water_heater",),
    ("storage_water_heater",),
    ("immersion_heater",),
    ("electric_heating", "storage_water_heater"),
    ("air_conditioner",),
)
#: Levels of excess by which two homes are compared [W].
_LEVELS_W = (5.0, *np.geomspace(15.0, 8000.0, 14))
_FIRST_SEED = 4099
#: Times that the minutes of an interval are raised or lowered together; what is then left is scaled away.
LEVELLINGS = 6


class LikelyHome(NamedTuple):
    """What is known of a metered home; no `appliances` where nothing is."""

    appliances: tuple[str, ...] = ()
    occupants: int = 2
    home_share: float = 0.5
    car_kwh_per_year: float = 0.0
    car_charger_w: float = 2300.0


@dataclass(frozen=True)
class MeteredDays:
    """Metered days with the donors that suit each interval; arrays by day and interval.

    `mean_w`, `base_w` and `steady` have shape (days, intervals), `neighbours` (days, intervals, NEIGHBOURS); `above_base_w`
    holds the minutes of the donors, (donors, minutes).
    """

    mean_w: NDArray[np.float64]
    base_w: NDArray[np.float64]
    steady: NDArray[np.bool_]
    neighbours: NDArray[np.int64]
    above_base_w: NDArray[np.float32]


def metered_days(
    power_w: NDArray[np.float64], *, year_kwh: float | None = None, home: LikelyHome | None = None
) -> MeteredDays:
    """Find donors for every interval of a run of days, shape (days, intervals per day) [W].

    Searched once per file: a day keeps its donors wherever it is put. `year_kwh` is the use of the year, by default that
    of the days.
    """
    mean_w = np.asarray(power_w, dtype=np.float64)
    home = home or LikelyHome()
    year_kwh = float(mean_w.mean()) * 8.76 if year_kwh is None else year_kwh
    minutes = 1440 // mean_w.shape[1]
    base, excess = _base_and_excess(mean_w.ravel(), minutes)
    features = _features(excess, mean_w.shape[1])
    tree, above_base_w = _donors(home, year_kwh, minutes, None if home.appliances else tuple(_signature(excess)))
    _, neighbours = tree.query(features, k=NEIGHBOURS)
    steady = (features[:, :3] < np.log1p(STEADY_W / EXCESS_SCALE_W)).all(axis=1)
    shape = mean_w.shape
    return MeteredDays(
        mean_w, base.reshape(shape), steady.reshape(shape), neighbours.reshape(*shape, NEIGHBOURS), above_base_w
    )


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
    minute = max(0, base + donor minute - donor base + c), c being such that the energy is that of the interval. Where
    neither the interval nor its neighbours are above the base the load was steady, and comes back so.
    """
    rows = np.arange(len(days.mean_w)) if rows is None else rows
    neighbours = days.neighbours[rows].reshape(-1, NEIGHBOURS)
    drawn = np.random.default_rng(seed).integers(NEIGHBOURS, size=(len(neighbours), 1))
    donor = np.take_along_axis(neighbours, drawn, axis=1)[:, 0]
    mean_w, base, steady = (array[rows].reshape(-1, 1) for array in (days.mean_w, days.base_w, days.steady))
    minutes = np.where(steady, mean_w, base + days.above_base_w[donor])
    for _ in range(LEVELLINGS):
        minutes = np.maximum(minutes + (mean_w - minutes.mean(axis=1, keepdims=True)), 0.0)
    left = minutes.mean(axis=1, keepdims=True)
    minutes *= np.divide(mean_w, left, out=np.ones_like(left), where=left > 0.0)
    return minutes.astype(np.float32).reshape(len(rows), 1440)


def _base_and_excess(
    flat: NDArray[np.float64], interval_minutes: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    from scipy.ndimage import minimum_filter1d  # a fifth of a second, for meters only

    width = 2 * (BASE_REACH_MINUTES // interval_minutes) + 1
    base = minimum_filter1d(flat, size=max(width, 3), mode="nearest")
    return base, flat - base


def _features(excess: NDArray[np.float64], intervals_per_day: int) -> NDArray[np.float64]:
    """Excess of the interval and, with less weight, of its neighbours, on a log scale, and the hour; (intervals, 5)."""
    level = np.log1p(excess / EXCESS_SCALE_W)
    hour = np.arange(len(excess)) % intervals_per_day * (2.0 * np.pi / intervals_per_day)
    before, after = np.roll(level, 1), np.roll(level, -1)
    return np.stack(
        [
            level,
            NEIGHBOUR_WEIGHT * before,
            NEIGHBOUR_WEIGHT * after,
            HOUR_WEIGHT * np.cos(hour),
            HOUR_WEIGHT * np.sin(hour),
        ],
        axis=1,
    )


def _signature(excess: NDArray[np.float64]) -> NDArray[np.float64]:
    """How often each level of excess follows each other, and the energy at each, as roots of shares."""
    level = np.digitize(excess, _LEVELS_W)
    count = len(_LEVELS_W) + 1
    follows = np.zeros((count, count))
    np.add.at(follows, (level[:-1], level[1:]), 1.0)
    energy = np.bincount(level, weights=excess, minlength=count)
    shares = [values / max(values.sum(), 1e-9) for values in (follows, energy)]
    return np.sqrt(np.concatenate([share.ravel() for share in shares]))


@lru_cache(maxsize=4)
def _donors(
    home: LikelyHome, year_kwh: float, interval_minutes: int, signature: tuple[float, ...] | None
) -> tuple[KDTree, NDArray[np.float32]]:
    """Search tree over the donor intervals, and their minutes above base (donors, interval)."""
    from scipy.spatial import KDTree  # as above

    if signature is None:
        years = _made_years(home, year_kwh, LISTED_YEARS, _FIRST_SEED, threads=2)
    else:
        years = _like_homes(np.array(signature), home, year_kwh, interval_minutes)
    features, above_base = [], []
    for minutes_w in years:
        blocks = minutes_w.reshape(-1, interval_minutes)
        base, excess = _base_and_excess(blocks.mean(axis=1, dtype=np.float64), interval_minutes)
        features.append(_features(excess, 1440 // interval_minutes))
        above_base.append(blocks - base[:, None].astype(np.float32))
    return KDTree(np.concatenate(features)), np.concatenate(above_base)


def _like_homes(
    signature: NDArray[np.float64], home: LikelyHome, year_kwh: float, interval_minutes: int
) -> list[NDArray[np.float32]]:
    """Return a year of minutes of each of those made homes whose intervals look most like the meter's."""
    level = round(np.log(max(year_kwh, 1.0)) / USE_STEP)
    made = _made_homes(level, home.car_kwh_per_year, home.car_charger_w)
    unlike = []
    for minutes_w in made:
        means = minutes_w.reshape(-1, interval_minutes).mean(axis=1, dtype=np.float64)
        unlike.append(float(((_signature(_base_and_excess(means, interval_minutes)[1]) - signature) ** 2).sum()))
    return [made[number] for number in np.argsort(unlike, kind="stable")[:HOMES_TAKEN]]


@lru_cache(maxsize=1)
def _made_homes(level: int, car_kwh_per_year: float, car_charger_w: float) -> list[NDArray[np.float32]]:
    """Return a year of minutes of each of HOMES_MADE homes that use exp(level * USE_STEP) kWh a year."""
    year_kwh = float(np.exp(level * USE_STEP))
    car = LikelyHome(car_kwh_per_year=car_kwh_per_year, car_charger_w=car_charger_w)
    with ThreadPoolExecutor(max_workers=2) as executor:
        numbers = range(HOMES_MADE)
        return list(
            executor.map(lambda n: _made_years(_any_home(n, car), year_kwh, 1, _FIRST_SEED + 1 + n)[0], numbers)
        )


def _any_home(number: int, home: LikelyHome) -> LikelyHome:
    """Return a home with each appliance by the chance that a home owns it, every second with a large load too."""
    generator = np.random.default_rng([_FIRST_SEED, number])
    owned = [key for key, row in appliance_table().items() if key != CAR and generator.random() < row.ownership]
    large = LARGE_LOADS[number // 2 % len(LARGE_LOADS)] if number % 2 else ()
    return home._replace(
        appliances=(*owned, *large),
        occupants=int(generator.choice([1, 2, 3, 4], p=[0.30, 0.34, 0.16, 0.20])),
        home_share=float(generator.beta(1.2, 1.0)),
    )


def _made_years(
    home: LikelyHome, year_kwh: float, years: int, seed: int, *, threads: int = 1
) -> list[NDArray[np.float32]]:
    """Return years of minutes of a home that uses so much, each (minutes,) [W]."""
    car_kwh = min(home.car_kwh_per_year, year_kwh)
    pool = appliance_years(
        dict.fromkeys((*home.appliances, CAR), "unit"),
        clock=local_clock("Etc/UTC"),
        years=years,
        seed=seed,
        occupants=home.occupants,
        annual_use_kwh=max(year_kwh - car_kwh, 1.0),
        home_share=home.home_share,
        car_kwh_per_year=car_kwh,
        car_charger_w=home.car_charger_w,
        threads=threads,
    )
    found = np.zeros((years, MINUTES_PER_YEAR), dtype=np.float32)
    for year in range(years):
        at_home = np.repeat(pool.day_rank[year, 0] < home.home_share, 1440)
        by_day = {"home_day": at_home, "home_small": at_home, "away_day": ~at_home, "away_small": ~at_home}
        runs_on = by_day | {"movable_moved": False, "car_moved": False}
        for name, watts in zip(pool.basis, pool.minutes_w(year), strict=True):
            found[year] += watts * runs_on.get(name, True)
    return list(found)
