"""The dispatch equations, step by step and branch by branch: the definition that the fast kernels must meet.

Two families. In the *transfer* family (sockets, off grid) loads hang on the unit: a relay hands the whole load
either to the inverter or to the grid's bypass. In the *parallel* family (plug-in, whole home) inverter and grid
feed the same wires and the grid fills what the inverter leaves.

Powers in W, mean over the step; stored energy in Wh at the cells. The functions run as plain Python and inside numba.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

from numba.extending import register_jitable

#: Room for rounding in the two comparisons "does the inverter carry this load?".
SLACK = 1.0 + 1e-9


class StepKit(NamedTuple):
    """One draw's kit; the figures of `Param`, without the demand scales."""

    capacity_wh: float
    floor_wh: float
    charge_w: float
    discharge_w: float
    charge_efficiency: float
    discharge_efficiency: float
    solar_efficiency: float
    inverter_rating_w: float
    idle_w: float
    standby_w: float
    loss_linear: float
    loss_quadratic: float
    charger_w: float
    charger_efficiency: float
    socket_limit_w: float
    export_limit_w: float


class StepSetting(NamedTuple):
    """What the slot and the day say about a step."""

    hours: float
    off_grid: bool
    inverter_on: bool
    discharge_on: bool
    grid_charge_on: bool
    charge_allowed: float
    target_share: float
    export_stored_on: bool
    export_stored_above_share: float


class StepFlows(NamedTuple):
    """Mean powers over a step [W], the share of the step the inverter was on, and the stored energy at its end [Wh]."""

    pv_used: float
    pv_to_load: float
    battery_to_load: float
    grid_to_load: float
    grid_to_battery: float
    grid_import: float
    grid_export: float
    battery_charge: float
    battery_discharge: float
    losses: float
    unmet: float
    overload: float
    on_share: float
    stored_wh: float


@register_jitable
def bus_power_w(kit: StepKit, load_w: float) -> float:
    """Return the DC power that carries an AC load: idle + a L + b L^2 [W]; with no load, the idle draw."""
    return kit.idle_w + load_w * (kit.loss_linear + kit.loss_quadratic * load_w)


@register_jitable
def part_load_w(kit: StepKit, power_w: float, most_w: float, carried_w: float) -> float:
    """Return the further AC power that `power_w` of DC gives an inverter that carries `carried_w`, at most `most_w`.

    The exact answer solves a y + b ((carried + y)^2 - carried^2) = power. We divide by the chord's slope at a
    first guess y0 = power / a instead, which errs by at most (b y / a)^2 relative, is exact at `most_w` and
    needs no square root.
    """
    guess = min(most_w, power_w / kit.loss_linear)
    return power_w / (kit.loss_linear + kit.loss_quadratic * (2.0 * carried_w + guess))


@register_jitable
def load_for_bus_w(kit: StepKit, bus_w: float) -> float:
    """Return the AC load that `bus_w` of DC carries, the inverse of `bus_power_w`; 0 below the idle draw."""
    power = bus_w - kit.idle_w
    if power <= 0.0:
        return 0.0
    return 2.0 * power / (kit.loss_linear + sqrt(kit.loss_linear**2 + 4.0 * kit.loss_quadratic * power))


@register_jitable
def to_grid_w(kit: StepKit, served_w: float, offered_w: float) -> tuple[float, float]:
    """Return what of `offered_w` of DC goes to the grid beside loads of `served_w`, and what arrives there [W]."""
    room = min(kit.inverter_rating_w - served_w, kit.export_limit_w)
    room_bus = room * (kit.loss_linear + kit.loss_quadratic * (2.0 * served_w + room))
    if room <= 0.0 or offered_w <= 0.0:
        return 0.0, 0.0
    if offered_w >= room_bus:
        return room_bus, room
    return offered_w, part_load_w(kit, offered_w, room, served_w)


@register_jitable
def grid_charge_w(kit: StepKit, setting: StepSetting, stored_wh: float, cells_w: float, supply_w: float) -> float:
    """Return what reaches the cells from the grid [W] when `cells_w` already do and the supply carries `supply_w`."""
    if not setting.grid_charge_on or setting.off_grid or setting.charge_allowed == 0.0:
        return 0.0
    at_socket = min(kit.charger_w, max(kit.socket_limit_w - supply_w, 0.0))
    to_target = (setting.target_share * kit.capacity_wh - stored_wh) / setting.hours
    to_cells = min(at_socket * kit.charger_efficiency * kit.charge_efficiency, kit.charge_w - cells_w, to_target)
    return max(to_cells, 0.0)


@register_jitable
def transfer_step(
    kit: StepKit, setting: StepSetting, floor_wh: float, stored_wh: float, load_w: float, input_w: float
) -> StepFlows:
    """Return the flows of one step of a unit whose loads hang on it (sockets, off grid).

    `input_w` is the solar power that the inputs let in, `load_w` the reachable demand.
    """
    solar = input_w * kit.solar_efficiency
    cells_limit = kit.charge_w * setting.charge_allowed
    cells_can_give = kit.discharge_w * kit.discharge_efficiency

    # 1. May the inverter take the load, and how much of it?
    carries = setting.inverter_on and setting.discharge_on
    carried = load_w
    overload = 0.0
    if setting.off_grid:
        # Without a supply the user sheds what the inverter, or sun and cells together, cannot give.
        if load_w > kit.inverter_rating_w * SLACK:
            overload = load_w - kit.inverter_rating_w
        # The hair of slack keeps rounding from asking the cells for what the sun alone can carry.
        most_bus = (solar + cells_can_give) / SLACK
        carried = min(load_w, kit.inverter_rating_w, load_for_bus_w(kit, most_bus))
        carries = carries and most_bus >= kit.idle_w
    else:
        if load_w > kit.inverter_rating_w * SLACK:
            overload = load_w
            carries = False
        if setting.grid_charge_on:
            carries = False

    # 2. While on, the bus gives `bus`; what the sun does not give comes from the cells.
    bus = bus_power_w(kit, carried)
    direct = min(solar, bus)
    from_cells_on = bus - direct
    if not setting.off_grid and from_cells_on > cells_can_give * SLACK:
        carries = False

    # 3. For which share of the step can it be on? While off, the sun refills the cells and buys further time.
    cells_w_off = min(solar * kit.charge_efficiency, cells_limit)
    if not carries:
        on_share = 0.0
    elif from_cells_on == 0.0:
        on_share = 1.0
    else:
        kept = max(stored_wh - floor_wh, 0.0) / setting.hours * kit.discharge_efficiency
        refill = cells_w_off * kit.discharge_efficiency
        on_share = min(1.0, (kept + refill) / (from_cells_on + refill))

    # 4. Flows of the whole step.
    from_cells = on_share * from_cells_on / kit.discharge_efficiency
    after = stored_wh - from_cells * setting.hours
    surplus = (solar - on_share * direct) * kit.charge_efficiency
    solar_to_cells = min(surplus, cells_limit, max(kit.capacity_wh - after, 0.0) / setting.hours)
    after += solar_to_cells * setting.hours
    served = on_share * carried
    share_from_sun = 0.0 if bus == 0.0 else direct / bus
    pv_to_load = served * share_from_sun
    solar_used = (on_share * direct + solar_to_cells / kit.charge_efficiency) / kit.solar_efficiency

    # 5. What the unit does not carry.
    left = load_w - served
    standby = 0.0 if setting.off_grid else kit.standby_w * (1.0 - on_share)
    grid_to_cells = grid_charge_w(kit, setting, after, solar_to_cells, left + standby)
    charger = grid_to_cells / (kit.charger_efficiency * kit.charge_efficiency)
    losses = (
        solar_used * (1.0 - kit.solar_efficiency)
        + solar_to_cells * (1.0 / kit.charge_efficiency - 1.0)
        + from_cells * (1.0 - kit.discharge_efficiency)
        + on_share * (kit.idle_w + carried * (kit.loss_linear - 1.0 + kit.loss_quadratic * carried))
        + (charger - grid_to_cells)
        + standby
    )
    return StepFlows(
        pv_used=solar_used,
        pv_to_load=pv_to_load,
        battery_to_load=served - pv_to_load,
        grid_to_load=0.0 if setting.off_grid else left,
        grid_to_battery=charger,
        grid_import=0.0 if setting.off_grid else left + standby + charger,
        grid_export=0.0,
        battery_charge=solar_to_cells + grid_to_cells,
        battery_discharge=from_cells,
        losses=losses,
        unmet=left if setting.off_grid else 0.0,
        overload=overload,
        on_share=on_share,
        stored_wh=min(max(after + grid_to_cells * setting.hours, 0.0), kit.capacity_wh),
    )


@register_jitable
def parallel_step(
    kit: StepKit, setting: StepSetting, floor_wh: float, stored_wh: float, load_w: float, input_w: float
) -> StepFlows:
    """Return the flows of one step of a unit that feeds the same wires as the grid (plug-in, whole home)."""
    solar = input_w * kit.solar_efficiency
    cells_limit = kit.charge_w * setting.charge_allowed
    carried = min(load_w, kit.inverter_rating_w)
    overload = load_w - kit.inverter_rating_w if load_w > kit.inverter_rating_w * SLACK else 0.0

    # 1. What the bus has: sun, and cells where the plan lets them serve loads.
    kept = 0.0
    if setting.discharge_on and not setting.grid_charge_on:
        kept = min(kit.discharge_w, max(stored_wh - floor_wh, 0.0) / setting.hours) * kit.discharge_efficiency
    available = solar + kept if setting.inverter_on else 0.0

    # 2. The inverter feeds itself first, then the load.
    idle = min(kit.idle_w, available)
    on_share = 1.0 if setting.inverter_on else 0.0
    if kit.idle_w > 0.0:
        on_share = idle / kit.idle_w
    whole = carried * (kit.loss_linear + kit.loss_quadratic * carried)
    if available - idle >= whole:
        to_load, served = whole, carried
    else:
        to_load = available - idle
        served = part_load_w(kit, to_load, carried, 0.0)

    # 3. Sun first, cells for the rest.
    bus = idle + to_load
    direct = min(solar, bus)
    from_cells = (bus - direct) / kit.discharge_efficiency
    after = stored_wh - from_cells * setting.hours
    sun_to_load = min(max(solar - idle, 0.0), to_load)
    pv_to_load = 0.0 if to_load == 0.0 else served * sun_to_load / to_load

    # 4. Surplus sun goes to the cells, then to the grid. Where stored energy is sold, only what is to be kept comes
    # before the grid; there the cells add what they hold beyond it, and sun that is left over charges them after all.
    surplus = solar - direct
    sells = (
        (setting.export_stored_on and kit.export_limit_w > 0.0)
        and (setting.inverter_on and setting.discharge_on)
        and not setting.grid_charge_on
    )
    kept_wh = max(setting.export_stored_above_share * kit.capacity_wh, floor_wh) if sells else kit.capacity_wh
    solar_to_cells = min(surplus * kit.charge_efficiency, cells_limit, max(kept_wh - after, 0.0) / setting.hours)
    surplus = max(surplus - solar_to_cells / kit.charge_efficiency, 0.0)
    spare_w = 0.0
    if sells:
        further_w = kit.discharge_w * kit.discharge_efficiency - (bus - direct)
        spare_w = max(min((after - kept_wh) / setting.hours * kit.discharge_efficiency, further_w), 0.0)
    to_grid, export = to_grid_w(kit, served, surplus + spare_w if setting.inverter_on else 0.0)
    sun_to_grid = min(surplus, to_grid)
    sold = (to_grid - sun_to_grid) / kit.discharge_efficiency
    from_cells += sold
    after += (solar_to_cells - sold) * setting.hours
    if sells:
        rest = min((surplus - sun_to_grid) * kit.charge_efficiency, cells_limit - solar_to_cells)
        rest = max(min(rest, (kit.capacity_wh - after) / setting.hours), 0.0)
        solar_to_cells += rest
        after += rest * setting.hours
    solar_used = (direct + solar_to_cells / kit.charge_efficiency + sun_to_grid) / kit.solar_efficiency

    # 5. The grid fills the rest.
    left = load_w - served
    standby = kit.standby_w * (1.0 - on_share)
    grid_to_cells = grid_charge_w(kit, setting, after, solar_to_cells, left + standby)
    charger = grid_to_cells / (kit.charger_efficiency * kit.charge_efficiency)
    losses = (
        solar_used * (1.0 - kit.solar_efficiency)
        + solar_to_cells * (1.0 / kit.charge_efficiency - 1.0)
        + from_cells * (1.0 - kit.discharge_efficiency)
        + idle
        + (to_load - served)
        + (to_grid - export)
        + (charger - grid_to_cells)
        + standby
    )
    return StepFlows(
        pv_used=solar_used,
        pv_to_load=pv_to_load,
        battery_to_load=served - pv_to_load,
        grid_to_load=left,
        grid_to_battery=charger,
        grid_import=left + standby + charger,
        grid_export=export,
        battery_charge=solar_to_cells + grid_to_cells,
        battery_discharge=from_cells,
        losses=losses,
        unmet=0.0,
        overload=overload,
        on_share=on_share,
        stored_wh=min(max(after + grid_to_cells * setting.hours, 0.0), kit.capacity_wh),
    )
