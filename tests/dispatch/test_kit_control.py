"""What sets the output of a unit on the home's wires: a meter, a fixed power, nothing."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from riskcalc.errors import InputError
from riskcalc.scenario import read_scenario
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
    ],
)
def test_what_does_not_fit_is_refused(changes, key):
    """A control for sockets, fixed without a power, a power without the control."""
    with pytest.raises(InputError) as caught:
        read_scenario(FLAT, changes)
    assert key in [problem.key for problem in caught.value.problems]
