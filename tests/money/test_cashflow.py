"""Yearly flows: signs, kinds, price levels, and exactness."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.money.flows import KINDS, cash_flows, price_level
from riskcalc.money.measures import (
    discounted_payback_years,
    net_present_value,
    simple_payback_years,
    single_present_value,
)


def example(scale=1.0, draws=5, seed=1):
    """Return flows of a made-up purchase, every amount times `scale`."""
    rng = np.random.default_rng(seed)
    years = 12
    return cash_flows(
        scale * rng.uniform(50, 400, (years, draws)),
        purchase_price=scale * rng.uniform(900, 2100, draws),
        incentive=scale * rng.uniform(0, 200, draws),
        real_upkeep_per_year=scale * rng.uniform(0, 30, draws),
        real_replacements=scale * np.where(rng.random((years, draws)) < 0.1, 300.0, 0.0),
        resale=scale * rng.uniform(0, 100, draws),
        level=price_level(rng.uniform(0, 0.05, draws), years=years),
    )


def test_flows_by_hand():
    """Two years: each amount stands in its row with its sign, upkeep and replacement at the level of their year."""
    flows = cash_flows(
        np.array([[100.0, 100.0], [110.0, 90.0]]),
        purchase_price=np.array([500.0, 700.0]),
        incentive=50.0,
        real_upkeep_per_year=10.0,
        real_replacements=np.array([[0.0, 0.0], [0.0, 200.0]]),
        resale=np.array([25.0, 0.0]),
        level=np.array([[1.0], [1.5]]),
    )
    assert tuple(flows.by_kind) == KINDS
    assert flows.total.T.tolist() == [[-450, 90, 110 - 15 + 25], [-650, 90, 90 - 15 - 300]]
    assert flows.for_payback.T.tolist() == [[-450, 90, 110 - 15], [-650, 90, 90 - 15 - 300]]
    assert flows.without(("purchase", "incentive", "resale"))[0].tolist() == [0, 0]


def test_resale_in_any_year():
    """A resale given by year is booked in that year, not at the end."""
    flows = cash_flows(np.zeros((3, 1)), purchase_price=0.0, resale=np.array([[0.0], [40.0], [0.0]]))
    assert flows.total[:, 0].tolist() == [0, 0, 40, 0]


def test_another_kind_joins_the_total():
    """A new kind counts in total and payback; booking a kind twice or in another shape is refused."""
    flows = cash_flows(np.full((2, 1), 10.0), purchase_price=15.0).with_kind("moving", [[0.0], [-4.0], [0.0]])
    assert flows.total[:, 0].tolist() == [-15, 6, 10]
    assert flows.for_payback[:, 0].tolist() == [-15, 6, 10]
    with pytest.raises(ValueError, match="moving is booked already"):
        flows.with_kind("moving", np.zeros((3, 1)))
    with pytest.raises(ValueError, match=r"loan: shape \(2, 1\); accepted: \(3, 1\)"):
        flows.with_kind("loan", np.zeros((2, 1)))


def test_flows_cannot_be_changed_by_accident():
    """Booked flows are read-only."""
    with pytest.raises(ValueError, match="read-only"):
        example().by_kind["saving"][0] = 1.0


@given(power=st.integers(-8, 8))
def test_doubling_all_amounts_doubles_worth_exactly(power):
    """Every amount times a power of two: worth times the same, payback unchanged, to the last bit."""
    once, scaled = example(), example(scale=2.0**power)
    rate = np.array([0.0, 0.01, 0.035, 0.05, 0.11])
    worth = net_present_value(once.total, discount_rate=rate)
    assert (net_present_value(scaled.total, discount_rate=rate) == 2.0**power * worth).all()
    assert (simple_payback_years(scaled.for_payback) == simple_payback_years(once.for_payback)).all()
    assert (
        discounted_payback_years(scaled.for_payback, discount_rate=rate)
        == discounted_payback_years(once.for_payback, discount_rate=rate)
    ).all()


def test_without_a_price_level_prices_stay_as_they_are():
    """Nothing but the saving, its upkeep and the price is booked where nothing else is given."""
    flows = cash_flows(np.full((2, 1), 100.0), purchase_price=150.0, real_upkeep_per_year=10.0)
    assert flows.total.T.tolist() == [[-150, 90, 90]]
    assert cash_flows(np.full((2, 1), 100.0), purchase_price=150.0).total.T.tolist() == [[-150, 100, 100]]


def test_no_kit_is_worth_exactly_nothing():
    """No saving, no price: every flow and the worth are exactly zero."""
    flows = cash_flows(np.zeros((15, 4)), purchase_price=0.0, level=price_level(0.03, years=15))
    assert (flows.total == 0.0).all()
    assert (net_present_value(flows.total, discount_rate=0.05) == 0.0).all()


def test_kinds_sum_to_the_total_in_worth():
    """Worth is the sum of the worth of each kind, to rounding."""
    flows = example()
    parts = sum(net_present_value(rows, discount_rate=0.04) for rows in flows.by_kind.values())
    assert net_present_value(flows.total, discount_rate=0.04) == pytest.approx(parts, rel=1e-12)


def test_a_draw_does_not_depend_on_its_neighbours():
    """Reordering draws reorders worth and payback, bit for bit."""
    flows = example(draws=33)
    order = np.random.default_rng(2).permutation(33)
    worth = net_present_value(flows.total, discount_rate=0.04)
    assert (net_present_value(flows.total[:, order], discount_rate=0.04) == worth[order]).all()
    one = net_present_value(np.ascontiguousarray(flows.total[:, 3:4]), discount_rate=0.04)
    assert one[0] == worth[3]


def test_price_level():
    """First year 1; a constant rate compounds; a path of rates multiplies up, its first row unused."""
    level = price_level(np.array([0.0, 0.5]), years=3)
    assert level.T.tolist() == [[1, 1, 1], [1, 1.5, 2.25]]
    path = price_level(np.array([[9.0], [0.5], [1.0]]), years=3)
    assert path[:, 0].tolist() == [1, 1.5, 3]


def test_real_and_nominal_discounting_agree():
    """Upkeep that rises with prices, discounted at the nominal rate, equals constant upkeep at the real rate.

    (1 + nominal) = (1 + real)(1 + inflation); our level starts at 1 in year 1, hence one factor of inflation.
    """
    inflation, real = 0.03, 0.02
    nominal = (1 + real) * (1 + inflation) - 1
    flows = cash_flows(
        np.zeros((10, 1)), purchase_price=0.0, real_upkeep_per_year=100.0, level=price_level(inflation, years=10)
    )
    worth = net_present_value(flows.total, discount_rate=nominal)[0]
    expected = -sum(100 * single_present_value(real, y) for y in range(1, 11)) / (1 + inflation)
    assert worth == pytest.approx(expected, rel=1e-12)


def test_saving_needs_years_and_draws():
    """A single row of savings is refused."""
    with pytest.raises(ValueError, match=r"saving: shape \(3,\); accepted: \(years, draws\)"):
        cash_flows(np.zeros(3), purchase_price=1.0)
