"""Names of the energy flows that dispatch books."""

from __future__ import annotations

from enum import IntEnum


class Flow(IntEnum):
    """Rows of `monthly_kwh`: what flowed in a month, in kWh.

    Grid figures and figures "to load" are AC at the sockets; solar figures are at the unit's solar input;
    battery figures are at the cells. GRID_IMPORT holds GRID_TO_LOAD, DEMAND_WIRED, GRID_TO_BATTERY and standby.
    Every step closes: PV_USED + GRID_IMPORT + BATTERY_DISCHARGE + UNMET
    = DEMAND_REACHABLE + DEMAND_WIRED + GRID_EXPORT + BATTERY_CHARGE + LOSSES.
    """

    DEMAND_REACHABLE = 0
    DEMAND_WIRED = 1
    PV_AVAILABLE = 2
    PV_USED = 3
    PV_TO_LOAD = 4
    BATTERY_TO_LOAD = 5
    GRID_TO_LOAD = 6
    GRID_TO_BATTERY = 7
    GRID_IMPORT = 8
    GRID_EXPORT = 9
    BATTERY_CHARGE = 10
    BATTERY_DISCHARGE = 11
    LOSSES = 12
    UNMET = 13


class Billed(IntEnum):
    """First axis of `billed_kwh`: what is billed at each rate, in kWh times the slot's rate weight."""

    DEMAND = 0
    IMPORT = 1
    EXPORT = 2


FLOW_NAMES = tuple(flow.name.lower() for flow in Flow)
