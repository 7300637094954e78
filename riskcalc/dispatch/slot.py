"""What is set up before the steps of a slot: weights of the day, sun of the hour, limits, sums of demand."""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import rows
from riskcalc.dispatch.compiled import inlined, inner
from riskcalc.dispatch.plan import PoolArrays
from riskcalc.dispatch.rows import LANES, WHOLE, fma


@inner
def open_year(lanes: int, work: NDArray[np.float64]) -> None:
    """Set the least rating of the lanes, a hair lower so that rounding hides no load from `count_overload`."""
    least = np.inf
    for lane in range(min(lanes, LANES)):
        least = min(least, work[rows.RATING_SLACK + lane])
    work[rows.LEAST_RATING] = least * (1.0 - 1e-12)


@inlined
def open_day(lanes: int, work: NDArray[np.float64], pool: PoolArrays, year: int, day: int) -> None:
    """Close swing and shortage of the day before; set today's weight of every demand basis and power into the cells."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        swing = work[rows.HIGHEST + lane] - work[rows.LOWEST + lane]
        work[rows.SWING_SUM + lane] += swing if swing > 0.0 else 0.0
        work[rows.SHORT_DAYS + lane] += work[rows.SHORT_TODAY + lane]
        work[rows.SHORT_TODAY + lane] = 0.0
        work[rows.HIGHEST + lane] = 0.0
        work[rows.LOWEST + lane] = 1.0
        work[rows.CELLS_TODAY + lane] = work[rows.CELLS + lane] * pool.charge_allowed[year, day]
    for basis in range(len(pool.rank_row)):
        row = pool.rank_row[basis]
        below = pool.rank_below[basis]
        car = pool.scale_row[basis] == 1
        rank = pool.day_rank[year, max(row, 0), day]
        for lane in range(lanes):
            scale = work[rows.CAR + lane] if car else work[rows.HOUSEHOLD + lane]
            share = work[rows.HOME + lane] if row == 0 else work[rows.MOVED + lane]
            rests = row >= 0 and (rank < share) != below
            work[rows.WEIGHTS + basis * LANES + lane] = 0.0 if rests else scale
        top = 0.0
        for lane in range(lanes):
            top = max(top, work[rows.WEIGHTS + basis * LANES + lane])
        work[rows.TOP_WEIGHTS + basis] = top


@inlined
def open_sun(lanes: int, work: NDArray[np.float64], pool: PoolArrays, year: int, hour: int) -> bool:
    """Set the solar power of an hour, before and behind the inputs; return whether there is any sun at all."""
    lanes = min(lanes, LANES) & WHOLE
    work[rows.SOLAR_AVAILABLE : rows.SOLAR + LANES] = 0.0
    planes = len(pool.input_of_plane)
    sun = False
    for plane in range(planes):
        sun = sun or pool.solar_w[year, plane, hour] > 0.0
    if not sun:
        return False
    inputs = 0
    for plane in range(planes):
        inputs = max(inputs, pool.input_of_plane[plane] + 1)
    for index in range(min(inputs, rows.MOST_INPUTS)):
        work[rows.INPUT_POWER : rows.INPUT_POWER + LANES] = 0.0
        for plane in range(min(planes, rows.MOST_PLANES)):
            if pool.input_of_plane[plane] == index:
                power = np.float64(pool.solar_w[year, plane, hour])
                weights = rows.PLANE_WEIGHTS + plane * LANES
                for lane in range(lanes):
                    plane_power = work[weights + lane] * power
                    work[rows.SOLAR_AVAILABLE + lane] += plane_power
                    work[rows.INPUT_POWER + lane] += plane_power
        limits = rows.INPUT_LIMITS + index * LANES
        for lane in range(lanes):
            power = work[rows.INPUT_POWER + lane]
            limit = work[limits + lane]
            work[rows.SOLAR + lane] += power if power < limit else limit
    for lane in range(lanes):
        work[rows.SOLAR + lane] *= work[rows.SOLAR_EFFICIENCY + lane]
    return True


@inner
def open_stretch(work: NDArray[np.float64]) -> None:
    """Clear the sums over the steps of a stretch."""
    work[rows.FIRST_SUM : rows.END_OF_SUMS] = 0.0


@inner
def open_slot(lanes: int, work: NDArray[np.float64], reserve_share: float, aim_share: float, discharge: float) -> None:
    """Set what a slot leaves to the cells; `discharge` is 1 where the cells may serve loads, else 0.

    `aim_share` of the capacity is where charging ends, or selling.
    """
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        stored = work[rows.STORED + lane]
        capacity = work[rows.CAPACITY + lane]
        reserve = reserve_share * capacity
        floor = work[rows.FLOOR + lane]
        floor = reserve if reserve > floor else floor
        base = stored if stored < floor else floor
        work[rows.BASE + lane] = base
        work[rows.ABOVE + lane] = stored - base
        work[rows.ROOM + lane] = capacity - base
        work[rows.TARGET + lane] = aim_share * capacity - base
        work[rows.GIVE_NOW + lane] = discharge * work[rows.GIVE + lane]


@inner
def aim_by_need(lanes: int, work: NDArray[np.float64], kind: int, light: float) -> None:
    """Set the target of charging for a kind of day and a forecast of its light; see `need.ChargeByNeed`."""
    lanes = min(lanes, LANES) & WHOLE
    level, slope = rows.LEVELS + kind * LANES, rows.SLOPES + kind * LANES
    for lane in range(lanes):
        share = fma(-light, work[slope + lane], work[level + lane])
        share = share if share < 1.0 else 1.0
        share = share if share > 0.0 else 0.0
        work[rows.TARGET + lane] = share * work[rows.CAPACITY + lane] - work[rows.BASE + lane]


@inner
def set_limits(lanes: int, work: NDArray[np.float64]) -> None:
    """Set what follows from an hour's sun and the day's limit of charging: power into the cells, the largest load."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        solar = work[rows.SOLAR + lane]
        to_cells = solar * work[rows.TO_STORED + lane]
        work[rows.SOLAR_STORED + lane] = to_cells
        limit = work[rows.CELLS_TODAY + lane]
        to_cells = to_cells if to_cells < limit else limit
        work[rows.SOLAR_POWER + lane] = to_cells
        work[rows.REFILL + lane] = to_cells + rows.TINY
        # The largest load that sun and cells can carry: a L + b L^2 = power, solved without cancellation.
        power = fma(solar, work[rows.SOLAR_MOST + lane], work[rows.GIVE_MOST + lane]) - work[rows.IDLE + lane]
        linear = work[rows.LINEAR + lane]
        square = linear * linear + 4.0 * work[rows.QUADRATIC + lane] * (power if power > 0.0 else 0.0)
        most = 2.0 * power / (linear + sqrt(square))
        rating = work[rows.RATING_MOST + lane]
        most = most if most < rating else rating
        work[rows.MOST + lane] = most if most > 0.0 else 0.0
        always = work[rows.ALWAYS + lane]
        limit = most if most > always else always
        work[rows.LIMIT + lane] = limit if power >= 0.0 else -1.0


@inlined
def open_demand(
    lanes: int, steps: int, work: NDArray[np.float64], pool: PoolArrays, slot_sum: NDArray[np.float64],
    slot_peak: NDArray[np.float32], year: int, slot: int,
) -> bool:  # fmt: skip
    """Set the slot's sum of demand and add it to the stretch's; return whether a load may exceed the rating of any lane."""
    lanes = min(lanes, LANES) & WHOLE
    peak = 0.0
    for basis in range(len(pool.rank_row)):
        peak += work[rows.TOP_WEIGHTS + basis] * slot_peak[year, basis, slot]
    # Two at a time: more would be stored and loaded again for each basis, fewer bases have weight zero.
    bases = len(pool.rank_row)
    for basis in range(0, bases, 2):
        other = min(basis + 1, bases - 1)
        reachable_0, reachable_1 = slot_sum[year, basis, slot], slot_sum[year, other, slot]
        wired_0 = np.float64(pool.wired_w[year, basis, slot]) * steps
        wired_1 = np.float64(pool.wired_w[year, other, slot]) * steps
        weights = rows.WEIGHTS + basis * LANES
        for lane in range(lanes):
            weight_0 = work[weights + lane]
            weight_1 = work[weights + LANES + lane]
            demand = work[rows.SLOT_DEMAND + lane] if basis > 0 else 0.0
            work[rows.SLOT_DEMAND + lane] = fma(weight_1, reachable_1, fma(weight_0, reachable_0, demand))
            wired = fma(weight_0, wired_0, work[rows.WIRED + lane])
            work[rows.WIRED + lane] = fma(weight_1, wired_1, wired)
    for lane in range(lanes):
        work[rows.DEMAND + lane] += work[rows.SLOT_DEMAND + lane]
        work[rows.SOLAR_SUM + lane] += work[rows.SOLAR_AVAILABLE + lane]
    return peak > work[rows.LEAST_RATING]


@inner
def nothing_stored(lanes: int, work: NDArray[np.float64], parallel: bool) -> bool:
    """Return whether no lane has anything above its floor, so that without sun the inverters cannot run.

    In the transfer family an inverter without idle draw counts as on while there is no load; then the answer is no.
    """
    lanes = min(lanes, LANES) & WHOLE
    running = 0
    for lane in range(lanes):
        without_idle = work[rows.ON_WITHOUT_IDLE + lane] > 0.0 and not parallel
        running += 1 if work[rows.ABOVE + lane] > 0.0 or without_idle else 0
    return running == 0
