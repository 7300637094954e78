"""The plan of a scenario that leaves targets, switch dates, hold-back or what is kept from export to be found."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_LENGTHS, LocalClock
from riskcalc.dispatch import SlotPlan
from riskcalc.scenario import FOUND, Scenario
from riskcalc.study.foresight_hourly import floors_wh
from riskcalc.study.outlook import forecast_light, kinds_of, outlook
from riskcalc.study.search import MONTHS, Frame, Running, Search, Wanted, plain, plan_of
from riskcalc.uncertainty.streams import Stream, stream_seed
from riskcalc.years.pools import Pools
from riskcalc.years.schedule import charge_slots, hold_back_slots, serving_slots, slot_plan, solar_only_days
from riskcalc.years.simulation import Plant

#: Draws that the search runs, at least.
SEARCH_DRAWS = 16
#: A charging window belongs to the day in which it ends, if that is no further away than this [h].
LONGEST_NIGHT_H = 14.0


@dataclass(frozen=True)
class Optimised:
    """What was found: the way of running, and the mean first-year energy bill under it and under the plain rule."""

    running: Running
    forecasts: bool
    draws: int
    bill: float
    plain_bill: float


def to_be_found(scenario: Scenario) -> Wanted | None:
    """Return what the scenario leaves to the search, None for nothing."""
    dispatch = scenario.dispatch
    wanted = Wanted(
        targets=dispatch.target_share == FOUND and bool(dispatch.charge_at),
        season=dispatch.target_share == FOUND and dispatch.solar_only_from is None,
        hold_back=dispatch.hold_back_share == FOUND,
        export_stored=dispatch.export_stored_above_share == FOUND and bool(dispatch.export_stored_at),
    )
    battery = scenario.kit is not None and scenario.kit.battery is not None
    return wanted if battery and (wanted.targets or wanted.hold_back or wanted.export_stored) else None


def optimised_plan(scenario: Scenario, clock: LocalClock, pools: Pools, plant: Plant) -> tuple[SlotPlan, Optimised]:
    """Return the plan of the year's slots with everything found that the scenario leaves open, and what that is.

    `plant` holds the draws to search on; its plan may be any.
    """
    wanted = to_be_found(scenario) or Wanted(targets=False, season=False, hold_back=False, export_stored=False)
    frame, given = frame_of(scenario, clock, pools), given_running(scenario)
    new = np.ones(plant.draws)
    request = plant.year_request(0, capacity_share=new, working=new > 0.0, stored_wh=np.zeros(plant.draws))
    request = replace(request, plan=frame.plan)
    search = Search(scenario, replace(request, stored_wh=floors_wh(request)), plant.values, frame)
    found = search.best(given, wanted)
    return plan_of(frame, found), Optimised(
        running=found,
        forecasts=frame.kinds is not None and (found.by_need is not None or found.target_share.shape[1] > 1),
        draws=plant.draws,
        bill=search.bill(found),
        plain_bill=search.bill(replace(given, target_share=plain().target_share) if wanted.targets else given),
    )


def frame_of(scenario: Scenario, clock: LocalClock, pools: Pools) -> Frame:
    """Return what does not change in the search."""
    plan = slot_plan(scenario, clock)
    charging = charge_slots(scenario, plan.rate)
    nights = serving_slots(scenario, plan.rate, on_solar=np.zeros(plan.slots, dtype=bool))
    reserve = np.full(plan.slots, scenario.dispatch.reserve_share)
    skill = scenario.dispatch.sun_forecast_skill
    light = None
    if skill > 0.0 and scenario.dispatch.target_share == FOUND:
        day_sun = pools.weather.ghi.reshape(pools.weather.years, DAYS, 24).sum(axis=2)
        seed = stream_seed(scenario.study.seed, Stream.FORECAST)
        light = forecast_light(day_sun, skill=skill, seed=seed)
    return Frame(
        plan=replace(plan, discharge_on=nights.astype(np.int64), reserve_share=reserve),
        planned_day=planned_day(clock.day, charging, slot_hours=clock.slot_minutes / 60.0),
        charging=charging,
        held_back=hold_back_slots(scenario, plan.rate),
        serves_on_solar=serving_slots(scenario, plan.rate, on_solar=np.ones(plan.slots, dtype=bool)),
        kinds=None if light is None else kinds_of(light),
        outlook=outlook(pools.inputs, clock, serving=nights, light=light),
    )


def given_running(scenario: Scenario) -> Running:
    """Return what the scenario says itself, plain where it leaves something open."""
    dispatch, solar = scenario.dispatch, solar_only_days(scenario)
    target = 1.0 if isinstance(dispatch.target_share, str) else dispatch.target_share
    held = 0.0 if isinstance(dispatch.hold_back_share, str) else dispatch.hold_back_share
    above = 1.0 if isinstance(dispatch.export_stored_above_share, str) else dispatch.export_stored_above_share
    return Running(
        target_share=np.broadcast_to(np.asarray(target, float), (MONTHS,))[:, None].copy(),
        solar_days=solar,
        hold_back_share=np.broadcast_to(np.asarray(held, float), (MONTHS,)).copy(),
        export_stored_above_share=np.broadcast_to(np.asarray(above, float), (MONTHS,)).copy(),
    )


def planned_day(day: NDArray[np.int64], charging: NDArray[np.bool_], *, slot_hours: float) -> NDArray[np.int64]:
    """Return the day that each slot is for, (slots,): its own, or for charging in the evening the day that night ends in."""
    planned = day.copy()
    last = len(day)
    for slot in range(len(day) - 1, -1, -1):
        if not charging[slot]:
            last = slot
        elif (last - slot) * slot_hours <= LONGEST_NIGHT_H:
            planned[slot] = day[last - 1]
    return planned


def month_day(day: int) -> str:
    """Return a day of the year 0..364 as MM-DD."""
    month = int(np.searchsorted(np.cumsum(MONTH_LENGTHS), day, side="right"))
    return f"{month + 1:02d}-{day - int(MONTH_LENGTHS[:month].sum()) + 1:02d}"


def switch_dates(solar_days: NDArray[np.bool_]) -> tuple[str, str] | None:
    """Return the first and the last day on solar only, as MM-DD; None without any."""
    if not solar_days.any():
        return None
    if solar_days.all():
        return "01-01", "12-31"
    first = int(np.flatnonzero(solar_days & ~np.roll(solar_days, 1))[0])
    last = int(np.flatnonzero(solar_days & ~np.roll(solar_days, -1))[0])
    return month_day(first), month_day(last)
