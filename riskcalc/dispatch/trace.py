"""The twin run over a year: one draw after the other, step by step; and the trace of one draw."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.coupling import traits_of
from riskcalc.dispatch.outcome import SHORT_SHARE, DispatchOutcome, empty_outcome
from riskcalc.dispatch.plan import DispatchInputs, PlanArrays, PoolArrays, SlotPlan
from riskcalc.dispatch.request import check_request
from riskcalc.dispatch.terms import Billed, Flow, Param, is_absent
from riskcalc.dispatch.twin import StepFlows, StepKit, StepSetting, run_step
from riskcalc.jit import compiled, either_way

#: Columns of a trace, in order: mean power over the step [W]; stored energy at the step's end [Wh].
TRACE_COLUMNS = (
    "pv_available_w",
    "pv_used_w",
    "pv_curtailed_w",
    "demand_w",
    "reachable_demand_w",
    "pv_to_load_w",
    "battery_to_load_w",
    "grid_to_load_w",
    "grid_to_battery_w",
    "grid_import_w",
    "grid_export_w",
    "battery_charge_w",
    "battery_discharge_w",
    "losses_w",
    "unmet_w",
    "battery_stored_wh",
)
_FLOWS = len(Flow)
_HOUSEHOLD = int(Param.HOUSEHOLD_SCALE)
_HOME = int(Param.HOME_SHARE)
_DEMAND_REACHABLE, _DEMAND_WIRED = int(Flow.DEMAND_REACHABLE), int(Flow.DEMAND_WIRED)
_PV_AVAILABLE, _PV_USED = int(Flow.PV_AVAILABLE), int(Flow.PV_USED)
_IMPORT, _EXPORT, _UNMET = int(Flow.GRID_IMPORT), int(Flow.GRID_EXPORT), int(Flow.UNMET)
_OTHERS = 7
_MEAN_SHARE, _SWING, _OVERLOAD_MINUTES, _OVERLOAD_KWH, _ON_HOURS, _SHORT_HOURS, _SHORT_DAYS = range(_OTHERS)


@either_way
def basis_weight(pool: PoolArrays, column: NDArray[np.float64], year: int, day: int, basis: int) -> float:
    """Return the weight of a demand basis for one draw on one day: its scale, or 0 where its pattern rests."""
    row = pool.rank_row[basis]
    scale = column[_HOUSEHOLD + pool.scale_row[basis]]
    if row >= 0 and (pool.day_rank[year, row, day] < column[_HOME + row]) != pool.rank_below[basis]:
        return 0.0
    return scale


@either_way
def step_kit(column: NDArray[np.float64]) -> StepKit:
    """Return one draw's column of `params` as the twin's record; without cells nothing can be charged or discharged."""
    has_cells = column[0] > 0.0
    charge_w = column[2] if has_cells else 0.0
    discharge_w = column[3] if has_cells else 0.0
    return StepKit(
        column[0], min(column[1], column[0]), charge_w, discharge_w, column[4], column[5], column[6], column[7],
        column[8], column[9], column[10], column[11], column[12], column[13], column[14], column[15],
    )  # fmt: skip


@either_way
def solar_of_period(
    pool: PoolArrays, plane_weight: NDArray[np.float64], input_limit_w: NDArray[np.float64], year: int, period: int
) -> tuple[float, float]:
    """Return the power at the planes' terminals and what of it the inputs let in [W]."""
    available, admitted = 0.0, 0.0
    for index in range(len(input_limit_w)):
        at_input = 0.0
        for plane in range(len(pool.input_of_plane)):
            if pool.input_of_plane[plane] == index:
                at_input += plane_weight[plane] * pool.solar_w[year, plane, period]
        available += at_input
        admitted += min(at_input, input_limit_w[index])
    return available, admitted


@either_way
def book_step(
    flows: StepFlows, load: float, wired: float, available: float, off_grid: bool, hours: float,
    powers: NDArray[np.float64], others: NDArray[np.float64],
) -> None:  # fmt: skip
    """Set `powers` (len(Flow),) of a step of `hours` [W]; count overload and hours on. Off grid, wired demand is unmet."""
    powers[_DEMAND_REACHABLE] = load
    powers[_DEMAND_WIRED] = wired
    powers[2] = available
    powers[3] = flows.pv_used
    powers[4] = flows.pv_to_load
    powers[5] = flows.battery_to_load
    powers[6] = flows.grid_to_load
    powers[7] = flows.grid_to_battery
    powers[_IMPORT] = 0.0 if off_grid else flows.grid_import + wired
    powers[_EXPORT] = flows.grid_export
    powers[10] = flows.battery_charge
    powers[11] = flows.battery_discharge
    powers[12] = flows.losses
    powers[_UNMET] = flows.unmet + wired if off_grid else 0.0
    others[_OVERLOAD_MINUTES] += hours * 60.0 if flows.overload > 0.0 else 0.0
    others[_OVERLOAD_KWH] += flows.overload * hours / 1000.0
    others[_ON_HOURS] += flows.on_share * hours


@either_way
def add_to_row(row: NDArray[np.float64], powers: NDArray[np.float64], share: float, stored_wh: float) -> None:
    """Add a step that takes a share of a row of a trace, in the order of `TRACE_COLUMNS`."""
    row[0] += powers[_PV_AVAILABLE] * share
    row[1] += powers[_PV_USED] * share
    row[2] += (powers[_PV_AVAILABLE] - powers[_PV_USED]) * share
    row[3] += (powers[_DEMAND_REACHABLE] + powers[_DEMAND_WIRED]) * share
    row[4] += powers[_DEMAND_REACHABLE] * share
    row[5:15] += powers[4:] * share
    row[15] = stored_wh


@either_way
def target_of_slot(plan: PlanArrays, by_need: NDArray[np.float64], year: int, slot: int) -> float:
    """Return the share of the capacity up to which the grid charges in a slot."""
    if by_need.shape[1] == 0:
        return plan.target_share[year if len(plan.target_share) > 1 else 0, slot]
    light = plan.light[year if len(plan.light) > 1 else 0, slot]
    return min(max(by_need[0, plan.kind[slot]] - by_need[1, plan.kind[slot]] * light, 0.0), 1.0)


@either_way
def lasting(setting: StepSetting, hours: float) -> StepSetting:
    """Return the setting of a step of another length."""
    return StepSetting(
        hours, setting.off_grid, setting.inverter_on, setting.discharge_on, setting.grid_charge_on,
        setting.charge_allowed, setting.target_share, setting.export_stored_on, setting.export_stored_above_share,
        setting.output_share,
    )  # fmt: skip


@either_way
def follow_late(
    kit: StepKit, setting: StepSetting, floor_wh: float, stored_wh: float, load_w: float, input_w: float,
    given_w: float, lag_hours: float,
) -> tuple[StepFlows, float]:  # fmt: skip
    """Return the flows of a step whose load a unit on the home's wires follows late, and its export at the end [W].

    For `lag_hours` the unit still gives `given_w`: what the load before asked for, and what went to the grid beside it.
    What is missed comes from the grid. The unit gives the same energy later, when the load has fallen and it goes on for
    as long; it then goes to the grid, and beyond the limit of export it is lost. Both are booked when the load rises:
    over a rise and a fall the sums are those of an output that is the load shifted by the lag, and the cells move as if
    there were none (the error is what they hold for one lag).
    """
    flows = run_step(True, kit, setting, floor_wh, stored_wh, load_w, input_w)
    lag = lasting(setting, lag_hours)
    first = run_step(True, kit, lag, floor_wh, stored_wh, load_w, input_w)
    early, before_wh = setting.hours - lag_hours, stored_wh
    if early > 0.0:
        before_wh = run_step(True, kit, lasting(setting, early), floor_wh, stored_wh, load_w, input_w).stored_wh
    exported = run_step(True, kit, lag, floor_wh, before_wh, load_w, input_w).grid_export
    served = first.pv_to_load + first.battery_to_load
    missed = max(served - given_w, 0.0)
    if missed == 0.0:
        return flows, exported
    part = lag_hours / setting.hours
    from_sun = missed * first.pv_to_load / served * part
    late, given_away = missed * part, min(missed, kit.export_limit_w) * part
    late_flows = StepFlows(
        flows.pv_used, flows.pv_to_load - from_sun, flows.battery_to_load - (late - from_sun),
        flows.grid_to_load + late, flows.grid_to_battery, flows.grid_import + late, flows.grid_export + given_away,
        flows.battery_charge, flows.battery_discharge, flows.losses + late - given_away, flows.unmet, flows.overload,
        flows.on_share, flows.stored_wh,
    )  # fmt: skip
    return late_flows, exported


@either_way
def run_draw(  # noqa: C901, PLR0915 - one loop over slots, runs and steps
    off_grid: bool, parallel: bool, pool: PoolArrays, plan: PlanArrays, column: NDArray[np.float64],
    plane_weight: NDArray[np.float64], input_limit_w: NDArray[np.float64], year: int, stored_wh: float,
    longest_minutes: int, slot_minutes: int, sun_minutes: int, lag_minutes: float, monthly: NDArray[np.float64],
    billed: NDArray[np.float64], others: NDArray[np.float64], rows: NDArray[np.float64], row_minutes: int,
    by_need: NDArray[np.float64],
) -> float:  # fmt: skip
    """Run one draw through the plan, add its energies to `monthly`, `billed` and `others`, return the stored energy.

    Steps end with a run, with a period of the sun, with a row of the trace, and after `longest_minutes`.
    `by_need` (2, kinds) holds level and slope of the targets of charging by need, no kinds where the plan gives them.
    `rows` has one row for every `row_minutes` to fill with `TRACE_COLUMNS`, or no row at all.
    """
    kit = step_kit(column)
    bases = len(pool.rank_row)
    weight = np.zeros(bases)
    powers = np.zeros(_FLOWS)
    stored_wh = min(stored_wh, kit.capacity_wh)
    lowest, highest, days = 0.0, 0.0, 0
    short_today = 0.0
    available, admitted, period = 0.0, 0.0, -1
    minute = 0
    followed, exported = 0.0, 0.0
    for slot in range(len(plan.month)):
        day = plan.day[slot]
        if slot == 0 or day != plan.day[slot - 1]:
            for basis in range(bases):
                weight[basis] = basis_weight(pool, column, year, day, basis)
            others[_SWING] += highest - lowest
            others[_SHORT_DAYS] += short_today
            short_today = 0.0
            lowest, highest = 1.0, 0.0
            days += 1
        wired = 0.0
        for basis in range(bases):
            wired += weight[basis] * pool.wired_w[year, basis, slot]
        target = target_of_slot(plan, by_need, year, slot)
        # Cells below the floor are charged, but give nothing until it is reached.
        floor_wh = max(kit.floor_wh, plan.reserve_share[slot] * kit.capacity_wh)
        sells = plan.export_stored_on[slot] != 0 and plan.discharge_on[slot] != 0 and plan.grid_charge_on[slot] == 0
        slot_load, slot_unmet = 0.0, 0.0
        until_now = plan.start_minute[slot] - minute
        for run in range(pool.first_run[year, slot], pool.first_run[year, slot + 1]):
            load = 0.0
            for basis in range(bases):
                load += weight[basis] * pool.run_w[run, basis]
            ends = minute + int(pool.run_minutes[run])
            while minute < ends:
                of_year = until_now + minute
                if of_year // sun_minutes != period:
                    period = of_year // sun_minutes
                    available, admitted = solar_of_period(pool, plane_weight, input_limit_w, year, period)
                length = min(ends - minute, longest_minutes, sun_minutes - of_year % sun_minutes)
                if len(rows) > 0:
                    length = min(length, row_minutes - minute % row_minutes)
                hours = length / 60.0
                setting = StepSetting(
                    hours, off_grid, plan.inverter_on[slot] != 0, plan.discharge_on[slot] != 0,
                    plan.grid_charge_on[slot] != 0, pool.charge_allowed[year, day], target,
                    plan.export_stored_on[slot] != 0, plan.export_stored_above_share[slot], plan.output_share[slot],
                )  # fmt: skip
                flows = run_step(parallel, kit, setting, floor_wh, stored_wh, load, admitted)
                if parallel and lag_minutes > 0.0:
                    late, exported_now = follow_late(
                        kit, setting, floor_wh, stored_wh, load, admitted, followed + exported, lag_minutes / 60.0
                    )
                    # Where stored energy is sold, the output does not follow the load.
                    flows, exported = (flows, 0.0) if sells else (late, exported_now)
                    followed = min(load, kit.inverter_rating_w * setting.output_share)
                stored_wh = flows.stored_wh
                slot_load += load * length
                slot_unmet += flows.unmet * length
                book_step(flows, load, wired, available, off_grid, hours, powers, others)
                monthly[:, plan.month[slot]] += powers * (hours / 1000.0)
                billing = plan.rate_weight[slot] * hours / 1000.0
                billed[0, plan.rate[slot]] += (load + wired) * billing
                billed[1, plan.rate[slot]] += (powers[_IMPORT] + powers[_UNMET]) * billing
                billed[2, plan.rate[slot]] += powers[_EXPORT] * billing
                if len(rows) > 0:
                    add_to_row(rows[minute // row_minutes], powers, length / row_minutes, stored_wh)
                minute += length
        if off_grid and slot_unmet > SHORT_SHARE * slot_load:
            others[_SHORT_HOURS] += slot_minutes / 60.0
            short_today = 1.0
        share = stored_wh / kit.capacity_wh if kit.capacity_wh > 0.0 else 0.0
        others[_MEAN_SHARE] += share / len(plan.month)
        lowest, highest = min(lowest, share), max(highest, share)
    others[_SWING] = (others[_SWING] + highest - lowest) / days
    others[_SHORT_DAYS] += short_today
    return stored_wh


@compiled
def _run_draw_compiled(
    off_grid, parallel, pool, plan, column, plane_weight, input_limit_w, year, stored_wh, longest_minutes,
    slot_minutes, sun_minutes, lag_minutes, monthly, billed, others, rows, row_minutes, by_need,
):  # fmt: skip
    return run_draw(
        off_grid, parallel, pool, plan, column, plane_weight, input_limit_w, year, stored_wh, longest_minutes,
        slot_minutes, sun_minutes, lag_minutes, monthly, billed, others, rows, row_minutes, by_need,
    )  # fmt: skip


def dispatch_slow(
    coupling: str,
    inputs: DispatchInputs,
    plan: SlotPlan,
    params: NDArray[np.float64],
    *,
    plane_weight: NDArray[np.float64],
    input_limit_w: NDArray[np.float64],
    pool_year: NDArray[np.int64],
    stored_wh: ArrayLike = 0.0,
    step_minutes: int = 1,
    use_numba: bool = False,
) -> DispatchOutcome:
    """Return what `dispatch_year` returns, computed minute by minute by the plain-Python twin.

    Parameters are those of `dispatch_year`. Steps last `step_minutes` at most; the result does not depend on it.
    `use_numba` compiles the same source, for whole years.
    """
    draws = params.shape[1]
    meets = traits_of(coupling)
    stored = check_request(inputs, plan, params, plane_weight, input_limit_w, pool_year, stored_wh)
    outcome, absent = empty_outcome(draws, plan.rates), is_absent(params)
    by_need = plan.need_targets(inputs, params, plane_weight)
    for draw in range(draws):
        monthly = np.zeros((len(Flow), 12))
        billed = np.zeros((len(Billed), plan.rates))
        others = np.zeros(_OTHERS)
        outcome.stored_wh[draw] = _one_draw(use_numba)(
            not meets.on_grid, meets.parallel, inputs.arrays(), plan.arrays(), params[:, draw].copy(),
            plane_weight[:, draw].copy(), input_limit_w[:, draw].copy(), int(pool_year[draw]), float(stored[draw]),
            step_minutes, plan.slot_minutes, inputs.sun_minutes, plan.lag_minutes, monthly, billed, others,
            np.zeros((0, len(TRACE_COLUMNS))), 1, by_need[:, :, draw].copy(),
        )  # fmt: skip
        if absent[draw]:
            # Without a kit at work there is no inverter to be on, and no rating to exceed.
            others[[_OVERLOAD_MINUTES, _OVERLOAD_KWH, _ON_HOURS]] = 0.0
        outcome.monthly_kwh[:, :, draw] = monthly
        outcome.billed_kwh[:, :, draw] = billed
        outcome.mean_stored_share[draw] = others[_MEAN_SHARE]
        outcome.mean_daily_swing[draw] = others[_SWING]
        outcome.overload_minutes[draw] = others[_OVERLOAD_MINUTES]
        outcome.overload_kwh[draw] = others[_OVERLOAD_KWH]
        outcome.on_hours[draw] = others[_ON_HOURS]
        outcome.short_hours[draw] = others[_SHORT_HOURS]
        outcome.short_days[draw] = others[_SHORT_DAYS]
    return outcome


def trace_year(
    coupling: str,
    inputs: DispatchInputs,
    plan: SlotPlan,
    params: NDArray[np.float64],
    *,
    plane_weight: NDArray[np.float64],
    input_limit_w: NDArray[np.float64],
    pool_year: int,
    stored_wh: float = 0.0,
    row_minutes: int | None = None,
    names: Sequence[str] = TRACE_COLUMNS,
    use_numba: bool = True,
) -> dict[str, NDArray[np.float64]]:
    """Return one draw's year, row after row, a dict of `names` -> float64 (rows,).

    Parameters
    ----------
    coupling, inputs, plan
        As for `dispatch_year`.
    params : float64 (len(Param),)
        The draw's column.
    plane_weight : float64 (planes,)
        Factor on each plane's power.
    input_limit_w : float64 (inputs,)
        Most power each solar input lets in [W].
    pool_year : int
        Pool year of sun and demand.
    stored_wh : float
        Stored energy at the start [Wh].
    row_minutes : int
        Length of a row: a divisor of what the plan covers, and a multiple of `inputs.step_minutes`, the default.
    names : sequence of str
        Which of `TRACE_COLUMNS`, the default: copying those that nobody reads takes as long as tracing.
    use_numba : bool
        Whether to compile the same source: for whole years, not for a few days.

    Returns
    -------
    dict
        Powers are means over the row [W], `battery_stored_wh` is the state at its end. In every row
        pv_available = pv_used + pv_curtailed, and
        pv_used + grid_import + battery_discharge + unmet = demand + grid_export + battery_charge + losses.
        Sums over a month times the row's length are the rows of `DispatchOutcome.monthly_kwh`.
    """
    column = np.asarray(params, dtype=np.float64)
    meets = traits_of(coupling)
    stored = check_request(
        inputs, plan, column[:, None], np.asarray(plane_weight)[:, None], np.asarray(input_limit_w)[:, None],
        np.array([pool_year]), stored_wh,
    )  # fmt: skip
    row_minutes = row_minutes or inputs.step_minutes
    if plan.slots * plan.slot_minutes % row_minutes:
        raise ValueError(f"row_minutes: {row_minutes}; accepted: a divisor of {plan.slots * plan.slot_minutes}")
    rows = np.zeros((plan.slots * plan.slot_minutes // row_minutes, len(TRACE_COLUMNS)))
    _one_draw(use_numba)(
        not meets.on_grid, meets.parallel, inputs.arrays(), plan.arrays(), column.copy(),
        np.asarray(plane_weight, dtype=np.float64).copy(), np.asarray(input_limit_w, dtype=np.float64).copy(),
        int(pool_year), float(stored[0]), plan.slot_minutes, plan.slot_minutes, inputs.sun_minutes,
        plan.lag_minutes, np.zeros((len(Flow), 12)), np.zeros((len(Billed), plan.rates)), np.zeros(_OTHERS), rows, row_minutes,
        plan.need_targets(inputs, column[:, None], np.asarray(plane_weight, dtype=np.float64)[:, None])[:, :, 0].copy(),
    )  # fmt: skip
    return {name: np.ascontiguousarray(rows[:, TRACE_COLUMNS.index(name)]) for name in names}


def _one_draw(use_numba: bool) -> Callable[..., Any]:
    return _run_draw_compiled if use_numba else run_draw
