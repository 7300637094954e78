"""Lane loops of the transfer family (sockets, off grid) while the inverter may carry loads."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import rows
from riskcalc.dispatch.compiled import inner
from riskcalc.dispatch.rows import LANES, LOADS, WHOLE, fma


@inner
def carry_with_sun(lanes: int, steps: int, work: NDArray[np.float64]) -> None:
    """Run the steps of a slot with sun; `twin.transfer_step` explains each line."""
    lanes = min(lanes, LANES) & WHOLE
    for step in range(min(steps, rows.MOST_STEPS)):
        loads = LOADS + step * LANES
        for lane in range(lanes):
            load = work[loads + lane]
            most = work[rows.MOST + lane]
            carried = load if load < most else most
            bus = fma(
                carried, fma(work[rows.QUADRATIC + lane], carried, work[rows.LINEAR + lane]), work[rows.IDLE + lane]
            )
            solar = work[rows.SOLAR + lane]
            direct_on = solar if solar < bus else bus
            from_cells_on = bus - direct_on
            refill = work[rows.REFILL + lane]
            wanted = from_cells_on + refill
            # One division serves both ratios: 1 / wanted = bus * inverse, 1 / bus = wanted * inverse.
            inverse = rows.ONE / (wanted * bus)
            above = work[rows.ABOVE + lane]
            on = (above + refill) * (bus * inverse)
            on = on if on < 1.0 else 1.0
            on = on if load <= work[rows.LIMIT + lane] else 0.0
            direct = on * direct_on
            above = fma(-on, from_cells_on, above)
            charge = fma(-direct, work[rows.TO_STORED + lane], work[rows.SOLAR_STORED + lane])
            limit = work[rows.CELLS_TODAY + lane]
            charge = charge if charge < limit else limit
            room = work[rows.ROOM + lane] - above
            charge = charge if charge < room else room
            above += charge
            work[rows.ABOVE + lane] = above if above > 0.0 else 0.0
            served = on * carried
            work[rows.SLOT_LEFT + lane] += load - served
            work[rows.DIRECT + lane] += direct
            work[rows.FROM_CELLS + lane] = fma(on, from_cells_on, work[rows.FROM_CELLS + lane])
            work[rows.SOLAR_TO_CELLS + lane] += charge
            work[rows.SUN_TO_LOAD + lane] = fma(served, direct_on * (wanted * inverse), work[rows.SUN_TO_LOAD + lane])
            work[rows.ON + lane] += on


@inner
def carry_from_cells(lanes: int, steps: int, work: NDArray[np.float64]) -> None:
    """Run the steps of a slot without sun: `carry_with_sun` with every solar term zero."""
    lanes = min(lanes, LANES) & WHOLE
    for step in range(min(steps, rows.MOST_STEPS)):
        loads = LOADS + step * LANES
        for lane in range(lanes):
            load = work[loads + lane]
            most = work[rows.MOST + lane]
            carried = load if load < most else most
            bus = fma(
                carried, fma(work[rows.QUADRATIC + lane], carried, work[rows.LINEAR + lane]), work[rows.IDLE + lane]
            )
            above = work[rows.ABOVE + lane]
            on = (above + rows.TINY) * (rows.ONE / bus)
            on = on if on < 1.0 else 1.0
            on = on if load <= work[rows.LIMIT + lane] else 0.0
            above = fma(-on, bus, above)
            work[rows.ABOVE + lane] = above if above > 0.0 else 0.0
            work[rows.SLOT_LEFT + lane] += fma(-on, carried, load)
            work[rows.FROM_CELLS + lane] = fma(on, bus, work[rows.FROM_CELLS + lane])
            work[rows.ON + lane] += on
