"""Rows of the unit cube through the whole model: shared simulations, factors, luck, and the order of a real ranking."""

from pathlib import Path

import numpy as np
import pytest

from riskcalc.answers.assess import PRICE_LUCK, YEAR_LUCK
from riskcalc.answers.factors import correlated_groups, factors_of, is_money_only, price_luck_varies, worth_fit
from riskcalc.answers.ranked import agreement, assessed_in, first_by_order, first_by_share
from riskcalc.answers.rows import index_rows
from riskcalc.answers.sobol import FIRST_YEAR_SAVING, WORTH, distinct, evaluated_rows, screening, sobol_run
from riskcalc.scenario import read_scenario
from riskcalc.study.model import drawn_values, evaluated, world_of
from riskcalc.uncertainty.indices import sobol_rows
from riskcalc.uncertainty.ranking import factor_shares

SCENARIOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))

UNCERTAIN = (
    "home.annual_use_kwh={ distribution = 'uniform', low = 1500, high = 2500 }",
    "purchase.price={ distribution = 'uniform', low = 100, high = 700 }",
    "tariff.rates.day.import_price_per_kwh={ distribution = 'uniform', low = 0.25, high = 0.35 }",
    # With a kit on the sockets nothing is ever sent: the model never reads this input.
    "tariff.export_price_per_kwh={ distribution = 'uniform', low = 0, high = 0.3 }",
    "study.pool_years=4",
    "prices.spread=0.03",
)


def rows_of(factors, points, seed=1):
    return sobol_rows(factors.cube(), points=points, seed=seed)


def test_shared_simulations_change_nothing(read_small):
    """Worth and saving of every row are, to the last bit, those of a full run of each row, with fewer simulations."""
    scenario = read_small(*UNCERTAIN)
    factors, world = factors_of(scenario), world_of(scenario)
    rows = rows_of(factors, 8)
    found = evaluated_rows(scenario, world, factors, rows)
    random = factors.design(rows)
    _, money = evaluated(scenario, world, random, drawn_values(scenario, random))
    assert np.array_equal(found.outcomes[WORTH], money.net_present_value)
    assert np.array_equal(found.outcomes[FIRST_YEAR_SAVING], money.saving[0])
    # A, B and one block for each of annual use and weather years; prices, costs and price luck are free.
    assert found.simulated == 8 * 4
    assert len(rows) == 8 * (len(factors.entries) + 2)


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_money_inputs_leave_the_energy_alone(path):
    """In every shipped scenario, rows that differ in money inputs only have the same energy as rows simulated one by one."""
    scenario = read_scenario(path, ["study.step_minutes=30", "study.pool_years=2", "study.horizon_years=4"])
    factors = factors_of(scenario)
    rows = rows_of(factors, 2)
    world = world_of(scenario)
    found = evaluated_rows(scenario, world, factors, rows)
    random = factors.design(rows)
    _, money = evaluated(scenario, world, random, drawn_values(scenario, random))
    assert found.simulated < len(rows)
    assert np.array_equal(found.outcomes[WORTH], money.net_present_value)


def test_factors_do_not_depend_on_the_order_of_the_file(read_small):
    """The same inputs in another order make the same columns, hence the same rows and figures."""
    one, other = (factors_of(read_small(*changes)) for changes in (UNCERTAIN, UNCERTAIN[::-1]))
    assert one.entries == other.entries


def test_luck_takes_part_as_factors(read_small):
    """Price paths and weather years own columns of their own; without spread and with one pool year they are no factors."""
    names = [factor.name for factor in factors_of(read_small(*UNCERTAIN)).entries]
    assert names[-2:] == [PRICE_LUCK, YEAR_LUCK]
    still = factors_of(read_small("purchase.price={ distribution = 'uniform', low = 100, high = 700 }"))
    assert [factor.name for factor in still.entries] == ["purchase.price"]


def test_luck_of_growth_rates_export_and_inflation_is_separate(read_small):
    """The six numbers of a year of a price path come from columns of their own: no two are correlated beyond chance.

    512 points, 15 pairs: chance passes 4 standard errors (0.18) once in a thousand such tests.
    """
    factors = factors_of(read_small(*UNCERTAIN))
    path = factors.design(rows_of(factors, 512)[:: len(factors.entries) + 2]).path
    drawn = [
        path.growth_normals[1],
        path.export_normals[1],
        path.jump_uniforms[1],
        path.jump_normals[1],
        path.rate_normals[1],
        path.inflation_normals[1],
    ]
    found = np.corrcoef(np.stack(drawn))
    assert np.abs(found[np.triu_indices(6, 1)]).max() < 4.0 / np.sqrt(512)


FLAT_PATH, NO_JUMPS = "prices.import_path=[1, 1, 1]", "prices.jump_chance_per_year=0"


@pytest.mark.parametrize(
    ("changes", "varies"),
    [
        (["prices.spread=0.03"], True),
        (["prices.spread=0", NO_JUMPS], False),
        (["prices.spread=0", NO_JUMPS, "prices.inflation_spread=0.01"], True),
        (["prices.spread=0.03", FLAT_PATH], False),
        (["prices.spread=0.03", FLAT_PATH, "prices.inflation_spread=0.01"], True),
        (["prices.inflation_spread=0.01", "FILE"], False),
    ],
    ids=["spread", "none", "inflation", "given path", "given path, drawn inflation", "given inflation"],
)
def test_when_prices_have_luck(read_small, tmp_path, changes, varies):
    """Prices have luck where a path is drawn, and inflation where it is; a given path or a file of both leaves none."""
    if "FILE" in changes:
        file = tmp_path / "years.csv"
        file.write_text("year,import,inflation\n2025,1,0.02\n2026,1,0.02\n2027,1,0.03\n", encoding="utf-8")
        changes = [*changes[:-1], f"prices.path_file='{file}'"]
    assert price_luck_varies(read_small(*changes)) is varies


def test_design_meets_every_pool_year_and_keeps_correlations(read_small):
    """Pool years are met equally often, and the normal scores of a correlated group have the asked correlation."""
    from scipy import special

    scenario = read_small(
        *UNCERTAIN[:3],
        "study.pool_years=4",
        "correlations=[{ between = ['purchase.price', 'home.annual_use_kwh'], value = 0.6 }]",
    )
    factors = factors_of(scenario)
    random = factors.design(rows_of(factors, 1024))
    joined = next(factor for factor in factors.entries if len(factor.keys) == 2)
    assert joined.name == "home.annual_use_kwh + purchase.price"
    assert not joined.money_only
    scores = special.ndtri(np.stack([random.unit[key] for key in joined.keys]))
    assert np.corrcoef(scores)[0, 1] == pytest.approx(0.6, abs=0.02)
    met = np.bincount(random.pool_year[0], minlength=4) / random.draws
    assert met == pytest.approx(0.25, abs=0.01)


def test_correlated_groups():
    """Correlations join keys also through others; what none holds stays alone."""
    groups = correlated_groups(["a", "b", "c", "d"], {("c", "d"): 0.1, ("a", "c"): 0.2, ("a", "elsewhere"): 0.9})
    assert groups == (("a", "c", "d"), ("b",))


def test_distinct_rows():
    """Equal rows share a place, in order of first appearance; without columns all rows are alike."""
    first, which = distinct(np.array([[2.0, 1.0], [1.0, 1.0], [2.0, 1.0], [0.0, 5.0]]))
    assert first.tolist() == [0, 1, 3]
    assert which.tolist() == [0, 1, 0, 2]
    assert distinct(np.zeros((3, 0)))[1].tolist() == [0, 0, 0]


def test_what_is_money_only():
    """Prices and costs are; a warranty, which decides what is replaced, and the kit are not."""
    assert is_money_only("purchase.price")
    assert is_money_only("outages.value_per_hour")
    assert not is_money_only("purchase.warranty_years")
    assert not is_money_only("kit.inverter.idle_w")


def test_ranking_of_a_scenario(read_small):
    """The price of the kit, spread widest by far, comes first and is settled; an input that is never read has total order 0.

    By hand: the price has variance 800^2 / 12 = 53,333; a day price of +-0.05 on some 300 kWh over three years less than 600.
    """
    scenario = read_small(*UNCERTAIN, "purchase.price={ distribution = 'uniform', low = 100, high = 900 }")
    factors, world = factors_of(scenario), world_of(scenario)
    run = sobol_run(scenario, world, factors, points=64, most_points=64)
    found = run.outcomes[WORTH]
    assert found.order.places[0].name == "purchase.price"
    assert found.order.places[0].settled
    totals = dict(zip(found.factors.names, found.factors.total, strict=True))
    assert totals["tariff.export_price_per_kwh"] == 0.0
    errors = dict(zip(found.factors.names, found.factors.total_error, strict=True))
    assert totals["purchase.price"] == pytest.approx(0.99, abs=3 * errors["purchase.price"])
    assert sum(totals[name] for name in totals if name != "purchase.price") < 0.1
    families = dict(zip(found.families.names, found.families.total, strict=True))
    assert families["kit"] == pytest.approx(totals["purchase.price"], abs=1e-9)
    saving = run.outcomes[FIRST_YEAR_SAVING].factors
    assert dict(zip(saving.names, saving.total, strict=True))["purchase.price"] == 0.0
    screened = screening(scenario, world, factors, trajectories=128)
    assert screened.factors[0].name == "purchase.price"
    assert "tariff.export_price_per_kwh" in screened.left_out
    # Next to the price it hardly moves the worth, but it decides the saving of a year. By hand: over the 5 % to
    # 95 % points the price moves it by 0.9 of 800; the use by some 60.
    assert screened.factors[0].effect == pytest.approx(0.9 * 800.0, rel=1e-9)
    use = next(factor for factor in screened.factors if factor.name == "home.annual_use_kwh")
    assert use.kept
    assert use.effect + 2.0 * use.error < 0.1 * screened.factors[0].effect


def test_an_input_that_a_shipped_scenario_does_not_use():
    """The portable unit in the garden sends nothing, sees no roof and never charges from the grid: total orders of exactly 0.

    Their intervals hold 0 and nothing else, for worth and for saving; the shading of the garden, which is used, does not.
    """
    short = ["study.step_minutes=30", "study.pool_years=2", "study.horizon_years=2", "outages.per_year=0"]
    scenario = read_scenario(SCENARIOS[0].with_name("terrace-portable.toml"), short)
    run = sobol_run(scenario, world_of(scenario), factors_of(scenario), points=16, most_points=16)
    for outcome in (WORTH, FIRST_YEAR_SAVING):
        rows = {row["factor"]: row for row in index_rows(run.outcomes[outcome].factors, {}, {})}
        for unused in (
            "tariff.export_price_per_kwh",
            "home.surfaces.roof.shading",
            "home.surfaces.roof.azimuth_deg",
            "kit.charger.efficiency",
        ):
            assert rows[unused]["total_order"]["value"] == 0.0
            low, high = rows[unused]["total_order"]["interval_95"]
            assert low <= 0.0 <= high
        assert rows["home.surfaces.garden.shading"]["total_order"]["value"] > 0.01


def test_draws_of_an_assessment_name_the_same_first_three(read_small):
    """Of seven factors the draws of an assessment name the three that the Sobol' design puts first, each by its own error.

    Nothing is tied at the edge: the fourth is clearly behind the third in both, so the agreement is no empty one. Each
    scramble meets several weather years: with one each, their luck could not be told from that of the scrambles.
    """
    scenario = read_small(
        "purchase.price={ distribution = 'uniform', low = 500, high = 600 }",
        "tariff.rates.day.import_price_per_kwh={ distribution = 'uniform', low = 0.25, high = 0.35 }",
        "home.annual_use_kwh={ distribution = 'uniform', low = 1000, high = 3000 }",
        "prices.discount_rate_per_year={ distribution = 'uniform', low = 0.03, high = 0.05 }",
        "kit.inverter.idle_w={ distribution = 'uniform', low = 10, high = 14 }",
        "tariff.export_price_per_kwh={ distribution = 'uniform', low = 0, high = 0.3 }",
        "study.pool_years=32",
        "study.draws=256",
    )
    world = world_of(scenario)
    found = assessed_in(scenario, world)
    data = factor_shares(*worth_fit(found))
    run = sobol_run(scenario, world, factors_of(scenario), points=128, most_points=128)
    first = first_by_order(run.outcomes[WORTH].order)
    by_data = first_by_share([(row.name, row.share, row.error) for row in data])
    expected = {"purchase.price", "tariff.rates.day.import_price_per_kwh", "home.annual_use_kwh"}
    assert first.certain == first.possible == by_data.certain == by_data.possible == expected
    assert agreement(run, data, None).given_data_agrees


def test_until_settled_continues_the_same_design(read_small):
    """Going on from 16 to 64 points ends with the very indices of a run of 64, and simulates nothing twice."""
    scenario = read_small(*UNCERTAIN, "purchase.price=600", "home.annual_use_kwh=2000")
    factors, world = factors_of(scenario), world_of(scenario)
    going_on = sobol_run(scenario, world, factors, points=16, most_points=64, until_settled=True)
    at_once = sobol_run(scenario, world, factors, points=going_on.points, most_points=64)
    assert going_on.outcomes[WORTH].order.finished or going_on.points == 64
    assert np.array_equal(going_on.outcomes[WORTH].factors.total, at_once.outcomes[WORTH].factors.total)
    assert going_on.simulated == at_once.simulated


def test_nothing_to_rank(read_small):
    """Outcomes that do not vary are named, not ranked."""
    scenario = read_small("tariff.export_price_per_kwh={ distribution = 'uniform', low = 0, high = 0.3 }")
    run = sobol_run(scenario, world_of(scenario), factors_of(scenario), points=4, most_points=4)
    assert run.outcomes == {}
    assert run.still == (WORTH, FIRST_YEAR_SAVING)
