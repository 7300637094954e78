"""One draw's year as the programme reads it, with demand averaged over the slots of the plan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from riskcalc.dispatch import DispatchInputs, DispatchOutcome, Flow, Param
from riskcalc.dispatch.plan import DAYS
from riskcalc.dispatch.trace import basis_weight, step_kit
from riskcalc.money.bill import Energy, bill, prices_of
from riskcalc.scenario import Scenario
from riskcalc.study.foresight_programme import YearAhead
from riskcalc.types import Floats, Values
from riskcalc.years.simulation import YearRequest


def at_slots(inputs: DispatchInputs) -> DispatchInputs:
    """Return the same pools with one run in each slot, and sun of a slot or more; what is shorter is averaged."""
    years, slots = inputs.years, inputs.slots
    slot_minutes = int(inputs.slot_run_minutes[0, 0])
    shorter = max(1, slot_minutes // inputs.sun_minutes)
    return replace(
        inputs,
        solar_w=inputs.solar_w.reshape(*inputs.solar_w.shape[:2], -1, shorter).mean(axis=3),
        sun_minutes=shorter * inputs.sun_minutes,
        run_w=np.concatenate([inputs.slot_mean_w(year).T for year in range(years)]),
        run_minutes=np.full(years * slots, slot_minutes),
        first_run=np.arange(years)[:, None] * slots + np.arange(slots + 1),
        step_minutes=slot_minutes,
    )


def energy_bill(scenario: Scenario, outcome: DispatchOutcome, values: Values) -> Floats:
    """Return import less export of a year at first-year prices, without standing charge and blocks, (draws,)."""
    return bill(prices_of(scenario, values), Energy(outcome.billed_kwh, outcome.yearly_kwh(Flow.GRID_EXPORT))).with_kit


def year_ahead(
    request: YearRequest,
    draw: int,
    *,
    import_price: Floats,
    export_price: Floats,
    floor_wh: float,
    least_end_wh: float,
) -> YearAhead:
    """Return what the programme must know of one draw; the request has one step in each slot."""
    plan, inputs, year = request.plan, request.inputs, int(request.pool_year[draw])
    kit = step_kit(request.params[:, draw])
    weights = day_weights(request, draw)[:, plan.day]
    return YearAhead(
        coupling=request.coupling,
        hours=plan.slot_minutes / 60.0,
        kit=kit._replace(floor_wh=floor_wh),
        load_w=(weights * inputs.slot_mean_w(year)).sum(axis=0),
        wired_w=(weights * inputs.wired_w[year]).sum(axis=0),
        input_w=admitted_w(request, draw)[plan.start_minute // inputs.sun_minutes],
        import_price=import_price,
        export_price=export_price,
        charge_allowed=inputs.charge_allowed[year][plan.day],
        inverter_on=plan.inverter_on != 0,
        charges_from_grid=bool(plan.grid_charge_on.any()),
        exports_stored=plan.export_stored_on != 0,
        start_wh=min(float(request.stored_wh[draw]), kit.capacity_wh),
        least_end_wh=least_end_wh,
    )


def day_weights(request: YearRequest, draw: int) -> Floats:
    """Return the weight of each demand basis on each day for one draw, (bases, 365)."""
    column, pool, year = request.params[:, draw], request.inputs.arrays(), int(request.pool_year[draw])
    bases = request.inputs.bases
    return np.array([[basis_weight(pool, column, year, day, basis) for day in range(DAYS)] for basis in range(bases)])


def admitted_w(request: YearRequest, draw: int) -> Floats:
    """Return the solar power that the inputs let in over one draw's year, (periods,) [W]."""
    power = request.plane_weight[:, draw, None] * request.inputs.solar_w[int(request.pool_year[draw])]
    limits = request.input_limit_w[:, draw]
    on_input = request.inputs.input_of_plane
    parts = [np.minimum(power[on_input == index].sum(axis=0), limit) for index, limit in enumerate(limits)]
    return np.sum(parts, axis=0, dtype=np.float64)


def floors_wh(request: YearRequest) -> Floats:
    """Return the stored energy that is never used: the cells' floor or the outage reserve, (draws,) [Wh]."""
    params = request.params
    kept = float(request.plan.reserve_share.min()) * params[Param.CAPACITY_WH]
    return np.minimum(np.maximum(params[Param.FLOOR_WH], kept), params[Param.CAPACITY_WH])
