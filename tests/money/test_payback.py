"""Payback: published examples, crossings by hand, a plain twin."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.money.measures import crossing_years, discounted_payback_years, simple_payback_years, while_in_debt


def column(*flows):
    """Return the flows of a single draw, (years + 1, 1)."""
    return np.array(flows, dtype=float)[:, None]


@pytest.mark.published
def test_worked_discounted_payback(record_property):
    """6,000 for 800 a year at 8 %: 11.91 years in a printed exercise of engineering economics.

    The exercise solves the annuity for a fractional year (11.906), we move in a straight line within the year
    (11.909); both round to the printed figure.
    """
    years = discounted_payback_years(column(-6000, *[800] * 15), discount_rate=0.08)[0]
    record_property("published", ("discounted payback, years", "engineering economics exercise", 11.91, years))
    assert years == pytest.approx(11.91, abs=0.005)


@pytest.mark.published
def test_worked_payback_of_varying_flows(record_property):
    """-20,000, then 5,000, 8,000, 10,000, 10,000: 2.7 years; at 10 % still 1,337 short after year 3, paid in year 4.

    UConn ITAC (an industrial training and assessment centre), training notes on engineering economics. Its
    discount factors have three digits, so its balance may be off by 23,000 x 0.0005 = 11.5.
    """
    source = "UConn ITAC training notes, payback"
    flows = column(-20000, 5000, 8000, 10000, 10000)
    simple = simple_payback_years(flows)[0]
    record_property("published", ("simple payback, years", source, 2.7, simple))
    assert simple == pytest.approx(2.7, abs=0.05)
    short = sum(flow / 1.1**y for y, flow in enumerate([-20000, 5000, 8000, 10000]))
    assert short == pytest.approx(-1337, abs=11.5)
    discounted = discounted_payback_years(flows, discount_rate=0.10)[0]
    record_property("published", ("discounted payback, year it falls in", source, 4, math.ceil(discounted)))
    assert discounted == pytest.approx(3 - short / (10000 / 1.1**4), rel=1e-12)
    assert math.ceil(discounted) == 4


@pytest.mark.published
def test_worked_payback_with_rebate(record_property):
    """12,000 less a rebate of 2,000, saving 4,000 a year: 2.5 years (same training notes, time value of money)."""
    years = simple_payback_years(column(-12000 + 2000, *[4000] * 5))[0]
    record_property("published", ("simple payback with rebate, years", "UConn ITAC training notes", 2.5, years))
    assert years == 2.5


@given(cost=st.integers(1, 10**6), saving=st.integers(1, 10**5))
def test_constant_saving_pays_back_at_cost_over_saving(cost, saving):
    """A constant saving S and a price C give C / S, to two units in the last place; beyond the horizon never."""
    years = simple_payback_years(column(-cost, *[saving] * 25))[0]
    if cost > 25 * saving:
        assert np.isinf(years)
    else:
        assert years == pytest.approx(cost / saving, rel=4.5e-16)


@given(cost=st.floats(1.0, 1e4), saving=st.floats(1.0, 1e4))
def test_constant_saving_in_odd_amounts(cost, saving):
    """The same for amounts that are not whole: the balance rounds once a year, so 25 x 2.3e-16 and a little."""
    years = simple_payback_years(column(-cost, *[saving] * 25))[0]
    if cost < 24.99 * saving:
        assert years == pytest.approx(cost / saving, rel=1e-14)


def test_never_is_infinite_and_the_edge_counts():
    """Paid back on the horizon's last day counts; a cent short is never."""
    flows = np.array([[-10.0, -10.01], [5, 5], [5, 5]])
    assert simple_payback_years(flows).tolist() == [2.0, np.inf]
    assert simple_payback_years(flows, crossing="lasting").tolist() == [2.0, np.inf]


def test_replacement_parts_first_from_lasting_crossing():
    """Balance -4, -1, 2, -1 (a battery of 6 in year 3), 2: first crossing 1 1/3, lasting 3 1/3."""
    flows = column(-4, 3, 3, 3 - 6, 3)
    assert simple_payback_years(flows)[0] == pytest.approx(1 + 1 / 3, rel=1e-15)
    assert simple_payback_years(flows, crossing="lasting")[0] == pytest.approx(3 + 1 / 3, rel=1e-15)


def test_fall_below_zero_at_the_end_is_never_for_the_lasting_crossing():
    """Paid back once, in debt at the end: first crossing is finite, lasting is not."""
    flows = column(-4, 5, -3)
    assert simple_payback_years(flows)[0] == pytest.approx(0.8)
    assert np.isinf(simple_payback_years(flows, crossing="lasting")[0])


def test_a_gift_pays_back_at_once():
    """Price zero, or an incentive above the price: payback 0, unless a later cost brings debt."""
    flows = np.array([[0.0, 5.0, 5.0], [1, 1, -9], [1, 1, 12]])
    assert simple_payback_years(flows).tolist() == [0, 0, 0]
    assert simple_payback_years(flows, crossing="lasting").tolist() == [0, 0, pytest.approx(1 + 4 / 12)]


def plain_payback(flows, crossing):
    """Return payback of one draw in plain Python, year by year."""
    balances, total = [], 0.0
    for flow in flows:
        total += flow
        balances.append(total)
    answer = 0.0 if balances[0] >= 0 else math.inf
    for year in range(1, len(balances)):
        before, after = balances[year - 1], balances[year]
        if before < 0 <= after and (crossing == "lasting" or math.isinf(answer)):
            answer = year - 1 + (-before) / (after - before)
        if after < 0 and crossing == "lasting":
            answer = math.inf
    return answer


amounts = st.integers(-20, 20).map(float)


@given(st.lists(st.lists(amounts, min_size=6, max_size=6), min_size=1, max_size=8))
def test_crossings_agree_with_a_plain_twin(rows):
    """Both crossings, any flows: the same bits as a loop with if and else, whatever the neighbours."""
    flows = np.array(rows).T
    for crossing in ("first", "lasting"):
        got = simple_payback_years(flows, crossing=crossing)
        assert got.tolist() == [plain_payback(row, crossing) for row in rows]
    assert (simple_payback_years(flows) <= simple_payback_years(flows, crossing="lasting")).all()


@given(saving=st.lists(st.floats(0, 100), min_size=10, max_size=10), rate=st.floats(0, 0.3))
def test_discounting_never_hastens_payback(saving, rate):
    """With savings that are not negative, discounting delays; at rate 0 it changes nothing."""
    flows = column(-150, *saving)
    simple = simple_payback_years(flows)[0]
    assert discounted_payback_years(flows, discount_rate=rate)[0] >= simple * (1 - 1e-12)
    assert discounted_payback_years(flows, discount_rate=0.0)[0] == simple


def test_horizon_of_no_years():
    """With only the day of purchase, payback is 0 or never."""
    assert crossing_years(np.array([[0.0, -1.0]])).tolist() == [0.0, np.inf]


def test_nan_and_unknown_crossing_are_refused():
    """A balance that is not finite stops the run; so does a crossing that does not exist."""
    with pytest.raises(ValueError, match="not finite"):
        simple_payback_years(column(-1, np.nan))
    with pytest.raises(ValueError, match=r'crossing: \'third\'; accepted: "first", "lasting"'):
        simple_payback_years(column(-1, 2), crossing="third")


def test_a_balance_in_debt_counts_from_the_last_year_below_zero():
    """While the loan runs, no earlier row is above the last one below zero; without a loan nothing changes."""
    rows = column(0.0, -3.0, -1.0, 2.0, 4.0)
    loan = column(10.0, -4.0, -4.0, -4.0, 0.0)
    np.testing.assert_array_equal(while_in_debt(rows, loan), column(-1.0, -3.0, -1.0, 2.0, 4.0))
    np.testing.assert_array_equal(while_in_debt(rows, None), rows)
    covered = column(0.0, 1.0, 2.0, 3.0, 4.0)
    np.testing.assert_array_equal(while_in_debt(covered, loan), covered)
    paid_off = column(0.0, 1.0, 2.0, 3.0, -1.0)
    np.testing.assert_array_equal(while_in_debt(paid_off, loan), paid_off)
