"""Weather years are dealt fairly to the scrambles, and none is lost."""

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskcalc.demand.pool import DemandPool
from riskcalc.years.pool_order import fair_order, light_of_years
from riskcalc.years.pools import pools
from riskcalc.years.schedule import clock_of


def sums_of(years, seed):
    """Return made-up light of three kinds, (years, 3)."""
    return np.random.default_rng(seed).normal([100.0, 300.0, 600.0], [20.0, 30.0, 40.0], size=(years, 3))


@settings(max_examples=100, derandomize=True, deadline=None)
@given(st.integers(1, 70), st.integers(1, 16), st.integers(0, 5))
def test_every_year_stands_once(years, scrambles, seed):
    """The order is a permutation, and the same for the same seed."""
    sums = sums_of(years, seed)
    order = fair_order(sums, scrambles=scrambles, seed=seed)
    assert sorted(order.tolist()) == list(range(years))
    assert order.tolist() == fair_order(sums, scrambles=scrambles, seed=seed).tolist()


@pytest.mark.parametrize(("each", "most"), [(2, 0.7), (4, 0.3), (8, 0.1)])
def test_scrambles_get_the_same_light(each, most):
    """The sums of the hands differ by little of what they differ in the order of the draw; the more years the less."""

    def spread(sums):
        return np.sqrt(sums.reshape(8, each, 3).mean(axis=1).var(axis=0).sum())

    sums = sums_of(8 * each, 3)
    assert spread(sums[fair_order(sums, scrambles=8, seed=1)]) < most * spread(sums)


def test_no_swap_of_two_years_is_left_that_helps():
    """The deal against every swap tried one by one."""

    def unfairness(sums):
        return ((sums.reshape(4, 3, 3).sum(axis=1) - 3 * sums.mean(axis=0)) ** 2).sum()

    sums = sums_of(12, 5)
    dealt = sums[fair_order(sums, scrambles=4, seed=2)]
    for one in range(12):
        for other in range(one):
            swapped = dealt.copy()
            swapped[[one, other]] = dealt[[other, one]]
            assert unfairness(swapped) > unfairness(dealt) * (1 - 1e-6)


def test_too_few_years_stay_as_they_are():
    """One year for each scramble, or fewer, cannot be dealt more fairly."""
    assert fair_order(sums_of(3, 0), scrambles=2, seed=0).tolist() == [0, 1, 2]


def test_years_all_alike_are_dealt_too():
    """One typical year again and again: any order is fair, and the search ends."""
    assert sorted(fair_order(np.ones((16, 3)), scrambles=4, seed=0).tolist()) == list(range(16))


def test_left_over_years_keep_the_mean_too():
    """Of ten years for four scrambles two are left over, and those who are dealt have the mean of all."""
    sums = np.arange(10.0)[:, np.newaxis]
    order = fair_order(sums, scrambles=4, seed=7)
    assert sums[order[:8], 0].reshape(4, 2).mean(axis=1) == pytest.approx([4.5] * 4)


def test_light_as_it_comes_and_month_by_month_alike():
    """Two months of 10 and 30 on average: 12 + 24 is 36 as it comes, 20 (12 / 10 + 24 / 30) = 40 with both alike."""
    monthly = np.zeros((2, 12))
    monthly[:, :2] = [[12.0, 24.0], [8.0, 36.0]]
    months_with_light = light_of_years(monthly[:, :2])
    assert months_with_light == pytest.approx(np.array([[36.0, 40.0], [44.0, 40.0]]))
    assert light_of_years(monthly)[:, 0] == pytest.approx([36.0, 44.0])
    assert np.isfinite(light_of_years(np.zeros((3, 12)))).all()


def test_the_model_deals_its_light(read_small):
    """The light of the years that every scramble meets averages to nearly the same, in the dark months too."""
    from riskcalc.study.model import world_of

    light = light_of_years(world_of(read_small("study.pool_years=32")).pools.weather.monthly_means())
    between = light.reshape(8, 4, 2).mean(axis=1).std(axis=0, ddof=1)
    assert (between < 0.2 * light.std(axis=0, ddof=1) / 4**0.5).all()


def test_sunny_years_are_not_years_of_much_use(read_small):
    """Sun and demand of the years are paired by chance, as in the homes that are modelled."""
    from riskcalc.study.model import world_of

    pools = world_of(read_small("study.pool_years=64")).pools
    use = (pools.demand.reachable_day_kwh + pools.demand.wired_day_kwh).sum(axis=(1, 2))
    assert abs(np.corrcoef(pools.weather.annual_ghi_kwh(), use)[0, 1]) < 3 / 64**0.5


def test_sums_kept_with_the_pools_are_those_of_the_pools(read_small, tmp_path, monkeypatch):
    """What a second run finds on disk, day sums of demand and where the sun shines, is what the pools give."""
    monkeypatch.setenv("RISKCALC_CACHE", str(tmp_path))
    scenario = read_small()
    for _ in ("made", "found"):
        built = pools(scenario, clock_of(scenario))
        fresh = DemandPool(**{entry.name: getattr(built.demand, entry.name) for entry in fields(DemandPool)})
        assert np.array_equal(built.demand.reachable_day_kwh, fresh.reachable_day_kwh)
        assert np.array_equal(built.demand.wired_day_kwh, fresh.wired_day_kwh)
        assert np.array_equal(built.inputs.shines, (built.solar_w > 0.0).any(axis=1))
        assert built.inputs.shines.any()
