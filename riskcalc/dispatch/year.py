"""A year of dispatch for lane groups: which loop runs in which slot."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch.books import (
    change_month,
    close_slot,
    close_stretch,
    close_year,
    count_overload,
    share_of_idle,
)
from riskcalc.dispatch.compiled import compiled, inner, written_out
from riskcalc.dispatch.loads import fill_loads
from riskcalc.dispatch.parallel import feed_from_cells, feed_with_sun
from riskcalc.dispatch.plan import PlanArrays, PoolArrays
from riskcalc.dispatch.rest import charge_from_grid, rest
from riskcalc.dispatch.selling import feed_and_sell
from riskcalc.dispatch.slot import (
    aim_by_need,
    nothing_stored,
    open_day,
    open_demand,
    open_slot,
    open_stretch,
    open_sun,
    open_year,
    set_limits,
)
from riskcalc.dispatch.transfer import carry_from_cells, carry_with_sun


@inner
def _sells(export_stored_on: NDArray[np.int64] | None, slot: int, discharge: bool) -> bool:
    """Return whether stored energy is sold in a slot."""
    if export_stored_on is None:
        return False
    return discharge and export_stored_on[slot] != 0


@inner
def _run_slot(
    lanes: int, parallel: bool | None, export_stored_on: NDArray[np.int64] | None, export: bool, steps: int,
    work: NDArray[np.float64], sun: bool, on: bool, carries: bool, from_grid: bool, sells: bool,
) -> None:  # fmt: skip
    """Run the steps of a slot in the one loop that holds for all of them."""
    if not carries:
        if from_grid:
            charge_from_grid(lanes, steps, work, on and parallel is not None)
        else:
            rest(lanes, steps, work)
    elif parallel is None:
        if sun:
            carry_with_sun(lanes, steps, work)
        else:
            carry_from_cells(lanes, steps, work)
    elif export_stored_on is not None and sells:
        feed_and_sell(lanes, steps, work)
    elif not sun:
        feed_from_cells(lanes, steps, work)
    else:
        feed_with_sun(lanes, steps, work, export, from_grid)


@written_out
def _run_group(
    lanes: int, parallel: bool | None, export_stored_on: NDArray[np.int64] | None, export: bool, off_grid: bool, pool: PoolArrays,
    plan: PlanArrays, slot_sum: NDArray[np.float64], slot_peak: NDArray[np.float32], year: int, hours: float, steps: int,
    work: NDArray[np.float64], absent: bool, by_need: bool,
) -> None:  # fmt: skip
    open_year(lanes, work)
    open_stretch(work)
    days, month, hour, sun, steps_booked, steps_on = 0, -1, -1, False, 0, 0
    target_row = year if len(plan.target_share) > 1 else 0
    light_row = year if len(plan.light) > 1 else 0
    kwh = hours / 1000.0
    for slot in range(len(plan.month)):
        day = plan.day[slot]
        new_day = slot == 0 or day != plan.day[slot - 1]
        if new_day:
            open_day(lanes, work, pool, year, day)
            days += 1
        if plan.hour[slot] != hour or new_day:
            hour, shone = plan.hour[slot], sun
            sun = open_sun(lanes, work, pool, year, hour)
            if sun or shone or new_day:
                set_limits(lanes, work)
        if plan.month[slot] != month:
            change_month(lanes, work, month, plan.month[slot])
            month = plan.month[slot]
        on = plan.inverter_on[slot] != 0 and not absent
        from_grid = plan.grid_charge_on[slot] != 0 and not off_grid and not absent
        discharge = plan.discharge_on[slot] != 0 and not from_grid
        from_grid = from_grid and pool.charge_allowed[year, day] > 0.0
        sells = _sells(export_stored_on, slot, discharge)
        aim = plan.export_stored_above_share[slot] if sells else plan.target_share[target_row, slot]
        open_slot(lanes, work, plan.reserve_share[slot], aim, 1.0 if discharge else 0.0)
        if by_need and from_grid:
            # The mask changes nothing; it tells the compiler that the index is not negative.
            aim_by_need(lanes, work, plan.kind[slot] & 31, plan.light[light_row, slot])
        overload = open_demand(lanes, steps, work, pool, slot_sum, slot_peak, year, slot) and not absent
        carries = on and (discharge or (sun and parallel is not None))
        if carries and not sun:
            # A night on empty cells needs no steps; with empty cells the loops would give the same.
            carries = not nothing_stored(lanes, work, parallel is not None)
        if carries or overload or from_grid:
            fill_loads(lanes, steps, work, pool, year, slot)
        _run_slot(lanes, parallel, export_stored_on, export, steps, work, sun, on, carries, from_grid, sells)
        if overload:
            count_overload(lanes, steps, work, pool, year, slot, 1.0 if parallel is not None or off_grid else 0.0)
        close_slot(lanes, work)
        steps_booked += steps
        steps_on += steps if on else 0
        if off_grid or plan.stretch_ends[slot]:
            if parallel is not None:
                share_of_idle(lanes, steps_on, work)
            billing = kwh * plan.rate_weight[slot]
            # The mask changes nothing; it tells the compiler that the index is not negative.
            close_stretch(lanes, steps_booked, steps, work, plan.rate[slot] & 4095, kwh, billing, off_grid)
            open_stretch(work)
            steps_booked, steps_on = 0, 0
    change_month(lanes, work, month, -1)
    close_year(lanes, work, days, len(plan.month))


@compiled
def run_groups(
    parallel: bool | None, export_stored_on: NDArray[np.int64] | None, export: bool, off_grid: bool, pool: PoolArrays,
    plan: PlanArrays, slot_sum: NDArray[np.float64], slot_peak: NDArray[np.float32], group_year: NDArray[np.int64],
    group_lanes: NDArray[np.int64], group_absent: NDArray[np.bool_], step_minutes: int, slot_minutes: int,
    work: NDArray[np.float64], by_need: bool,
) -> None:  # fmt: skip
    """Run every lane group through the plan; `work` (groups, workspace) holds its kit on entry, its books on return.

    `parallel` is True or None, `export_stored_on` the plan's or None: what None rules out is not compiled, which saves up
    to a quarter of it on the first run. Where the kit is absent in a whole group, no slot needs its steps: what is billed
    is what is demanded.
    """
    hours = step_minutes / 60.0
    steps = slot_minutes // step_minutes
    for group in range(len(group_year)):
        _run_group(
            group_lanes[group], parallel, export_stored_on, export, off_grid, pool, plan, slot_sum, slot_peak, group_year[group],
            hours, steps, work[group], group_absent[group], by_need,
        )  # fmt: skip
