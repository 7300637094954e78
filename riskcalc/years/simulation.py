"""The years of the horizon: dispatch, then ageing, and the aged kit enters the next year."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.coupling import Coupling
from riskcalc.dispatch import DispatchInputs, DispatchOutcome, Flow, SlotPlan, dispatch_year, trace_year
from riskcalc.scenario import Scenario
from riskcalc.scenario.outages import bridges
from riskcalc.types import Flags, Floats, Values
from riskcalc.years.ageing import AgeingState, aged, new_battery
from riskcalc.years.bridging import COLUMNS, estimated_hours, hours_in_year
from riskcalc.years.failures import electronics_course, warranty_years, when_worn
from riskcalc.years.hardware import coupling_of, habit_figures, kit_figures, year_params
from riskcalc.years.planes import plane_weights
from riskcalc.years.pools import Pools
from riskcalc.years.tenure import Course, tenure_course
from riskcalc.years.warm_up import loops_ready

#: Typical battery power over the most it can give, for the C-rate of the ageing laws; common practice, no source.
TYPICAL_POWER_SHARE = 0.5


@dataclass(frozen=True)
class Simulation:
    """What happened to energy and kit; years and draws are the last two axes.

    `yearly_kwh` (flows, years, draws) has the rows of `dispatch.Flow`, `billed_kwh` (3, rates, years, draws) those of
    `dispatch.Billed`, `first_year_monthly_kwh` is (flows, 12, draws). `capacity_share` and `stored_wh` hold at the
    start of each year, (years, draws). `battery_replaced` and `electronics_replaced` mark the year at whose end a
    replacement is paid, `working` the years in which the kit runs, `course` what permission and moves do to it.
    `overload_minutes` and `overload_kwh` (draws,) count first-year demand within reach above the inverter's rating;
    `short_hours` and `short_days` (years, draws) the time in which, off grid, some demand is not served.
    `hours_carried` and `load_carried_w` (years, draws): how long and how much the kit carries in one outage of the
    supply; `hours_bridged` (draws,): hours of outages bridged in the first year, None if the scenario has no outages.
    `monthly_demand_kwh` and `monthly_import_kwh` (12, years, draws): kept for block rates only, else None.
    """

    yearly_kwh: Floats
    billed_kwh: Floats
    first_year_monthly_kwh: Floats
    capacity_share: Floats
    stored_wh: Floats
    battery_replaced: Flags
    electronics_replaced: Flags
    working: Flags
    course: Course
    overload_minutes: Floats
    overload_kwh: Floats
    short_hours: Floats
    short_days: Floats
    hours_carried: Floats
    load_carried_w: Floats
    hours_bridged: Floats | None
    monthly_demand_kwh: Floats | None
    monthly_import_kwh: Floats | None


@dataclass(frozen=True)
class YearRequest:
    """All that `dispatch` needs for one year of some draws."""

    coupling: Coupling
    inputs: DispatchInputs
    plan: SlotPlan
    params: Floats
    plane_weight: Floats
    input_limit_w: Floats
    pool_year: NDArray[np.int64]
    stored_wh: Floats


class Plant:
    """A scenario's kit in its home for a set of draws, ready to be run year by year."""

    def __init__(self, scenario: Scenario, pools: Pools, plan: SlotPlan, values: Values, pool_year: NDArray[np.int64]):
        self.scenario, self.plan, self.values, self.pool_year = scenario, plan, values, pool_year
        self.battery_temp_c = pools.battery_temp_c
        self.draws = pool_year.shape[1]
        self.coupling = coupling_of(scenario)
        self.when_worn = when_worn(scenario)
        self.warranty_years = warranty_years(scenario, values, draws=self.draws)
        self.outage_scale = pools.outage_scale
        self.course = tenure_course(scenario, values, years=len(pool_year), draws=self.draws)
        self.new_kit = kit_figures(scenario, values, draws=self.draws)
        self.habits = habit_figures(pools.demand, values, draws=self.draws)
        self.new_plane_weight = plane_weights(pools.planes, values, draws=self.draws)
        self.inputs = pools.inputs
        limits = [entry.max_power_w for entry in scenario.kit.inputs.values()] if scenario.kit else []
        self.input_limit_w = np.repeat(np.array(limits or [0.0])[:, None], self.draws, axis=1)

    def year_request(self, year: int, *, capacity_share: Floats, working: Flags, stored_wh: Floats) -> YearRequest:
        """Return what dispatch needs for a year of the horizon, counted from 0."""
        decline: Floats | float = 1.0
        if self.scenario.kit is not None:
            decline = (1.0 - self.values["kit.ageing.module_decline_per_year"]) ** year
        return YearRequest(
            coupling=self.coupling,
            inputs=self.inputs,
            plan=self.plan,
            params=year_params(self.new_kit, habits=self.habits, capacity_share=capacity_share, working=working),
            plane_weight=self.new_plane_weight * decline * working * self.course.yield_share[year],
            input_limit_w=self.input_limit_w,
            pool_year=self.pool_year[year],
            stored_wh=stored_wh,
        )


def simulate(plant: Plant, *, years: int, on_year: Callable[[int], None] | None = None, threads: int = 2) -> Simulation:
    """Run every draw through the horizon; `on_year` is told the number of years done."""
    draws, rates = plant.draws, len(plant.scenario.tariff.rates)
    yearly = np.zeros((len(Flow), years, draws))
    billed = np.zeros((3, rates, years, draws))
    share, stored = np.ones((years, draws)), np.zeros((years, draws))
    short_hours, short_days, carried, load_carried_w = (np.zeros((years, draws)) for _ in range(4))
    bridging = carries_outages(plant)
    by_month = np.zeros((2, 12, years, draws)) if plant.scenario.tariff.blocks else None
    battery_replaced = np.zeros((years, draws), dtype=bool)
    held = plant.course.held[:years]
    sound, electronics_replaced = electronics_course(plant.scenario, plant.values, years=years, draws=draws)
    working = sound & held
    # What is handed over at the end of a year is not mended for the next owner.
    electronics_replaced[:-1] &= held[1:]
    wear = new_battery(draws)
    first: DispatchOutcome | None = None
    full_wh = plant.new_kit.get("capacity_wh", np.zeros(draws))
    stored_now = np.zeros(draws)
    for year in range(years):
        share[year], stored[year] = wear.capacity_share, stored_now
        request = plant.year_request(year, capacity_share=share[year], working=working[year], stored_wh=stored_now)
        outcome = run_year(request, threads=threads)
        first = first or outcome
        if bridging:
            length = plant.values["outages.hours_each"]
            estimate, load_carried_w[year] = estimated_hours(outcome, request.params, length_hours=length)
            carried[year] = np.minimum(estimate * plant.outage_scale, length)
        yearly[:, year] = outcome.monthly_kwh.sum(axis=1)
        billed[:, : outcome.billed_kwh.shape[1], year] = outcome.billed_kwh
        short_hours[year], short_days[year] = outcome.short_hours, outcome.short_days
        if by_month is not None:
            monthly = outcome.monthly_kwh
            by_month[0, :, year] = monthly[Flow.DEMAND_REACHABLE] + monthly[Flow.DEMAND_WIRED]
            by_month[1, :, year] = monthly[Flow.GRID_IMPORT] + monthly[Flow.UNMET]
        stored_now = outcome.stored_wh
        wear = worn(plant, wear, outcome, pool_year=request.pool_year, full_wh=np.asarray(full_wh))
        if year < years - 1:
            ended = worn_out(plant, wear) & working[year] & held[year + 1]
            free = ended & (year + 1 <= plant.warranty_years)
            if plant.when_worn == "replace":
                battery_replaced[year] = ended & ~free
            elif plant.when_worn == "retire":
                working[year + 1 :, ended & ~free] = False
            renewed = ended if plant.when_worn == "replace" else free
            wear = AgeingState(np.where(renewed, 0.0, wear.calendar_loss), np.where(renewed, 0.0, wear.cycle_loss))
        if on_year is not None:
            on_year(year + 1)
    assert first is not None
    return Simulation(
        yearly_kwh=yearly,
        billed_kwh=billed,
        first_year_monthly_kwh=first.monthly_kwh,
        capacity_share=share,
        stored_wh=stored,
        battery_replaced=battery_replaced,
        electronics_replaced=electronics_replaced,
        working=working,
        course=plant.course,
        overload_minutes=first.overload_minutes,
        overload_kwh=first.overload_kwh,
        short_hours=short_hours,
        short_days=short_days,
        hours_carried=carried,
        load_carried_w=load_carried_w,
        hours_bridged=None if plant.scenario.outages is None else plant.values["outages.per_year"] * carried[0],
        monthly_demand_kwh=None if by_month is None else by_month[0],
        monthly_import_kwh=None if by_month is None else by_month[1],
    )


def run_year(request: YearRequest, *, threads: int = 2) -> DispatchOutcome:
    """Return the outcome of one year of dispatch; it does not depend on the number of threads."""
    loops_ready()
    return dispatch_year(
        request.coupling,
        request.inputs,
        request.plan,
        request.params,
        plane_weight=request.plane_weight,
        input_limit_w=request.input_limit_w,
        pool_year=request.pool_year,
        stored_wh=request.stored_wh,
        threads=threads,
    )


def traced_draw(request: YearRequest, draw: int) -> dict[str, Floats]:
    """Return every minute of one draw of a year, the columns that tell what an outage meets (`bridging.COLUMNS`)."""
    return trace_year(
        request.coupling,
        request.inputs,
        request.plan,
        request.params[:, draw],
        plane_weight=request.plane_weight[:, draw],
        input_limit_w=request.input_limit_w[:, draw],
        pool_year=int(request.pool_year[draw]),
        stored_wh=float(request.stored_wh[draw]),
        row_minutes=1,
        names=COLUMNS,
    )


def carries_outages(plant: Plant) -> bool:
    """Return whether the scenario asks about outages and its kit carries loads during one."""
    outages, kit = plant.scenario.outages, plant.scenario.kit
    return outages is not None and kit is not None and bridges(outages, kit.coupling)


def outage_scale(plant: Plant) -> float:
    """Return hours carried of outages put into the traced first year of a few draws, over those estimated for them."""
    if not carries_outages(plant):
        return 1.0
    new = np.ones(plant.draws)
    request = plant.year_request(0, capacity_share=new, working=new > 0.0, stored_wh=np.zeros(plant.draws))
    length = plant.values["outages.hours_each"]
    estimate, _ = estimated_hours(run_year(request), request.params, length_hours=length)
    hours = [
        hours_in_year(
            traced_draw(request, draw),
            request.params[:, draw],
            step_minutes=1,
            length_hours=float(length[draw]),
        )
        for draw in range(plant.draws)
    ]
    return sum(hours) / float(estimate.sum()) if estimate.sum() > 0.0 else 1.0


def worn(
    plant: Plant, wear: AgeingState, outcome: DispatchOutcome, *, pool_year: NDArray[np.int64], full_wh: Floats
) -> AgeingState:
    """Return the wear of the battery after a year as it was really used."""
    kit = plant.scenario.kit
    if kit is None or kit.battery is None:
        return wear
    values = plant.values
    given = {
        "cycles_to_80_percent": "kit.ageing.cycles_to_80_percent",
        "years_to_80_percent": "kit.ageing.calendar_life_years",
    }
    return aged(
        kit.ageing.law,
        wear,
        full_cycles=outcome.yearly_kwh(Flow.BATTERY_DISCHARGE) * 1000.0 / full_wh,
        depth=np.clip(outcome.mean_daily_swing, 0.0, 1.0),
        soc_mean=np.clip(outcome.mean_stored_share, 0.0, 1.0),
        temp_c=plant.battery_temp_c[pool_year],
        c_rate=TYPICAL_POWER_SHARE * values["kit.battery.discharge_w"] / full_wh,
        scale=values["kit.ageing.scale"],
        **{name: values[key] for name, key in given.items() if key in values},
    )


def worn_out(plant: Plant, wear: AgeingState) -> Flags:
    """Return the draws whose battery has fallen below the end of its life, (draws,)."""
    kit = plant.scenario.kit
    if kit is None or kit.battery is None:
        return np.zeros(plant.draws, dtype=bool)
    return wear.capacity_share < plant.values["kit.ageing.end_of_life_share"]


@dataclass(frozen=True)
class Bridged:
    """Hours without supply in a year, hours of them bridged and energy served meanwhile, (years, draws) each."""

    hours: Floats
    hours_bridged: Floats
    kwh_served: Floats


def bridged_outages(scenario: Scenario, simulation: Simulation, values: Values) -> Bridged | None:
    """Return what the kit bridges, None if the scenario says nothing about outages; see `riskcalc.years.bridging`."""
    if scenario.outages is None:
        return None
    per_year = values["outages.per_year"]
    hours = np.broadcast_to(per_year * values["outages.hours_each"], simulation.working.shape)
    bridged = per_year * simulation.hours_carried
    return Bridged(hours, bridged, bridged * simulation.load_carried_w / 1000.0)
