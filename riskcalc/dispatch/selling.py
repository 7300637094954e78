"""Lane loops of the parallel family for slots in which stored energy is sold to the grid."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import rows
from riskcalc.dispatch.compiled import inlined, inner
from riskcalc.dispatch.parallel import served_load
from riskcalc.dispatch.rows import LANES, LOADS, WHOLE, fma


@inner
def feed_and_sell(lanes: int, steps: int, work: NDArray[np.float64]) -> None:
    """Run the steps of a slot, with sun or without: loads first, then what the inverter has left goes to the grid.

    `twin.parallel_step` explains each line. ON sums the idle power; TARGET is what is kept from selling.
    """
    for step in range(min(steps, rows.MOST_STEPS)):
        _serve_loads(lanes, LOADS + step * LANES, work)
        _sell_rest(lanes, work)


@inlined
def _serve_loads(lanes: int, loads: int, work: NDArray[np.float64]) -> None:
    """Let sun and then cells carry the loads of one step; hand on the sun left over and what the cells gave."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        load = work[loads + lane]
        solar = work[rows.SOLAR + lane]
        above = work[rows.ABOVE + lane]
        give = work[rows.GIVE_NOW + lane]
        available = solar + (above if above < give else give)
        idle, to_load, served, ratio = served_load(lane, work, load, available)
        bus = idle + to_load
        direct = solar if solar < bus else bus
        sun_to_load = direct - idle
        sun_to_load = (sun_to_load if sun_to_load > 0.0 else 0.0) * ratio
        work[rows.SLOT_LEFT + lane] += load - served
        work[rows.DIRECT + lane] += direct
        work[rows.SUN_TO_LOAD + lane] += sun_to_load
        work[rows.ON + lane] += idle
        work[rows.SERVED_NOW + lane] = served
        work[rows.SURPLUS_NOW + lane] = solar - direct
        work[rows.IDLE_NOW + lane] = bus - direct


@inlined
def _sell_rest(lanes: int, work: NDArray[np.float64]) -> None:
    """Charge up to what is kept, then fill what the loads leave of the inverter: sun first, then cells; then charge."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        linear = work[rows.LINEAR + lane]
        quadratic = work[rows.QUADRATIC + lane]
        served = work[rows.SERVED_NOW + lane]
        surplus = work[rows.SURPLUS_NOW + lane]
        from_cells = work[rows.IDLE_NOW + lane]
        above = work[rows.ABOVE + lane] - from_cells
        kept = work[rows.TARGET + lane]
        spare = above - (kept if kept > 0.0 else 0.0)
        # What is to be kept comes first: sun charges the cells up to it.
        to_stored = work[rows.TO_STORED + lane]
        limit = work[rows.CELLS_TODAY + lane]
        charge = surplus * to_stored
        charge = charge if charge < limit else limit
        missing = -spare if spare < 0.0 else 0.0
        charge = charge if charge < missing else missing
        surplus -= charge * work[rows.INVERSE_TO_STORED + lane]
        surplus = surplus if surplus > 0.0 else 0.0
        further = work[rows.GIVE_NOW + lane] - from_cells
        spare = spare if spare < further else further
        offered = surplus + (spare if spare > 0.0 else 0.0)
        room = work[rows.RATING + lane] - served
        most = work[rows.EXPORT_MOST + lane]
        room = room if room < most else most
        twice = served + served
        guess = offered * work[rows.INVERSE_LINEAR + lane]
        guess = guess if guess < room else room
        export = offered / fma(quadratic, twice + guess, linear)
        to_grid = room * fma(quadratic, twice + room, linear)
        to_grid = offered if offered < to_grid else to_grid
        sun_to_grid = surplus if surplus < to_grid else to_grid
        sold = to_grid - sun_to_grid
        above += charge - sold
        rest = (surplus - sun_to_grid) * to_stored
        limit -= charge
        rest = rest if rest < limit else limit
        left = work[rows.ROOM + lane] - above
        rest = rest if rest < left else left
        rest = rest if rest > 0.0 else 0.0
        above += rest
        work[rows.ABOVE + lane] = above if above > 0.0 else 0.0
        work[rows.FROM_CELLS + lane] += from_cells + sold
        work[rows.SOLAR_TO_CELLS + lane] += charge + rest
        work[rows.EXPORT + lane] += export if export < room else room
        work[rows.TO_GRID + lane] += sun_to_grid
