"""One future step by step: a year as a table to redo with a spreadsheet, a few days of it, two weeks for the page.

A few days need no trace of the year: the kernel brings the stored energy to the first of them, and from there its plain
twin walks, which has nothing to compile.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.assess import provenance_of
from riskcalc.clock import CALENDAR_YEAR, MINUTES_PER_DAY, LocalClock
from riskcalc.dispatch import TRACE_COLUMNS, trace_year
from riskcalc.errors import one_problem
from riskcalc.money.bill import prices_of, slot_prices
from riskcalc.money.prices import paths_of
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment, World, design_of, drawn_values, part_of_design, world_of
from riskcalc.types import Floats
from riskcalc.uncertainty.sampling import draws_run
from riskcalc.years.simulation import Plant, YearRequest, run_year, simulate

COLUMNS = ("time", *TRACE_COLUMNS, "import_price", "export_price")
#: Columns of a traced week that the page draws.
WEEK_COLUMNS = {
    "demand_w": "demand_w",
    "solar_w": "pv_available_w",
    "grid_import_w": "grid_import_w",
    "export_w": "grid_export_w",
    "unmet_w": "unmet_w",
    "battery_wh": "battery_stored_wh",
}


def traced_year(
    scenario: Scenario,
    *,
    draw: int,
    year: int,
    world: World | None = None,
) -> dict[str, NDArray[np.float64]]:
    """Return the columns of `COLUMNS` other than the time, each (steps,), for one draw and horizon year.

    Parameters
    ----------
    draw
        Counted from 0, as in draws.csv.
    year
        Year of the horizon, counted from 1.
    world
        The scenario's pools, if they are at hand.

    Raises
    ------
    InputError
        If the draw or the year lies outside the scenario's study.
    """
    check_traced(scenario, draw=draw, year=year)
    random = design_of(scenario)
    values = drawn_values(scenario, random)
    world = world or world_of(scenario)
    chosen = np.array([draw])
    alone = part_of_design(random, chosen)
    own = {key: of_all[chosen] for key, of_all in values.items()}
    plant = Plant(scenario, world.pools, world.plan, own, alone.pool_year)
    past = simulate(plant, years=year)
    row = year - 1
    request = plant.year_request(
        row, capacity_share=past.capacity_share[row], working=past.working[row], stored_wh=past.stored_wh[row]
    )
    columns = trace_year(
        request.coupling,
        request.inputs,
        request.plan,
        request.params[:, 0],
        plane_weight=request.plane_weight[:, 0],
        input_limit_w=request.input_limit_w[:, 0],
        pool_year=int(request.pool_year[0]),
        stored_wh=float(request.stored_wh[0]),
    )
    prices = prices_of(scenario, own, paths_of(scenario, own, alone.path), year=row)
    steps_per_slot = world.plan.slot_minutes // scenario.study.step_minutes
    for name, of_slot in zip(("import_price", "export_price"), slot_prices(prices, world.plan, 0), strict=True):
        columns[name] = np.repeat(of_slot, steps_per_slot)
    return columns


def check_traced(scenario: Scenario, *, draw: int, year: int) -> None:
    """Refuse a draw or a year that the scenario's study does not have.

    Raises
    ------
    InputError
        Naming the draws and years there are.
    """
    draws, years = _draws_run(scenario), scenario.study.horizon_years
    if not 0 <= draw < draws:
        raise one_problem(scenario.file, "draw", draw, f"0 to {draws - 1}")
    if not 1 <= year <= years:
        raise one_problem(scenario.file, "year", year, f"1 to {years}, the horizon")


def _draws_run(scenario: Scenario) -> int:
    return draws_run(scenario.study.draws, scrambles=scenario.study.scrambles)


def step_times(clock: LocalClock, *, step_minutes: int) -> NDArray[np.str_]:
    """Return the wall-clock time at which each step begins, ISO 8601 with its offset, shape (steps,)."""
    minutes = np.arange(0, 365 * 1440, step_minutes)
    shift = clock.shift_minutes[minutes // clock.slot_minutes]
    wall = np.datetime64(f"{CALENDAR_YEAR}-01-01T00:00", "m") + (minutes + shift).astype("timedelta64[m]")
    offsets = {int(extra): _offset_text(clock.utc_offset_minutes + int(extra)) for extra in np.unique(shift)}
    suffix = np.array([offsets[int(extra)] for extra in np.unique(shift)])[np.searchsorted(np.unique(shift), shift)]
    return np.char.add(np.datetime_as_string(wall, unit="s"), suffix)


def trace_table(scenario: Scenario, columns: Mapping[str, NDArray[np.float64]], clock: LocalClock) -> str:
    """Return the trace as CSV text: powers are means over the step, stored energy is that at its end."""
    import pandas as pd

    frame = pd.DataFrame({"time": step_times(clock, step_minutes=scenario.study.step_minutes)})
    for name in COLUMNS[1:]:
        frame[name] = columns[name]
    return frame.to_csv(index=False, float_format="%.10g", lineterminator="\n")


def _offset_text(minutes: int) -> str:
    sign = "-" if minutes < 0 else "+"
    return f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def request_of(assessment: Assessment, *, draw: int, year: int) -> YearRequest:
    """Return what dispatch needs for one draw and year (counted from 1) of an assessment."""
    only, row = np.array([draw]), year - 1
    values = {key: of_all[only] for key, of_all in assessment.values.items()}  # noqa: PD011 - a dict
    world, simulation = assessment.world, assessment.simulation
    plant = Plant(assessment.scenario, world.pools, world.plan, values, assessment.design.pool_year[:, only])
    return plant.year_request(
        row,
        capacity_share=simulation.capacity_share[row, only],
        working=simulation.working[row, only],
        stored_wh=simulation.stored_wh[row, only],
    )


def traced_days(request: YearRequest, *, first_slot: int, slots: int, row_minutes: int) -> dict[str, Floats]:
    """Return the columns of `dispatch.TRACE_COLUMNS` over a stretch of slots of a request of one draw, row by row.

    The stretch may run over the end of the year into its beginning, as the half hours that the wall clock moves do;
    stored energy is then that of the year's own beginning.
    """
    in_year = len(request.plan.month)
    until_end = min(slots, in_year - first_slot)
    parts = [_traced(request, slice(first_slot, first_slot + until_end), row_minutes)]
    if until_end < slots:
        parts.append(_traced(request, slice(0, slots - until_end), row_minutes))
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def _traced(request: YearRequest, slots: slice, row_minutes: int) -> dict[str, Floats]:
    stored_wh = request.stored_wh
    if slots.start > 0:
        stored_wh = run_year(_cut(request, slice(0, slots.start), stored_wh)).stored_wh
    cut = _cut(request, slots, stored_wh)
    return trace_year(
        cut.coupling,
        cut.inputs,
        cut.plan,
        cut.params[:, 0],
        plane_weight=cut.plane_weight[:, 0],
        input_limit_w=cut.input_limit_w[:, 0],
        pool_year=0,
        stored_wh=float(cut.stored_wh[0]),
        row_minutes=row_minutes,
        use_numba=False,
    )


def _cut(request: YearRequest, slots: slice, stored_wh: Floats) -> YearRequest:
    """Return the request of some slots only, with the one pool year that its draw meets."""
    plan, inputs = request.plan, request.inputs
    year = slice(int(request.pool_year[0]), int(request.pool_year[0]) + 1)
    return replace(
        request,
        plan=plan.of_slots(slots, year),
        inputs=inputs.of_slots(slots, year.start),
        pool_year=np.zeros(1, dtype=np.int64),
        stored_wh=stored_wh,
    )


HALF_HOUR, DAYS_SHOWN = 30, 7

#: Middle of January and of July, where winter and summer weeks are taken from (swapped south of the equator).
_MID_JANUARY, _MID_JULY = 13, 193

#: Between the tropics, where the sun stands overhead twice a year, no half of the year is summer.
TROPIC_DEG = 23.44


@dataclass(frozen=True)
class Week:
    """First day in words, and each traced column as means over 336 half hours (`battery_stored_wh`: at their end)."""

    season: str
    first_day: str
    columns: Mapping[str, Floats]


@dataclass(frozen=True)
class Stretch:
    """Which slots of the standard-time year a week covers: from `first_slot` on, over new year if need be."""

    season: str
    first_day: str
    first_slot: int
    slots: int


def week_stretches(clock: LocalClock, *, latitude_deg: float) -> tuple[Stretch, ...]:
    """Return where a summer and a winter week lie, Monday to Sunday; in the tropics they are named by their months."""
    if abs(latitude_deg) < TROPIC_DEG:
        return _stretch("July", _MID_JULY, clock), _stretch("January", _MID_JANUARY, clock)
    northern = latitude_deg >= 0.0
    days = {"summer": _MID_JULY if northern else _MID_JANUARY, "winter": _MID_JANUARY if northern else _MID_JULY}
    return tuple(_stretch(season, day, clock) for season, day in days.items())


def _stretch(season: str, day: int, clock: LocalClock) -> Stretch:
    first = date(CALENDAR_YEAR, 1, 1) + timedelta(days=day)
    first += timedelta(days=-first.weekday() % 7)
    day = (first - date(CALENDAR_YEAR, 1, 1)).days
    slots_per_day = MINUTES_PER_DAY // clock.slot_minutes
    # Standard time of the day's wall-clock midnight.
    shift = int(clock.shift_minutes[day * slots_per_day])
    start = (day * MINUTES_PER_DAY - shift) // clock.slot_minutes % clock.slots
    return Stretch(season, f"{first:%A} {first.day} {first:%B}", start, DAYS_SHOWN * slots_per_day)


#: What comes in and what goes out of home and kit together: the two sums are equal in every step.
CAME = ("pv_used_w", "grid_import_w", "battery_discharge_w", "unmet_w")
WENT = ("demand_w", "grid_export_w", "battery_charge_w", "losses_w")
#: What serves the demand; the rest of it is out of the kit's reach.
SERVED = {
    "from_solar_kwh": "pv_to_load_w",
    "from_battery_kwh": "battery_to_load_w",
    "from_grid_kwh": "grid_to_load_w",
    "unmet_kwh": "unmet_w",
}


def trace_dict(
    scenario: Scenario, world: World, columns: Mapping[str, Floats], *, draw: int, year: int, command: str
) -> dict[str, Any]:
    """Return everything the page of a trace shows, from the columns of `traced_year`, (steps,) each.

    `came_kwh` and `went_kwh` are the two sides of the energy balance; `months` holds what served the demand, (12,) each.
    """
    hours = scenario.study.step_minutes / 60.0
    kwh = {name: columns[name] * hours / 1000.0 for name in dict.fromkeys((*CAME, *WENT, *SERVED.values()))}
    month = np.repeat(world.plan.month, world.plan.slot_minutes // scenario.study.step_minutes)
    months = {name: np.bincount(month, kwh[column], minlength=12) for name, column in SERVED.items()}
    rest = np.bincount(month, kwh["demand_w"], minlength=12) - sum(months.values())
    # What stands far below a watt-hour is rounding.
    months["out_of_reach_kwh"] = np.where(rest > 1e-6, rest, 0.0)
    prices = {name: columns[f"{name}_price"] for name in ("import", "export")}
    return {
        "scenario": scenario.name,
        "title": scenario.called,
        "currency": scenario.currency,
        "draw": draw,
        "year": year,
        "came_kwh": {name: float(kwh[name].sum()) for name in CAME},
        "went_kwh": {name: float(kwh[name].sum()) for name in WENT},
        "months": months,
        "paid_for_import": float((kwh["grid_import_w"] * prices["import"]).sum()),
        "paid_for_export": float((kwh["grid_export_w"] * prices["export"]).sum()),
        "provenance": provenance_of(scenario, world.pools, draws=_draws_run(scenario)),
        "page": {"command": command, "weeks": traced_weeks(scenario, world, columns, draw=draw, year=year)},
    }


def traced_weeks(
    scenario: Scenario, world: World, columns: Mapping[str, Floats], *, draw: int, year: int
) -> list[dict[str, Any]]:
    """Return the summer and the winter week of a traced year for its page, its steps taken together or repeated."""
    step = scenario.study.step_minutes
    stored = columns["battery_stored_wh"]
    shown = []
    for stretch in week_stretches(world.clock, latitude_deg=world.pools.weather.latitude_deg):
        first = stretch.first_slot * world.clock.slot_minutes // step
        at = (first + np.arange(7 * MINUTES_PER_DAY // step)) % len(stored)
        week = {name: columns[column][at] for name, column in WEEK_COLUMNS.items()}
        week["out_of_reach_w"] = week["demand_w"] - columns["reachable_demand_w"][at]
        halves = {name: _half_hours(values, step, last=name == "battery_wh") for name, values in week.items()}
        facts = {"season": stretch.season, "first_day": stretch.first_day, "draw": draw, "year": year}
        # The fullest the cells become in the year: the scale of the drawing.
        shown.append(facts | {"capacity_wh": float(stored.max())} | halves)
    return shown


def _half_hours(values: Floats, step_minutes: int, *, last: bool) -> Floats:
    """Return means over half hours, or what stands at their ends; steps of an hour count for both of theirs."""
    if step_minutes > HALF_HOUR:
        return np.repeat(values, step_minutes // HALF_HOUR)
    parts = values.reshape(-1, HALF_HOUR // step_minutes)
    return parts[:, -1] if last else parts.mean(axis=1)
