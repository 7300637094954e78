"""What sets the output of a unit on the home's wires: a meter, a fixed power, nothing."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from riskcalc.dispatch import DispatchInputs, Flow, SlotPlan, dispatch_slow, dispatch_year, param_rows
from riskcalc.dispatch.trace import follow_late
from riskcalc.errors import InputError
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment
from riskcalc.years.schedule import clock_of, slot_plan

_TWIN = runpy.run_path(str(Path(__file__).with_name("test_twin.py")))
HOUR, LOSSLESS, parallel = _TWIN["HOUR"], _TWIN["LOSSLESS"], _TWIN["parallel"]
#: 200 W of a rating of 1,000 W, whatever the home needs.
FIXED = HOUR._replace(export_stored_on=True, output_share=0.2)
FLAT = Path(__file__).parents[1] / "data" / "flat.toml"
PLUG_IN = ('kit.coupling="plug_in"',)


def test_what_the_home_does_not_need_goes_to_the_grid():
    """200 W fixed, 100 W of load, 700 Wh stored, no losses: 100 W serve, 100 W are given away, 500 Wh are left."""
    flows = parallel(LOSSLESS, FIXED, 700.0, 100.0, 0.0)
    assert (flows.battery_to_load, flows.grid_export, flows.grid_to_load) == pytest.approx((100.0, 100.0, 0.0))
    assert flows.stored_wh == pytest.approx(500.0)


def test_what_the_home_needs_beyond_comes_from_the_grid():
    """200 W fixed, 600 W of load: 200 W from the cells, 400 W from the grid; a load that followed would get all."""
    flows = parallel(LOSSLESS, FIXED, 700.0, 600.0, 0.0)
    assert (flows.battery_to_load, flows.grid_export, flows.grid_to_load) == pytest.approx((200.0, 0.0, 400.0))
    assert parallel(LOSSLESS, HOUR, 700.0, 600.0, 0.0).battery_to_load == pytest.approx(600.0)


def test_sun_beyond_the_fixed_power_charges_the_cells():
    """500 W of sun, 200 W fixed, 100 W of load: 100 W serve, 100 W go to the grid, 300 Wh go to the cells."""
    flows = parallel(LOSSLESS, FIXED, 100.0, 100.0, 500.0)
    assert (flows.pv_to_load, flows.grid_export, flows.battery_charge) == pytest.approx((100.0, 100.0, 300.0))


def test_hours_of_the_fixed_power():
    """From 17:00 to 23:00 a ninth of the rating; at other times the battery gives nothing."""
    changes = (*PLUG_IN, 'kit.control="fixed"', "kit.fixed_power_w=200", 'kit.fixed_power_hours=["17:00-23:00"]')
    scenario = read_scenario(FLAT, changes)
    clock = clock_of(scenario)
    plan = slot_plan(scenario, clock)
    evening = (clock.minute >= 17 * 60) & (clock.minute < 23 * 60)
    assert plan.output_share == pytest.approx(np.where(evening, 200.0 / 1800.0, 1.0))
    assert np.array_equal(plan.export_stored_on, evening)
    assert np.array_equal(plan.discharge_on, evening)
    assert (plan.export_stored_above_share[evening] == 0.0).all()


def test_without_a_control_all_of_the_inverter_is_given():
    """At every hour in which the cells may give; a meter leaves the plan as it was."""
    plan = slot_plan(scenario := read_scenario(FLAT, (*PLUG_IN, 'kit.control="none"')), clock_of(scenario))
    assert (plan.export_stored_on == 1).all()
    assert (plan.output_share == 1.0).all()
    metered = slot_plan(scenario := read_scenario(FLAT, PLUG_IN), clock_of(scenario))
    assert (metered.export_stored_on == 0).all()
    assert np.array_equal(metered.discharge_on, plan.discharge_on)


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        (('kit.control="none"',), "kit.control"),
        ((*PLUG_IN, 'kit.control="fixed"'), "kit.fixed_power_w"),
        ((*PLUG_IN, "kit.fixed_power_w=200"), "kit.fixed_power_w"),
        (("kit.meter_lag_seconds=5",), "kit.meter_lag_seconds"),
        ((*PLUG_IN, 'kit.control="none"', "kit.meter_lag_seconds=5"), "kit.meter_lag_seconds"),
        ((*PLUG_IN, "kit.meter_lag_seconds=61"), "kit.meter_lag_seconds"),
        ((*PLUG_IN, "kit.meter_lag_seconds=5", "study.step_minutes=5"), "study.step_minutes"),
    ],
)
def test_what_does_not_fit_is_refused(changes, key):
    """A control for sockets, fixed without a power, a power without the control."""
    with pytest.raises(InputError) as caught:
        read_scenario(FLAT, changes)
    assert key in [problem.key for problem in caught.value.problems]


def test_a_rise_is_served_late_by_hand():
    """From 100 W to 600 W with a lag of 6 seconds: for a tenth of the minute 500 W come from the grid, 50 W on the mean.

    The unit gives the same 50 W away when the load falls: they are exported, or lost where nothing may be exported.
    """
    minute = HOUR._replace(hours=1.0 / 60.0)
    for limit, exported in ((np.inf, 50.0), (200.0, 20.0), (0.0, 0.0)):
        kit = LOSSLESS._replace(export_limit_w=limit)
        flows, _ = follow_late(kit, minute, 0.0, 700.0, 600.0, 0.0, 100.0, 0.1 / 60.0)
        assert (flows.battery_to_load, flows.grid_to_load) == pytest.approx((550.0, 50.0))
        assert (flows.grid_export, flows.losses) == pytest.approx((exported, 50.0 - exported))
        assert flows.battery_discharge == pytest.approx(600.0)


def test_sun_that_was_exported_serves_a_rise_at_once():
    """Full cells and 500 W of sun on 100 W of load: the 400 W that went to the grid serve a rise to 500 W."""
    full = LOSSLESS._replace(capacity_wh=100.0)
    _, exported = follow_late(full, HOUR, 0.0, 100.0, 100.0, 500.0, 0.0, 0.1 / 60.0)
    assert exported == pytest.approx(400.0)
    flows, _ = follow_late(full, HOUR, 0.0, 100.0, 500.0, 500.0, 100.0 + exported, 0.1 / 60.0)
    assert flows.grid_to_load == 0.0


@pytest.mark.parametrize("seconds", [6, 30])
def test_a_lag_is_the_load_shifted_in_time(seconds):
    """Twelve hours second by second, the output being the load some seconds ago: the same import and export, to 1e-9."""
    rng = np.random.default_rng(seconds)
    load = np.repeat(rng.choice([0.0, 60.0, 150.0, 900.0, 1000.0], 240), 3)
    load[[0, -1]] = 0.0
    each_second = np.repeat(load, 60)
    output = np.concatenate([np.zeros(seconds), each_second[:-seconds]])
    imported = np.maximum(each_second - output, 0.0).sum() / 3.6e6
    exported = np.maximum(output - each_second, 0.0).sum() / 3.6e6
    assert imported > 0.01
    slots = 12
    inputs = DispatchInputs(
        solar_w=np.zeros((1, 1, slots)), run_w=load[:, None], run_minutes=np.ones(len(load)),
        first_run=60 * np.arange(slots + 1)[None], wired_w=np.zeros((1, 1, slots)), input_of_plane=[0], rank_row=[-1],
        rank_below=[False], scale_row=[0], day_rank=np.zeros((1, 2, 365)), charge_allowed=np.ones((1, 365)),
    )  # fmt: skip
    zeros = np.zeros(slots, dtype=int)
    plan = SlotPlan(
        slot_minutes=60,
        month=zeros,
        day=zeros,
        start_minute=60 * np.arange(slots),
        rate=zeros,
        lag_minutes=seconds / 60,
    )
    params = param_rows(1, capacity_wh=20_000.0, discharge_w=2000.0, inverter_rating_w=1000.0, export_limit_w=np.inf)
    arguments = {
        "plane_weight": np.ones((1, 1)), "input_limit_w": np.full((1, 1), np.inf), "pool_year": np.zeros(1, dtype=int),
        "stored_wh": 20_000.0,
    }  # fmt: skip
    for dispatched in (dispatch_year, dispatch_slow):
        found = dispatched("plug_in", inputs, plan, params, **arguments)
        flows = (found.yearly_kwh(Flow.GRID_IMPORT)[0], found.yearly_kwh(Flow.GRID_EXPORT)[0])
        assert flows == pytest.approx((imported, exported), rel=1e-9)


def test_a_lag_costs_some_of_the_saving(read_small):
    """A tenth of a minute costs something, a minute more; none is the result without the key, bit for bit."""
    changes = (*PLUG_IN, "study.draws=16", "study.horizon_years=1", "study.step_minutes=1")

    def saving(*lag):
        return assessment(read_small(*changes, *lag)).valuation.saving[0].mean()

    without, none, short, long = (
        saving(*lag) for lag in ((), *(("kit.meter_lag_seconds=" + s,) for s in ["0", "6", "60"]))
    )
    assert without == none
    assert without > short > long > 0.5 * without
