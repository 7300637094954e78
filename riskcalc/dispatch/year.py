"""A year of dispatch for lane groups: which loop runs in which slot."""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import rows
from riskcalc.dispatch.compiled import compiled
from riskcalc.dispatch.parallel import feed_from_cells, feed_with_sun
from riskcalc.dispatch.plan import PlanArrays, PoolArrays
from riskcalc.dispatch.rest import charge_from_grid, rest
from riskcalc.dispatch.slot import (
    close_slot,
    close_year,
    count_overload,
    fill_loads,
    open_day,
    open_slot,
    share_of_idle,
)
from riskcalc.dispatch.transfer import carry_from_cells, carry_with_sun


@numba.njit(error_model="numpy")
def _run_group(
    lanes: int, parallel: bool, off_grid: bool, pool: PoolArrays, plan: PlanArrays, slot_sum: NDArray[np.float64],
    slot_peak: NDArray[np.float32], year: int, hours: float, steps: int, work: NDArray[np.float64],
) -> None:  # fmt: skip
    whole_load = not parallel and not off_grid
    days = 0
    for slot in range(len(plan.month)):
        day = plan.day[slot]
        if slot == 0 or day != plan.day[slot - 1]:
            open_day(lanes, work, pool, year, day)
            days += 1
        hour = plan.hour[slot]
        sun = False
        for plane in range(len(pool.input_of_plane)):
            sun = sun or pool.solar_w[year, plane, hour] > 0.0
        on = plan.inverter_on[slot] != 0
        from_grid = plan.grid_charge_on[slot] != 0 and not off_grid
        discharge = plan.discharge_on[slot] != 0 and not from_grid
        from_grid = from_grid and pool.charge_allowed[year, day] > 0.0
        excess = open_slot(
            lanes, steps, work, pool, slot_sum, slot_peak, year, slot, plan.reserve_share[slot],
            plan.target_share[slot], sun, hour, off_grid, discharge,
        )  # fmt: skip
        carries = on and ((discharge or sun) if parallel else discharge)
        if carries or from_grid or excess > 0.0:
            fill_loads(lanes, steps, work, pool, year, slot)
        if not carries:
            if from_grid:
                charge_from_grid(lanes, steps, work, rows.STANDBY_ON if on and parallel else rows.STANDBY)
            else:
                rest(lanes, steps, work)
        elif parallel:
            if sun:
                feed_with_sun(lanes, steps, work, from_grid)
            else:
                feed_from_cells(lanes, steps, work)
        elif sun:
            carry_with_sun(lanes, steps, work, off_grid)
        else:
            carry_from_cells(lanes, steps, work, off_grid)
        if parallel and on:
            share_of_idle(lanes, steps, work)
        if excess > 0.0:
            count_overload(lanes, steps, work, whole_load)
        close_slot(
            lanes, steps, work, plan.month[slot], plan.rate[slot], plan.rate_weight[slot] * hours / 1000.0, hours,
            off_grid,
        )  # fmt: skip
    close_year(lanes, work, days, len(plan.month))


@compiled
def run_groups(
    lanes: int, parallel: bool, off_grid: bool, pool: PoolArrays, plan: PlanArrays, slot_sum: NDArray[np.float64],
    slot_peak: NDArray[np.float32], group_year: NDArray[np.int64], step_minutes: int, slot_minutes: int,
    work: NDArray[np.float64],
) -> None:  # fmt: skip
    """Run every lane group through the plan; `work` (groups, workspace) holds its kit on entry and its books on return.

    `lanes` is always LANES; as an argument it keeps the compiler from unrolling the lane loops before it vectorises them.
    """
    hours = step_minutes / 60.0
    steps = slot_minutes // step_minutes
    for group in range(len(group_year)):
        _run_group(
            lanes, parallel, off_grid, pool, plan, slot_sum, slot_peak, group_year[group], hours, steps, work[group]
        )


@compiled
def slot_totals(reachable_w: NDArray[np.float32], slots: int) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """Return sum and peak of every basis over the steps of each slot, both of shape (years, bases, slots)."""
    years, bases, steps = reachable_w.shape
    per_slot = steps // slots
    total = np.zeros((years, bases, slots))
    peak = np.zeros((years, bases, slots), dtype=np.float32)
    for year in range(years):
        for basis in range(bases):
            for slot in range(slots):
                for step in range(slot * per_slot, (slot + 1) * per_slot):
                    power = reachable_w[year, basis, step]
                    total[year, basis, slot] += power
                    peak[year, basis, slot] = max(peak[year, basis, slot], power)
    return total, peak
