"""Lane loops over the runs of a slot for a unit that feeds the same wires as the grid (plug-in, whole home).

As in `loops`, what happens within a run is known in closed form; `riskcalc.dispatch.twin` says the same moment by moment.
Below the floor of the cells (ABOVE is negative) they give nothing, and charging goes on as above it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch.kernel import rows
from riskcalc.dispatch.kernel.loops import charge_both
from riskcalc.dispatch.kernel.rows import DURATIONS, LANES, LOADS, TINY, WHOLE, fma
from riskcalc.jit import inlined, inner


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
def feed_from_cells(lanes: int, runs: int, work: NDArray[np.float64], lag: float | None) -> None:
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
            lowest = above if above < 0.0 else 0.0
            time = (above - lowest) / (bus + TINY)
            time = time if time < minutes else minutes
            above = fma(-time, bus, above)
            work[rows.ABOVE + lane] = above if above > lowest else lowest
            work[rows.SLOT_LEFT + lane] += fma(-time, served, load * minutes)
            work[rows.FROM_CELLS + lane] = fma(time, bus, work[rows.FROM_CELLS + lane])
            work[rows.ON + lane] = fma(time, idle, work[rows.ON + lane])
            if lag is not None:
                work[rows.SERVED_FIRST + lane] = (time if time < lag else lag) * served
                work[rows.SUN_FIRST + lane] = 0.0
                work[rows.EXPORT_LAST + lane] = 0.0
        if lag is not None:
            _follow_late(lanes, loads, lag, work)


@inner
def feed_with_sun(
    lanes: int, runs: int, work: NDArray[np.float64], export: bool, grid_charge: bool, lag: float | None
) -> None:
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
            lowest = above if above < 0.0 else 0.0
            time = (above - lowest) / (from_cells + TINY)
            time = time if time < minutes else minutes
            dry = minutes - time
            direct_dry = idle_dry + to_load_dry
            above = fma(-time, from_cells, above)
            sun_to_load = direct - idle
            sun_to_load = (sun_to_load if sun_to_load > 0.0 else 0.0) * ratio
            work[rows.ABOVE + lane] = above if above > lowest else lowest
            served_both = fma(time, served, dry * served_dry)
            work[rows.SLOT_LEFT + lane] += fma(load, minutes, -served_both)
            work[rows.DIRECT + lane] += fma(time, direct, dry * direct_dry)
            work[rows.FROM_CELLS + lane] = fma(time, from_cells, work[rows.FROM_CELLS + lane])
            work[rows.SUN_TO_LOAD + lane] += fma(time, sun_to_load, dry * (to_load_dry * ratio_dry))
            work[rows.ON + lane] += fma(time, idle, dry * idle_dry)
            work[rows.SERVED_NOW + lane] = served
            work[rows.IDLE_NOW + lane] = idle
            work[rows.SURPLUS_NOW + lane] = solar - direct
            if lag is not None:
                first = time if time < lag else lag
                work[rows.SERVED_FIRST + lane] = fma(first, served, (lag - first) * served_dry)
                work[rows.SUN_FIRST + lane] = fma(first, sun_to_load, (lag - first) * (to_load_dry * ratio_dry))
                work[rows.EXPORT_LAST + lane] = 0.0
        if grid_charge:
            _charge_beside_sun(lanes, loads, minutes, work)
        else:
            _charge_from_sun(lanes, minutes, work)
        if export:
            _export_spare(lanes, minutes, work, lag)
        if lag is not None:
            _follow_late(lanes, loads, lag, work)


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
        charge, from_grid = charge_both(lane, minutes, work, above, power, free)
        work[rows.ABOVE + lane] = above + (charge + from_grid)
        work[rows.SOLAR_TO_CELLS + lane] += charge
        work[rows.GRID_TO_CELLS + lane] += from_grid
        work[rows.POWER_NOW + lane] = power
        work[rows.CHARGE_NOW + lane] = charge


@inlined
def _export_spare(lanes: int, minutes: float, work: NDArray[np.float64], lag: float | None) -> None:
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
        if lag is not None:
            last = charging - (minutes - lag)
            last = last if last > 0.0 else 0.0
            work[rows.EXPORT_LAST + lane] = fma(last, export_beside, (lag - last) * export_after) / lag


@inlined
def _follow_late(lanes: int, loads: int, lag: float, work: NDArray[np.float64]) -> None:
    """Let the grid serve what a rising load asks for `lag` minutes before the unit gives it; see `trace.follow_late`."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        load = work[loads + lane]
        rating = work[rows.OUTPUT + lane]
        carried = load if load < rating else rating
        first = work[rows.SERVED_FIRST + lane]
        missed = first - (work[rows.FOLLOWED + lane] + work[rows.EXPORT_BEFORE + lane]) * lag
        missed = missed if missed > 0.0 else 0.0
        most = work[rows.EXPORT_MOST + lane] * lag
        work[rows.SLOT_LEFT + lane] += missed
        work[rows.EXPORT + lane] += missed if missed < most else most
        share = missed / (first + TINY)
        work[rows.SUN_TO_LOAD + lane] = fma(-share, work[rows.SUN_FIRST + lane], work[rows.SUN_TO_LOAD + lane])
        work[rows.FOLLOWED + lane] = carried
        work[rows.EXPORT_BEFORE + lane] = work[rows.EXPORT_LAST + lane]


@inner
def remember_load(lanes: int, runs: int, work: NDArray[np.float64]) -> None:
    """Keep the last load of runs in which the output does not follow the load."""
    lanes = min(lanes, LANES) & WHOLE
    loads = rows.LOADS + (min(runs, rows.MOST_RUNS) - 1) * LANES
    for lane in range(lanes):
        load = work[loads + lane]
        rating = work[rows.OUTPUT + lane]
        work[rows.FOLLOWED + lane] = load if load < rating else rating
        work[rows.EXPORT_BEFORE + lane] = 0.0


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
            lowest = above if above < 0.0 else 0.0
            above -= lowest
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
            work[rows.ABOVE + lane] = (above if above > 0.0 else 0.0) + lowest
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
