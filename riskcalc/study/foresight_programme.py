"""The least bill that anybody could reach with a kit who knew every hour of the year beforehand: a linear programme.

It is a bound: no rule can beat it. Its flows are those of the kit (`dispatch.twin` is their definition), with these
freedoms and no others:

- The cells are charged from the supply at any time, if the scenario charges them at all; up to any level.
- The cells serve loads, and the inverter is switched, at any time and for any share of a step.
- Surplus sun goes to the cells or to the grid, whichever is worth more.
- Cells feed the grid only in the steps in which the plan sells what is stored.

Where a step of the kit is not convex the programme has the least convex set that holds it, so it can only be better:
losses b L^2 are those of tangents from below, and what excludes each other at one moment (charging from the supply and
serving loads, import and export) shares the step. Import never runs straight to export: the sun serves the loads first,
as in the kit, only what it leaves is exported, while that runs the supply charges nothing, and cells that feed the same
wires as the grid give in a step no more than they held at its beginning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from riskcalc.coupling import Traits, traits_of
from riskcalc.dispatch.twin import SLACK, StepKit
from riskcalc.study.foresight_linear import Columns, LinearProgramme
from riskcalc.types import Flags, Floats

#: Where the losses are touched by their tangents, in shares of the largest load of the step.
TANGENTS = (1.0 / 3.0, 2.0 / 3.0, 1.0)


@dataclass(frozen=True)
class YearAhead:
    """What is known beforehand: a kit and every step of its year; arrays (steps,), powers mean over the step [W].

    Attributes
    ----------
    coupling
        As in `YearRequest`.
    hours
        Length of a step [h].
    kit
        The draw's kit; its `floor_wh` holds what is kept for outages too.
    load_w
        Demand within reach.
    wired_w
        Demand out of reach: on the bill, and nothing else.
    input_w
        Solar power that the inputs let in.
    import_price, export_price
        Per kWh.
    charge_allowed
        0 in steps too cold to charge, else 1.
    inverter_on
        False where the plan switches the inverter off; elsewhere its idle draw in sunlight cannot be avoided.
    charges_from_grid
        Whether the supply charges the cells at all.
    exports_stored
        Where the cells may feed the grid; without meaning where the kit does not share its wires.
    start_wh, least_end_wh
        Stored energy at the beginning, and the least at the end [Wh].
    """

    coupling: str
    hours: float
    kit: StepKit
    load_w: Floats
    wired_w: Floats
    input_w: Floats
    import_price: Floats
    export_price: Floats
    charge_allowed: Floats
    inverter_on: Flags
    charges_from_grid: bool
    exports_stored: Flags
    start_wh: float
    least_end_wh: float

    @property
    def meets(self) -> Traits:
        """The traits of the coupling."""
        return traits_of(self.coupling)

    @property
    def solar_w(self) -> Floats:
        """Solar power behind the tracker."""
        return self.input_w * self.kit.solar_efficiency

    @property
    def give_w(self) -> float:
        """Most power that the cells give to the bus."""
        return self.kit.discharge_w * self.kit.discharge_efficiency


@dataclass(frozen=True)
class Foreseen:
    """The optimum: its bill in money, and flows that reach it, (steps,) each, mean over the step [W], at its end [Wh].

    `grid_to_cells_w` at the socket, `export_w` AC, `stored_wh` at the cells.
    """

    bill: float
    grid_to_cells_w: Floats
    export_w: Floats
    stored_wh: Floats


@dataclass(frozen=True)
class _Block:
    """Columns of the variables, (steps,) each; -1 where a step has none. `from_cells_per_on`: from cells = that x `on`."""

    on: Columns
    from_cells: Columns
    from_cells_per_on: Floats
    solar_to_cells: Columns
    charger: Columns
    export: Columns


def foreseen(ahead: YearAhead) -> Foreseen:
    """Return the least bill of a year and the flows behind it.

    Notes
    -----
    bill = sum over steps of hours / 1000 x (import price x (load - served + standby (1 - on) + charger + wired)
    - export price x export). Stored energy moves by hours x (solar to cells x charge efficiency + charger x charger
    efficiency x charge efficiency - from cells / discharge efficiency) and stays between floor and capacity. Limiting
    cases: without cells, sockets serve what the sun carries alone; without sun and charger the bill is that of the load.
    """
    programme = LinearProgramme()
    if ahead.meets.parallel:
        block = _parallel(programme, ahead)
    elif not ahead.meets.on_grid:
        block = _off_grid(programme, ahead)
    else:
        block = _sockets(programme, ahead)
    stored = _cells(programme, ahead, block)
    if ahead.meets.parallel:
        _from_what_was_there(programme, ahead, block.from_cells, stored)
    cost, values = programme.solution()

    def flow(columns: Columns) -> Floats:
        return np.where(columns >= 0, values[columns], 0.0)

    kit = ahead.kit
    standby = kit.standby_w if ahead.meets.on_grid else 0.0
    fixed = ahead.load_w + ahead.wired_w + standby
    bill = cost + float((ahead.import_price * fixed).sum()) * ahead.hours / 1000.0
    return Foreseen(
        bill=bill,
        grid_to_cells_w=flow(block.charger),
        export_w=flow(block.export),
        stored_wh=values[stored],
    )


def _cells(programme: LinearProgramme, ahead: YearAhead, block: _Block) -> Columns:
    """Add the stored energy at the end of each step and the limits of charging; return its columns."""
    kit, steps, hours = ahead.kit, len(ahead.load_w), ahead.hours
    low = np.full(steps, min(kit.floor_wh, ahead.start_wh))
    low[-1] = max(low[-1], ahead.least_end_wh)
    stored = programme.variables(steps, low=low, high=kit.capacity_wh)
    from_sun, from_grid = kit.charge_efficiency, kit.charger_efficiency * kit.charge_efficiency
    before = np.concatenate([[-1], stored[:-1]])
    start = np.zeros(steps)
    start[0] = ahead.start_wh
    programme.equal(
        [
            (stored, 1.0),
            (before, -1.0),
            (block.solar_to_cells, -hours * from_sun),
            (block.charger, -hours * from_grid),
            (block.from_cells, hours / kit.discharge_efficiency),
            (block.on, hours / kit.discharge_efficiency * block.from_cells_per_on),
        ],
        start,
    )
    programme.at_most(
        [(block.solar_to_cells, from_sun), (block.charger, from_grid)], kit.charge_w * ahead.charge_allowed
    )
    return stored


def _from_what_was_there(programme: LinearProgramme, ahead: YearAhead, from_cells: Columns, stored: Columns) -> None:
    """Let the cells give in a step only what they held at its beginning, as the kit does: nothing runs straight through."""
    hours, floor = ahead.hours / ahead.kit.discharge_efficiency, min(ahead.kit.floor_wh, ahead.start_wh)
    side = np.full(len(stored), -floor)
    side[0] += ahead.start_wh
    there = from_cells >= 0
    before = np.concatenate([[-1], stored[:-1]])
    programme.at_most([(from_cells[there], hours), (before[there], -1.0)], side[there])


def _charger(programme: LinearProgramme, ahead: YearAhead, passed_w: Floats) -> tuple[Columns, Floats]:
    """Add the power of the charger where there is any; return its columns and its limits, (steps,) each [W].

    `passed_w` is what the supply carries beside it at least.
    """
    kit, money = ahead.kit, ahead.import_price * ahead.hours / 1000.0
    most = np.minimum(kit.charger_w, np.maximum(kit.socket_limit_w - passed_w, 0.0))
    most = most * (ahead.charges_from_grid and ahead.meets.on_grid) * (ahead.charge_allowed > 0.0)
    return _where(programme, most > 0.0, high=most, cost=money), most


def _where(
    programme: LinearProgramme, there: Flags, *, low: Floats | float = 0.0, high: Floats | float, cost: Floats
) -> Columns:
    """Add a variable in the steps where it is there; return its columns, -1 elsewhere."""
    columns = np.full(len(there), -1)
    limits = (np.broadcast_to(np.asarray(limit, dtype=np.float64), there.shape)[there] for limit in (low, high))
    least, most = limits
    columns[there] = programme.variables(int(there.sum()), low=least, high=most, cost=cost[there])
    return columns


def _sockets(programme: LinearProgramme, ahead: YearAhead) -> _Block:
    """Add a unit that loads hang on: it carries all of the load or none, for a share of the step; sun first, then cells."""
    kit, load, solar = ahead.kit, ahead.load_w, ahead.solar_w
    money = ahead.import_price * ahead.hours / 1000.0
    bus = kit.idle_w + load * (kit.loss_linear + kit.loss_quadratic * load)
    direct = np.minimum(solar, bus)
    can = (load <= kit.inverter_rating_w * SLACK) & (bus - direct <= ahead.give_w * SLACK)
    nothing = np.full(len(load), -1)
    on = _where(programme, can, high=1.0, cost=-money * (load + kit.standby_w))
    to_cells = _where(programme, solar > 0.0, high=solar, cost=np.zeros_like(load))
    programme.at_most([(to_cells, 1.0), (on, direct)], solar)
    charger, most = _charger(programme, ahead, load + kit.standby_w)
    both = (charger >= 0) & (on >= 0)
    programme.at_most([(charger[both], 1.0), (on[both], most[both])], most[both])
    return _Block(
        on=on,
        from_cells=nothing,
        from_cells_per_on=bus - direct,
        solar_to_cells=to_cells,
        charger=charger,
        export=nothing,
    )


def _off_grid(programme: LinearProgramme, ahead: YearAhead) -> _Block:
    """Add an inverter that loads run from or not at all; it may carry a part of them."""
    kit, solar = ahead.kit, ahead.solar_w
    money = ahead.import_price * ahead.hours / 1000.0
    none, all_steps = np.zeros_like(solar), np.ones(len(solar), dtype=bool)
    carried = np.minimum(ahead.load_w, kit.inverter_rating_w)
    on = _where(programme, all_steps, high=1.0, cost=none)
    served = _where(programme, all_steps, high=carried, cost=-money)
    from_cells = _where(programme, all_steps, high=ahead.give_w, cost=none)
    direct = _where(programme, solar > 0.0, high=solar, cost=none)
    to_cells = _where(programme, solar > 0.0, high=solar, cost=none)
    programme.at_most([(served, 1.0), (on, -carried)], 0.0)
    programme.at_most([(direct, 1.0), (to_cells, 1.0)], solar)
    programme.at_most([(direct, 1.0), (on, -solar)], 0.0)
    programme.at_most([(from_cells, 1.0), (on, -ahead.give_w)], 0.0)
    _losses(programme, kit, on=on, out=[served], fed=[direct, from_cells], most=carried)
    nothing = np.full(len(solar), -1)
    return _Block(on, from_cells, none, to_cells, nothing, nothing)


def _parallel(programme: LinearProgramme, ahead: YearAhead) -> _Block:
    """Add an inverter on the wires of the grid: sun first, then cells, and the grid fills what is left."""
    kit, load, solar = ahead.kit, ahead.load_w, ahead.solar_w
    money = ahead.import_price * ahead.hours / 1000.0
    none = np.zeros_like(load)
    carried = np.minimum(load, kit.inverter_rating_w)
    whole = kit.idle_w + carried * (kit.loss_linear + kit.loss_quadratic * carried)
    # Where the plan leaves the inverter on, the sun feeds it and then the loads, whatever anybody foresees.
    least_direct = np.where(ahead.inverter_on, np.minimum(solar, whole), 0.0)
    sun_does_it = ahead.inverter_on & (solar >= whole)
    least_on = 1.0 if kit.idle_w == 0.0 else np.minimum(solar / kit.idle_w, 1.0)
    least_on = np.where(ahead.inverter_on & (solar > 0.0), least_on, 0.0)
    on = _where(programme, np.ones(len(load), dtype=bool), low=least_on, high=1.0, cost=-money * kit.standby_w)
    least_served = np.where(sun_does_it, carried, 0.0)
    served = _where(programme, carried > 0.0, low=least_served, high=carried, cost=-money)
    direct = _where(programme, solar > 0.0, low=least_direct, high=solar, cost=none)
    to_cells = _where(programme, solar > 0.0, high=solar, cost=none)
    needed = ~sun_does_it | ahead.exports_stored
    from_cells = _where(programme, needed & (ahead.give_w > 0.0), high=ahead.give_w, cost=none)
    free = ~sun_does_it
    programme.at_most([(served[free], 1.0), (on[free], -carried[free])], 0.0)
    charger, most_charger = _charger(programme, ahead, load - carried)
    export, to_grid, room = _export(programme, ahead, carried, least_direct)
    programme.at_most([(direct, 1.0), (to_cells, 1.0), (to_grid, 1.0)], solar)
    from_both = np.where(ahead.exports_stored, export, -1)
    most_out = np.where(ahead.exports_stored, carried + room, carried)
    _losses(programme, kit, on=on, out=[served, from_both], fed=[direct, from_cells], most=most_out)
    # Export asks for an inverter that is on, for loads that are served, and for a charger that is off.
    open_served = free & (carried > 0.0)
    for other, factor, where in (
        (on, -room, free),
        (served, -room / np.where(carried > 0.0, carried, 1.0), open_served),
    ):
        programme.at_most([(export[where], 1.0), (other[where], factor[where])], 0.0)
    both = (charger >= 0) & (export >= 0)
    programme.at_most([(charger[both], room[both]), (export[both], most_charger[both])], (room * most_charger)[both])
    both = (charger >= 0) & (from_cells >= 0)
    programme.at_most(
        [(charger[both], ahead.give_w), (from_cells[both], most_charger[both])], ahead.give_w * most_charger[both]
    )
    return _Block(on, from_cells, none, to_cells, charger, export)


def _export(
    programme: LinearProgramme, ahead: YearAhead, carried: Floats, least_direct: Floats
) -> tuple[Columns, Columns, Floats]:
    """Add what is exported and the sun that feeds it; return their columns and the limit of export, (steps,) [W].

    In steps where the cells may feed the grid, sun for export is part of what feeds the inverter, and has no column.
    """
    kit, money = ahead.kit, ahead.export_price * ahead.hours / 1000.0
    none = np.zeros_like(carried)
    room = np.maximum(np.minimum(kit.inverter_rating_w - carried, kit.export_limit_w), 0.0)
    spare = ahead.solar_w - least_direct
    there = (room > 0.0) & (spare > 0.0) & ~ahead.exports_stored
    export = _where(programme, there | ((room > 0.0) & ahead.exports_stored), high=room, cost=-money)
    to_grid = _where(programme, there, high=spare, cost=none)
    # a E + b ((carried + E)^2 - carried^2) from below, with the loads carried that export asks for.
    slope = kit.loss_linear + 2.0 * kit.loss_quadratic * carried
    for share in (0.0, *TANGENTS):
        touched = share * room
        programme.at_most(
            [(export[there], (slope + 2.0 * kit.loss_quadratic * touched)[there]), (to_grid[there], -1.0)],
            (kit.loss_quadratic * touched**2)[there],
        )
    return export, to_grid, room


def _losses(
    programme: LinearProgramme, kit: StepKit, *, on: Columns, out: list[Columns], fed: list[Columns], most: Floats
) -> None:
    """Ask that what feeds the inverter covers on x idle + a L + b L^2 / on for L = the sum of `out`, from below.

    b L^2 / on >= b (2 l L - l^2 on) for every l, with equality where L = l on.
    """
    for share in TANGENTS if kit.loss_quadratic > 0.0 else TANGENTS[-1:]:
        touched = share * most
        slope = kit.loss_linear + 2.0 * kit.loss_quadratic * touched
        programme.at_most(
            [
                (on, kit.idle_w - kit.loss_quadratic * touched**2),
                *((columns, slope) for columns in out),
                *((columns, -1.0) for columns in fed),
            ],
            0.0,
        )
