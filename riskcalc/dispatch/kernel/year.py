"""A year of dispatch for lane groups: which loop runs in which slot."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch.kernel.books import (
    change_month,
    close_slot,
    close_stretch,
    close_year,
    count_overload,
    share_of_idle,
)
from riskcalc.dispatch.kernel.feeding import feed_and_sell, feed_from_cells, feed_with_sun, remember_load
from riskcalc.dispatch.kernel.loops import carry_from_cells, carry_with_sun, charge_from_grid, rest
from riskcalc.dispatch.kernel.slot import (
    aim_by_need,
    fill_runs,
    limit_loads,
    nothing_stored,
    open_day,
    open_slot,
    open_stretch,
    open_sun,
    parts_of_slot,
    sum_part,
    sum_wired,
)
from riskcalc.dispatch.plan import PlanArrays, PoolArrays
from riskcalc.jit import compiled_without_arrays, inlined, inner, written_out


@inner
def _sells(export_stored_on: NDArray[np.int64] | None, slot: int, discharge: bool) -> bool:
    """Return whether stored energy is sold in a slot."""
    if export_stored_on is None:
        return False
    return discharge and export_stored_on[slot] != 0


@inlined
def _run_part(
    lanes: int, parallel: bool | None, export_stored_on: NDArray[np.int64] | None, export: bool, runs: int,
    minutes: float, work: NDArray[np.float64], sun: bool, on: bool, carries: bool, from_grid: bool, sells: bool,
    lag: float | None,
) -> None:  # fmt: skip
    """Take the runs of a part of a slot through the one loop that holds for all of them."""
    if not carries:
        if from_grid:
            charge_from_grid(lanes, runs, work, on and parallel is not None)
        else:
            rest(lanes, minutes, work)
    elif parallel is None:
        if sun:
            carry_with_sun(lanes, runs, work)
        else:
            carry_from_cells(lanes, runs, work)
    elif export_stored_on is not None and sells:
        feed_and_sell(lanes, runs, work)
    elif not sun:
        feed_from_cells(lanes, runs, work, lag)
    else:
        feed_with_sun(lanes, runs, work, export, from_grid, lag)
    if lag is not None and (not carries or sells):
        remember_load(lanes, runs, work)


@written_out
def _run_group(  # noqa: C901, PLR0915 - the order of a slot, in one place
    lanes: int, parallel: bool | None, export_stored_on: NDArray[np.int64] | None, export: bool, off_grid: bool,
    pool: PoolArrays, plan: PlanArrays, year: int, slot_minutes: int, sun_minutes: int, work: NDArray[np.float64],
    absent: bool, by_need: bool, lag: float | None, inputs: int,
) -> None:  # fmt: skip
    open_stretch(work)
    kwh = 1.0 / 60_000.0
    days, month, period, sun, booked, minutes_on = 0, -1, -1, False, 0, 0
    short, limited = 0, True
    periods = slot_minutes // sun_minutes if sun_minutes < slot_minutes else 1
    target_row = year if len(plan.target_share) > 1 else 0
    light_row = year if len(plan.light) > 1 else 0
    for slot in range(len(plan.month)):
        day = plan.day[slot]
        new_day = slot == 0 or day != plan.day[slot - 1]
        if new_day:
            open_day(lanes, work, pool, year, day)
            days += 1
        if plan.month[slot] != month:
            change_month(lanes, work, month, plan.month[slot])
            month = plan.month[slot]
        on = plan.inverter_on[slot] != 0 and not absent
        from_grid = plan.grid_charge_on[slot] != 0 and not off_grid and not absent
        discharge = plan.discharge_on[slot] != 0 and not from_grid
        from_grid = from_grid and pool.charge_allowed[year, day] > 0.0
        sells = _sells(export_stored_on, slot, discharge)
        aim = plan.export_stored_above_share[slot] if sells else plan.target_share[target_row, slot]
        open_slot(
            lanes, parallel, work, plan.reserve_share[slot], aim, 1.0 if discharge else 0.0, plan.output_share[slot]
        )
        if by_need and from_grid:
            # The mask changes nothing; it tells the compiler that the index is not negative.
            aim_by_need(lanes, work, plan.kind[slot] & 31, plan.light[light_row, slot])
        run, used = pool.first_run[year, slot], 0
        first_period = plan.start_minute[slot] // sun_minutes
        parts = parts_of_slot(pool.shines, year, first_period, periods)
        part_minutes = sun_minutes if parts > 1 else slot_minutes
        for part in range(parts):
            now = first_period + part
            if now != period or (new_day and part == 0):
                period, shone = now, sun
                sun = pool.shines[year, period]
                if sun or shone or new_day:
                    short = open_sun(lanes, parallel, work, pool, year, period, inputs if sun else 0, limited)
                    limited = False
            runs, run, used = fill_runs(lanes, part_minutes, work, pool, run, used)
            over = sum_part(lanes, part_minutes, work)
            carries = on and (discharge or (sun and parallel is not None))
            if carries and not sun and parts == 1:
                # A night on empty cells needs no runs: the loops would give the same but for rounding, which
                # `close_slot` takes out where nothing is served in the slot. A slot of several parts may serve in
                # another, and then a draw would depend on whether its neighbours' cells made the loops run.
                carries = not nothing_stored(lanes, work, parallel is not None)
            if parallel is None and carries and short > 0 and not limited:
                limited = limit_loads(lanes, work)
            _run_part(
                lanes, parallel, export_stored_on, export, runs, part_minutes, work, sun, on, carries, from_grid, sells,
                lag,
            )  # fmt: skip
            if over and not absent:
                count_overload(lanes, runs, work, 1.0 if parallel is not None or off_grid else 0.0)
        sum_wired(lanes, slot_minutes, work, pool, year, slot)
        close_slot(lanes, work)
        booked += slot_minutes
        minutes_on += slot_minutes if on else 0
        if off_grid or plan.stretch_ends[slot]:
            if parallel is not None:
                share_of_idle(lanes, minutes_on, work)
            # The mask changes nothing; it tells the compiler that the index is not negative.
            close_stretch(lanes, booked, work, plan.rate[slot] & 4095, kwh, kwh * plan.rate_weight[slot], off_grid)
            open_stretch(work)
            booked, minutes_on = 0, 0
    change_month(lanes, work, month, -1)
    close_year(lanes, work, days, len(plan.month))


@compiled_without_arrays
def run_groups(
    parallel: bool | None, export_stored_on: NDArray[np.int64] | None, export: bool, off_grid: bool, pool: PoolArrays,
    plan: PlanArrays, group_year: NDArray[np.int64], group_lanes: NDArray[np.int64], group_absent: NDArray[np.bool_],
    slot_minutes: int, sun_minutes: int, work: NDArray[np.float64], by_need: bool, lag: float | None, inputs: int,
) -> None:  # fmt: skip
    """Run every lane group through the plan; `work` (groups, workspace) holds its kit on entry, its books on return.

    `parallel` is True or None, `export_stored_on` the plan's or None: what None rules out is not compiled, which saves up
    to a quarter of it on the first run. `inputs` is the number of solar inputs. Where the kit is absent in a whole group,
    what is billed is what is demanded.
    """
    for group in range(len(group_year)):
        _run_group(
            group_lanes[group], parallel, export_stored_on, export, off_grid, pool, plan, group_year[group],
            slot_minutes, sun_minutes, work[group], group_absent[group], by_need, lag, inputs,
        )  # fmt: skip
