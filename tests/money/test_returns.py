"""Measures of building economics through the whole chain, and the costs that make them up."""

import numpy as np
import pytest

from riskcalc.money.measures import uniform_present_value
from riskcalc.money.returns import ambiguous, known_quantile, measures, project_rate, worth_by_kind
from riskcalc.study.model import assessment
from riskcalc.uncertainty.summary import mean

UNCERTAIN = (
    'home.annual_use_kwh={distribution="uniform", low=1500, high=2500}',
    'purchase.price={distribution="uniform", low=100, high=900}',
    "prices.spread=0.04",
    "study.scrambles=4",
    "study.pool_years=4",
    "study.horizon_years=8",
    "study.step_minutes=30",
)


def measured(found):
    """Return the measures of an assessment."""
    return measures(found.valuation, found.simulation, found.values)


def test_ratio_above_one_is_worth_above_zero(read_small):
    """Without a loan the savings-to-investment ratio exceeds 1 in exactly the draws of positive worth, AIRR exceeds d.

    Acceptance rules of 10 CFR 436.18(c): net savings above 0, ratio above 1 and AIRR above d are one and the same.
    """
    found = assessment(read_small(*UNCERTAIN, "purchase.upkeep_per_year=5"))
    got, worth = measured(found), found.valuation.net_present_value
    assert 0 < (worth > 0).sum() < worth.size
    assert np.array_equal(got["savings_to_investment_ratio"] > 1.0, worth > 0.0)
    assert np.array_equal(got["adjusted_internal_rate_of_return"] > 0.04, worth > 0.0)
    assert np.array_equal(got["internal_rate_of_return"] > 0.04, worth > 0.0)
    assert got["annual_equivalent"] * uniform_present_value(0.04, 8) == pytest.approx(worth, rel=1e-12)


def test_kinds_of_flow_add_up_to_the_worth(read_small):
    """Mean present values of all kinds sum to the mean net present value."""
    found = assessment(read_small(*UNCERTAIN, 'tenure.kind="rent"', "tenure.stay_years=3", "tenure.moving_cost=20"))
    kinds = worth_by_kind(found.valuation, found.values, scrambles=4)
    assert kinds["moving"].value < 0.0
    total = sum(figure.value for figure in kinds.values())
    assert total == pytest.approx(mean(found.valuation.net_present_value), rel=1e-12)


def test_a_loan_at_the_discount_rate_changes_no_worth(read_small):
    """Borrowing at the rate money is discounted with is worth nothing; ratio, rates and payback in cash do not see it."""
    plain = assessment(read_small(*UNCERTAIN))
    loan = "purchase.loan={financed_share=1.0, rate_per_year=0.04, term_years=12}"
    borrowed = assessment(read_small(*UNCERTAIN, loan))
    assert borrowed.valuation.net_present_value == pytest.approx(plain.valuation.net_present_value, abs=1e-9)
    assert np.array_equal(borrowed.valuation.payback_in_cash_years, plain.valuation.payback_years)
    for name in ("savings_to_investment_ratio", "internal_rate_of_return", "cost_per_kwh_delivered"):
        assert np.array_equal(measured(borrowed)[name], measured(plain)[name]), name
    assert np.all(measured(borrowed)["largest_cumulative_shortfall"] < measured(plain)["largest_cumulative_shortfall"])
    assert borrowed.valuation.flows.total[0] == pytest.approx(np.zeros(borrowed.draws), abs=1e-12)


def test_a_dearer_loan_costs_its_interest(read_small):
    """600 borrowed at 10 % for 2 years, discounted at 4 %: payments 345.714 each, worth 600 - 652.05 (by hand)."""
    found = assessment(read_small("purchase.loan={financed_share=1.0, rate_per_year=0.10, term_years=2}"))
    loan = found.valuation.flows.by_kind["loan"][:, 0]
    payment = 600 * 0.10 / (1 - 1.1**-2)
    assert loan == pytest.approx([600, -payment, -payment, 0], rel=1e-12)
    assert payment == pytest.approx(345.714, abs=5e-4)


def test_discount_and_incentive_come_off_the_outlay(read_small):
    """600 with a discount of 10 %, 50 for the work and a grant of 100: 540 + 50 out, 100 in."""
    found = assessment(read_small("purchase.discount_share=0.1", "purchase.installation=50", "purchase.incentive=100"))
    kinds = found.valuation.flows.by_kind
    assert (kinds["purchase"][0, 0], kinds["incentive"][0, 0]) == pytest.approx((-590.0, 100.0))


def test_opportunity_cost_is_the_interest_forgone(read_small):
    """600 for 3 years at 4 % would have earned 600 (1.04^3 - 1) = 74.9184; an account at 2 %, 36.7248."""
    assert measured(assessment(read_small()))["opportunity_cost"][0] == pytest.approx(74.9184, rel=1e-9)
    account = assessment(read_small("prices.savings_rate_per_year=0.02"))
    assert measured(account)["opportunity_cost"][0] == pytest.approx(36.7248, rel=1e-9)


def test_cost_of_a_kwh_counts_the_energy_bought_to_charge(read_small):
    """Hand-computed from the flows of one draw: price and charging at the night rate over energy delivered."""
    found = assessment(read_small("study.horizon_years=1", "purchase.upkeep_per_year=7"))
    kwh = found.simulation.yearly_kwh[:, 0, 0]
    delivered = kwh[4] + kwh[5] + kwh[9]
    at_night = found.simulation.billed_kwh[1, 1, 0, 0] - found.simulation.billed_kwh[0, 1, 0, 0]
    assert at_night > 0.0
    expected = (600.0 + (7.0 + 0.15 * at_night) / 1.04) / (delivered / 1.04)
    assert measured(found)["cost_per_kwh_delivered"][0] == pytest.approx(expected, rel=1e-9)


def test_a_draw_without_purchase_has_no_measures(read_small):
    """Where permission is refused every measure is NaN and left out of the quantiles, which keep the others."""
    found = assessment(read_small(*UNCERTAIN, 'tenure.kind="rent"', "tenure.permission_refused_chance=0.5"))
    got, bought = measured(found), found.simulation.course.bought
    assert 0 < bought.sum() < bought.size
    for name, drawn in got.items():
        assert np.array_equal(np.isnan(drawn), ~bought), name
    assert known_quantile(np.array([np.nan, 3.0, 1.0]), 0.5) == 2.0


def test_a_kit_that_only_costs_has_no_rate(read_small):
    """Upkeep above every saving: rate minus infinity, ratio negative, no change of sign, nothing called ambiguous."""
    found = assessment(read_small("purchase.upkeep_per_year=1000"))
    got = measured(found)
    assert np.all(got["internal_rate_of_return"] == -np.inf)
    assert np.all(got["adjusted_internal_rate_of_return"] == -np.inf)
    assert np.all(got["savings_to_investment_ratio"] < 0.0)
    assert not ambiguous(project_rate(found.valuation)).any()


def test_disposal_is_paid_when_the_kit_stops_working(read_small):
    """Electronics that end after 2 of 3 years: disposal at the end of year 2 at that year's prices."""
    found = assessment(
        read_small("kit.ageing.electronics_life_years=2", "purchase.disposal_cost=30", "prices.inflation_per_year=0.05")
    )
    assert found.valuation.flows.by_kind["disposal"][:, 0] == pytest.approx([0, 0, -31.5, 0])


@pytest.mark.parametrize(("warranty", "works"), [(0, 2), (2, 4), (3.9, 4), (4, 6), (6, 6)])
def test_failures_within_the_warranty_cost_nothing(read_small, warranty, works):
    """Electronics fail after 2, 4 and 6 years and end an unrepaired kit: the first after the warranty counts."""
    found = assessment(
        read_small(
            "kit.ageing.electronics_life_years=2", f"purchase.warranty_years={warranty}", "study.horizon_years=6"
        )
    )
    assert found.simulation.working[:, 0].sum() == works
    assert not found.valuation.flows.by_kind["replacement"].any()


def test_random_failures_follow_their_chance(read_small):
    """Chance 0.2 a year over 8 years, unrepaired: 0.8^7 of the draws still work in year 8; with certainty one year.

    64 draws in 4 scrambles hold one point in each 16th: the share is within one point of each scramble, 4/64.
    """
    chance = "kit.ageing.failure_chance_per_year"
    found = assessment(read_small(*UNCERTAIN, "study.draws=64", f"{chance}=0.2"))
    assert found.simulation.working[-1].mean() == pytest.approx(0.8**7, abs=4 / 64)
    certain = assessment(read_small(f"{chance}=1", "purchase.warranty_years=1"))
    assert certain.simulation.working[:, 0].tolist() == [True, True, False]


def test_a_replaced_failure_is_paid_and_the_kit_works_on(read_small):
    """Failures with certainty each year, replaced: paid at the end of years 1 and 2 of 3, never in the last."""
    found = assessment(
        read_small(
            "kit.ageing.failure_chance_per_year=1",
            'purchase.when_worn="replace"',
            "purchase.battery_replacement_price=200",
            "purchase.electronics_replacement_price=80",
        )
    )
    assert found.simulation.working.all()
    assert found.valuation.flows.by_kind["replacement"][:, 0].tolist() == [0.0, -80.0, -80.0, 0.0]


def test_a_worn_battery_within_its_warranty_is_renewed_free_of_charge(read_small):
    """Heavy wear, kept by choice, warranty of 10 years: capacity starts anew and nothing is paid."""
    changes = ("kit.ageing.scale=8", "kit.ageing.end_of_life_share=0.8", "study.horizon_years=6")
    found = assessment(read_small(*changes, "purchase.warranty_years=10"))
    share = found.simulation.capacity_share[:, 0]
    assert (share[1:] == 1.0).any()
    assert not found.valuation.flows.by_kind["replacement"].any()
