"""What happens around the steps of a slot: weights of the day, sun of the hour, loads of the steps, and the books."""

from __future__ import annotations

from math import sqrt

import numba
import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import rows
from riskcalc.dispatch.plan import PoolArrays
from riskcalc.dispatch.rows import CHUNK, LANES, fma


@numba.njit(error_model="numpy")
def open_day(lanes: int, work: NDArray[np.float64], pool: PoolArrays, year: int, day: int) -> None:
    """Set the weight of every demand basis, and the power the cells take, for a wall-clock day; close the day before."""
    for lane in range(lanes):
        swing = work[rows.HIGHEST + lane] - work[rows.LOWEST + lane]
        work[rows.SWING_SUM + lane] += swing if swing > 0.0 else 0.0
        work[rows.HIGHEST + lane] = 0.0
        work[rows.LOWEST + lane] = 1.0
        work[rows.CELLS_TODAY + lane] = work[rows.CELLS + lane] * pool.charge_allowed[year, day]
    for basis in range(len(pool.rank_row)):
        row = pool.rank_row[basis]
        below = pool.rank_below[basis]
        weights = rows.WEIGHTS + basis * LANES
        car = pool.scale_row[basis] == 1
        rank = pool.day_rank[year, max(row, 0), day]
        for lane in range(lanes):
            weight = work[rows.CAR + lane] if car else work[rows.HOUSEHOLD + lane]
            share = work[rows.HOME + lane] if row == 0 else work[rows.MOVED + lane]
            rests = row >= 0 and (rank < share) != below
            work[weights + lane] = 0.0 if rests else weight


@numba.njit(error_model="numpy")
def open_slot(
    lanes: int, steps: int, work: NDArray[np.float64], pool: PoolArrays, slot_sum: NDArray[np.float64],
    slot_peak: NDArray[np.float32], year: int, slot: int, reserve_share: float, target_share: float, sun: bool, hour: int, off_grid: bool, discharge: bool,
) -> float:  # fmt: skip
    """Set the rows of a slot and clear its sums; return the largest possible excess of a load over the rating [W]."""
    work[rows.FIRST_SUM : rows.END_OF_SUMS] = 0.0
    work[rows.DEMAND : rows.DEMAND + 3 * LANES] = 0.0
    work[rows.SOLAR_AVAILABLE : rows.SOLAR_AVAILABLE + 2 * LANES] = 0.0
    if sun:
        _open_sun(lanes, work, pool, year, hour)
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
        work[rows.TARGET + lane] = target_share * capacity - base
        work[rows.GIVE_NOW + lane] = work[rows.GIVE + lane] if discharge else 0.0
        solar = work[rows.SOLAR + lane]
        stored_power = solar * work[rows.TO_STORED + lane]
        work[rows.SOLAR_STORED + lane] = stored_power
        limit = work[rows.CELLS_TODAY + lane]
        work[rows.REFILL + lane] = (stored_power if stored_power < limit else limit) + rows.TINY
        # The largest load that sun and cells can carry: a L + b L^2 = power, solved without cancellation.
        give = work[rows.GIVE + lane] if off_grid else work[rows.GIVE_SLACK + lane]
        power = solar + give - work[rows.IDLE + lane]
        linear = work[rows.LINEAR + lane]
        root = sqrt(linear * linear + 4.0 * work[rows.QUADRATIC + lane] * (power if power > 0.0 else 0.0))
        most = 2.0 * power / (linear + root)
        rating = work[rows.RATING + lane] if off_grid else work[rows.RATING_SLACK + lane]
        most = most if most < rating else rating
        work[rows.MOST + lane] = (most if most > 0.0 else 0.0) if off_grid else (most if power >= 0.0 else -1.0)
    for basis in range(len(pool.rank_row)):
        weights = rows.WEIGHTS + basis * LANES
        reachable = slot_sum[year, basis, slot]
        peak = np.float64(slot_peak[year, basis, slot])
        wired = np.float64(pool.wired_w[year, basis, slot]) * steps
        for lane in range(lanes):
            work[rows.DEMAND + lane] = fma(work[weights + lane], reachable, work[rows.DEMAND + lane])
            work[rows.WIRED + lane] = fma(work[weights + lane], wired, work[rows.WIRED + lane])
            work[rows.PEAK + lane] = fma(work[weights + lane], peak, work[rows.PEAK + lane])
    excess = -1.0
    for lane in range(lanes):
        # The margin keeps rounding from hiding an excess, so that skipping the count never changes it.
        excess = max(excess, work[rows.PEAK + lane] * (1.0 + 1e-12) - work[rows.RATING_SLACK + lane])
    return excess


@numba.njit(error_model="numpy")
def _open_sun(lanes: int, work: NDArray[np.float64], pool: PoolArrays, year: int, hour: int) -> None:
    work[rows.INPUT_POWERS : rows.INPUT_POWERS + rows.MOST_INPUTS * LANES] = 0.0
    inputs = 0
    for plane in range(len(pool.input_of_plane)):
        power = np.float64(pool.solar_w[year, plane, hour])
        index = np.int64(pool.input_of_plane[plane])
        inputs = max(inputs, index + 1)
        for lane in range(lanes):
            plane_power = work[rows.PLANE_WEIGHTS + plane * LANES + lane] * power
            work[rows.SOLAR_AVAILABLE + lane] += plane_power
            work[rows.INPUT_POWERS + index * LANES + lane] += plane_power
    for index in range(inputs):
        for lane in range(lanes):
            power = work[rows.INPUT_POWERS + index * LANES + lane]
            limit = work[rows.INPUT_LIMITS + index * LANES + lane]
            work[rows.SOLAR + lane] += power if power < limit else limit
    for lane in range(lanes):
        work[rows.SOLAR + lane] *= work[rows.SOLAR_EFFICIENCY + lane]


@numba.njit(error_model="numpy")
def fill_loads(lanes: int, steps: int, work: NDArray[np.float64], pool: PoolArrays, year: int, slot: int) -> None:
    """Set the load of every step: the weighted sum of the demand bases, CHUNK bases at a time."""
    bases = len(pool.rank_row)
    for chunk in range((bases + CHUNK - 1) // CHUNK):
        # Beyond the last basis the weights are zero and any row will do.
        last = bases - 1
        first = CHUNK * chunk
        a, b, c = first, min(first + 1, last), min(first + 2, last)
        weights = rows.WEIGHTS + CHUNK * chunk * LANES
        for step in range(steps):
            at = slot * steps + step
            power_a = np.float64(pool.reachable_w[year, a, at])
            power_b = np.float64(pool.reachable_w[year, b, at])
            power_c = np.float64(pool.reachable_w[year, c, at])
            loads = rows.LOADS + step * LANES
            if chunk == 0:
                for lane in range(lanes):
                    load = work[weights + lane] * power_a
                    load = fma(work[weights + LANES + lane], power_b, load)
                    work[loads + lane] = fma(work[weights + 2 * LANES + lane], power_c, load)
            else:
                for lane in range(lanes):
                    load = fma(work[weights + lane], power_a, work[loads + lane])
                    load = fma(work[weights + LANES + lane], power_b, load)
                    work[loads + lane] = fma(work[weights + 2 * LANES + lane], power_c, load)


@numba.njit(error_model="numpy")
def share_of_idle(lanes: int, steps: int, work: NDArray[np.float64]) -> None:
    """Turn the sum of idle power in ON into steps on; an inverter without idle draw counts as on throughout."""
    for lane in range(lanes):
        on = fma(work[rows.ON + lane], work[rows.INVERSE_IDLE + lane], steps * work[rows.ON_WITHOUT_IDLE + lane])
        work[rows.ON + lane] = on


@numba.njit(error_model="numpy")
def count_overload(lanes: int, steps: int, work: NDArray[np.float64], whole_load: bool) -> None:
    """Count steps whose load exceeds the rating and sum what the inverter refuses: the whole load, or the excess."""
    for step in range(steps):
        loads = rows.LOADS + step * LANES
        for lane in range(lanes):
            load = work[loads + lane]
            over = load > work[rows.RATING_SLACK + lane]
            refused = load if whole_load else load - work[rows.RATING + lane]
            work[rows.OVERLOAD_STEPS + lane] += 1.0 if over else 0.0
            work[rows.OVERLOAD_ENERGY + lane] += refused if over else 0.0


@numba.njit(error_model="numpy")
def close_slot(
    lanes: int,
    steps: int,
    work: NDArray[np.float64],
    month: int,
    rate: int,
    billing: float,
    hours: float,
    off_grid: bool,
) -> None:
    """Turn the slot's sums into flows and book them by month and by rate."""
    kwh = hours / 1000.0
    monthly = rows.MONTHLY + month * LANES
    flow = 12 * LANES
    billed = rows.BILLED + 3 * rate * LANES
    for lane in range(lanes):
        stored = work[rows.BASE + lane] + work[rows.ABOVE + lane]
        work[rows.STORED + lane] = stored
        share = stored * work[rows.INVERSE_CAPACITY + lane]
        work[rows.SHARE_SUM + lane] += share
        lowest, highest = work[rows.LOWEST + lane], work[rows.HIGHEST + lane]
        work[rows.LOWEST + lane] = share if share < lowest else lowest
        work[rows.HIGHEST + lane] = share if share > highest else highest

        demand = work[rows.DEMAND + lane]
        wired = work[rows.WIRED + lane]
        left = work[rows.LEFT + lane]
        # `left` and `demand` are sums in different order: a trace of rounding must not look like energy served.
        served = demand - left
        left = left if served > 1e-12 * demand else demand
        served = demand - left
        to_load_by_sun = work[rows.SUN_TO_LOAD + lane]
        to_load_by_sun = to_load_by_sun if to_load_by_sun < served else served
        direct = work[rows.DIRECT + lane]
        from_cells = work[rows.FROM_CELLS + lane]
        discharge = from_cells * work[rows.INVERSE_DISCHARGE + lane]
        solar_stored = work[rows.SOLAR_TO_CELLS + lane]
        solar_charge = solar_stored * work[rows.INVERSE_DISCHARGE + lane]
        solar_charge_bus = solar_stored * work[rows.INVERSE_TO_STORED + lane]
        grid_stored = work[rows.GRID_TO_CELLS + lane]
        grid_charge = grid_stored * work[rows.INVERSE_DISCHARGE + lane]
        charger = grid_stored * work[rows.INVERSE_CHARGER_TO_STORED + lane]
        to_grid = work[rows.TO_GRID + lane]
        export = work[rows.EXPORT + lane]
        on = work[rows.ON + lane]
        standby = work[rows.STANDBY + lane] * (steps - on)
        solar_bus = direct + solar_charge_bus + to_grid
        pv_used = solar_bus * work[rows.INVERSE_SOLAR + lane]
        losses = (
            (pv_used - solar_bus)
            + (solar_charge_bus - solar_charge)
            + (discharge - from_cells)
            + (direct + from_cells - served)
            + (to_grid - export)
            + (charger - grid_charge)
            + standby
        )
        bought = left + wired + (standby + charger)
        work[rows.ON_SUM + lane] += on
        work[monthly + lane] += kwh * demand
        work[monthly + flow + lane] += kwh * wired
        work[monthly + 2 * flow + lane] += kwh * (work[rows.SOLAR_AVAILABLE + lane] * steps)
        work[monthly + 3 * flow + lane] += kwh * pv_used
        work[monthly + 4 * flow + lane] += kwh * to_load_by_sun
        work[monthly + 5 * flow + lane] += kwh * (served - to_load_by_sun)
        work[monthly + 6 * flow + lane] += 0.0 if off_grid else kwh * left
        work[monthly + 7 * flow + lane] += kwh * charger
        work[monthly + 8 * flow + lane] += 0.0 if off_grid else kwh * bought
        work[monthly + 9 * flow + lane] += kwh * export
        work[monthly + 10 * flow + lane] += kwh * (solar_charge + grid_charge)
        work[monthly + 11 * flow + lane] += kwh * discharge
        work[monthly + 12 * flow + lane] += kwh * losses
        work[monthly + 13 * flow + lane] += kwh * (left + wired) if off_grid else 0.0
        work[billed + lane] += billing * (demand + wired)
        work[billed + LANES + lane] += billing * bought
        work[billed + 2 * LANES + lane] += billing * export


@numba.njit(error_model="numpy")
def close_year(lanes: int, work: NDArray[np.float64], days: int, slots: int) -> None:
    """Turn the year's sums of stored share and daily swing into means."""
    for lane in range(lanes):
        swing = work[rows.SWING_SUM + lane] + (work[rows.HIGHEST + lane] - work[rows.LOWEST + lane])
        work[rows.SWING_SUM + lane] = swing / days
        work[rows.SHARE_SUM + lane] /= slots
