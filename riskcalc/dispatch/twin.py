"""The dispatch equations, moment by moment and branch by branch: the definition that the fast kernels must meet.

Two families. In the *transfer* family (sockets, off grid) loads hang on the unit: a relay hands the whole load
either to the inverter or to the grid's bypass. In the *parallel* family (plug-in, whole home) inverter and grid
feed the same wires and the grid fills what the inverter leaves.

`transfer_powers` and `parallel_powers` say what flows at a moment; `run_step` strings moments together. Powers in W,
stored energy in Wh at the cells. The functions run as plain Python and inside numba.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

from riskcalc.jit import either_way

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
    output_share: float = 1.0


class StepFlows(NamedTuple):
    """Powers [W], the share of the time that the inverter is on, and the stored energy at the end [Wh].

    Of a step they are means; at a moment `stored_wh` is its change in an hour.
    """

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


class Cells(NamedTuple):
    """Where the stored energy stands at a moment: what of it decides the flows."""

    below_floor: bool
    above_floor: bool
    above_kept: bool
    below_kept: bool
    below_target: bool
    below_capacity: bool


@either_way
def bus_power_w(kit: StepKit, load_w: float) -> float:
    """Return the DC power that carries an AC load: idle + a L + b L^2 [W]; with no load, the idle draw."""
    return kit.idle_w + load_w * (kit.loss_linear + kit.loss_quadratic * load_w)


@either_way
def part_load_w(kit: StepKit, power_w: float, most_w: float, carried_w: float) -> float:
    """Return the further AC power that `power_w` of DC gives an inverter that carries `carried_w`, at most `most_w`.

    The exact answer solves a y + b ((carried + y)^2 - carried^2) = power. We divide by the chord's slope at a
    first guess y0 = power / a instead, which errs by at most (b y / a)^2 relative, is exact at `most_w` and
    needs no square root.
    """
    guess = min(most_w, power_w / kit.loss_linear)
    return power_w / (kit.loss_linear + kit.loss_quadratic * (2.0 * carried_w + guess))


@either_way
def load_for_bus_w(kit: StepKit, bus_w: float) -> float:
    """Return the AC load that `bus_w` of DC carries, the inverse of `bus_power_w`; 0 below the idle draw."""
    power = bus_w - kit.idle_w
    if power <= 0.0:
        return 0.0
    return 2.0 * power / (kit.loss_linear + sqrt(kit.loss_linear**2 + 4.0 * kit.loss_quadratic * power))


@either_way
def to_grid_w(kit: StepKit, rating_w: float, served_w: float, offered_w: float) -> tuple[float, float]:
    """Return what of `offered_w` of DC goes to the grid beside loads of `served_w`, and what arrives there [W]."""
    room = min(rating_w - served_w, kit.export_limit_w)
    room_bus = room * (kit.loss_linear + kit.loss_quadratic * (2.0 * served_w + room))
    if room <= 0.0 or offered_w <= 0.0:
        return 0.0, 0.0
    if offered_w >= room_bus:
        return room_bus, room
    return offered_w, part_load_w(kit, offered_w, room, served_w)


@either_way
def grid_charge_w(kit: StepKit, setting: StepSetting, below_target: bool, cells_w: float, supply_w: float) -> float:
    """Return what reaches the cells from the grid [W] when `cells_w` already do and the supply carries `supply_w`."""
    if not setting.grid_charge_on or setting.off_grid or setting.charge_allowed == 0.0 or not below_target:
        return 0.0
    at_socket = min(kit.charger_w, max(kit.socket_limit_w - supply_w, 0.0))
    return max(min(at_socket * kit.charger_efficiency * kit.charge_efficiency, kit.charge_w - cells_w), 0.0)


@either_way
def transfer_powers(kit: StepKit, setting: StepSetting, cells: Cells, load_w: float, input_w: float) -> StepFlows:
    """Return the flows at a moment of a unit whose loads hang on it (sockets, off grid).

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
    # Below the floor the cells give nothing, so the sun must carry the load alone.
    if cells.below_floor and from_cells_on > 0.0:
        carries = False

    # 3. On, off, or on empty cells by turns: while off, the sun refills them for the next turn.
    refill = min(solar * kit.charge_efficiency, cells_limit)
    by_turns = carries and from_cells_on > 0.0 and not cells.above_floor
    if not carries:
        on_share = 0.0
    elif not by_turns:
        on_share = 1.0
    else:
        on_share = refill * kit.discharge_efficiency / (from_cells_on + refill * kit.discharge_efficiency)

    # 4. Sun beyond the load charges the cells, whether the unit is on or off.
    from_cells = on_share * from_cells_on / kit.discharge_efficiency
    charge_on = min((solar - direct) * kit.charge_efficiency, cells_limit)
    solar_to_cells = on_share * charge_on + (1.0 - on_share) * refill if cells.below_capacity or by_turns else 0.0
    served = on_share * carried
    share_from_sun = 0.0 if bus == 0.0 else direct / bus
    pv_to_load = served * share_from_sun
    solar_used = (on_share * direct + solar_to_cells / kit.charge_efficiency) / kit.solar_efficiency

    # 5. What the unit does not carry.
    left = load_w - served
    standby = 0.0 if setting.off_grid else kit.standby_w * (1.0 - on_share)
    grid_to_cells = grid_charge_w(kit, setting, cells.below_target, solar_to_cells, left + standby)
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
        stored_wh=solar_to_cells + grid_to_cells - from_cells,
    )


@either_way
def sells_stored(kit: StepKit, setting: StepSetting) -> bool:
    """Return whether stored energy may be exported in a step of the parallel family."""
    return (
        (setting.export_stored_on and kit.export_limit_w > 0.0)
        and (setting.inverter_on and setting.discharge_on)
        and not setting.grid_charge_on
    )


@either_way
def parallel_powers(kit: StepKit, setting: StepSetting, cells: Cells, load_w: float, input_w: float) -> StepFlows:
    """Return the flows at a moment of a unit that feeds the same wires as the grid (plug-in, whole home)."""
    solar = input_w * kit.solar_efficiency
    cells_limit = kit.charge_w * setting.charge_allowed if cells.below_capacity else 0.0
    rating = kit.inverter_rating_w * setting.output_share
    carried = min(load_w, rating)
    overload = load_w - kit.inverter_rating_w if load_w > kit.inverter_rating_w * SLACK else 0.0

    # 1. What the bus has: sun, and cells where the plan lets them serve loads.
    cells_can_give = 0.0
    if setting.discharge_on and not setting.grid_charge_on and cells.above_floor:
        cells_can_give = kit.discharge_w * kit.discharge_efficiency
    available = solar + cells_can_give if setting.inverter_on else 0.0

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
    from_cells_bus = bus - direct
    sun_to_load = min(max(solar - idle, 0.0), to_load)
    pv_to_load = 0.0 if to_load == 0.0 else served * sun_to_load / to_load

    # 4. Surplus sun goes to the cells, then to the grid. Where stored energy is sold, only what is to be kept comes
    # before the grid; there the cells add what they hold beyond it, and sun that is left over charges them after all.
    surplus = solar - direct
    sells = sells_stored(kit, setting)
    solar_to_cells = min(surplus * kit.charge_efficiency, cells_limit) if not sells or cells.below_kept else 0.0
    spare = max(surplus - solar_to_cells / kit.charge_efficiency, 0.0)
    further = max(cells_can_give - from_cells_bus, 0.0) if sells and cells.above_kept else 0.0
    to_grid, export = to_grid_w(kit, rating, served, spare + further if setting.inverter_on else 0.0)
    sun_to_grid = min(spare, to_grid)
    from_cells = (from_cells_bus + to_grid - sun_to_grid) / kit.discharge_efficiency
    if sells:
        solar_to_cells += min((spare - sun_to_grid) * kit.charge_efficiency, cells_limit - solar_to_cells)
    solar_used = (direct + solar_to_cells / kit.charge_efficiency + sun_to_grid) / kit.solar_efficiency

    # 5. The grid fills the rest.
    left = load_w - served
    standby = kit.standby_w * (1.0 - on_share)
    grid_to_cells = grid_charge_w(kit, setting, cells.below_target, solar_to_cells, left + standby)
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
        stored_wh=solar_to_cells + grid_to_cells - from_cells,
    )


@either_way
def _next_level(
    kit: StepKit, setting: StepSetting, floor_wh: float, kept_wh: float, stored: float, rate: float
) -> float:
    """Return the next level of stored energy at which the flows change, on the way that it moves."""
    if rate < 0.0:
        return kept_wh if kept_wh < stored else floor_wh
    level = kit.capacity_wh
    target = setting.target_share * kit.capacity_wh
    if setting.grid_charge_on and stored < target:
        level = min(level, target)
    return min(level, kept_wh) if stored < kept_wh else level


@either_way
def run_step(
    parallel: bool, kit: StepKit, setting: StepSetting, floor_wh: float, stored_wh: float, load_w: float, input_w: float
) -> StepFlows:
    """Return the mean flows of a step: moments strung together from one change of the flows to the next.

    Sun and load are constant in a step, so the flows are too until the cells are full, empty, at the level they are
    charged to, or at the level that is kept from selling. A step of any length gives what its parts give together.
    """
    kept_wh = floor_wh
    if parallel and sells_stored(kit, setting):
        kept_wh = max(setting.export_stored_above_share * kit.capacity_wh, floor_wh)
    stored, left = stored_wh, setting.hours
    total = StepFlows(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    # Seven levels at most can be met on the way down and up.
    for _ in range(9):
        cells = Cells(
            stored < floor_wh,
            stored > floor_wh,
            stored > kept_wh,
            stored < kept_wh,
            stored < setting.target_share * kit.capacity_wh,
            stored < kit.capacity_wh,
        )
        if parallel:
            now = parallel_powers(kit, setting, cells, load_w, input_w)
        else:
            now = transfer_powers(kit, setting, cells, load_w, input_w)
        rate = now.stored_wh
        # Cells that are empty or full do not move; by turns on and off, what comes in goes out but for its rounding.
        moves = (rate > 0.0 and stored < kit.capacity_wh) or (rate < 0.0 and stored > floor_wh)
        level = _next_level(kit, setting, floor_wh, kept_wh, stored, rate)
        time = min(left, (level - stored) / rate) if moves else left
        reached = moves and time < left
        stored = level if reached else min(max(stored + rate * left, 0.0), kit.capacity_wh) if moves else stored
        total = _added(total, now, time / setting.hours, stored)
        left -= time
        if not reached:
            break
    return total


@either_way
def _added(total: StepFlows, now: StepFlows, share: float, stored_wh: float) -> StepFlows:
    """Return the sum of flows so far and those of a moment that lasts a share of the step; it ends with `stored_wh`."""
    return StepFlows(
        total.pv_used + now.pv_used * share,
        total.pv_to_load + now.pv_to_load * share,
        total.battery_to_load + now.battery_to_load * share,
        total.grid_to_load + now.grid_to_load * share,
        total.grid_to_battery + now.grid_to_battery * share,
        total.grid_import + now.grid_import * share,
        total.grid_export + now.grid_export * share,
        total.battery_charge + now.battery_charge * share,
        total.battery_discharge + now.battery_discharge * share,
        total.losses + now.losses * share,
        total.unmet + now.unmet * share,
        total.overload + now.overload * share,
        total.on_share + now.on_share * share,
        stored_wh,
    )
