"""Outages: the estimate of what is bridged, against outages put into a traced year, and against its limits."""

import numpy as np
import pytest

from riskcalc.answers.limits import outage_limits
from riskcalc.dispatch import param_rows
from riskcalc.errors import InputError
from riskcalc.study.draw_blocks import Threads
from riskcalc.study.model import assessment
from riskcalc.years.bridging import hours_carried, hours_in_year
from riskcalc.years.simulation import Plant, bridged_outages, traced_draw

YEAR = ("study.horizon_years=1", "home.annual_use_kwh=1500")


def outage(length_hours, **more):
    """Return the table [outages] as an override."""
    keys = {"per_year": 4, "hours_each": length_hours, **more}
    return "outages={" + ", ".join(f"{key}={value}" for key, value in keys.items()) + "}"


def test_hours_of_an_outage_by_hand():
    """200 W without sun on 1000 Wh, no idle draw: 5 of 8 hours; above the rating, none; with sun enough, all."""
    hours = 24
    steps = {
        "reachable_demand_w": np.full(hours, 200.0),
        "pv_available_w": np.zeros(hours),
        "battery_stored_wh": np.full(hours, 1000.0),
    }
    ideal = {"capacity_wh": 2000.0, "discharge_w": 900.0, "charge_w": 900.0, "inverter_rating_w": 300.0}
    params = param_rows(1, **ideal, discharge_efficiency=1.0, charge_efficiency=1.0, solar_efficiency=1.0)[:, 0]
    asked = {"step_minutes": 60, "length_hours": 8.0, "starts": 5}
    assert hours_in_year(steps, params, **asked) == 5.0
    assert hours_in_year({**steps, "reachable_demand_w": np.full(hours, 301.0)}, params, **asked) == 0.0
    assert hours_in_year({**steps, "pv_available_w": np.full(hours, 200.0)}, params, **asked) == 8.0
    half = param_rows(1, **ideal, floor_wh=600.0, discharge_efficiency=0.5, charge_efficiency=1.0, solar_efficiency=1.0)
    assert hours_in_year(steps, half[:, 0], **asked) == 1.0, "400 Wh above the floor give 200 at the inverter: one hour"


@pytest.mark.parametrize("length_hours", [1, 3, 8])
def test_the_scaled_estimate_holds_in_draws_that_were_not_traced(read_small, length_hours):
    """Uncertain use and battery: each draw within a fifth of the outage, their mean within a tenth, of traced years."""
    uncertain = (
        'home.annual_use_kwh={distribution="uniform", low=1000, high=2500}',
        'kit.battery.capacity_kwh={distribution="uniform", low=0.8, high=1.6}',
        "dispatch.reserve_share=0.3",
    )
    scenario = read_small(*YEAR[:1], *uncertain, outage(length_hours))
    found = assessment(scenario)
    each = bridged_outages(scenario, found.simulation, found.values).hours_bridged[0] / 4.0
    plant = Plant(scenario, found.world.pools, found.world.plan, found.values, found.design.pool_year)
    request = plant.year_request(0, capacity_share=np.ones(16), working=np.ones(16, dtype=bool), stored_wh=np.zeros(16))
    others = list(range(1, 16, 2))  # not the first of their scrambles, which are traced
    truth = [
        hours_in_year(traced_draw(request, draw), request.params[:, draw], step_minutes=1, length_hours=length_hours)
        for draw in others
    ]
    assert each[others] == pytest.approx(truth, abs=0.2 * length_hours)
    assert each[others].mean() == pytest.approx(np.mean(truth), abs=0.1 * length_hours)


def test_where_all_draws_agree_the_scaled_estimate_is_the_traced_outages(read_small):
    """One kind of draw only: hours bridged equal those of outages put into its year, to rounding."""
    scenario = read_small(*YEAR, outage(3), "study.pool_years=1")
    found = assessment(scenario)
    plant = Plant(scenario, found.world.pools, found.world.plan, found.values, found.design.pool_year)
    request = plant.year_request(0, capacity_share=np.ones(16), working=np.ones(16, dtype=bool), stored_wh=np.zeros(16))
    truth = hours_in_year(traced_draw(request, 0), request.params[:, 0], step_minutes=1, length_hours=3)
    assert 1.0 < truth < 3.0
    assert found.simulation.hours_carried[0] == pytest.approx(np.full(16, truth), rel=1e-9)
    assert found.simulation.hours_bridged == pytest.approx(np.full(16, 4.0 * truth), rel=1e-9)


def test_a_reserve_bridges_more(read_small):
    """Keeping half the battery for outages bridges more hours of them and saves less in ordinary times."""
    none, half = (assessment(read_small(*YEAR, outage(5), f"dispatch.reserve_share={share}")) for share in (0.0, 0.5))
    hours = [
        bridged_outages(found.scenario, found.simulation, found.values).hours_bridged[0, 0] for found in (none, half)
    ]
    assert hours[0] < hours[1] <= 20.0
    assert half.valuation.saving[0, 0] < none.valuation.saving[0, 0]


def test_hours_carried_in_limiting_cases():
    """By hand: 400 Wh over 100 W is 4 of 6 hours; sun above the load carries all; nothing stored and no sun, none."""
    six = np.array([6.0])

    def hours(stored_wh, solar_w, *, lit=True):
        return hours_carried(
            six, stored_wh=np.array([stored_wh]), drawn_w=np.array([100.0]), solar_w=np.array([solar_w]), starts_lit=lit
        )[0]

    assert hours(400.0, 0.0) == 4.0
    assert hours(0.0, 0.0) == 0.0
    assert hours(900.0, 0.0) == 6.0
    assert hours(0.0, 100.0) == 6.0, "lit for 3/4 of 6 h: twice the mean, 150 W of 100"
    assert hours(100.0, 100.0, lit=False) == pytest.approx(2.0), "lit for 1/4: 50 W, 100 Wh over the other 50 W"


def test_bridged_hours_are_worth_what_the_scenario_says(read_small):
    """Each hour at 3 and each kWh at 10, at that year's prices, and the payback counts them as savings."""
    plain = assessment(read_small(outage(2), "prices.inflation_per_year=0.05"))
    valued = assessment(read_small(outage(2, value_per_hour=3, value_per_kwh=10), "prices.inflation_per_year=0.05"))
    bridged = bridged_outages(valued.scenario, valued.simulation, valued.values)
    worth = (3.0 * bridged.hours_bridged + 10.0 * bridged.kwh_served) * 1.05 ** np.arange(3)[:, None]
    assert valued.valuation.flows.by_kind["outages"][1:] == pytest.approx(worth)
    assert not plain.valuation.flows.by_kind["outages"].any()
    assert np.all(valued.valuation.net_present_value > plain.valuation.net_present_value)
    assert np.array_equal(valued.valuation.saving, plain.valuation.saving), "the bill does not know of outages"


def test_a_wired_system_bridges_nothing_unless_it_says_so(read_small):
    """Whole-home systems need equipment for it: no hours by default, some with kit_bridges = true."""
    wired = ('kit.coupling="whole_home"', *YEAR)
    for changes, some in ((outage(3), False), (outage(3, kit_bridges="true"), True)):
        found = assessment(read_small(*wired, changes))
        hours = bridged_outages(found.scenario, found.simulation, found.values).hours_bridged
        assert bool((hours > 0.0).all()) is some


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        (('kit.coupling="plug_in"', outage(3, kit_bridges="true")), "outages.kit_bridges"),
        ((outage(0),), "outages.hours_each"),
    ],
)
def test_what_cannot_be_is_refused(read_small, changes, key):
    """A plug-in inverter that works without the grid, an outage of no length: refused with the key."""
    with pytest.raises(InputError) as caught:
        read_small(*changes)
    assert [problem.key for problem in caught.value.problems] == [key]


def test_hours_bridged_do_not_know_how_draws_were_divided(read_small):
    """Stays, outages and blocks of use in blocks of 4 draws or all at once: every worth and hour agrees to the bit."""
    changes = (
        outage(3, value_per_hour=2),
        'home.annual_use_kwh={distribution="uniform", low=1000, high=2500}',
        "tariff.blocks.second={above_kwh=100, extra_per_kwh=0.1}",
        'tenure={kind="rent", moving_chance_per_year=0.3, permission_refused_chance=0.2}',
    )
    whole, divided = (assessment(read_small(*changes), workers=Threads(count=1, most_draws=most)) for most in (2048, 4))
    assert np.array_equal(whole.valuation.net_present_value, divided.valuation.net_present_value)
    assert np.array_equal(whole.simulation.hours_bridged, divided.simulation.hours_bridged)
    assert np.array_equal(whole.simulation.monthly_import_kwh, divided.simulation.monthly_import_kwh)


def test_outages_that_nothing_bridges_are_told(read_small):
    """A wired kit that does not say whether it carries the home through an outage: a note with the key, else none."""
    wired = 'kit.coupling="whole_home"', "outages={per_year=2, hours_each=3, value_per_hour=5}"
    asked = assessment(read_small(*wired))
    assert any("outages.kit_bridges" in line for line in outage_limits(asked))
    assert bool(np.all(asked.valuation.flows.by_kind["outages"] == 0.0))
    for said in ("false", "true"):
        assert not list(outage_limits(assessment(read_small(*wired, f"outages.kit_bridges={said}"))))
    assert not list(outage_limits(assessment(read_small(wired[1]))))
