"""Payback said every way it is asked: own money, in cash, with a sale, within the stay, among those who buy."""

import numpy as np
import pytest

from riskcalc.answers.assess import result
from riskcalc.answers.curves import cash_balance
from riskcalc.money.measures import balance, crossing_years, while_in_debt
from riskcalc.study.model import assessment

LONG = "study.horizon_years=8", "study.draws=64", "study.pool_years=4"
LOAN = "purchase.loan={financed_share=1.0, rate_per_year=0.10, term_years=3}"


def test_own_money_under_a_loan_by_hand():
    """300 borrowed for 3 years at 0 %, 60 saved a year: -40, -80, -120, then 60 a year: even after 5 years.

    In cash 300 / 60 = 5 as well. With 150 saved a year no own money is ever needed: 0. Half financed, 60 saved a year:
    -150 + 10 a year while the loan runs, -120 after three years, then 60 a year: 5.
    """
    full = np.array([0.0, -40, -40, -40, 60, 60, 60])[:, None]
    loan = np.array([300.0, -100, -100, -100, 0, 0, 0])[:, None]
    assert crossing_years(while_in_debt(balance(full), loan)) == pytest.approx([5.0])
    assert crossing_years(balance(full - loan)) == pytest.approx([5.0])
    rich = np.array([0.0, 50, 50, 50, 150, 150, 150])[:, None]
    assert crossing_years(while_in_debt(balance(rich), loan)).tolist() == [0.0]
    half = np.array([-150.0, 10, 10, 10, 60, 60, 60])[:, None]
    assert crossing_years(while_in_debt(balance(half), loan / 2.0)) == pytest.approx([5.0])
    rows = balance(full)
    assert while_in_debt(rows, None) is rows


def test_a_loan_is_in_the_cash_chart_and_in_the_payback(read_small):
    """All of 600 borrowed at 10 %: the chart starts at 0, not at -600, and own money is back later than cash would be.

    Some 75 a year bring 600 back within 8 years and the three payments of 241 within 10: both within a horizon of 12.
    """
    twelve = *LONG, "study.horizon_years=12"
    cash, loan = assessment(read_small(*twelve)), assessment(read_small(*twelve, LOAN))
    assert np.all(np.isfinite(loan.valuation.payback_years))
    curve = cash_balance(loan)
    assert curve["p50"][0] == pytest.approx(0.0, abs=1e-9)
    assert curve["share_above_zero"][0] == 0.0, "a loan paid out is no gain"
    payment = 600 * 0.10 / (1 - 1.1**-3)
    assert loan.valuation.cash_balance[1] == pytest.approx(loan.valuation.saving[0] - payment)
    assert np.array_equal(loan.valuation.payback_in_cash_years, cash.valuation.payback_years)
    assert np.all(loan.valuation.payback_years > cash.valuation.payback_years)
    figures = result(loan)
    assert figures["payback_in_cash_years"]["p50"]["value"] == result(cash)["payback_years"]["p50"]["value"]
    assert figures["payback_years"]["p50"]["value"] > figures["payback_in_cash_years"]["p50"]["value"]
    assert "payback_in_cash_years" not in result(cash)


def test_a_kit_that_has_failed_brings_nothing_at_the_end(read_small):
    """Electronics that fail in year 2 and are not replaced: no resale at the end, whoever still holds the kit."""
    sold = "purchase.resale_share=0.5", 'purchase.when_worn="retire"', "purchase.warranty_years=0"
    dead = assessment(read_small(*sold, "kit.ageing.electronics_life_years=1.5"))
    alive = assessment(read_small(*sold, "kit.ageing.electronics_life_years=50"))
    assert not dead.simulation.working[-1].any()
    assert dead.simulation.course.held[-1].all()
    assert np.all(dead.valuation.flows.by_kind["resale"] == 0.0)
    assert np.all(alive.valuation.flows.by_kind["resale"][-1] == 300.0)


def test_a_sale_at_a_move_is_said_beside_the_payback(read_small):
    """Sold for 9 tenths of its price after two years: never paid back by savings, always with the sale."""
    changes = (
        *LONG,
        'tenure={kind="rent", stay_years=2, at_move="sell", resale_share=0.9, resale_decline_per_year=0}',
    )
    found = assessment(read_small(*changes))
    figures = result(found)
    assert figures["payback_years"]["never_share"]["value"] == 1.0
    assert figures["payback_with_sale_years"]["never_share"]["value"] == 0.0
    saved = found.valuation.saving[:2].sum(axis=0)
    assert np.all(saved + 0.9 * 600 >= 600.0)
    assert np.all((found.valuation.payback_with_sale_years > 1.0) & (found.valuation.payback_with_sale_years <= 2.0))
    assert figures["paid_back_with_sale_within_years"][1] == {"years": 2, "value": 1.0, "standard_error": 0.0}
    assert "payback_with_sale_years" not in result(assessment(read_small(*LONG)))


def test_the_odds_are_those_of_futures_in_which_it_is_bought(read_small):
    """A quarter refused: every odds figure equals that of the same draws without refusal, the refused share stands apart."""
    rent = 'tenure={kind="rent", permission_refused_chance=0.25}'
    dear = 'purchase.price={distribution="uniform", low=300, high=1200}'
    found = assessment(read_small(*LONG, dear, rent))
    figures, bought = result(found), found.simulation.course.bought
    assert bought.sum() == 48
    paid = found.valuation.payback_years[bought] <= 8
    assert 0 < paid.sum() < 48
    assert figures["payback_years"]["never_share"]["value"] == pytest.approx(1.0 - paid.mean())
    assert figures["paid_back_within_years"][-1]["value"] == pytest.approx(paid.mean())
    assert figures["headline"]["paid_back"]["value"] == pytest.approx(paid.mean())
    assert figures["refused_share"]["value"] == 0.25
    assert cash_balance(found)["share_above_zero"][-1] == pytest.approx(
        (found.valuation.cash_balance[-1, bought] >= 0.0).mean()
    )


def test_the_stay_is_split_by_what_becomes_of_the_kit(read_small):
    """Stays of 1 to 12 years, half the next homes without sun: odds by the move, and shares that add up to one."""
    rent = (
        'tenure={kind="rent", stay_years={distribution="uniform", low=1, high=12}, if_no_sun="sell", '
        "new_home_sun_chance=0.5}"
    )
    found = assessment(read_small(*LONG, rent, "purchase.price=250"))
    figures, money, course = result(found), found.valuation, found.simulation.course
    stay = np.full(found.draws, 8.0)
    for draw in range(found.draws):
        years = [year + 1 for year in range(8) if course.moved_along[year, draw] or course.handed_over[year, draw]]
        stay[draw] = years[0] if years else 8.0
    paid = money.payback_years <= stay
    assert 0.0 < paid.mean() < (money.payback_years <= 8).mean(), "within the stay is harder than within the horizon"
    said = figures["stay"]
    assert said["paid_back"]["value"] == pytest.approx(paid.mean())
    assert set(said["ends"]) == {"taken_along", "sold", "stays"}
    assert sum(end["share"]["value"] for end in said["ends"].values()) == pytest.approx(1.0)
    parts = [end["share"]["value"] * end["paid_back"]["value"] for end in said["ends"].values()]
    assert sum(parts) == pytest.approx(paid.mean())
    assert figures["headline"]["within_stay"]
    assert figures["headline"]["paid_back"] == said["paid_back"]


def test_the_asked_years_govern_the_headline(read_small):
    """`odds_within_years` beats the stay and the horizon."""
    rent = 'tenure={kind="rent", stay_years=5}'
    found = assessment(read_small(*LONG, rent, "purchase.price=250", "study.odds_within_years=3"))
    said = result(found)["headline"]
    assert (said["within_stay"], said["within_years"]) == (False, 3)
    assert said["paid_back"]["value"] == (found.valuation.payback_years <= 3).mean()
