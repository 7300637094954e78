"""Loads of the steps of a slot: the weighted sum of the demand bases in every lane."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import rows
from riskcalc.dispatch.compiled import inlined, inner
from riskcalc.dispatch.plan import PoolArrays
from riskcalc.dispatch.rows import LANES, LOADS, WEIGHTS, WHOLE, fma


@inlined
def fill_loads(lanes: int, steps: int, work: NDArray[np.float64], pool: PoolArrays, year: int, slot: int) -> None:
    """Set the load of every step.

    Bases are summed three or six at a time in loops of fixed rows; rows beyond the last basis have weight zero.
    """
    bases = len(pool.rank_row)
    first = slot * steps
    if bases <= 3:
        _fill_three(lanes, steps, work, pool.reachable_w[year], first)
    else:
        _fill_six(lanes, steps, work, pool.reachable_w[year], first)
    for start in range(6, bases, 6):
        _add_six(lanes, steps, work, pool.reachable_w[year], first, start)


@inlined
def _fill_three(lanes: int, steps: int, work: NDArray[np.float64], power_w: NDArray[np.float32], first: int) -> None:
    lanes = min(lanes, LANES) & WHOLE
    last = len(power_w) - 1
    for step in range(min(steps, rows.MOST_STEPS)):
        power_0 = np.float64(power_w[0, first + step])
        power_1 = np.float64(power_w[min(1, last), first + step])
        power_2 = np.float64(power_w[min(2, last), first + step])
        loads = LOADS + step * LANES
        for lane in range(lanes):
            load = work[WEIGHTS + lane] * power_0
            load = fma(work[WEIGHTS + LANES + lane], power_1, load)
            work[loads + lane] = fma(work[WEIGHTS + 2 * LANES + lane], power_2, load)


@inlined
def _fill_six(lanes: int, steps: int, work: NDArray[np.float64], power_w: NDArray[np.float32], first: int) -> None:
    lanes = min(lanes, LANES) & WHOLE
    last = len(power_w) - 1
    for step in range(min(steps, rows.MOST_STEPS)):
        power_0 = np.float64(power_w[0, first + step])
        power_1 = np.float64(power_w[1, first + step])
        power_2 = np.float64(power_w[2, first + step])
        power_3 = np.float64(power_w[3, first + step])
        power_4 = np.float64(power_w[min(4, last), first + step])
        power_5 = np.float64(power_w[min(5, last), first + step])
        loads = LOADS + step * LANES
        for lane in range(lanes):
            load = work[WEIGHTS + lane] * power_0
            load = fma(work[WEIGHTS + LANES + lane], power_1, load)
            load = fma(work[WEIGHTS + 2 * LANES + lane], power_2, load)
            load = fma(work[WEIGHTS + 3 * LANES + lane], power_3, load)
            load = fma(work[WEIGHTS + 4 * LANES + lane], power_4, load)
            work[loads + lane] = fma(work[WEIGHTS + 5 * LANES + lane], power_5, load)


@inner
def _add_six(
    lanes: int, steps: int, work: NDArray[np.float64], power_w: NDArray[np.float32], first: int, start: int
) -> None:
    for basis in range(start, min(start + 6, len(power_w))):
        weights = WEIGHTS + basis * LANES
        lanes = min(lanes, LANES) & WHOLE
        for step in range(min(steps, rows.MOST_STEPS)):
            power = np.float64(power_w[basis, first + step])
            loads = LOADS + step * LANES
            for lane in range(lanes):
                work[loads + lane] = fma(work[weights + lane], power, work[loads + lane])
