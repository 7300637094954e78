"""Lane loops over the runs of a slot, one for each thing that a kit may be doing.

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
            charge, from_grid = _charge(lane, minutes, work, above, work[rows.SOLAR_POWER + lane], free)
            work[rows.ABOVE + lane] = above + (charge + from_grid)
            work[rows.SOLAR_TO_CELLS + lane] += charge
            work[rows.GRID_TO_CELLS + lane] += from_grid
    for lane in range(lanes):
        work[rows.SLOT_LEFT + lane] += work[rows.PART_DEMAND + lane]


@inlined
def _charge(
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
            on = on if on < minutes else minutes
            on = on if load <= work[rows.LIMIT + lane] else 0.0
            above = fma(-on, from_cells_on, above)
            limit = work[rows.CELLS_TODAY + lane]
            charge_on = (solar - direct_on) * work[rows.TO_STORED + lane]
            charge_on = charge_on if charge_on < limit else limit
            charge = fma(on, charge_on, (minutes - on) * work[rows.SOLAR_POWER + lane])
            room = work[rows.ROOM + lane] - above
            charge = charge if charge < room else room
            above += charge
            work[rows.ABOVE + lane] = above if above > 0.0 else 0.0
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
            on = on if on < minutes else minutes
            on = on if load <= work[rows.LIMIT + lane] else 0.0
            above = fma(-on, bus, above)
            work[rows.ABOVE + lane] = above if above > 0.0 else 0.0
            work[rows.SLOT_LEFT + lane] += fma(-on, carried, load * minutes)
            work[rows.FROM_CELLS + lane] = fma(on, bus, work[rows.FROM_CELLS + lane])
            work[rows.ON + lane] += on


@inlined
def _served(
    lane: int, work: NDArray[np.float64], carried: float, whole: float, available: float
) -> tuple[float, float, float, float]:
    """Return idle power, power to the load, the load that is served and AC per DC, of what the bus has available.

    `carried` is the load within the rating, `whole` the power it needs beside the idle draw.
    """
    idle = work[rows.IDLE + lane]
    idle = idle if idle < available else available
    for_load = available - idle
    to_load = for_load if for_load < whole else whole
    guess = to_load * work[rows.INVERSE_LINEAR + lane]
    guess = guess if guess < carried else carried
    ratio = 1.0 / fma(work[rows.QUADRATIC + lane], guess, work[rows.LINEAR + lane])
    served = carried if for_load >= whole else to_load * ratio
    return idle, to_load, served, ratio


@inlined
def _whole(lane: int, work: NDArray[np.float64], load: float) -> tuple[float, float]:
    """Return the load within the rating and the bus power it needs beside the idle draw."""
    rating = work[rows.OUTPUT + lane]
    carried = load if load < rating else rating
    return carried, carried * fma(work[rows.QUADRATIC + lane], carried, work[rows.LINEAR + lane])


@inlined
def _to_grid(
    lane: int, work: NDArray[np.float64], served: float, room: float, room_bus: float, offered: float
) -> tuple[float, float]:
    """Return what of `offered` bus power goes to the grid beside loads of `served`, and what arrives there."""
    quadratic, linear = work[rows.QUADRATIC + lane], work[rows.LINEAR + lane]
    guess = offered * work[rows.INVERSE_LINEAR + lane]
    guess = guess if guess < room else room
    export = offered / fma(quadratic, (served + served) + guess, linear)
    return offered if offered < room_bus else room_bus, export if export < room else room


@inlined
def _room_on_grid(lane: int, work: NDArray[np.float64], served: float) -> tuple[float, float]:
    """Return what the inverter may still feed into the grid beside loads of `served`, as AC and as bus power."""
    room = work[rows.OUTPUT + lane] - served
    most = work[rows.EXPORT_MOST + lane]
    room = room if room < most else most
    room = room if room > 0.0 else 0.0
    return room, room * fma(work[rows.QUADRATIC + lane], (served + served) + room, work[rows.LINEAR + lane])


@inner
def feed_from_cells(lanes: int, runs: int, work: NDArray[np.float64]) -> None:
    """Run the parallel family (plug-in, whole home) without sun: as long as the cells last. ON sums the idle power."""
    lanes = min(lanes, LANES) & WHOLE
    for row in range(min(runs, rows.MOST_RUNS)):
        minutes = work[DURATIONS + row]
        loads = LOADS + row * LANES
        for lane in range(lanes):
            load = work[loads + lane]
            above = work[rows.ABOVE + lane]
            carried, whole = _whole(lane, work, load)
            idle, to_load, served, _ = _served(lane, work, carried, whole, work[rows.GIVE_NOW + lane])
            bus = idle + to_load
            time = above / (bus + TINY)
            time = time if time < minutes else minutes
            above = fma(-time, bus, above)
            work[rows.ABOVE + lane] = above if above > 0.0 else 0.0
            work[rows.SLOT_LEFT + lane] += fma(-time, served, load * minutes)
            work[rows.FROM_CELLS + lane] = fma(time, bus, work[rows.FROM_CELLS + lane])
            work[rows.ON + lane] = fma(time, idle, work[rows.ON + lane])


@inner
def feed_with_sun(lanes: int, runs: int, work: NDArray[np.float64], export: bool, grid_charge: bool) -> None:
    """Run the parallel family in sun; `twin.parallel_powers` explains each line. ON sums the idle power.

    Two stretches of a run: while the cells have something to give (`time`), and after (`dry`). They are charged only
    where the sun alone covers the load, and then both stretches are alike.
    """
    lanes = min(lanes, LANES) & WHOLE
    for row in range(min(runs, rows.MOST_RUNS)):
        minutes = work[DURATIONS + row]
        loads = LOADS + row * LANES
        for lane in range(lanes):
            load = work[loads + lane]
            solar = work[rows.SOLAR + lane]
            above = work[rows.ABOVE + lane]
            carried, whole = _whole(lane, work, load)
            idle, to_load, served, ratio = _served(lane, work, carried, whole, solar + work[rows.GIVE_NOW + lane])
            idle_dry, to_load_dry, served_dry, ratio_dry = _served(lane, work, carried, whole, solar)
            bus = idle + to_load
            direct = solar if solar < bus else bus
            from_cells = bus - direct
            time = above / (from_cells + TINY)
            time = time if time < minutes else minutes
            dry = minutes - time
            direct_dry = idle_dry + to_load_dry
            above = fma(-time, from_cells, above)
            sun_to_load = direct - idle
            sun_to_load = (sun_to_load if sun_to_load > 0.0 else 0.0) * ratio
            work[rows.ABOVE + lane] = above if above > 0.0 else 0.0
            served_both = fma(time, served, dry * served_dry)
            work[rows.SLOT_LEFT + lane] += fma(load, minutes, -served_both)
            work[rows.DIRECT + lane] += fma(time, direct, dry * direct_dry)
            work[rows.FROM_CELLS + lane] = fma(time, from_cells, work[rows.FROM_CELLS + lane])
            work[rows.SUN_TO_LOAD + lane] += fma(time, sun_to_load, dry * (to_load_dry * ratio_dry))
            work[rows.ON + lane] += fma(time, idle, dry * idle_dry)
            work[rows.SERVED_NOW + lane] = served
            work[rows.IDLE_NOW + lane] = idle
            work[rows.SURPLUS_NOW + lane] = solar - direct
        if grid_charge:
            _charge_beside_sun(lanes, loads, minutes, work)
        else:
            _charge_from_sun(lanes, minutes, work)
        if export:
            _export_spare(lanes, minutes, work)


@inlined
def _charge_from_sun(lanes: int, minutes: float, work: NDArray[np.float64]) -> None:
    """Charge the cells with the surplus of one run until they are full."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        power = work[rows.SURPLUS_NOW + lane] * work[rows.TO_STORED + lane]
        limit = work[rows.CELLS_TODAY + lane]
        power = power if power < limit else limit
        above = work[rows.ABOVE + lane]
        charge = power * minutes
        room = work[rows.ROOM + lane] - above
        charge = charge if charge < room else room
        charge = charge if charge > 0.0 else 0.0
        work[rows.ABOVE + lane] = above + charge
        work[rows.SOLAR_TO_CELLS + lane] += charge
        work[rows.POWER_NOW + lane] = power
        work[rows.CHARGE_NOW + lane] = charge


@inlined
def _charge_beside_sun(lanes: int, loads: int, minutes: float, work: NDArray[np.float64]) -> None:
    """Charge the cells with the surplus of one run, and from the grid with what the loads leave free, up to the target."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        power = work[rows.SURPLUS_NOW + lane] * work[rows.TO_STORED + lane]
        limit = work[rows.CELLS_TODAY + lane]
        power = power if power < limit else limit
        on = work[rows.IDLE_NOW + lane] * work[rows.INVERSE_IDLE + lane]
        standby = fma(-on, work[rows.STANDBY_ON + lane], work[rows.STANDBY_ON + lane])
        free = work[rows.SOCKET + lane] - (work[loads + lane] - work[rows.SERVED_NOW + lane]) - standby
        above = work[rows.ABOVE + lane]
        charge, from_grid = _charge(lane, minutes, work, above, power, free)
        work[rows.ABOVE + lane] = above + (charge + from_grid)
        work[rows.SOLAR_TO_CELLS + lane] += charge
        work[rows.GRID_TO_CELLS + lane] += from_grid
        work[rows.POWER_NOW + lane] = power
        work[rows.CHARGE_NOW + lane] = charge


@inlined
def _export_spare(lanes: int, minutes: float, work: NDArray[np.float64]) -> None:
    """Feed the surplus that the cells do not take into the grid, while they charge and once they are full."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        power, surplus = work[rows.POWER_NOW + lane], work[rows.SURPLUS_NOW + lane]
        charging = work[rows.CHARGE_NOW + lane] / (power + TINY)
        charging = charging if charging < minutes else minutes
        spare = fma(-power, work[rows.INVERSE_TO_STORED + lane], surplus)
        spare = spare if spare > 0.0 else 0.0
        served = work[rows.SERVED_NOW + lane]
        room, room_bus = _room_on_grid(lane, work, served)
        beside, export_beside = _to_grid(lane, work, served, room, room_bus, spare)
        after, export_after = _to_grid(lane, work, served, room, room_bus, surplus)
        work[rows.EXPORT + lane] += fma(charging, export_beside, (minutes - charging) * export_after)
        work[rows.TO_GRID + lane] += fma(charging, beside, (minutes - charging) * after)


@inner
def feed_and_sell(lanes: int, runs: int, work: NDArray[np.float64]) -> None:  # noqa: PLR0915 - one run, in one loop
    """Run the parallel family, with sun or without, while stored energy is sold; `twin.parallel_powers` explains it.

    TARGET is what is kept from selling. A run has up to three stretches. Above what is kept, the cells serve and sell
    (`high`). Then, where the cells serve the load, they go on without selling until they are empty, and the sun alone is
    left. Where the sun covers the load, it charges the cells to what is kept (`low`); there the grid comes first and
    the cells take the rest.
    """
    lanes = min(lanes, LANES) & WHOLE
    for row in range(min(runs, rows.MOST_RUNS)):
        minutes = work[DURATIONS + row]
        loads = LOADS + row * LANES
        for lane in range(lanes):
            load = work[loads + lane]
            solar = work[rows.SOLAR + lane]
            give = work[rows.GIVE_NOW + lane]
            carried, whole = _whole(lane, work, load)
            idle, to_load, served, ratio = _served(lane, work, carried, whole, solar + give)
            bus = idle + to_load
            direct = solar if solar < bus else bus
            from_cells = bus - direct
            surplus = solar - direct
            further = give - from_cells
            room, room_bus = _room_on_grid(lane, work, served)
            to_grid, export = _to_grid(
                lane, work, served, room, room_bus, surplus + (further if further > 0.0 else 0.0)
            )
            sun_to_grid = surplus if surplus < to_grid else to_grid
            sold = to_grid - sun_to_grid
            kept = work[rows.TARGET + lane]
            kept = kept if kept > 0.0 else 0.0
            beyond = work[rows.ABOVE + lane] - kept
            beyond = beyond if beyond > 0.0 else 0.0
            high = beyond / ((from_cells + sold) + TINY)
            high = high if high < minutes else minutes
            work[rows.SERVED_NOW + lane] = served
            work[rows.SURPLUS_NOW + lane] = surplus
            work[rows.POWER_NOW + lane] = from_cells
            work[rows.HIGH_NOW + lane] = high
            work[rows.KEPT_NOW + lane] = kept
            work[rows.REST_NOW + lane] = (surplus - sun_to_grid) * work[rows.TO_STORED + lane]
            work[rows.ABOVE + lane] = fma(-high, from_cells + sold, work[rows.ABOVE + lane])
            work[rows.FROM_CELLS + lane] = fma(high, from_cells + sold, work[rows.FROM_CELLS + lane])
            work[rows.EXPORT + lane] = fma(high, export, work[rows.EXPORT + lane])
            work[rows.TO_GRID + lane] = fma(high, sun_to_grid, work[rows.TO_GRID + lane])
            # After that the cells serve for a while, then the sun alone.
            above = work[rows.ABOVE + lane]
            above = above if above > 0.0 else 0.0
            serving = above / (from_cells + TINY)
            serving = serving if serving < minutes - high else minutes - high
            serving += high
            idle_dry, to_load_dry, served_dry, ratio_dry = _served(lane, work, carried, whole, solar)
            dry = minutes - serving
            sun_to_load = direct - idle
            sun_to_load = (sun_to_load if sun_to_load > 0.0 else 0.0) * ratio
            served_both = fma(serving, served, dry * served_dry)
            work[rows.SLOT_LEFT + lane] += fma(load, minutes, -served_both)
            work[rows.DIRECT + lane] += fma(serving, direct, dry * (idle_dry + to_load_dry))
            work[rows.FROM_CELLS + lane] = fma(serving - high, from_cells, work[rows.FROM_CELLS + lane])
            work[rows.SUN_TO_LOAD + lane] += fma(serving, sun_to_load, dry * (to_load_dry * ratio_dry))
            work[rows.ON + lane] += fma(serving, idle, dry * idle_dry)
            above = fma(high - serving, from_cells, above)
            work[rows.ABOVE + lane] = above if above > 0.0 else 0.0
        _charge_and_export(lanes, minutes, work)


@inlined
def _charge_and_export(lanes: int, minutes: float, work: NDArray[np.float64]) -> None:
    """Let the surplus of one run charge the cells up to what is kept, then serve the grid, then the cells again."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        surplus, served = work[rows.SURPLUS_NOW + lane], work[rows.SERVED_NOW + lane]
        high, kept = work[rows.HIGH_NOW + lane], work[rows.KEPT_NOW + lane]
        to_stored = work[rows.TO_STORED + lane]
        limit = work[rows.CELLS_TODAY + lane]
        rest = work[rows.REST_NOW + lane]
        rest = rest if rest < limit else limit
        above = work[rows.ABOVE + lane]
        room_above = work[rows.ROOM + lane]
        # In the first stretch too the cells take what the grid does not; then nothing is sold.
        charged = rest * high
        room = room_above - above
        charged = charged if charged < room else room
        above += charged
        power = surplus * to_stored
        power = power if power < limit else limit
        missing = kept - above
        missing = missing if missing > 0.0 else 0.0
        left = minutes - high
        low = missing / (power + TINY)
        low = low if low < left else left
        above_low = fma(power, low, above)
        last = left - low
        further = rest * last
        room = room_above - above_low
        further = further if further < room else room
        further = further if further > 0.0 else 0.0
        spare = fma(-power, work[rows.INVERSE_TO_STORED + lane], surplus)
        spare = spare if spare > 0.0 else 0.0
        room_grid, room_bus = _room_on_grid(lane, work, served)
        beside, export_beside = _to_grid(lane, work, served, room_grid, room_bus, spare)
        after, export_after = _to_grid(lane, work, served, room_grid, room_bus, surplus)
        work[rows.ABOVE + lane] = above_low + further
        work[rows.SOLAR_TO_CELLS + lane] += charged + (fma(power, low, further))
        work[rows.EXPORT + lane] += fma(low, export_beside, last * export_after)
        work[rows.TO_GRID + lane] += fma(low, beside, last * after)
