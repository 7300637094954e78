"""Pool years are dealt fairly to the scrambles, and none is lost."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskcalc.world.pool_order import fair_order, put_in_order


@settings(max_examples=100, derandomize=True, deadline=None)
@given(st.integers(1, 70), st.integers(1, 16), st.integers(0, 5))
def test_every_year_stands_once(years, scrambles, seed):
    """The order is a permutation, and the same for the same seed."""
    annual = np.random.default_rng(seed).normal(size=years)
    order = fair_order(annual, scrambles=scrambles, seed=seed)
    assert sorted(order.tolist()) == list(range(years))
    assert order.tolist() == fair_order(annual, scrambles=scrambles, seed=seed).tolist()


@pytest.mark.parametrize("each", [2, 4, 8])
def test_scrambles_get_the_same_mean(each):
    """Of evenly spread years every scramble gets the same mean to rounding; in order of the draw it would not."""
    annual = np.random.default_rng(3).permutation(np.linspace(900, 1100, 8 * each))
    means = annual[fair_order(annual, scrambles=8, seed=1)].reshape(8, each).mean(axis=1)
    assert np.ptp(means) < 1e-9
    assert np.ptp(annual.reshape(8, each).mean(axis=1)) > 10.0


def test_too_few_years_stay_as_they_are():
    """One year for each scramble, or fewer, cannot be dealt more fairly."""
    assert fair_order(np.array([3.0, 1.0, 2.0]), scrambles=2, seed=0).tolist() == [0, 1, 2]


def test_left_over_years_come_from_the_middle():
    """Of ten years for four scrambles the two middling ones are left over: those who are dealt keep the mean."""
    annual = np.arange(10.0)
    order = fair_order(annual, scrambles=4, seed=7)
    assert sorted(order[8:].tolist()) == [4, 5]
    assert annual[order[:8]].reshape(4, 2).mean(axis=1).tolist() == [4.5] * 4


@settings(max_examples=100, derandomize=True, deadline=None)
@given(st.permutations(list(range(9))))
def test_putting_in_order_is_taking_in_that_order(order):
    """In place comes out as an index would, and what could not be written to cannot afterwards."""
    held = np.random.default_rng(1).normal(size=(9, 2, 3))
    expected = held[order]
    held.flags.writeable = False
    put_in_order(held, np.array(order))
    assert np.array_equal(held, expected)
    assert not held.flags.writeable


def test_the_model_deals_its_years(read_small):
    """Sun and use of the years that each scramble meets average to nearly the same."""
    from riskcalc.model import world_of

    pools = world_of(read_small("study.pool_years=32")).pools
    sun = pools.weather.annual_ghi_kwh()
    use = (pools.demand.reachable_day_kwh + pools.demand.wired_day_kwh).sum(axis=(1, 2))
    for annual in (sun, use):
        between = annual.reshape(8, 4).mean(axis=1).std(ddof=1)
        assert between < 0.35 * annual.std(ddof=1) / 2.0
