"""Worth and ratios against worked examples and a reference library."""

from types import SimpleNamespace

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.money.flows import annuity_per_year, loan_flows
from riskcalc.money.measures import (
    adjusted_rate_of_return,
    annual_equivalent,
    cost_per_kwh,
    dominance_order,
    dominates,
    largest_cumulative_shortfall,
    net_present_value,
    savings_to_investment,
)
from riskcalc.money.returns import ambiguous


def column(*flows):
    """Return the flows of a single draw, (years + 1, 1)."""
    return np.array(flows, dtype=float)[:, None]


@pytest.mark.published
def test_worked_net_present_value(record_property):
    """-5,000 and five times 1,500 at 10 %: +686, printed without decimals (UConn ITAC training notes)."""
    worth = net_present_value(column(-5000, *[1500] * 5), discount_rate=0.10)[0]
    record_property("published", ("net present value", "UConn ITAC training notes", 686, worth))
    assert worth == pytest.approx(686, abs=0.5)


flow_tables = st.lists(st.lists(st.floats(-1e4, 1e4), min_size=8, max_size=8), min_size=1, max_size=4)


@given(rows=flow_tables, rate=st.floats(-0.5, 1.0))
def test_worth_agrees_with_reference_library(rows, rate):
    """numpy-financial's net present value, draw by draw; the tolerance is relative to the amounts discounted."""
    flows = np.array(rows).T
    scale = 1e-12 * np.abs(flows).sum() * max(1.0, (1 + rate) ** -7) + 1e-12
    expected = [npf.npv(rate, row) for row in rows]
    assert net_present_value(flows, discount_rate=rate) == pytest.approx(expected, abs=scale)


def test_worth_by_hand():
    """-8, 4, 4, 4 at 100 %: -8 + 2 + 1 + 0.5; at 0 % the plain sum."""
    flows = np.repeat(column(-8, 4, 4, 4), 2, axis=1)
    assert net_present_value(flows, discount_rate=np.array([1.0, 0.0])).tolist() == [-4.5, 4.0]


def test_savings_to_investment_by_hand():
    """Savings 4, 4 at 100 % are worth 3; price 5 less resale 4 in year 2 is 4; ratio 0.75."""
    ratio = savings_to_investment(column(0, 4, 4), column(-5, 0, 4), discount_rate=1.0)
    assert ratio.tolist() == [0.75]


def test_ratio_without_net_cost_is_no_number():
    """A free kit, or a resale above the price, has no ratio."""
    investment = np.array([[0.0, -1.0], [0.0, 5.0]])
    assert np.isnan(savings_to_investment(np.ones((2, 2)), investment, discount_rate=0.0)).all()


@given(
    cost=st.floats(10, 1e4),
    savings=st.lists(st.floats(1, 1e4), min_size=1, max_size=12),
    rate=st.floats(0.0, 0.3),
)
def test_adjusted_rate_by_its_definition(cost, savings, rate):
    """AIRR = (terminal value of savings / present value of costs)^(1/n) - 1 (10 CFR 436.22), written out."""
    n = len(savings)
    terminal = sum(saving * (1 + rate) ** (n - y) for y, saving in enumerate(savings, start=1))
    ratio = savings_to_investment(column(0, *savings), column(-cost, *[0] * n), discount_rate=rate)
    got = adjusted_rate_of_return(ratio, discount_rate=rate, years=n)[0]
    assert got == pytest.approx((terminal / cost) ** (1 / n) - 1, abs=1e-10)


def test_acceptance_rules_agree():
    """10 CFR 436.18: worth above zero, ratio above 1 and adjusted rate above the discount rate say the same."""
    rng = np.random.default_rng(1)
    savings = np.vstack([np.zeros((1, 500)), rng.normal(100, 80, (10, 500))])
    investment = np.zeros((11, 500))
    investment[0] = -rng.uniform(400, 1100, 500)
    investment[10] = rng.uniform(0, 100, 500)
    worth = net_present_value(savings + investment, discount_rate=0.04)
    ratio = savings_to_investment(savings, investment, discount_rate=0.04)
    rate = adjusted_rate_of_return(ratio, discount_rate=0.04, years=10)
    assert 100 < (worth > 0).sum() < 400
    assert ((worth > 0) == (ratio > 1)).all()
    assert ((worth > 0) == (np.nan_to_num(rate, nan=-1.0) > 0.04)).all()


def test_limits_of_the_adjusted_rate():
    """Ratio 1 gives the discount rate, 0 loses everything, below 0 there is no rate."""
    got = adjusted_rate_of_return([1.0, 0.0, -0.5], discount_rate=0.05, years=7)
    assert got[:2].tolist() == [pytest.approx(0.05, abs=1e-15), -1.0]
    assert np.isnan(got[2])


def test_annual_equivalent_returns_the_worth():
    """The equivalent paid every year is worth the same; at rate 0 it is an even share."""
    yearly = annual_equivalent(np.array([700.0]), discount_rate=0.06, years=9)
    assert npf.pv(0.06, 9, -yearly[0]) == pytest.approx(700, rel=1e-12)
    assert annual_equivalent(700.0, discount_rate=0.0, years=7) == 100


def test_cost_per_kwh_by_hand():
    """1,000 spent, 10 upkeep a year, 500 kWh a year for 4 years undiscounted: 0.52; nothing delivered: inf."""
    costs = np.repeat(column(-1000, -10, -10, -10, -10), 2, axis=1)
    kwh = np.array([[500.0, 0.0]] * 4)
    assert cost_per_kwh(costs, kwh, discount_rate=0.0).tolist() == [0.52, np.inf]


def test_energy_sold_at_its_levelised_cost_breaks_even():
    """Selling each kWh at that cost makes the worth zero."""
    rng = np.random.default_rng(4)
    costs = -rng.uniform(1, 100, (11, 20))
    kwh = rng.uniform(100, 500, (10, 20))
    price = cost_per_kwh(costs, kwh, discount_rate=0.05)
    flows = costs.copy()
    flows[1:] += price * kwh
    assert net_present_value(flows, discount_rate=0.05) == pytest.approx(0.0, abs=1e-9)


def test_largest_shortfall_by_hand():
    """Balance -5, 1, 4, -3, 2: the fall from 4 to -3 is 7; without it, the first debt of 5; a gift that grows, 0."""
    flows = np.array([[-5.0, -5, 1], [6, 6, 1], [3, 3, 1], [-7, 1, 1], [5, 5, 1]])
    assert largest_cumulative_shortfall(flows).tolist() == [7, 5, 0]


@given(principal=st.floats(1, 1e5), rate=st.floats(0.0005, 0.3), term=st.integers(1, 30), years=st.integers(1, 30))
def test_loan_is_worth_nothing_at_its_own_rate(principal, rate, term, years):
    """Whatever the horizon; and the payment is numpy-financial's."""
    flows = loan_flows(principal, loan_rate=rate, term_years=term, years=years, draws=2)
    assert net_present_value(flows, discount_rate=rate) == pytest.approx(0.0, abs=1e-9 * principal)
    payment = annuity_per_year(principal, loan_rate=rate, term_years=term)
    assert payment == pytest.approx(-npf.pmt(rate, term, principal), rel=1e-10)


def test_loan_by_hand():
    """900 over 3 years without interest: 300 a year; a horizon of 2 years repays the rest; terms differ by draw."""
    flows = loan_flows(900.0, loan_rate=0.0, term_years=np.array([3, 1]), years=4, draws=2)
    assert flows.T.tolist() == [[900, -300, -300, -300, 0], [900, -900, 0, 0, 0]]
    assert loan_flows(900.0, loan_rate=0.0, term_years=3, years=2, draws=1)[:, 0].tolist() == [900, -300, -600]
    with pytest.raises(ValueError, match="whole years"):
        loan_flows(900.0, loan_rate=0.0, term_years=2.5, years=4, draws=1)


def test_dominance_by_hand():
    """A shift dominates in every draw; a shuffle of it in distribution; a mean-preserving squeeze for the cautious."""
    base = np.array([0.0, 2.0, 4.0, 10.0])
    assert dominance_order(base + 1, base) == 0
    assert dominance_order(base[::-1] + 1, base) == 1
    squeezed = np.array([10.0 - 1, 1.0, 2.0, 4.0])
    assert dominance_order(squeezed, base) == 2
    assert dominance_order(base, squeezed) is None
    assert dominance_order(base, base[::-1]) is None


@given(
    first=st.lists(st.integers(-5, 5), min_size=6, max_size=6),
    second=st.lists(st.integers(-5, 5), min_size=6, max_size=6),
)
def test_dominance_by_its_definition(first, second):
    """Orders 1 and 2 against the distribution functions and their integrals, written out level by level."""
    levels = sorted({*first, *second})
    chance = [(sum(x <= t for x in second) - sum(x <= t for x in first)) for t in levels]
    assert dominates(first, second, order=1) == (min(chance) >= 0 and max(chance) > 0)
    shortfall = [sum(max(t - x, 0) for x in second) - sum(max(t - x, 0) for x in first) for t in [*levels, 6]]
    assert dominates(first, second, order=2) == (min(shortfall) >= 0 and max(shortfall) > 0)


def test_dominance_refusals():
    """Different numbers of draws, or an order that does not exist."""
    with pytest.raises(ValueError, match="the same"):
        dominates(np.zeros(3), np.zeros(4), order=1)
    with pytest.raises(ValueError, match="order: 3"):
        dominates(np.zeros(3), np.zeros(3), order=3)


def test_a_loan_of_half_a_year_in_one_future_is_refused():
    """Terms are whole years in every future, not only in some."""
    with pytest.raises(ValueError, match="whole years"):
        loan_flows(1000.0, loan_rate=0.05, term_years=np.array([5.0, 5.5]), years=10, draws=2)


def test_one_rate_of_return_is_not_ambiguous():
    """One rate stands alone; several, or none where signs change, do not; none without a change of sign is plain."""
    found = SimpleNamespace(roots=np.array([1, 2, 0, 0]), sign_changes=np.array([1, 2, 1, 0]))
    assert ambiguous(found).tolist() == [False, True, True, False]
