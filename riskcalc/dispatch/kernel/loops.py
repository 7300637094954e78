"""Lane loops over the runs of a slot: resting, charging from the grid, carrying loads (sockets, off grid).

Within a run sun, load and limits are constant, so energy in the cells moves along a straight line until they are full,
empty, or at the level they are charged to. When that happens is known in closed form, and every flow of the run is a sum
of power times the time it lasts: the steps of `riskcalc.dispatch.twin`, whatever their length, give the same.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch.kernel import rows
from riskcalc.dispatch.kernel.rows import DURATIONS, LANES, LOADS, TINY, WHOLE, fma
from riskcalc.jit import inlined, inner


@inner
def rest(lanes: int, minutes: float, work: NDArray[np.float64]) -> None:
    """Let the sun charge the cells for `minutes`: nothing is carried, so the loads do not matter."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        above = work[rows.ABOVE + lane]
        charge = work[rows.SOLAR_POWER + lane] * minutes
        room = work[rows.ROOM + lane] - above
        charge = charge if charge < room else room
        work[rows.ABOVE + lane] = above + charge
        work[rows.SOLAR_TO_CELLS + lane] += charge
        work[rows.SLOT_LEFT + lane] += work[rows.PART_DEMAND + lane]


@inner
def charge_from_grid(lanes: int, runs: int, work: NDArray[np.float64], inverter_on: bool) -> None:
    """Let sun and grid charge the cells; what loads and standby leave free on the supply goes to the charger."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        standby = work[rows.STANDBY_ON + lane] if inverter_on else work[rows.STANDBY + lane]
        work[rows.STANDBY_NOW + lane] = standby
    for row in range(min(runs, rows.MOST_RUNS)):
        minutes = work[DURATIONS + row]
        loads = LOADS + row * LANES
        for lane in range(lanes):
            free = work[rows.SOCKET + lane] - work[rows.STANDBY_NOW + lane] - work[loads + lane]
            above = work[rows.ABOVE + lane]
            charge, from_grid = charge_both(lane, minutes, work, above, work[rows.SOLAR_POWER + lane], free)
            work[rows.ABOVE + lane] = above + (charge + from_grid)
            work[rows.SOLAR_TO_CELLS + lane] += charge
            work[rows.GRID_TO_CELLS + lane] += from_grid
    for lane in range(lanes):
        work[rows.SLOT_LEFT + lane] += work[rows.PART_DEMAND + lane]


@inlined
def charge_both(
    lane: int, minutes: float, work: NDArray[np.float64], above: float, sun: float, free: float
) -> tuple[float, float]:
    """Return what sun and grid bring to the cells: both until the target is reached, then the sun alone until full."""
    free = free if free > 0.0 else 0.0
    charger = work[rows.CHARGER + lane]
    grid = (free if free < charger else charger) * work[rows.CHARGER_TO_STORED + lane]
    limit = work[rows.CELLS_TODAY + lane] - sun
    grid = grid if grid < limit else limit
    grid = grid if grid > 0.0 else 0.0
    time = (work[rows.TARGET + lane] - above) * (1.0 / (sun + grid + TINY))
    time = time if time < minutes else minutes
    time = time if time > 0.0 else 0.0
    from_grid = grid * time
    charge = sun * minutes
    room = work[rows.ROOM + lane] - above - from_grid
    charge = charge if charge < room else room
    return charge if charge > 0.0 else 0.0, from_grid


@inner
def carry_with_sun(lanes: int, runs: int, work: NDArray[np.float64]) -> None:
    """Run the transfer family (sockets, off grid) in sun; `twin.transfer_step` explains each line."""
    lanes = min(lanes, LANES) & WHOLE
    for row in range(min(runs, rows.MOST_RUNS)):
        minutes = work[DURATIONS + row]
        loads = LOADS + row * LANES
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
            on = fma(refill, minutes, above) * (bus * inverse)
            on = on if on > 0.0 else 0.0
            # What needs nothing of the cells runs below the floor (`above` < 0) too.
            on = on if on < minutes and from_cells_on > TINY else minutes
            on = on if load <= work[rows.LIMIT + lane] else 0.0
            by_turns = on > 0.0 and from_cells_on > TINY
            lowest = above if above < 0.0 and not by_turns else 0.0
            above = fma(-on, from_cells_on, above)
            limit = work[rows.CELLS_TODAY + lane]
            charge_on = (solar - direct_on) * work[rows.TO_STORED + lane]
            charge_on = charge_on if charge_on < limit else limit
            charge = fma(on, charge_on, (minutes - on) * work[rows.SOLAR_POWER + lane])
            room = work[rows.ROOM + lane] - above
            charge = charge if charge < room else room
            above += charge
            work[rows.ABOVE + lane] = above if above > lowest else lowest
            served = on * carried
            work[rows.SLOT_LEFT + lane] += fma(load, minutes, -served)
            work[rows.DIRECT + lane] = fma(on, direct_on, work[rows.DIRECT + lane])
            work[rows.FROM_CELLS + lane] = fma(on, from_cells_on, work[rows.FROM_CELLS + lane])
            work[rows.SOLAR_TO_CELLS + lane] += charge
            work[rows.SUN_TO_LOAD + lane] = fma(served, direct_on * (wanted * inverse), work[rows.SUN_TO_LOAD + lane])
            work[rows.ON + lane] += on


@inner
def carry_from_cells(lanes: int, runs: int, work: NDArray[np.float64]) -> None:
    """Run the transfer family without sun: `carry_with_sun` with every solar term zero."""
    lanes = min(lanes, LANES) & WHOLE
    for row in range(min(runs, rows.MOST_RUNS)):
        minutes = work[DURATIONS + row]
        loads = LOADS + row * LANES
        for lane in range(lanes):
            load = work[loads + lane]
            most = work[rows.MOST + lane]
            carried = load if load < most else most
            bus = fma(
                carried, fma(work[rows.QUADRATIC + lane], carried, work[rows.LINEAR + lane]), work[rows.IDLE + lane]
            )
            above = work[rows.ABOVE + lane]
            on = fma(TINY, minutes, above) * (rows.ONE / bus)
            on = on if on < minutes and bus > TINY else minutes
            on = on if load <= work[rows.LIMIT + lane] and on > 0.0 else 0.0
            lowest = above if above < 0.0 else 0.0
            above = fma(-on, bus, above)
            work[rows.ABOVE + lane] = above if above > lowest else lowest
            work[rows.SLOT_LEFT + lane] += fma(-on, carried, load * minutes)
            work[rows.FROM_CELLS + lane] = fma(on, bus, work[rows.FROM_CELLS + lane])
            work[rows.ON + lane] += on
