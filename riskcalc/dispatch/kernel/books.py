"""What is booked: use of the battery and overload after every slot, flows by month and bills by rate after a stretch.

A *stretch* is a run of slots of one month, rate and weight. Every flow is a sum of its parts, so it is the same whether
slots are booked one by one or together. Off grid every slot is a stretch, since short slots are counted.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch.kernel import rows
from riskcalc.dispatch.kernel.rows import BILL_ROWS, FLOW_ROWS, LANES, WHOLE, fma
from riskcalc.dispatch.outcome import SHORT_SHARE
from riskcalc.dispatch.terms import Flow
from riskcalc.jit import inlined, inner

_DEMAND_REACHABLE, _DEMAND_WIRED = (rows.FLOWS + LANES * flow for flow in (Flow.DEMAND_REACHABLE, Flow.DEMAND_WIRED))
_PV_AVAILABLE, _PV_USED = (rows.FLOWS + LANES * flow for flow in (Flow.PV_AVAILABLE, Flow.PV_USED))
_PV_TO_LOAD, _BATTERY_TO_LOAD = (rows.FLOWS + LANES * flow for flow in (Flow.PV_TO_LOAD, Flow.BATTERY_TO_LOAD))
_GRID_TO_LOAD, _GRID_TO_BATTERY = (rows.FLOWS + LANES * flow for flow in (Flow.GRID_TO_LOAD, Flow.GRID_TO_BATTERY))
_GRID_IMPORT, _GRID_EXPORT = (rows.FLOWS + LANES * flow for flow in (Flow.GRID_IMPORT, Flow.GRID_EXPORT))
_CHARGE, _DISCHARGE = (rows.FLOWS + LANES * flow for flow in (Flow.BATTERY_CHARGE, Flow.BATTERY_DISCHARGE))
_LOSSES, _UNMET = (rows.FLOWS + LANES * flow for flow in (Flow.LOSSES, Flow.UNMET))
_BILL_DEMAND, _BILL_IMPORT, _BILL_EXPORT = rows.BILLS, rows.BILLS + LANES, rows.BILLS + 2 * LANES


@inner
def share_of_idle(lanes: int, minutes: float, work: NDArray[np.float64]) -> None:
    """Turn the sum of idle power in ON into minutes on; an inverter without idle draw counts as on in all `minutes`."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        on = fma(work[rows.ON + lane], work[rows.INVERSE_IDLE + lane], minutes * work[rows.ON_WITHOUT_IDLE + lane])
        work[rows.ON + lane] = on


@inner
def count_overload(lanes: int, runs: int, work: NDArray[np.float64], excess_only: float) -> None:
    """Count minutes whose load exceeds the rating and sum what the inverter refuses: whole load (0) or excess (1)."""
    lanes = min(lanes, LANES) & WHOLE
    for row in range(min(runs, rows.MOST_RUNS)):
        minutes = work[rows.DURATIONS + row]
        loads = rows.LOADS + row * LANES
        for lane in range(lanes):
            load = work[loads + lane]
            refused = load - excess_only * work[rows.RATING + lane]
            over = load > work[rows.RATING_SLACK + lane]
            work[rows.OVERLOAD_MINUTES + lane] += minutes if over else 0.0
            work[rows.OVERLOAD_ENERGY + lane] += refused * minutes if over else 0.0


@inner
def change_month(lanes: int, work: NDArray[np.float64], before: int, month: int) -> None:
    """Put the books of the month that ran away, and take those of the one that begins; -1 stands for none."""
    lanes = min(lanes, LANES) & WHOLE
    for flow in range(FLOW_ROWS):
        here = rows.THIS_MONTH + flow * LANES
        if before >= 0:
            away = rows.MONTHLY + (12 * flow + before) * LANES
            for lane in range(lanes):
                work[away + lane] = work[here + lane]
        if month >= 0:
            begins = rows.MONTHLY + (12 * flow + month) * LANES
            for lane in range(lanes):
                work[here + lane] = work[begins + lane]


@inner
def close_stretch(
    lanes: int, minutes: float, work: NDArray[np.float64], rate: int, kwh: float, billing: float, off_grid: bool
) -> None:
    """Turn the stretch's sums into flows and book them in this month (times `kwh`) and by rate (times `billing`)."""
    _settle_flows(lanes, minutes, work)
    if off_grid:
        _settle_off_grid(lanes, work)
    lanes = min(lanes, LANES) & WHOLE
    for flow in range(FLOW_ROWS):
        book = rows.THIS_MONTH + flow * LANES
        for lane in range(lanes):
            work[book + lane] = fma(work[rows.FLOWS + flow * LANES + lane], kwh, work[book + lane])
    for bill in range(BILL_ROWS):
        book = rows.BILLED + (BILL_ROWS * rate + bill) * LANES
        for lane in range(lanes):
            work[book + lane] = fma(work[rows.BILLS + bill * LANES + lane], billing, work[book + lane])


@inlined
def close_slot(lanes: int, work: NDArray[np.float64]) -> None:
    """Book what is stored at the end of a slot, and what of its demand is left."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        stored = work[rows.BASE + lane] + work[rows.ABOVE + lane]
        work[rows.STORED + lane] = stored
        share = stored * work[rows.INVERSE_CAPACITY + lane]
        work[rows.SHARE_SUM + lane] += share
        lowest, highest = work[rows.LOWEST + lane], work[rows.HIGHEST + lane]
        work[rows.LOWEST + lane] = share if share < lowest else lowest
        work[rows.HIGHEST + lane] = share if share > highest else highest
        # Both are sums, in different order: a trace of rounding must not look like energy served, nor depend on whether
        # a neighbour's cells made the loops run.
        demand, left = work[rows.SLOT_DEMAND + lane], work[rows.SLOT_LEFT + lane]
        work[rows.LEFT + lane] += left if demand - left > 1e-12 * demand else demand
        # Here and not before the runs: a loop of nothing but zeros cost a third more.
        work[rows.SLOT_LEFT + lane] = 0.0


@inner
def _settle_flows(lanes: int, minutes: float, work: NDArray[np.float64]) -> None:
    """Set FLOWS and BILLS of the stretch of so many minutes, in W times minutes, from its sums."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        demand = work[rows.DEMAND + lane]
        wired = work[rows.WIRED + lane]
        left = work[rows.LEFT + lane]
        served = demand - left
        sun_to_load = work[rows.SUN_TO_LOAD + lane]
        sun_to_load = sun_to_load if sun_to_load < served else served
        direct = work[rows.DIRECT + lane]
        from_cells = work[rows.FROM_CELLS + lane]
        discharge = from_cells * work[rows.INVERSE_DISCHARGE + lane]
        solar_charge = work[rows.SOLAR_TO_CELLS + lane] * work[rows.INVERSE_DISCHARGE + lane]
        solar_charge_bus = work[rows.SOLAR_TO_CELLS + lane] * work[rows.INVERSE_TO_STORED + lane]
        grid_charge = work[rows.GRID_TO_CELLS + lane] * work[rows.INVERSE_DISCHARGE + lane]
        charger = work[rows.GRID_TO_CELLS + lane] * work[rows.INVERSE_CHARGER_TO_STORED + lane]
        to_grid = work[rows.TO_GRID + lane]
        export = work[rows.EXPORT + lane]
        on = work[rows.ON + lane]
        standby = work[rows.STANDBY + lane] * (minutes - on)
        solar_bus = direct + solar_charge_bus + to_grid
        pv_used = solar_bus * work[rows.INVERSE_SOLAR + lane]
        # One bracket per conversion: what goes in less what comes out.
        losses = (
            (pv_used - solar_bus)
            + (solar_charge_bus - solar_charge)
            + (discharge - from_cells)
            + (direct + from_cells - served)
            + (to_grid - export)
            + (charger - grid_charge)
            + standby
        )
        bought = left + wired + (standby + charger)
        work[rows.ON_SUM + lane] += on
        work[_DEMAND_REACHABLE + lane] = demand
        work[_DEMAND_WIRED + lane] = wired
        work[_PV_AVAILABLE + lane] = work[rows.SOLAR_SUM + lane]
        work[_PV_USED + lane] = pv_used
        work[_PV_TO_LOAD + lane] = sun_to_load
        work[_BATTERY_TO_LOAD + lane] = served - sun_to_load
        work[_GRID_TO_LOAD + lane] = left
        work[_GRID_TO_BATTERY + lane] = charger
        work[_GRID_IMPORT + lane] = bought
        work[_GRID_EXPORT + lane] = export
        work[_CHARGE + lane] = solar_charge + grid_charge
        work[_DISCHARGE + lane] = discharge
        work[_LOSSES + lane] = losses
        work[_UNMET + lane] = 0.0
        work[_BILL_DEMAND + lane] = demand + wired
        work[_BILL_IMPORT + lane] = bought
        work[_BILL_EXPORT + lane] = export


@inner
def _settle_off_grid(lanes: int, work: NDArray[np.float64]) -> None:
    """Without a supply, what would be bought is unmet; it stays on the bill as energy to be had from elsewhere.

    A slot counts as short when more than a millionth of the demand within reach is not served.
    """
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        short = work[_GRID_TO_LOAD + lane] > SHORT_SHARE * work[_DEMAND_REACHABLE + lane]
        work[rows.SHORT_SLOTS + lane] += 1.0 if short else 0.0
        work[rows.SHORT_TODAY + lane] = 1.0 if short else work[rows.SHORT_TODAY + lane]
        work[_UNMET + lane] = work[_GRID_IMPORT + lane]
        work[_GRID_IMPORT + lane] = 0.0
        work[_GRID_TO_LOAD + lane] = 0.0


@inner
def close_year(lanes: int, work: NDArray[np.float64], days: int, slots: int) -> None:
    """Turn the year's sums of stored share and daily swing into means."""
    lanes = min(lanes, LANES) & WHOLE
    for lane in range(lanes):
        swing = work[rows.SWING_SUM + lane] + (work[rows.HIGHEST + lane] - work[rows.LOWEST + lane])
        work[rows.SWING_SUM + lane] = swing / days
        work[rows.SHARE_SUM + lane] /= slots
        work[rows.SHORT_DAYS + lane] += work[rows.SHORT_TODAY + lane]
