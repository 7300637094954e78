"""One draw, one year, step by step: what anyone needs to redo the balance and the bill with a spreadsheet."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import CALENDAR_YEAR, LocalClock
from riskcalc.dispatch import TRACE_COLUMNS, trace_year
from riskcalc.errors import one_problem
from riskcalc.money.bill import prices_of, slot_prices
from riskcalc.money.prices import paths_of
from riskcalc.scenario import Scenario
from riskcalc.study.model import World, design_of, drawn_values, part_of_design, world_of
from riskcalc.years.simulation import Plant, simulate

COLUMNS = ("time", *TRACE_COLUMNS, "import_price", "export_price")


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
    random = design_of(scenario)
    years = scenario.study.horizon_years
    if not 0 <= draw < random.draws:
        raise one_problem(scenario.file, "draw", draw, f"0 to {random.draws - 1}")
    if not 1 <= year <= years:
        raise one_problem(scenario.file, "year", year, f"1 to {years}, the horizon")
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
