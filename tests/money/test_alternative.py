"""Off grid: demand left unserved, and the kit weighed against a cable."""

from dataclasses import replace

import numpy as np
import pytest

from riskcalc.answers.trace import traced_year
from riskcalc.dispatch import Flow
from riskcalc.errors import InputError
from riskcalc.money.alternative import cable_choice, cable_figures, loss_of_load
from riskcalc.study.model import assessment

ON_GRID_ONLY = ("kit.charger", "dispatch")
OFF_GRID = ('kit.coupling="off_grid"', "home.annual_use_kwh=600", "study.horizon_years=2")
CABLE = (
    'alternative={kind="cable", length_m=60, price_per_m=40, fixed_price=500, import_price_per_kwh=0.2,'
    " standing_charge_per_day=0.1, upkeep_per_year=12, loss_share=0}"
)
UNCERTAIN = (
    'home.annual_use_kwh={distribution="uniform", low=300, high=900}',
    'purchase.price={distribution="uniform", low=400, high=900}',
)


def test_hours_and_days_without_service_are_those_of_the_trace(read_small_without):
    """Counted from the trace of one draw: slots and wall-clock days in which something within reach is not served."""
    scenario = read_small_without(ON_GRID_ONLY, *OFF_GRID)
    found = assessment(scenario)
    clock, steps = found.world.clock, traced_year(scenario, draw=0, year=1)
    unserved = steps["reachable_demand_w"] - steps["pv_to_load_w"] - steps["battery_to_load_w"]
    short = unserved.reshape(clock.slots, -1).sum(axis=1) > 1e-3
    assert 0 < short.sum() < clock.slots
    assert found.simulation.short_hours[0, 0] == short.sum() * clock.slot_minutes / 60.0
    assert found.simulation.short_days[0, 0] == len(np.unique(clock.day[short]))


def test_a_grid_leaves_nothing_unserved(read_small):
    """With a supply the loss of load is exactly 0."""
    simulation = assessment(read_small()).simulation
    assert all(np.all(part == 0.0) for part in loss_of_load(simulation, years=slice(None)).values())


def test_a_larger_battery_never_leaves_more_days_short(read_small_without):
    """Loss of load falls, or stays, as the battery grows."""
    days = [
        assessment(
            read_small_without(ON_GRID_ONLY, *OFF_GRID, f"kit.battery.capacity_kwh={size}")
        ).simulation.short_days[0, 0]
        for size in (0.5, 1.0, 3.0)
    ]
    assert days == sorted(days, reverse=True)
    assert days[0] > days[-1]


def test_the_cable_costs_what_a_hand_calculation_says(read_small_without):
    """60 m at 40, 500 fixed, 600 kWh at 0.2, 0.1 a day and 12 a year for 2 years at 4 %.

    By hand: 2900 + (120 + 36.5 + 12) (1/1.04 + 1/1.04^2) = 2900 + 168.5 x 1.886095 = 3217.807; the demand of the pool
    year meets its annual figure on average over pool years, so the energy is taken from the run.
    """
    found = assessment(read_small_without(ON_GRID_ONLY, *OFF_GRID, CABLE))
    choice = cable_choice(found.scenario, found.valuation, found.simulation, found.values)
    used = found.simulation.yearly_kwh[:2, :, 0].sum(axis=0)
    assert used == pytest.approx([600.0, 600.0], rel=0.1)
    assert choice.cable_outlay[0] == 2900.0
    expected = 2900.0 + sum((0.2 * kwh + 48.5) * 1.04**-year for year, kwh in enumerate(used, start=1))
    assert choice.cable_cost[0] == pytest.approx(expected, rel=1e-12)
    assert choice.kit_cost[0] == pytest.approx(
        600.0 + sum(bill * 1.04**-year for year, bill in enumerate(found.valuation.bill_with[:, 0], start=1)), rel=1e-12
    )


def test_at_the_break_even_length_kit_and_cable_cost_the_same(read_small_without):
    """Putting the break-even length in the place of the length makes the difference 0 in every draw."""
    found = assessment(read_small_without(ON_GRID_ONLY, *OFF_GRID, *UNCERTAIN, CABLE))
    choice = cable_choice(found.scenario, found.valuation, found.simulation, found.values)
    assert np.ptp(choice.difference) > 0.0
    moved = replace(found, values={**found.values, "alternative.length_m": choice.break_even_length_m})
    even = cable_choice(moved.scenario, moved.valuation, moved.simulation, moved.values)
    assert even.difference == pytest.approx(np.zeros(found.draws), abs=1e-9)
    figures = cable_figures(choice, scrambles=8)
    assert figures["kit_cheaper"]["share"].value == (choice.difference > 0.0).mean()


def test_a_cable_is_no_alternative_to_a_kit_on_the_grid(read_small):
    """A home with a supply has nothing to lay a cable for: refused with the key."""
    with pytest.raises(InputError) as caught:
        read_small(CABLE)
    assert caught.value.problems[0].key == "alternative"
    assert "off_grid" in caught.value.problems[0].accepted


def test_loss_of_load_by_hand(read_small):
    """Two years of two draws: unmet over demand, hours over 8,760, days over 365."""
    kwh = np.zeros((len(Flow), 2, 2))
    kwh[Flow.DEMAND_REACHABLE] = [[300.0, 100.0], [300.0, 300.0]]
    kwh[Flow.DEMAND_WIRED] = 100.0
    kwh[Flow.UNMET] = [[40.0, 0.0], [120.0, 30.0]]
    hours, days = np.array([[876.0, 0.0], [0.0, 0.0]]), np.array([[73.0, 0.0], [0.0, 73.0]])
    simulation = replace(assessment(read_small()).simulation, yearly_kwh=kwh, short_hours=hours, short_days=days)
    whole, first = (loss_of_load(simulation, years=part) for part in (slice(None), slice(0, 1)))
    np.testing.assert_allclose(whole["unmet_kwh"], [80.0, 15.0])
    np.testing.assert_allclose(whole["unmet_share"], [80.0 / 400.0, 15.0 / 300.0])
    np.testing.assert_allclose(whole["hours_share"], [0.05, 0.0])
    np.testing.assert_allclose(whole["days_share"], [0.1, 0.1])
    np.testing.assert_allclose(first["unmet_share"], [0.1, 0.0])
    np.testing.assert_allclose(first["hours_share"], [0.1, 0.0])
