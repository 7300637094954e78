"""Lane loops for slots in which the inverter carries nothing: it is off, or the grid charges the cells."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import rows
from riskcalc.dispatch.compiled import inner
from riskcalc.dispatch.rows import LANES, LOADS, WHOLE


@inner
def rest(lanes: int, steps: int, work: NDArray[np.float64]) -> None:
    """Let the sun charge the cells for a whole slot; the power is constant, so the steps need no loop."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        above = work[rows.ABOVE + lane]
        power = work[rows.SOLAR_POWER + lane]
        charge = power * steps
        room = work[rows.ROOM + lane] - above
        charge = charge if charge < room else room
        work[rows.ABOVE + lane] = above + charge
        work[rows.SOLAR_TO_CELLS + lane] += charge
        work[rows.SLOT_LEFT + lane] = work[rows.SLOT_DEMAND + lane]


@inner
def charge_from_grid(lanes: int, steps: int, work: NDArray[np.float64], inverter_on: bool) -> None:
    """Let sun and grid charge the cells; what loads and standby leave free on the supply goes to the charger."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        standby = work[rows.STANDBY_ON + lane] if inverter_on else work[rows.STANDBY + lane]
        work[rows.FREE + lane] = work[rows.SOCKET + lane] - standby
    for step in range(min(steps, rows.MOST_STEPS)):
        loads = LOADS + step * LANES
        for lane in range(lanes):
            above = work[rows.ABOVE + lane]
            room = work[rows.ROOM + lane] - above
            power = work[rows.SOLAR_POWER + lane]
            charge = power if power < room else room
            above += charge
            free = work[rows.FREE + lane] - work[loads + lane]
            free = free if free > 0.0 else 0.0
            charger = work[rows.CHARGER + lane]
            from_grid = (free if free < charger else charger) * work[rows.CHARGER_TO_STORED + lane]
            limit = work[rows.CELLS_TODAY + lane] - charge
            from_grid = from_grid if from_grid < limit else limit
            to_target = work[rows.TARGET + lane] - above
            from_grid = from_grid if from_grid < to_target else to_target
            from_grid = from_grid if from_grid > 0.0 else 0.0
            work[rows.ABOVE + lane] = above + from_grid
            work[rows.SOLAR_TO_CELLS + lane] += charge
            work[rows.GRID_TO_CELLS + lane] += from_grid
    for lane in range(lanes):
        work[rows.SLOT_LEFT + lane] = work[rows.SLOT_DEMAND + lane]
