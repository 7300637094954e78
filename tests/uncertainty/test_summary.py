"""Figures with standard errors, and what happens to a payback that never comes."""

from functools import cache

import numpy as np
import pytest
from scipy import special

from riskcalc.uncertainty import summary
from riskcalc.uncertainty.sampling import unit_cube


def test_standard_error_of_independent_draws_matches_theory():
    """For plain independent draws the spread between blocks agrees with sd / sqrt(n) on average.

    400 repetitions of 16 blocks: the mean of the estimated variance is within 5 % of theory (its own error is 2 %).
    """
    rng = np.random.default_rng(1)
    errors = [summary.estimate(rng.normal(size=1600), summary.mean, scrambles=16).standard_error for _ in range(400)]
    assert np.mean(np.square(errors)) == pytest.approx(1 / 1600, rel=0.05)


def test_quantile_that_touches_never_is_never():
    """Ten draws, three of which never pay back: the median is known, the upper quartile is not."""
    payback = np.array([1.0, 2, 3, 4, 5, 6, 7, np.inf, np.inf, np.inf])
    assert summary.quantile(payback, 0.5) == pytest.approx(5.5)
    assert np.isinf(summary.quantile(payback, 0.75))
    assert summary.share_never(payback) == pytest.approx(0.3)
    figures = summary.payback_figures(np.tile(payback, 4), scrambles=4)
    assert figures["p75"].value is None
    assert figures["p75"].standard_error is None
    assert figures["never_share"].value == pytest.approx(0.3)
    assert "mean" not in figures


def test_mean_refuses_a_payback_that_never_comes():
    """The mean over draws that never pay back is refused, not computed without them."""
    with pytest.raises(ValueError, match="never-share"):
        summary.mean(np.array([3.0, np.inf]))


def test_quantile_agrees_with_numpy_on_finite_draws():
    """On finite draws the quantile is numpy's default one."""
    values = np.random.default_rng(2).normal(size=101)
    for share in (0.0, 0.05, 0.5, 0.77, 1.0):
        assert summary.quantile(values, share) == pytest.approx(np.quantile(values, share), rel=1e-12)


def test_mean_of_worst_by_hand():
    """Worst 30 % of -10, -4, 0, 1, ... (10 draws) is (-10 - 4 + 0) / 3; worst 25 % takes half of the third draw."""
    worth = np.array([-10.0, -4, 0, 1, 2, 3, 4, 5, 6, 7])
    assert summary.mean_of_worst(worth, 0.3) == pytest.approx(-14 / 3)
    assert summary.mean_of_worst(worth, 0.25) == pytest.approx((-10 - 4 + 0.5 * 0) / 2.5)
    assert summary.mean_of_worst(worth, 1.0) == pytest.approx(worth.mean())


def test_draws_that_agree_have_no_spread():
    """With every draw equal, all errors are exactly zero."""
    figures = summary.worth_figures(np.full(64, 123.456), scrambles=8)
    assert figures["sd"].value == 0.0
    assert all(figure.standard_error == 0.0 for figure in figures.values())


def test_few_draws_are_noticed():
    """64 draws cannot place a 5 % quantile, 1,024 can."""
    assert not summary.enough_draws_for(0.05, draws=64)
    assert summary.enough_draws_for(0.95, draws=1024)


@pytest.fixture(scope="module")
def of_designs():
    """Return the figures of 150 designs of 256 draws in 8 scrambles, by name: three columns each, fifteen to a seed."""
    found = []
    for design in range(150):
        columns = range(design % 15 * 3, design % 15 * 3 + 3)
        scores = special.ndtri(unit_cube(columns, draws=256, scrambles=8, seed=design // 15))
        worth = 100.0 * np.exp(0.5 * scores[0]) + 35.0 * (scores[1] + scores[2])
        found.append(summary.worth_figures(worth, scrambles=8))
    return {name: [figures[name] for figures in found] for name in found[0]}


@pytest.mark.parametrize("name", ["p5", "p50", "p95", "mean_of_worst_5_percent"])
def test_tails_of_few_draws_state_their_scatter(of_designs, name):
    """With 256 draws in 8 scrambles the stated error is 0.95 to 1.3 of the scatter of 150 designs (own scatter 6 %).

    The spread of the scrambles' own quantiles says 0.75 to 0.83 of it at both ends.
    """
    values = [figure.value for figure in of_designs[name]]
    errors = [figure.standard_error for figure in of_designs[name]]
    assert 0.95 <= np.sqrt(np.mean(np.square(errors))) / np.std(values, ddof=1) <= 1.3


@cache
def censored(design, draws=1024):
    """Return a payback of 4 exp(0.8 z + 0.3 more) years, never where it would take more than 12; 20 designs to a seed."""
    columns = (design % 20 * 2, design % 20 * 2 + 1)
    scores = special.ndtri(unit_cube(columns, draws=draws, scrambles=8, seed=design // 20))
    years = 4.0 * np.exp(0.8 * scores[0] + 0.3 * scores[1])
    return np.where(years > 12.0, np.inf, years)


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9])
def test_intervals_of_censored_quantiles_hold_the_truth(share):
    """ln T is normal with mean ln 4 and sd sqrt(0.73): the intervals hold its quantile in 90 to 100 % of 100 designs.

    The 90 % point, 11.96 years, lies so near the horizon of 12 that most intervals end in never.
    """
    truth = 4.0 * np.exp(np.sqrt(0.73) * special.ndtri(share))
    held, open_ended = [], []
    for seed in range(100):
        low, high = summary.quantile_estimate(censored(seed, draws=256), share, scrambles=8).interval_95
        held.append(low <= truth <= high)
        open_ended.append(np.isinf(high))
    assert 0.9 <= np.mean(held) <= 1.0
    assert (np.mean(open_ended) > 0.5) == (share == 0.9)


def test_a_median_that_may_never_come_says_so():
    """Where 49.7 % have paid back the median has no value; its interval begins within the horizon and ends in never."""
    payback = censored(3)
    horizon = np.nanquantile(payback[np.isfinite(payback)], 0.999)
    late = np.where(payback <= np.sort(payback)[508], payback, np.inf)
    median = summary.payback_figures(late, scrambles=8)["p50"].as_dict()
    assert median["value"] is None
    assert median["standard_error"] is None
    low, high = median["interval_95"]
    assert 3.0 < low < horizon
    assert high is None
    assert "interval_95" not in summary.payback_figures(late, scrambles=1)["p50"].as_dict()


def test_draws_that_are_left_out_do_not_count():
    """NaN marks a future that the question leaves out: quantiles and intervals are those of the others."""
    payback = censored(5)
    left_out = np.where(np.arange(1024) % 4 == 0, np.nan, payback)
    kept = left_out[~np.isnan(left_out)]
    assert summary.payback_figures(left_out, scrambles=8)["p50"].value == summary.quantile(kept, 0.5)
    low, high = summary.quantile_estimate(left_out, 0.5, scrambles=8).interval_95
    assert low < summary.quantile(kept, 0.5) < high
    assert summary.quantile_estimate(np.full(64, np.nan), 0.5, scrambles=8).value is None


def test_a_share_is_never_known_without_error():
    """Scrambles that agree to the draw know the share to the draw at the limit: 1 / (128 sqrt(6) sqrt(8))."""
    assert summary.share_error(np.tile([0.0, 1.0], 512), scrambles=8) == pytest.approx(1 / 128 / np.sqrt(48))
    assert summary.share_error(np.ones(8), scrambles=1) is None
