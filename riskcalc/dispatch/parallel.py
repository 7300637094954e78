"""Lane loops of the parallel family (plug-in, whole home) while the inverter is on."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import rows
from riskcalc.dispatch.compiled import inlined, inner
from riskcalc.dispatch.rows import LANES, LOADS, WHOLE, fma


@inlined
def served_load(
    lane: int, work: NDArray[np.float64], load: float, available: float
) -> tuple[float, float, float, float]:
    """Return idle power, power to the load, the load that is served and AC per DC, of what the bus has available."""
    rating = work[rows.RATING + lane]
    linear = work[rows.LINEAR + lane]
    quadratic = work[rows.QUADRATIC + lane]
    carried = load if load < rating else rating
    idle = work[rows.IDLE + lane]
    idle = idle if idle < available else available
    for_load = available - idle
    whole = carried * fma(quadratic, carried, linear)
    to_load = for_load if for_load < whole else whole
    guess = to_load * work[rows.INVERSE_LINEAR + lane]
    guess = guess if guess < carried else carried
    ratio = 1.0 / fma(quadratic, guess, linear)
    served = carried if for_load >= whole else to_load * ratio
    return idle, to_load, served, ratio


@inner
def feed_with_sun(lanes: int, steps: int, work: NDArray[np.float64], export: bool, grid_charge: bool) -> None:
    """Run the steps of a slot with sun; `twin.parallel_step` explains each line. ON sums the idle power.

    Without `export` no lane may feed into the grid; `grid_charge` tops the cells up from it.
    """
    lanes = min(lanes, LANES) & WHOLE
    for step in range(min(steps, rows.MOST_STEPS)):
        loads = LOADS + step * LANES
        for lane in range(lanes):
            load = work[loads + lane]
            solar = work[rows.SOLAR + lane]
            above = work[rows.ABOVE + lane]
            give = work[rows.GIVE_NOW + lane]
            available = solar + (above if above < give else give)
            idle, to_load, served, ratio = served_load(lane, work, load, available)
            bus = idle + to_load
            direct = solar if solar < bus else bus
            from_cells = bus - direct
            above -= from_cells
            sun_to_load = direct - idle
            sun_to_load = (sun_to_load if sun_to_load > 0.0 else 0.0) * ratio
            surplus = fma(-direct, work[rows.TO_STORED + lane], work[rows.SOLAR_STORED + lane])
            limit = work[rows.CELLS_TODAY + lane]
            charge = surplus if surplus < limit else limit
            room = work[rows.ROOM + lane] - above
            charge = charge if charge < room else room
            above += charge
            work[rows.ABOVE + lane] = above if above > 0.0 else 0.0
            work[rows.SLOT_LEFT + lane] += load - served
            work[rows.DIRECT + lane] += direct
            work[rows.FROM_CELLS + lane] += from_cells
            work[rows.SOLAR_TO_CELLS + lane] += charge
            work[rows.SUN_TO_LOAD + lane] += sun_to_load
            work[rows.ON + lane] += idle
            work[rows.SERVED_NOW + lane] = served
            work[rows.SURPLUS_NOW + lane] = surplus
            work[rows.CHARGE_NOW + lane] = charge
            work[rows.IDLE_NOW + lane] = idle
        if export:
            _export_spare(lanes, work)
        if grid_charge:
            _charge_beside_sun(lanes, loads, work)


@inlined
def _export_spare(lanes: int, work: NDArray[np.float64]) -> None:
    """Feed one step's surplus sun that the cells do not take into the grid, through what the inverter has left."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        linear = work[rows.LINEAR + lane]
        quadratic = work[rows.QUADRATIC + lane]
        served = work[rows.SERVED_NOW + lane]
        spare = (work[rows.SURPLUS_NOW + lane] - work[rows.CHARGE_NOW + lane]) * work[rows.INVERSE_TO_STORED + lane]
        room = work[rows.RATING + lane] - served
        most = work[rows.EXPORT_MOST + lane]
        room = room if room < most else most
        guess = spare * work[rows.INVERSE_LINEAR + lane]
        guess = guess if guess < room else room
        twice = served + served
        export = spare / fma(quadratic, twice + guess, linear)
        to_grid = room * fma(quadratic, twice + room, linear)
        work[rows.EXPORT + lane] += export if export < room else room
        work[rows.TO_GRID + lane] += spare if spare < to_grid else to_grid


@inlined
def _charge_beside_sun(lanes: int, loads: int, work: NDArray[np.float64]) -> None:
    """Top the cells up from the grid in one step, after the sun, with what the loads leave free."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        on = work[rows.IDLE_NOW + lane] * work[rows.INVERSE_IDLE + lane]
        standby = fma(-on, work[rows.STANDBY_ON + lane], work[rows.STANDBY_ON + lane])
        free = work[rows.SOCKET + lane] - (work[loads + lane] - work[rows.SERVED_NOW + lane]) - standby
        free = free if free > 0.0 else 0.0
        charger = work[rows.CHARGER + lane]
        from_grid = (free if free < charger else charger) * work[rows.CHARGER_TO_STORED + lane]
        limit = work[rows.CELLS_TODAY + lane] - work[rows.CHARGE_NOW + lane]
        from_grid = from_grid if from_grid < limit else limit
        above = work[rows.ABOVE + lane]
        to_target = work[rows.TARGET + lane] - above
        from_grid = from_grid if from_grid < to_target else to_target
        from_grid = from_grid if from_grid > 0.0 else 0.0
        work[rows.ABOVE + lane] = above + from_grid
        work[rows.GRID_TO_CELLS + lane] += from_grid


@inner
def feed_from_cells(lanes: int, steps: int, work: NDArray[np.float64]) -> None:
    """Run the steps of a slot without sun: `feed_with_sun` with every solar term zero."""
    lanes = min(lanes, LANES) & WHOLE
    for step in range(min(steps, rows.MOST_STEPS)):
        loads = LOADS + step * LANES
        for lane in range(lanes):
            load = work[loads + lane]
            above = work[rows.ABOVE + lane]
            give = work[rows.GIVE_NOW + lane]
            idle, to_load, served, _ = served_load(lane, work, load, above if above < give else give)
            bus = idle + to_load
            above -= bus
            work[rows.ABOVE + lane] = above if above > 0.0 else 0.0
            work[rows.SLOT_LEFT + lane] += load - served
            work[rows.FROM_CELLS + lane] += bus
            work[rows.ON + lane] += idle
