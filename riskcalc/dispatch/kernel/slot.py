"""What is set up before the runs of a slot: weights of the day, sun, limits, loads and their sums."""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch.kernel import rows
from riskcalc.dispatch.kernel.rows import LANES, WEIGHTS, WHOLE, fma
from riskcalc.dispatch.plan import PoolArrays
from riskcalc.jit import inlined, inner


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
        scaled = rows.HOUSEHOLD + pool.scale_row[basis] * LANES
        rank = pool.day_rank[year, max(row, 0), day]
        for lane in range(lanes):
            scale = work[scaled + lane]
            share = work[rows.HOME + lane] if row == 0 else work[rows.MOVED + lane]
            rests = row >= 0 and (rank < share) != below
            work[rows.WEIGHTS + basis * LANES + lane] = 0.0 if rests else scale


@inlined
def open_sun(
    lanes: int, parallel: bool | None, work: NDArray[np.float64], pool: PoolArrays, year: int, period: int, inputs: int,
    limited: bool,
) -> int:  # fmt: skip
    """Set the solar power of a period, before and behind the inputs, and what follows from it; no `inputs` in the dark.

    Returns how many lanes are short of power for their rating; the parallel family does not ask, and gets 0. `limited`
    tells that `limit_loads` has been at the largest loads since they were set last.
    """
    if parallel is None and limited:
        _rate_loads(lanes, work)
    if inputs == 1 and len(pool.input_of_plane) <= 6:
        return _one_input(lanes, parallel, work, pool.solar_w, year, period)
    return _many_inputs(lanes, parallel, work, pool, year, period, inputs)


@inlined
def _one_input(
    lanes: int, parallel: bool | None, work: NDArray[np.float64], solar_w: NDArray[np.float32], year: int, period: int
) -> int:
    """Set the power of up to six planes on one input, all in one loop; return how many lanes are short of power.

    Planes that are not there have weight zero. Loops of their own would store every row only to load it again.
    """
    lanes = min(lanes, LANES) & WHOLE
    last = solar_w.shape[1] - 1
    power_0 = np.float64(solar_w[year, 0, period])
    power_1 = np.float64(solar_w[year, min(1, last), period])
    power_2 = np.float64(solar_w[year, min(2, last), period])
    power_3 = np.float64(solar_w[year, min(3, last), period])
    power_4 = np.float64(solar_w[year, min(4, last), period])
    power_5 = np.float64(solar_w[year, min(5, last), period])
    short = 0
    for lane in range(lanes):
        power = work[rows.PLANE_WEIGHTS + lane] * power_0
        power = fma(work[rows.PLANE_WEIGHTS + LANES + lane], power_1, power)
        power = fma(work[rows.PLANE_WEIGHTS + 2 * LANES + lane], power_2, power)
        power = fma(work[rows.PLANE_WEIGHTS + 3 * LANES + lane], power_3, power)
        power = fma(work[rows.PLANE_WEIGHTS + 4 * LANES + lane], power_4, power)
        power = fma(work[rows.PLANE_WEIGHTS + 5 * LANES + lane], power_5, power)
        work[rows.SOLAR_AVAILABLE + lane] = power
        limit = work[rows.INPUT_LIMITS + lane]
        short += _power(lane, parallel, work, (power if power < limit else limit) * work[rows.SOLAR_EFFICIENCY + lane])
    return short


@inner
def _many_inputs(
    lanes: int, parallel: bool | None, work: NDArray[np.float64], pool: PoolArrays, year: int, period: int, inputs: int
) -> int:
    """Set the power of any number of planes on any number of inputs, or none; return how many lanes are short of power."""
    lanes = min(lanes, LANES) & WHOLE
    work[rows.SOLAR_AVAILABLE : rows.SOLAR + LANES] = 0.0
    for index in range(min(inputs, rows.MOST_INPUTS)):
        work[rows.INPUT_POWER : rows.INPUT_POWER + LANES] = 0.0
        for plane in range(min(len(pool.input_of_plane), rows.MOST_PLANES)):
            if pool.input_of_plane[plane] == index:
                power = np.float64(pool.solar_w[year, plane, period])
                weights = rows.PLANE_WEIGHTS + plane * LANES
                for lane in range(lanes):
                    work[rows.INPUT_POWER + lane] = fma(work[weights + lane], power, work[rows.INPUT_POWER + lane])
        limits = rows.INPUT_LIMITS + index * LANES
        for lane in range(lanes):
            power = work[rows.INPUT_POWER + lane]
            work[rows.SOLAR_AVAILABLE + lane] += power
            limit = work[limits + lane]
            work[rows.SOLAR + lane] += power if power < limit else limit
    short = 0
    for lane in range(lanes):
        short += _power(lane, parallel, work, work[rows.SOLAR + lane] * work[rows.SOLAR_EFFICIENCY + lane])
    return short


@inlined
def _power(lane: int, parallel: bool | None, work: NDArray[np.float64], solar: float) -> int:
    """Set what sun puts into the cells and what sun and cells give; return 1 where that is less than the rating asks."""
    to_cells = solar * work[rows.TO_STORED + lane]
    limit = work[rows.CELLS_TODAY + lane]
    to_cells = to_cells if to_cells < limit else limit
    work[rows.SOLAR + lane] = solar
    work[rows.SOLAR_POWER + lane] = to_cells
    if parallel is not None:
        return 0
    work[rows.REFILL + lane] = to_cells + rows.TINY
    power = fma(solar, work[rows.SOLAR_MOST + lane], work[rows.GIVE_MOST + lane]) - work[rows.IDLE + lane]
    work[rows.POWER_NOW + lane] = power
    return 1 if power < work[rows.ENOUGH + lane] else 0


@inner
def _rate_loads(lanes: int, work: NDArray[np.float64]) -> None:
    """Set the largest load of every lane to what its rating carries, as if there were power enough for it."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        most = work[rows.RATING_MOST + lane]
        most = most if most > 0.0 else 0.0
        work[rows.MOST + lane] = most
        always = work[rows.ALWAYS + lane]
        work[rows.LIMIT + lane] = most if most > always else always


@inner
def limit_loads(lanes: int, work: NDArray[np.float64]) -> bool:
    """Set the largest load of every lane to what sun and cells carry, if a load of this part needs more in any of them.

    Returns whether that was so. Elsewhere the rating is the only limit that matters, and the root below takes the most
    time of all that is set up: power that a load needs is cheaper to tell than the load that a power carries.
    """
    lanes = min(lanes, LANES) & WHOLE
    beyond = 0
    for lane in range(lanes):
        peak, rating = work[rows.PEAK + lane], work[rows.RATING_MOST + lane]
        peak = peak if peak < rating else rating
        need = peak * fma(work[rows.QUADRATIC + lane], peak, work[rows.LINEAR + lane])
        beyond += 1 if rows.CLEARLY * need > work[rows.POWER_NOW + lane] else 0
    if beyond == 0:
        return False
    for lane in range(lanes):
        # The largest load that sun and cells can carry: a L + b L^2 = power, solved without cancellation.
        power = work[rows.POWER_NOW + lane]
        linear = work[rows.LINEAR + lane]
        square = linear * linear + 4.0 * work[rows.QUADRATIC + lane] * (power if power > 0.0 else 0.0)
        most = 2.0 * power / (linear + sqrt(square))
        rating = work[rows.RATING_MOST + lane]
        most = most if most < rating else rating
        most = most if most > 0.0 else 0.0
        work[rows.MOST + lane] = most
        always = work[rows.ALWAYS + lane]
        limit = most if most > always else always
        work[rows.LIMIT + lane] = limit if power >= 0.0 else -1.0
    return True


@inlined
def parts_of_slot(shines: NDArray[np.bool_], year: int, period: int, periods: int) -> int:
    """Return in how many parts a slot of so many periods of sun is taken: one by one if any shines, else all at once."""
    if periods > 1:
        for at in range(period, period + periods):
            if shines[year, at]:
                return periods
    return 1


@inner
def open_stretch(work: NDArray[np.float64]) -> None:
    """Clear the sums over a stretch."""
    work[rows.FIRST_SUM : rows.END_OF_SUMS] = 0.0


@inlined
def open_slot(
    lanes: int, parallel: bool | None, work: NDArray[np.float64], reserve_share: float, aim_share: float,
    discharge: float, output_share: float,
) -> None:  # fmt: skip
    """Set what a slot leaves to the cells; `discharge` is 1 where the cells may serve loads, else 0.

    `aim_share` of the capacity is where charging ends, or selling; `output_share` of the rating is what a unit of the
    parallel family gives.
    """
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        stored = work[rows.STORED + lane]
        capacity = work[rows.CAPACITY + lane]
        reserve = reserve_share * capacity
        floor = work[rows.FLOOR + lane]
        floor = reserve if reserve > floor else floor
        # Below the floor `above` is negative: the cells are charged, but give nothing until it is reached.
        work[rows.BASE + lane] = floor
        work[rows.ABOVE + lane] = stored - floor
        work[rows.ROOM + lane] = capacity - floor
        work[rows.TARGET + lane] = aim_share * capacity - floor
        work[rows.SLOT_DEMAND + lane] = 0.0
        if parallel is not None:
            work[rows.GIVE_NOW + lane] = discharge * work[rows.GIVE + lane]
            work[rows.OUTPUT + lane] = output_share * work[rows.RATING + lane]


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


@inlined
def fill_runs(
    lanes: int, minutes: int, work: NDArray[np.float64], pool: PoolArrays, run: int, used: int
) -> tuple[int, int, int]:
    """Set load and length of every run of some minutes; return how many there are, and where the next minutes begin.

    They begin `used` minutes into `run`. A run that goes on beyond them is cut: the sun may change within a slot.
    """
    runs, first, left = 0, run, minutes
    while left > 0 and runs < rows.MOST_RUNS:
        length = int(pool.run_minutes[run]) - used
        taken = left if left < length else length
        work[rows.DURATIONS + runs] = taken
        runs += 1
        left -= taken
        ends = taken == length
        run += 1 if ends else 0
        used = 0 if ends else used + taken
    for lane in range(min(lanes, LANES) & WHOLE):
        work[rows.PART_DEMAND + lane] = 0.0
        work[rows.PEAK + lane] = 0.0
    bases = len(pool.rank_row)
    if bases <= 3:
        _fill_three(lanes, runs, work, pool.run_w, first)
    elif bases <= 6:
        _fill_six(lanes, runs, work, pool.run_w, first, True)
    else:
        _fill_six(lanes, runs, work, pool.run_w, first, False)
        for basis in range(6, bases):
            _add_one(lanes, runs, work, pool.run_w, first, basis, basis == bases - 1)
    return runs, run, used


@inlined
def _sum_load(lane: int, work: NDArray[np.float64], load: float, minutes: float) -> None:
    """Add a run's demand to that of its part, and keep the highest load."""
    peak = work[rows.PEAK + lane]
    work[rows.PEAK + lane] = load if load > peak else peak
    work[rows.PART_DEMAND + lane] = fma(load, minutes, work[rows.PART_DEMAND + lane])


@inlined
def _fill_three(lanes: int, runs: int, work: NDArray[np.float64], run_w: NDArray[np.float32], first: int) -> None:
    lanes = min(lanes, LANES) & WHOLE
    last = run_w.shape[1] - 1
    for row in range(min(runs, rows.MOST_RUNS)):
        power_0 = np.float64(run_w[first + row, 0])
        power_1 = np.float64(run_w[first + row, min(1, last)])
        power_2 = np.float64(run_w[first + row, min(2, last)])
        minutes = work[rows.DURATIONS + row]
        loads = rows.LOADS + row * LANES
        for lane in range(lanes):
            load = work[WEIGHTS + lane] * power_0
            load = fma(work[WEIGHTS + LANES + lane], power_1, load)
            load = fma(work[WEIGHTS + 2 * LANES + lane], power_2, load)
            work[loads + lane] = load
            _sum_load(lane, work, load, minutes)


@inlined
def _fill_six(
    lanes: int, runs: int, work: NDArray[np.float64], run_w: NDArray[np.float32], first: int, sums: bool
) -> None:
    lanes = min(lanes, LANES) & WHOLE
    last = run_w.shape[1] - 1
    for row in range(min(runs, rows.MOST_RUNS)):
        power_0 = np.float64(run_w[first + row, 0])
        power_1 = np.float64(run_w[first + row, 1])
        power_2 = np.float64(run_w[first + row, 2])
        power_3 = np.float64(run_w[first + row, 3])
        power_4 = np.float64(run_w[first + row, min(4, last)])
        power_5 = np.float64(run_w[first + row, min(5, last)])
        minutes = work[rows.DURATIONS + row] if sums else 0.0
        loads = rows.LOADS + row * LANES
        for lane in range(lanes):
            load = work[WEIGHTS + lane] * power_0
            load = fma(work[WEIGHTS + LANES + lane], power_1, load)
            load = fma(work[WEIGHTS + 2 * LANES + lane], power_2, load)
            load = fma(work[WEIGHTS + 3 * LANES + lane], power_3, load)
            load = fma(work[WEIGHTS + 4 * LANES + lane], power_4, load)
            load = fma(work[WEIGHTS + 5 * LANES + lane], power_5, load)
            work[loads + lane] = load
            if sums:
                _sum_load(lane, work, load, minutes)


@inlined
def _add_one(
    lanes: int, runs: int, work: NDArray[np.float64], run_w: NDArray[np.float32], first: int, basis: int, sums: bool
) -> None:
    weights = WEIGHTS + basis * LANES
    lanes = min(lanes, LANES) & WHOLE
    for row in range(min(runs, rows.MOST_RUNS)):
        power = np.float64(run_w[first + row, basis])
        minutes = work[rows.DURATIONS + row]
        loads = rows.LOADS + row * LANES
        for lane in range(lanes):
            load = fma(work[weights + lane], power, work[loads + lane])
            work[loads + lane] = load
            if sums:
                _sum_load(lane, work, load, minutes)


@inlined
def sum_part(lanes: int, minutes: float, work: NDArray[np.float64]) -> bool:
    """Add demand and sun of a part to the slot's; return whether any load of it exceeds the rating of its lane."""
    lanes = min(lanes, LANES) & WHOLE
    over = 0
    for lane in range(lanes):
        work[rows.SLOT_DEMAND + lane] += work[rows.PART_DEMAND + lane]
        work[rows.SOLAR_SUM + lane] = fma(work[rows.SOLAR_AVAILABLE + lane], minutes, work[rows.SOLAR_SUM + lane])
        over += 1 if work[rows.PEAK + lane] > work[rows.RATING_SLACK + lane] else 0
    return over > 0


@inlined
def sum_wired(
    lanes: int, slot_minutes: float, work: NDArray[np.float64], pool: PoolArrays, year: int, slot: int
) -> None:
    """Add the slot's demand to the stretch's: what is within reach and what is not."""
    lanes = min(lanes, LANES) & WHOLE
    last = len(pool.rank_row) - 1
    # Six at a time, since each loop stores the sum only to load it again; a basis that is not there has weight zero.
    wired_0 = np.float64(pool.wired_w[year, 0, slot]) * slot_minutes
    wired_1 = np.float64(pool.wired_w[year, min(1, last), slot]) * slot_minutes
    wired_2 = np.float64(pool.wired_w[year, min(2, last), slot]) * slot_minutes
    wired_3 = np.float64(pool.wired_w[year, min(3, last), slot]) * slot_minutes
    wired_4 = np.float64(pool.wired_w[year, min(4, last), slot]) * slot_minutes
    wired_5 = np.float64(pool.wired_w[year, min(5, last), slot]) * slot_minutes
    for lane in range(lanes):
        work[rows.DEMAND + lane] += work[rows.SLOT_DEMAND + lane]
        wired = fma(work[WEIGHTS + lane], wired_0, work[rows.WIRED + lane])
        wired = fma(work[WEIGHTS + LANES + lane], wired_1, wired)
        wired = fma(work[WEIGHTS + 2 * LANES + lane], wired_2, wired)
        wired = fma(work[WEIGHTS + 3 * LANES + lane], wired_3, wired)
        wired = fma(work[WEIGHTS + 4 * LANES + lane], wired_4, wired)
        work[rows.WIRED + lane] = fma(work[WEIGHTS + 5 * LANES + lane], wired_5, wired)
    for basis in range(6, last + 1):
        wired_0 = np.float64(pool.wired_w[year, basis, slot]) * slot_minutes
        # The mask changes nothing; it tells the compiler that the index is not negative, so that it may use vectors.
        weights = WEIGHTS + (basis & 63) * LANES
        for lane in range(lanes):
            work[rows.WIRED + lane] = fma(work[weights + lane], wired_0, work[rows.WIRED + lane])


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
