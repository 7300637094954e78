"""The step equations on cases worked out by hand, and their energy balance on random ones."""

from __future__ import annotations

import dataclasses
import math
import runpy
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskcalc.coupling import Coupling
from riskcalc.dispatch import Flow, Param, dispatch_slow, dispatch_year, trace_year
from riskcalc.dispatch.trace import target_of_slot
from riskcalc.dispatch.twin import (
    StepFlows,
    StepKit,
    StepSetting,
    bus_power_w,
    load_for_bus_w,
    part_load_w,
    run_step,
)

random_case = runpy.run_path(str(Path(__file__).with_name("dispatch_cases.py")))["random_case"]

#: A lossless unit of 1 kWh and 1 kW: hand calculation needs no more than adding up.
LOSSLESS = StepKit(
    capacity_wh=1000.0, floor_wh=0.0, charge_w=1000.0, discharge_w=1000.0, charge_efficiency=1.0,
    discharge_efficiency=1.0, solar_efficiency=1.0, inverter_rating_w=1000.0, idle_w=0.0, standby_w=0.0,
    loss_linear=1.0, loss_quadratic=0.0, charger_w=500.0, charger_efficiency=1.0, socket_limit_w=math.inf,
    export_limit_w=math.inf,
)  # fmt: skip
HOUR = StepSetting(
    hours=1.0, off_grid=False, inverter_on=True, discharge_on=True, grid_charge_on=False, charge_allowed=1.0,
    target_share=1.0, export_stored_on=False, export_stored_above_share=0.0,
)  # fmt: skip
EVENING = HOUR._replace(export_stored_on=True)
NIGHT_CHARGE = HOUR._replace(discharge_on=False, grid_charge_on=True)
OFF_GRID = HOUR._replace(off_grid=True)


def transfer(kit: StepKit, setting: StepSetting, stored: float, load: float, sun: float) -> StepFlows:
    """One step of the transfer family from the kit's own floor."""
    return run_step(False, kit, setting, kit.floor_wh, stored, load, sun)


def parallel(kit: StepKit, setting: StepSetting, stored: float, load: float, sun: float) -> StepFlows:
    """One step of the parallel family from the kit's own floor."""
    return run_step(True, kit, setting, kit.floor_wh, stored, load, sun)


@pytest.mark.parametrize("step", [transfer, parallel])
def test_sun_first_then_cells(step) -> None:
    """600 W of load, 200 W of sun, 700 Wh stored, no losses: 200 from the sun, 400 from the cells, 300 Wh left."""
    flows = step(LOSSLESS, HOUR, 700.0, 600.0, 200.0)
    assert (flows.pv_to_load, flows.battery_to_load, flows.grid_to_load) == pytest.approx((200.0, 400.0, 0.0))
    assert flows.stored_wh == pytest.approx(300.0)
    assert flows.losses == pytest.approx(0.0)


@pytest.mark.parametrize("step", [transfer, parallel])
def test_surplus_charges_up_to_room(step) -> None:
    """900 W of sun on 100 W of load with 300 Wh of room charge 300 W; the rest is exported or curtailed."""
    flows = step(LOSSLESS, HOUR, 700.0, 100.0, 900.0)
    assert flows.battery_charge == pytest.approx(300.0)
    assert flows.stored_wh == pytest.approx(1000.0)
    assert flows.grid_export == pytest.approx(500.0 if step is parallel else 0.0)
    assert flows.pv_used == pytest.approx(900.0 if step is parallel else 400.0)


def test_sockets_share_the_step_when_cells_run_out() -> None:
    """500 W for an hour from 250 Wh, no sun: the inverter carries half of the hour, the bypass the other half."""
    flows = transfer(LOSSLESS, HOUR, 250.0, 500.0, 0.0)
    assert flows.on_share == pytest.approx(0.5)
    assert (flows.battery_to_load, flows.grid_to_load, flows.stored_wh) == pytest.approx((250.0, 250.0, 0.0))


def test_sockets_with_weak_sun_and_empty_cells_pay_for_the_way_through_the_cells() -> None:
    """Sun of 100 W, load of 500 W, cells empty, 0.9 each way: while off, the sun stores 90 W, worth 81 W later.

    By hand: f (500 - 100) = (1 - f) 81, so f = 81 / 481; the load gets 500 f, the cells end as empty as they began.
    """
    kit = LOSSLESS._replace(charge_efficiency=0.9, discharge_efficiency=0.9)
    flows = transfer(kit, HOUR, 0.0, 500.0, 100.0)
    share = 81.0 / 481.0
    assert flows.on_share == pytest.approx(share)
    assert flows.grid_to_load == pytest.approx(500.0 * (1.0 - share))
    assert flows.battery_charge == pytest.approx((1.0 - share) * 90.0)
    assert flows.battery_discharge == pytest.approx(flows.battery_charge)
    assert flows.stored_wh == pytest.approx(0.0, abs=1e-9)
    assert flows.pv_used == pytest.approx(100.0)


def test_cells_give_nothing_until_their_floor_is_reached() -> None:
    """From empty to a floor of 300 Wh with 200 W of sun and 300 W of load: the first 90 minutes are the grid's.

    In the second hour the floor is reached after 30 minutes; then by turns, 100 f = 200 (1 - f), f = 2 / 3 of 30 minutes.
    Sun that carries the load alone needs no cells, and is served below the floor too.
    """
    kit = LOSSLESS._replace(floor_wh=300.0)
    first = transfer(kit, HOUR, 0.0, 300.0, 200.0)
    assert (first.grid_to_load, first.battery_discharge, first.stored_wh) == pytest.approx((300.0, 0.0, 200.0))
    second = transfer(kit, HOUR, 200.0, 300.0, 200.0)
    assert second.on_share == pytest.approx(1.0 / 3.0)
    assert second.stored_wh == pytest.approx(300.0)
    alone = transfer(kit, HOUR, 0.0, 150.0, 200.0)
    assert (alone.pv_to_load, alone.stored_wh) == pytest.approx((150.0, 50.0))


def test_on_the_wires_cells_below_their_floor_give_nothing() -> None:
    """200 W of sun on 300 W of load beside cells with 100 Wh below a floor of 300 Wh: 100 W come from the grid."""
    flows = parallel(LOSSLESS._replace(floor_wh=300.0), HOUR, 100.0, 300.0, 200.0)
    assert (flows.pv_to_load, flows.battery_to_load, flows.grid_to_load) == pytest.approx((200.0, 0.0, 100.0))
    assert flows.stored_wh == 100.0


def test_sockets_below_freezing_cannot_share_the_step() -> None:
    """The same weak sun with cells too cold to charge: nothing is carried, the sun is lost."""
    flows = transfer(LOSSLESS, HOUR._replace(charge_allowed=0.0), 0.0, 500.0, 100.0)
    assert (flows.on_share, flows.pv_used, flows.battery_charge) == (0.0, 0.0, 0.0)
    assert flows.grid_import == pytest.approx(500.0)


@pytest.mark.parametrize("load", [1001.0, 3000.0])
def test_sockets_hand_an_overload_to_the_bypass(load: float) -> None:
    """A load above the rating goes to the grid whole, while the sun charges the cells."""
    flows = transfer(LOSSLESS, HOUR, 400.0, load, 300.0)
    assert (flows.on_share, flows.grid_to_load, flows.overload) == (0.0, load, load)
    assert flows.battery_charge == pytest.approx(300.0)


def test_sockets_hand_over_what_cells_cannot_push() -> None:
    """Rated 1000 W, but cells that push 300 W: 500 W need sun of 200 W; with 199 W the bypass carries them."""
    kit = LOSSLESS._replace(discharge_w=300.0)
    assert transfer(kit, HOUR, 900.0, 500.0, 200.0).on_share == 1.0
    assert transfer(kit, HOUR, 900.0, 500.0, 199.0).on_share == 0.0


def test_sockets_without_cells_carry_only_what_the_sun_covers() -> None:
    """Without cells there is nothing to share the step with: all of the load or none."""
    kit = LOSSLESS._replace(capacity_wh=0.0, charge_w=0.0, discharge_w=0.0)
    assert transfer(kit, HOUR, 0.0, 400.0, 500.0).pv_to_load == pytest.approx(400.0)
    assert transfer(kit, HOUR, 0.0, 400.0, 399.0).pv_to_load == 0.0


def test_idle_draw_empties_the_cells_and_standby_follows() -> None:
    """20 W of idle draw with nothing to carry take 10 Wh in half an hour; then 4 W of standby come from the grid."""
    kit = LOSSLESS._replace(idle_w=20.0, standby_w=4.0)
    flows = transfer(kit, HOUR, 10.0, 0.0, 0.0)
    assert flows.on_share == pytest.approx(0.5)
    assert flows.losses == pytest.approx(0.5 * 20.0 + 0.5 * 4.0)
    assert flows.grid_import == pytest.approx(2.0)


@pytest.mark.parametrize("step", [transfer, parallel])
def test_switched_off_inverter_draws_nothing(step) -> None:
    """Switched off, the inverter serves nothing and has no idle draw; the sun still charges the cells."""
    kit = LOSSLESS._replace(idle_w=20.0, standby_w=4.0)
    flows = step(kit, HOUR._replace(inverter_on=False), 500.0, 300.0, 100.0)
    assert (flows.on_share, flows.battery_discharge, flows.grid_export) == (0.0, 0.0, 0.0)
    assert flows.grid_import == pytest.approx(304.0)
    assert flows.stored_wh == pytest.approx(600.0)


@pytest.mark.parametrize("step", [transfer, parallel])
@pytest.mark.parametrize(
    ("change", "to_cells"),
    [
        ({}, 450.0),  # the charger: 500 W * 0.9
        ({"socket_limit_w": 700.0}, 360.0),  # 700 W less 300 W of load leave 400 W
        ({"charge_w": 200.0}, 200.0),  # the cells
        ({"capacity_wh": 500.0}, 100.0),  # the target, full
        ({"socket_limit_w": 200.0}, 0.0),  # the load alone is more than the socket should carry
    ],
)
def test_grid_charge_takes_the_tightest_limit(step, change: dict[str, float], to_cells: float) -> None:
    """Charging from the grid stops at charger, socket, cells or target, whichever is first; loads stay on the grid."""
    kit = LOSSLESS._replace(charger_efficiency=0.9, **change)
    flows = step(kit, NIGHT_CHARGE, 400.0, 300.0, 0.0)
    assert flows.battery_charge == pytest.approx(to_cells)
    assert flows.grid_to_battery == pytest.approx(to_cells / 0.9)
    assert flows.grid_import == pytest.approx(300.0 + to_cells / 0.9)


def test_off_grid_sheds_what_it_cannot_carry() -> None:
    """Off grid, 1500 W on a 1 kW inverter leave 500 W unmet; 600 W on cells that push 400 W leave 200 W unmet."""
    flows = transfer(LOSSLESS, OFF_GRID, 1000.0, 1500.0, 0.0)
    assert (flows.unmet, flows.overload, flows.grid_import) == pytest.approx((500.0, 500.0, 0.0))
    flows = transfer(LOSSLESS._replace(discharge_w=400.0), OFF_GRID, 1000.0, 600.0, 0.0)
    assert flows.unmet == pytest.approx(200.0)


def test_off_grid_without_cells_runs_on_the_sun() -> None:
    """Without cells the sun's power, less the idle draw, reaches the load through the whole step."""
    kit = LOSSLESS._replace(capacity_wh=0.0, charge_w=0.0, discharge_w=0.0, idle_w=10.0, loss_linear=1.1)
    flows = transfer(kit, OFF_GRID, 0.0, 800.0, 340.0)
    assert flows.on_share == 1.0
    assert flows.pv_to_load == pytest.approx(300.0, rel=1e-8)


def test_parallel_grid_fills_what_the_inverter_leaves() -> None:
    """1500 W of load on a 1 kW inverter: 1000 W from the kit, 500 W from the grid at the same time."""
    flows = parallel(LOSSLESS, HOUR, 1000.0, 1500.0, 0.0)
    assert (flows.battery_to_load, flows.grid_to_load, flows.overload) == pytest.approx((1000.0, 500.0, 500.0))


def test_parallel_export_is_capped() -> None:
    """A cap of 150 W on export curtails the rest of 700 W of surplus sun."""
    flows = parallel(LOSSLESS._replace(export_limit_w=150.0), HOUR, 1000.0, 200.0, 900.0)
    assert flows.grid_export == pytest.approx(150.0)
    assert flows.pv_used == pytest.approx(350.0)


@pytest.mark.parametrize(
    ("stored", "load", "sun", "change", "export", "left"),
    [
        (1000.0, 300.0, 0.0, {}, 700.0, 0.0),
        (1000.0, 300.0, 0.0, {"export_limit_w": 200.0}, 200.0, 500.0),
        (1000.0, 1200.0, 0.0, {}, 0.0, 0.0),
        (1000.0, 300.0, 0.0, {"discharge_w": 400.0}, 100.0, 600.0),
        (0.0, 300.0, 500.0, {}, 200.0, 0.0),
        (500.0, 300.0, 500.0, {}, 700.0, 0.0),
        (500.0, 300.0, 1500.0, {}, 700.0, 1000.0),
        (1000.0, 300.0, 0.0, {"export_limit_w": 0.0}, 0.0, 700.0),
    ],
)
def test_what_is_stored_is_sold_after_the_loads(
    stored: float, load: float, sun: float, change: dict[str, float], export: float, left: float
) -> None:
    """Loads first, then sun, then cells, until rating, export limit or cells are used up; sun left over charges them."""
    flows = parallel(LOSSLESS._replace(**change), EVENING, stored, load, sun)
    assert flows.grid_export == pytest.approx(export)
    assert flows.stored_wh == pytest.approx(left)


def test_what_is_kept_is_not_sold_but_serves() -> None:
    """Of 1000 Wh 600 are kept from selling; below the mark loads still run.

    By hand: 300 W are served and 700 W sold for 0.4 h, which takes 400 Wh; 300 W are served for the other 0.6 h.
    """
    keeping = EVENING._replace(export_stored_above_share=0.6)
    flows = parallel(LOSSLESS, keeping, 1000.0, 300.0, 0.0)
    assert (flows.grid_export, flows.stored_wh) == pytest.approx((280.0, 420.0))
    flows = parallel(LOSSLESS, keeping, 500.0, 300.0, 0.0)
    assert (flows.grid_export, flows.stored_wh) == pytest.approx((0.0, 200.0))
    assert flows.battery_to_load == pytest.approx(300.0)


def test_nothing_is_sold_while_the_grid_charges() -> None:
    """Import never runs to export: a slot of charging sells nothing, whatever the plan says of selling."""
    flows = parallel(LOSSLESS, NIGHT_CHARGE._replace(export_stored_on=True), 400.0, 0.0, 0.0)
    assert flows.grid_export == 0.0
    assert flows.grid_import == pytest.approx(500.0)


def test_selling_pays_for_its_losses() -> None:
    """At a = 1.1 and b = 1e-4, 500 W of load and 300 W sold take 1.1 x 800 + 1e-4 x 800^2 = 944 W from the cells."""
    lossy = LOSSLESS._replace(loss_linear=1.1, loss_quadratic=1e-4, export_limit_w=300.0, discharge_w=2000.0)
    flows = parallel(lossy, EVENING, 1000.0, 500.0, 0.0)
    assert flows.battery_discharge == pytest.approx(944.0)
    assert flows.losses == pytest.approx(144.0)


def test_parallel_weak_sun_feeds_the_inverter_first() -> None:
    """15 W of sun under 20 W of idle draw keep the inverter on three quarters of the time and serve nobody."""
    flows = parallel(LOSSLESS._replace(idle_w=20.0, capacity_wh=0.0, discharge_w=0.0), HOUR, 0.0, 100.0, 15.0)
    assert flows.on_share == pytest.approx(0.75)
    assert (flows.pv_to_load, flows.grid_to_load) == (0.0, 100.0)
    assert flows.losses == pytest.approx(15.0)


@given(power=st.floats(1.0, 5000.0), linear=st.floats(1.0, 1.2), bend=st.floats(0.0, 0.2))
def test_load_for_bus_inverts_the_loss_curve(power: float, linear: float, bend: float) -> None:
    """The load that a bus power carries takes that bus power."""
    kit = LOSSLESS._replace(idle_w=10.0, loss_linear=linear, loss_quadratic=bend / 1000.0)
    assert bus_power_w(kit, load_for_bus_w(kit, power + 10.0)) == pytest.approx(power + 10.0, rel=1e-12)


@given(
    load=st.floats(1.0, 1000.0), share=st.floats(0.0, 1.0), linear=st.floats(1.0, 1.2), bend=st.floats(0.0, 0.2),
    carried=st.floats(0.0, 1000.0),
)  # fmt: skip
def test_part_load_is_close_to_the_curve(load: float, share: float, linear: float, bend: float, carried: float) -> None:
    """Part load errs from the exact solution by at most (b y / a)^2 relative, never for the better; exact at the end.

    The exact gain y of power p solves (a + 2 b c) y + b y^2 = p, c being carried already; here a, b <= 0.2 per kW and
    powers up to 1 kW, so the bound is 4 %, and 0.25 % for the usual b of 0.05 per kW.
    """
    quadratic = bend / 1000.0
    kit = LOSSLESS._replace(loss_linear=linear, loss_quadratic=quadratic)
    slope = linear + 2.0 * quadratic * carried
    whole = slope * load + quadratic * load**2
    power = share * whole
    exact = 2.0 * power / (slope + math.sqrt(slope**2 + 4.0 * quadratic * power))
    given_load = part_load_w(kit, power, load, carried)
    assert given_load <= exact * (1.0 + 1e-12)
    if carried == 0.0:
        assert given_load >= exact * (1.0 - (quadratic * exact / linear) ** 2 - 1e-12)
    assert part_load_w(kit, whole, load, carried) == pytest.approx(load, rel=1e-12)


def test_charging_from_sun_and_grid_ends_the_grid_at_the_target() -> None:
    """400 Wh stored, 200 W of sun and 500 W from the grid up to 750 Wh: after half an hour the sun goes on alone."""
    setting = NIGHT_CHARGE._replace(target_share=0.75, inverter_on=False)
    for step in (transfer, parallel):
        flows = step(LOSSLESS, setting, 400.0, 0.0, 200.0)
        assert flows.grid_to_battery == pytest.approx(250.0)
        assert flows.stored_wh == pytest.approx(850.0)


def test_sun_beyond_the_cells_limit_waits_for_the_turns_that_it_is_charged() -> None:
    """Empty cells that take 100 W, sun of 400 W, a load of 900 W: on for 1 / 6 of the time, by hand 500 s = 100 (1 - s)."""
    flows = transfer(LOSSLESS._replace(charge_w=100.0), HOUR, 0.0, 900.0, 400.0)
    assert flows.on_share == pytest.approx(1.0 / 6.0)
    assert flows.battery_charge == pytest.approx(100.0 * 5.0 / 6.0)
    assert flows.stored_wh == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(coupling=st.sampled_from(Coupling), seed=st.integers(0, 2**32 - 1), minutes=st.integers(0, 4))
def test_a_step_of_any_length_gives_what_its_parts_give(coupling: str, seed: int, minutes: int) -> None:
    """The twin run by run agrees with the twin minute by minute to 1e-9."""
    inputs, plan, params, arguments = random_case(seed, days=3, draws=2, bases=2, minutes=minutes)
    fine, coarse = (
        dispatch_slow(coupling, inputs, plan, params, step_minutes=step, use_numba=True, **arguments)
        for step in (1, 60)
    )
    for name in ("monthly_kwh", "billed_kwh", "stored_wh", "overload_minutes", "on_hours", "short_hours"):
        expected = getattr(fine, name)
        assert getattr(coarse, name) == pytest.approx(expected, rel=1e-9, abs=1e-9 * max(1.0, np.abs(expected).max()))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(coupling=st.sampled_from(Coupling), seed=st.integers(0, 2**32 - 1), minutes=st.integers(0, 4))
def test_every_step_of_a_trace_closes(coupling: str, seed: int, minutes: int) -> None:
    """In every step what comes in equals what goes out, losses counted one by one, and stored energy follows."""
    inputs, plan, params, arguments = random_case(seed, days=3, draws=1, bases=4, minutes=minutes)
    given_draw = {name: values[..., 0] for name, values in arguments.items()}
    trace = trace_year(coupling, inputs, plan, params[:, 0], **given_draw)
    hours = inputs.step_minutes / 60.0
    scale = 1.0 + trace["pv_available_w"] + trace["demand_w"] + trace["battery_charge_w"]
    residual = trace["pv_available_w"] - trace["pv_used_w"] - trace["pv_curtailed_w"]
    assert np.all(np.abs(residual) <= 1e-12 * scale)
    coming_in = trace["pv_used_w"] + trace["grid_import_w"] + trace["battery_discharge_w"] + trace["unmet_w"]
    going_out = trace["demand_w"] + trace["grid_export_w"] + trace["battery_charge_w"] + trace["losses_w"]
    assert np.all(np.abs(coming_in - going_out) <= 1e-9 * scale)
    served = trace["pv_to_load_w"] + trace["battery_to_load_w"] + trace["grid_to_load_w"]
    unmet_reachable = trace["unmet_w"] - (trace["demand_w"] - trace["reachable_demand_w"]) * (coupling == "off_grid")
    assert np.all(np.abs(served + unmet_reachable - trace["reachable_demand_w"]) <= 1e-9 * scale)
    capacity = params[Param.CAPACITY_WH, 0]
    before = np.concatenate([[min(given_draw["stored_wh"], capacity)], trace["battery_stored_wh"][:-1]])
    change = (trace["battery_charge_w"] - trace["battery_discharge_w"]) * hours
    assert np.all(np.abs(trace["battery_stored_wh"] - before - change) <= 1e-9 * (1.0 + capacity))
    assert np.all((trace["battery_stored_wh"] >= 0.0) & (trace["battery_stored_wh"] <= capacity))
    for name, values in trace.items():
        assert np.all(values >= -1e-9), name
    # The cells feed the grid only where the plan lets them and they are not being charged from it, or by a lag.
    sells = plan.export_stored_on & plan.discharge_on & plan.inverter_on & (1 - plan.grid_charge_on)
    closed = np.repeat(sells, plan.slot_minutes // inputs.step_minutes) == 0
    from_cells = trace["battery_discharge_w"] * (plan.lag_minutes > 0.0)
    assert np.all(trace["grid_export_w"][closed] <= (trace["pv_used_w"] + from_cells)[closed] + 1e-9)
    assert np.all(trace["grid_to_battery_w"][~closed] == 0.0)
    assert np.all(trace["battery_charge_w"] <= params[Param.CHARGE_W, 0] + 1e-9)
    assert np.all(trace["battery_discharge_w"] <= params[Param.DISCHARGE_W, 0] * (1.0 + 1e-8) + 1e-9)


@pytest.mark.parametrize("coupling", Coupling)
def test_trace_sums_to_the_kernels_months(coupling: str) -> None:
    """Summed over the months, the trace of every draw is what the kernel books, to 1e-9 of the draw's largest flow."""
    inputs, plan, params, arguments = random_case(17, days=7, draws=12, bases=5, minutes=1)
    outcome = dispatch_year(coupling, inputs, plan, params, **arguments)
    steps = plan.slot_minutes // inputs.step_minutes
    month = np.repeat(plan.month, steps)
    column = {
        Flow.DEMAND_REACHABLE: "reachable_demand_w", Flow.PV_AVAILABLE: "pv_available_w", Flow.PV_USED: "pv_used_w",
        Flow.PV_TO_LOAD: "pv_to_load_w", Flow.BATTERY_TO_LOAD: "battery_to_load_w",
        Flow.GRID_TO_LOAD: "grid_to_load_w", Flow.GRID_TO_BATTERY: "grid_to_battery_w",
        Flow.GRID_IMPORT: "grid_import_w", Flow.GRID_EXPORT: "grid_export_w", Flow.BATTERY_CHARGE: "battery_charge_w",
        Flow.BATTERY_DISCHARGE: "battery_discharge_w", Flow.LOSSES: "losses_w", Flow.UNMET: "unmet_w",
    }  # fmt: skip
    for draw in range(params.shape[1]):
        given_draw = {name: values[..., draw] for name, values in arguments.items()}
        trace = trace_year(coupling, inputs, plan, params[:, draw], **given_draw)
        largest = outcome.monthly_kwh[..., draw].max()
        for flow, name in column.items():
            summed = np.bincount(month, trace[name], minlength=12) * inputs.step_minutes / 60e3
            assert np.abs(summed - outcome.monthly_kwh[flow, :, draw]).max() <= 1e-9 * largest, name
        assert trace["battery_stored_wh"][-1] == pytest.approx(outcome.stored_wh[draw], rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(("load_w", "short_hours"), [(0.0, 0.0), (1e-4, 72.0)])
def test_hours_are_short_by_the_share_of_their_load(load_w: float, short_hours: float) -> None:
    """Three days off grid without sun or charge: no load is never short, and the smallest load always is."""
    inputs, plan, params, arguments = random_case(1, days=3, draws=2, bases=2, minutes=0)
    inputs = dataclasses.replace(
        inputs,
        solar_w=np.zeros_like(inputs.solar_w),
        wired_w=np.zeros_like(inputs.wired_w),
        run_w=np.full_like(inputs.run_w, load_w),
        rank_row=np.full(2, -1),
    )
    found = dispatch_slow("off_grid", inputs, plan, params, use_numba=True, **(arguments | {"stored_wh": np.zeros(2)}))
    assert found.short_hours == pytest.approx(np.full(2, short_hours))


@pytest.mark.parametrize("year", [0, 3])
def test_the_share_to_charge_to_in_a_slot_by_hand(year):
    """One row for all years or one for each; of a need the light of the slot comes off, within nothing and all."""
    one = SimpleNamespace(
        target_share=np.array([[0.3, 0.9]]), light=np.array([[0.2, 2.0]]), kind=np.array([1, 0])
    )  # fmt: skip
    each = SimpleNamespace(
        target_share=np.repeat([[0.3], [0.4], [0.5], [0.6]], 2, axis=1),
        light=np.repeat([[0.1], [0.2], [0.3], [0.4]], 2, axis=1),
        kind=one.kind,
    )
    nothing, need = np.zeros((2, 0)), np.array([[1.5, 0.8], [0.5, 0.25]])
    assert [target_of_slot(one, nothing, year, slot) for slot in (0, 1)] == [0.3, 0.9]
    assert target_of_slot(each, nothing, year, 1) == pytest.approx(0.3 + 0.1 * year)
    # 0.8 - 0.25 x 0.2 and 1.5 - 0.5 x 2; with a light of each year 0.8 - 0.25 x (0.1 + 0.1 year), and 1 at most.
    assert [target_of_slot(one, need, year, slot) for slot in (0, 1)] == pytest.approx([0.75, 0.5])
    assert target_of_slot(each, need, year, 0) == pytest.approx(0.775 - 0.025 * year)
    assert target_of_slot(each, need, year, 1) == 1.0
    one.light[0, 1] = 5.0
    assert target_of_slot(one, need, year, 1) == 0.0
