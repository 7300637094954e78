"""Claims held against the futures: measures by hand, seasons that add up, odds and the way to an even chance."""

from dataclasses import replace

import numpy as np
import pytest

from riskcalc.answers import claims
from riskcalc.answers.assess import first_year_arrays
from riskcalc.answers.claims import claim_result, claim_results, measure_of, season_energy
from riskcalc.answers.insight import insight
from riskcalc.answers.rows import insight_figures
from riskcalc.scenario import Claim
from riskcalc.scenario.claims import FIRST_YEAR, MEASURES
from riskcalc.study.model import assessment
from riskcalc.uncertainty.summary import share_within
from riskcalc.years.simulation import run_year

PRICE = "purchase.price={ distribution = 'uniform', low = 20, high = 400 }"
USE = "home.annual_use_kwh={ distribution = 'uniform', low = 1000, high = 3000 }"


@pytest.fixture
def found(read_small):
    return assessment(read_small(PRICE, USE, "study.draws=64", "study.pool_years=4", "study.step_minutes=30"))


def claim(measure, **limits):
    return Claim(sentence="As published.", measure=measure, **limits)


def measured(found, measure, **limits):
    return measure_of(claim(measure, **limits or {"at_least": 0.0}), found)(found)


def test_every_first_year_figure_can_be_claimed(found):
    """The names a scenario accepts are those of result.json, and every measure but outages gives one figure per draw."""
    assert set(FIRST_YEAR) == set(first_year_arrays(found))
    for name in (*FIRST_YEAR, *MEASURES):
        if name != "hours_bridged":
            assert measured(found, name).shape == (found.draws,)
    for name in FIRST_YEAR:
        assert measured(found, name) == pytest.approx(first_year_arrays(found)[name], rel=1e-9)


def test_payback_claim_is_the_odds_of_payback(found):
    """A claim of payback within N years has the probability that the assessment gives for N years, never-draws included."""
    for years in (1.5, 3.0):
        result = claim_result(found, claim("payback_years", at_most=years))
        assert result.probability.value == share_within(found.valuation.payback_years, years)
        assert result.probability.standard_error > 0.0


def test_saving_is_averaged_over_the_years_asked(found):
    """saving_per_year with years = 2 is the mean of the first two years' savings."""
    assert measured(found, "saving_per_year", at_least=1.0, years=2) == pytest.approx(
        found.valuation.saving[:2].sum(axis=0) / 2
    )


def test_seasons_add_up_to_the_year(found):
    """The bills and savings of summer and winter months, each from a run of its own, add up to those of the year."""
    halves = [tuple(range(1, 7)), tuple(range(7, 13))]
    for name in ("saving", "bill_without", "bill_with", "import_kwh", "solar_used_kwh"):
        parts = sum(measured(found, name, at_least=0.0, months=months) for months in halves)
        assert parts == pytest.approx(first_year_arrays(found)[name], rel=1e-6, abs=1e-6)
    whole = measured(found, "bill_cut_share", at_least=0.0, months=tuple(range(1, 13)))
    assert whole == pytest.approx(measured(found, "bill_cut_share"), rel=1e-6)


def test_the_season_is_run_a_few_draws_at_a_time(found, monkeypatch):
    """Memory does not grow with the draws: never more at once than allowed, with the same bits."""
    monkeypatch.setenv("RISKCALC_CACHE", "off")
    whole = season_energy(replace(found), (6, 7))
    monkeypatch.setattr(claims, "AT_ONCE", 24)
    sizes = []

    def noted(request):
        sizes.append(len(request.pool_year))
        return run_year(request)

    monkeypatch.setattr(claims, "run_year", noted)
    parts = season_energy(replace(found), (6, 7))
    assert sizes == [24, 24, 16]
    assert np.array_equal(parts.billed_kwh, whole.billed_kwh)


def test_the_season_is_kept_by_what_decides_it(found, monkeypatch, tmp_path):
    """Another price runs nothing again, from the same store; another use of the home does."""
    monkeypatch.setenv("RISKCALC_CACHE", str(tmp_path))
    runs = []

    def noted(request):
        runs.append(len(request.pool_year))
        return run_year(request)

    monkeypatch.setattr(claims, "run_year", noted)
    first = season_energy(replace(found), (6, 7))
    dearer = {**found.values, "purchase.price": 2.0 * found.values["purchase.price"]}
    again = season_energy(replace(found, values=dearer), (6, 7))
    assert runs == [found.draws]
    assert np.array_equal(first.billed_kwh, again.billed_kwh)
    busier = {**found.values, "home.annual_use_kwh": 1.2 * found.values["home.annual_use_kwh"]}
    other = season_energy(replace(found, values=busier), (6, 7))
    assert runs == [found.draws] * 2
    assert (other.billed_kwh[0].sum(axis=0) > first.billed_kwh[0].sum(axis=0)).all()
    season_energy(replace(found), (6, 8))
    assert len(runs) == 3


def test_shares_and_months_by_hand(found):
    """Served shares come from the yearly flows; a home with wired loads takes from the grid in every month."""
    year = first_year_arrays(found)
    served = year["solar_to_load_kwh"] + year["battery_to_load_kwh"]
    assert measured(found, "demand_served_share") == pytest.approx(served / year["demand_kwh"])
    assert measured(found, "reachable_demand_served_share") == pytest.approx(served / year["reachable_demand_kwh"])
    assert not measured(found, "months_without_grid_use").any()
    assert not measured(found, "months_without_grid_use", at_least=1.0, months=(6, 7)).any()


def test_at_least_and_at_most_are_opposites(found):
    """Where no draw meets the limit exactly, the two probabilities add up to 1."""
    limit = float(np.mean(np.sort(found.valuation.saving[0])[31:33]))
    more, less = (claim_result(found, claim("saving", **{side: limit})) for side in ("at_least", "at_most"))
    assert more.probability.value == pytest.approx(0.5)
    assert more.probability.value + less.probability.value == pytest.approx(1.0)


def test_a_limit_met_exactly_is_met(found):
    """At least 0 months is true, at least 1 false, of a count that is 0 in every draw."""
    counts = [claim_result(found, claim("months_without_grid_use", at_least=months)) for months in (0.0, 1.0)]
    assert [result.probability.value for result in counts] == [1.0, 0.0]


def test_way_to_an_even_chance(found):
    """Saying that it pays back within 1 year is wrong; the price brings an even chance at the middle yearly saving."""
    result = claim_result(found, claim("payback_years", at_most=1.0))
    assert result.probability.value < 0.5
    assert result.move.key == "purchase.price"
    assert result.move.value == pytest.approx(np.median(found.valuation.saving[0]), rel=0.05)


def test_an_even_chance_needs_no_move(read_small):
    """A claim that is true in half of the draws is an even chance as it stands; one of a quarter is not.

    Sixteen weather years, so that their luck does not hide what the use of electricity does.
    """
    found = assessment(read_small(PRICE, USE, "study.draws=64", "study.pool_years=16", "study.step_minutes=30"))
    saving = np.sort(found.valuation.saving[0])
    even, unlikely = (claim_result(found, claim("saving", at_least=float(saving[place]))) for place in (32, 48))
    assert even.is_even
    assert even.move is None
    assert not unlikely.is_even
    assert unlikely.move is not None


def test_energy_claims_are_not_moved_by_money(found):
    """Of a claim about energy only what enters the energy is moved: never the price.

    The share served falls as the use rises, so the share that one draw in four reaches is that of a use at its quarter
    point, 1,500 kWh: moved there, every second draw reaches it. Within three errors and the gap of 31 kWh between draws.
    """
    reached = float(np.sort(measured(found, "demand_served_share"))[47:49].mean())
    result = claim_result(found, claim("demand_served_share", at_least=reached))
    assert result.probability.value == 0.25
    assert result.move.key == "home.annual_use_kwh"
    assert result.move.value == pytest.approx(1500.0, abs=3.0 * result.move.error + 2000 / 64)


def test_what_is_not_measured_says_so(found):
    """Hours bridged without outages in the scenario have no probability rather than one of 0."""
    assert claim_result(found, claim("hours_bridged", at_least=1.0)).probability is None


def test_what_lies_beyond_the_horizon_is_not_measured(found):
    """With a horizon of 3 years nobody can say whether it pays back within 4, or what the first 4 years save on average."""
    assert claim_result(found, claim("payback_years", at_most=4.0)).probability is None
    assert claim_result(found, claim("saving_per_year", at_least=1.0, years=4)).probability is None
    assert claim_result(found, claim("payback_years", at_most=3.0)).probability is not None


def test_hours_bridged(read_small):
    """With outages in the scenario the hours bridged of each draw are the simulation's."""
    outages = read_small("outages={ per_year = 4, hours_each = 2 }", "study.draws=16")
    run = assessment(outages)
    assert np.array_equal(measured(run, "hours_bridged"), run.simulation.hours_bridged)
    assert run.simulation.hours_bridged.max() <= 8.0


def test_claims_of_a_scenario_reach_the_figures(read_small):
    """Claims written in the scenario come back in order, with sentence, probability and the odds of everything else."""
    scenario = read_small(
        PRICE,
        "study.draws=64",
        "claims=[{ sentence = 'One.', measure = 'payback_years', at_most = 2 }, "
        "{ sentence = 'Two.', measure = 'bill_cut_share', at_least = 0.1, months = [6, 7, 8] }]",
    )
    run = assessment(scenario)
    assert [result.claim.sentence for result in claim_results(run)] == ["One.", "Two."]
    figures = insight_figures(insight(run), scenario)
    assert [row["sentence"] for row in figures["claims"]] == ["One.", "Two."]
    assert 0.0 <= figures["claims"][0]["probability"]["value"] <= 1.0
    assert figures["value_of_information"]["everything"]["value"] >= 0.0
    assert {row["key"] for row in figures["break_even"]} == {"purchase.price"}
    assert figures["odds_ranking"]["within_years"] == scenario.study.horizon_years
