"""Figures with standard errors, and what happens to a payback that never comes."""

import numpy as np
import pytest

from riskcalc.uncertainty import summary


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
