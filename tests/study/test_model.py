"""Laws of the whole chain, from scenario to worth."""

import numpy as np
import pytest

from riskcalc.answers.insight import insight
from riskcalc.answers.trace import traced_year
from riskcalc.dispatch import Flow
from riskcalc.errors import InputError
from riskcalc.study import model
from riskcalc.study.model import assessment, design_of, kept_cube
from riskcalc.uncertainty.sampling import unit_cube

UNCERTAIN = (
    'home.annual_use_kwh={distribution="uniform", low=1500, high=2500}',
    'kit.inverter.idle_w={distribution="uniform", low=5, high=20}',
    'purchase.price={distribution="uniform", low=400, high=900}',
    'home.surfaces.balcony.azimuth_deg={distribution="uniform", low=150, high=230}',
    "prices.spread=0.04",
    "prices.jump_chance_per_year=0.1",
    "study.pool_years=4",
    "study.scrambles=4",
)


def test_all_draws_agree_when_nothing_varies(read_small):
    """Every number fixed and one pool year: all draws are the same to the last bit, with standard error zero."""
    money = assessment(read_small()).valuation
    for values in (money.net_present_value, money.payback_years, money.saving[2]):
        assert np.unique(values).size == 1


def test_no_kit_saves_exactly_nothing(read_small_without):
    """Without a kit the saving is exactly 0 in every draw and year, whatever prices and habits do."""
    parts = "kit", "kit.module", "kit.arrays.one", "kit.inputs.solar", "kit.battery", "kit.inverter", "kit.charger"
    scenario = read_small_without((*parts, "dispatch", "purchase"), *UNCERTAIN[:1], *UNCERTAIN[4:])
    found = assessment(scenario)
    assert np.all(found.valuation.saving == 0.0)
    assert np.all(found.valuation.net_present_value == 0.0)
    assert found.valuation.bill_without.min() > 0.0


def test_payback_of_a_constant_saving_is_cost_over_saving(read_small_without):
    """Modules that do not decline, flat prices and one pool year save the same each year: payback = price / saving."""
    scenario = read_small_without(
        ("kit.battery", "kit.charger", "dispatch"),
        'kit.coupling="plug_in"',
        "kit.ageing.module_decline_per_year=0",
        "purchase.price=256",
        "study.horizon_years=30",
    )
    found = assessment(scenario)
    saving = found.valuation.saving
    assert np.unique(saving).size == 1
    assert 1.0 < 256.0 / saving[0, 0] < 30.0
    assert found.valuation.payback_years == pytest.approx(256.0 / saving[0], rel=1e-14)


def test_doubling_every_price_with_the_cost_doubles_the_worth_exactly(read_small):
    """Money has no scale: all prices and costs times two give worth and saving times two to the last bit."""
    once = assessment(read_small(*UNCERTAIN)).valuation
    doubled = (
        *UNCERTAIN,
        "tariff.rates.day.import_price_per_kwh=0.60",
        "tariff.rates.night.import_price_per_kwh=0.30",
        "tariff.export_price_per_kwh=0.10",
        "tariff.standing_charge_per_day=1.0",
        'purchase.price={distribution="uniform", low=800, high=1800}',
    )
    twice = assessment(read_small(*doubled)).valuation
    assert np.array_equal(2.0 * once.saving, twice.saving)
    assert np.array_equal(2.0 * once.net_present_value, twice.net_present_value)
    assert np.array_equal(once.payback_years, twice.payback_years)


def test_never_share_is_that_of_the_balance_at_the_horizon(read_small):
    """Draws that never pay back are exactly those whose balance never reaches zero; a longer horizon can only add paybacks."""
    changes = (*UNCERTAIN, 'purchase.price={distribution="uniform", low=20, high=400}')
    short = assessment(read_small(*changes)).valuation
    never = np.isinf(short.payback_years)
    assert 0 < never.sum() < never.size
    assert np.array_equal(never, (short.cash_balance < 0.0).all(axis=0))


def test_reruns_are_bit_identical_and_seeds_differ(read_small):
    """Same scenario and seed: same bits. Another seed: other draws."""
    one, two = (assessment(read_small(*UNCERTAIN)).valuation for _ in range(2))
    other = assessment(read_small(*UNCERTAIN, "study.seed=2")).valuation
    assert np.array_equal(one.net_present_value, two.net_present_value)
    assert not np.array_equal(one.net_present_value, other.net_present_value)


def test_draws_are_independent_of_their_number_of_columns(read_small):
    """A traced draw, run alone, gives the yearly energies it had among all others, to 1e-6 (issue of neighbours)."""
    scenario = read_small(*UNCERTAIN)
    found = assessment(scenario)
    for draw, year in ((0, 1), (7, 2), (15, 3)):
        columns = traced_year(scenario, draw=draw, year=year)
        hours = scenario.study.step_minutes / 60_000.0
        yearly = found.simulation.yearly_kwh[:, year - 1, draw]
        for flow, column in (
            (Flow.PV_AVAILABLE, "pv_available_w"),
            (Flow.PV_USED, "pv_used_w"),
            (Flow.PV_TO_LOAD, "pv_to_load_w"),
            (Flow.BATTERY_TO_LOAD, "battery_to_load_w"),
            (Flow.GRID_IMPORT, "grid_import_w"),
            (Flow.GRID_TO_BATTERY, "grid_to_battery_w"),
            (Flow.BATTERY_CHARGE, "battery_charge_w"),
            (Flow.BATTERY_DISCHARGE, "battery_discharge_w"),
            (Flow.LOSSES, "losses_w"),
            (Flow.DEMAND_REACHABLE, "reachable_demand_w"),
        ):
            assert columns[column].sum() * hours == pytest.approx(yearly[flow], rel=1e-6, abs=1e-9), (flow.name, draw)


def test_fixing_an_input_finds_the_points_of_the_run_before(read_small, tmp_path, monkeypatch):
    """Kept points are those of `unit_cube`, made once for every choice of inputs; large runs keep none."""
    monkeypatch.setenv("RISKCALC_CACHE", str(tmp_path))
    design_of(read_small(*UNCERTAIN))
    made = []
    monkeypatch.setattr(model, "unit_cube", lambda *asked, **how: made.append(how) or unit_cube(*asked, **how))
    design_of(read_small(*UNCERTAIN, "purchase.price=500"))
    assert made == []
    how = {"draws": 16, "scrambles": 4, "seed": 3}
    for columns in ([3, 7, 200, 411], [0], [7, 3]):
        np.testing.assert_array_equal(kept_cube(columns, **how), unit_cube(columns, **how))
    assert [asked["draws"] for asked in made] == [16]
    kept_cube([3], draws=2 * model.MOST_DRAWS, scrambles=4, seed=3)
    kept_cube([3], draws=2 * model.MOST_DRAWS, scrambles=4, seed=3)
    assert len(made) == 3


def test_bill_can_be_redone_from_the_trace(read_small):
    """The saving of a draw and year is the price-weighted difference of demand and import in its trace."""
    scenario = read_small(*UNCERTAIN)
    found = assessment(scenario)
    columns = traced_year(scenario, draw=3, year=2)
    kwh = scenario.study.step_minutes / 60_000.0
    saved = (columns["demand_w"] - columns["grid_import_w"]) * columns["import_price"]
    saved = saved + columns["grid_export_w"] * columns["export_price"]
    assert saved.sum() * kwh == pytest.approx(found.valuation.saving[1, 3], rel=1e-9)


def test_every_draw_that_is_run_can_be_traced(read_small):
    """20 draws asked in 8 scrambles are 32 run: the last of them has a trace, the next has none."""
    scenario = read_small("study.draws=20")
    assert assessment(scenario).draws == 32
    assert traced_year(scenario, draw=31, year=1)["demand_w"].any()
    with pytest.raises(InputError, match="0 to 31"):
        traced_year(scenario, draw=32, year=1)


def test_every_traced_step_balances(read_small):
    """pv_available = used + curtailed, and sources equal sinks, to 1e-6 of the step's energy."""
    columns = traced_year(read_small(*UNCERTAIN), draw=1, year=1)
    solar = columns["pv_used_w"] + columns["pv_curtailed_w"]
    assert np.abs(columns["pv_available_w"] - solar).max() <= 1e-6 * columns["pv_available_w"].max()
    sources = columns["pv_used_w"] + columns["grid_import_w"] + columns["battery_discharge_w"] + columns["unmet_w"]
    sinks = columns["demand_w"] + columns["grid_export_w"] + columns["battery_charge_w"] + columns["losses_w"]
    assert np.all(np.abs(sources - sinks) <= 1e-6 * np.maximum(sources, 1e-3))


def test_a_worn_battery_is_replaced_and_paid_for(read_small):
    """With heavy wear the battery is replaced before the horizon, at its price, and capacity starts anew."""
    changes = ("kit.ageing.scale=8", "kit.ageing.end_of_life_share=0.8", "study.horizon_years=6")
    paid = ('purchase.when_worn="replace"', "purchase.battery_replacement_price=250")
    found = assessment(read_small(*changes, *paid))
    replaced = found.simulation.battery_replaced[:, 0]
    assert replaced.any()
    assert not replaced[-1]
    year = int(np.argmax(replaced))
    assert found.simulation.capacity_share[year + 1, 0] == 1.0
    assert found.valuation.flows.by_kind["replacement"][year + 1, 0] == pytest.approx(-250.0)


def test_failed_electronics_end_the_saving(read_small):
    """Electronics that fail in the second year and are not replaced: no saving from the third year on, to the last bit."""
    found = assessment(read_small("kit.ageing.electronics_life_years=1.5", "study.horizon_years=4"))
    assert np.all(found.valuation.saving[:2] > 0.0)
    assert np.all(found.valuation.saving[2:] == 0.0)


def test_off_grid_serves_what_it_can(read_small_without):
    """Off grid nothing is imported, and what is not served is unmet; the saving counts what was served."""
    scenario = read_small_without(
        ("kit.charger", "dispatch"),
        'kit.coupling="off_grid"',
        'home.appliances={television="unit"}',
        "home.annual_use_kwh=200",
    )
    found = assessment(scenario)
    kwh = found.simulation.yearly_kwh[:, 0, 0]
    assert kwh[Flow.GRID_IMPORT] == 0.0
    served = kwh[Flow.DEMAND_REACHABLE] + kwh[Flow.DEMAND_WIRED] - kwh[Flow.UNMET]
    assert 0.0 < kwh[Flow.UNMET] < 200.0
    assert 0.15 * served <= found.valuation.saving[0, 0] <= 0.30 * served


def test_impossible_string_is_refused(read_small):
    """Too many modules in series stop the run with the number that would fit."""
    with pytest.raises(InputError, match="open-circuit voltage") as caught:
        assessment(read_small("kit.arrays.one.modules_in_series=2"))
    assert "at most 1 in series" in str(caught.value)


def test_more_draws_keep_the_same_world(read_small):
    """The world does not depend on the number of draws: with nothing uncertain, 16 and 32 draws agree to the last bit."""
    scenario = read_small()
    more = scenario.model_copy(update={"study": scenario.study.model_copy(update={"draws": 32})})
    assert assessment(scenario).valuation.saving[0, 0] == assessment(more).valuation.saving[0, 0]


def test_a_plane_of_which_little_is_known_can_be_assessed(read_small):
    """Both angles uncertain over most of what they can be: many planes, and a yield between that of the extremes."""
    wide = (
        'home.surfaces.balcony.tilt_deg={distribution="uniform", low=0, high=90}',
        'home.surfaces.balcony.azimuth_deg={distribution="uniform", low=0, high=360}',
    )
    solar_kwh = assessment(read_small(*wide)).simulation.yearly_kwh[Flow.PV_AVAILABLE, 0]
    best = assessment(read_small("home.surfaces.balcony.tilt_deg=37", "home.surfaces.balcony.azimuth_deg=180"))
    assert 0.25 * best.simulation.yearly_kwh[Flow.PV_AVAILABLE, 0, 0] < solar_kwh.min()
    assert solar_kwh.max() <= best.simulation.yearly_kwh[Flow.PV_AVAILABLE, 0, 0] * 1.01


def test_too_many_unknown_planes_are_refused(read_small):
    """More planes than dispatch has room for are bad input, said with what to do."""
    arrays = "kit.arrays={" + ", ".join(f"a{n}={{modules_in_series=1, input='solar'}}" for n in range(3)) + "}"
    wide = "{tilt_deg={distribution='uniform', low=0, high=90}, azimuth_deg={distribution='uniform', low=0, high=360}}"
    surfaces = "home.surfaces={" + ", ".join(f"s{n}={wide}" for n in range(3)) + "}"
    with pytest.raises(InputError, match="at most 256"):
        assessment(read_small(arrays, surfaces))


def test_a_scenario_without_uncertain_inputs_has_nothing_to_find_out(read_small):
    """No factor to rank: the insight is empty, and knowing everything is worth nothing."""
    found = insight(assessment(read_small()))
    assert not found.information.factors
    assert found.information.total.value == 0.0
