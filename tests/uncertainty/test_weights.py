"""Importance weights: against a posterior known in closed form, and at their limits."""

import numpy as np
import pytest
from scipy.special import ndtri

from riskcalc.uncertainty import summary
from riskcalc.uncertainty.weights import (
    effective_sample_size,
    likelihood_weights,
    misfit,
    weighted_estimate,
    weighted_mean,
    weighted_quantile,
    weighted_share,
)

RNG = np.random.default_rng(5)


def test_normal_prior_and_normal_error_give_the_known_posterior():
    """Prior N(0, 1), three readings of error 0.8: posterior mean and variance of the conjugate pair (Gelman, BDA, 2.5).

    The prior is laid out at 4001 even quantiles, so that only the step between them is left: below 1e-4.
    """
    prior = ndtri((np.arange(4001) + 0.5) / 4001)
    readings, error = np.array([0.5, 1.4, 0.9]), 0.8
    weights = likelihood_weights(misfit(readings[:, None] - prior[None, :], np.eye(3) * error**2))
    precision = 1.0 + 3 / error**2
    assert weighted_mean(prior, weights) == pytest.approx(readings.sum() / error**2 / precision, abs=1e-4)
    mean = weighted_mean(prior, weights)
    assert weighted_mean((prior - mean) ** 2, weights) == pytest.approx(1 / precision, abs=1e-4)
    assert weighted_quantile(prior, weights, 0.9) == pytest.approx(mean + ndtri(0.9) / np.sqrt(precision), abs=2e-3)


def test_misfit_of_correlated_errors_is_that_of_the_inverse():
    """Forward substitution and a matrix inverse agree to rounding; independent errors are a plain sum of squares."""
    roots = RNG.normal(size=(4, 4))
    covariance, residual = roots @ roots.T + np.eye(4), RNG.normal(size=(4, 50))
    expected = np.einsum("id,ij,jd->d", residual, np.linalg.inv(covariance), residual)
    assert misfit(residual, covariance) == pytest.approx(expected, rel=1e-10)
    assert misfit(residual, np.eye(4) * 4.0) == pytest.approx((residual**2).sum(axis=0) / 4.0, rel=1e-12)


def test_effective_sample_size_at_its_limits():
    """Equal weights are worth all draws, a single one is worth one; two of four are worth two."""
    assert effective_sample_size(np.full(40, 0.3)) == pytest.approx(40)
    assert effective_sample_size(np.array([0.0, 5.0, 0.0])) == pytest.approx(1)
    assert effective_sample_size(np.array([1.0, 1.0, 0.0, 0.0])) == pytest.approx(2)


def test_impossible_draws_have_no_weight():
    """An infinite misfit is a weight of exactly 0; if all are, there is no answer."""
    weights = likelihood_weights(np.array([2.0, np.inf, 2.0]))
    assert weights.tolist() == [0.5, 0.0, 0.5]
    with pytest.raises(ValueError, match="no draw"):
        likelihood_weights(np.array([np.inf, np.inf]))


@pytest.mark.parametrize("share", [0.0, 0.05, 0.31, 0.5, 0.95, 1.0])
def test_equal_weights_give_the_plain_quantile(share):
    """With equal weights the weighted quantile is that of `summary`, also where draws are infinite."""
    values = RNG.normal(size=33)
    values[:3] = np.inf
    expected = summary.quantile(values, share)
    assert weighted_quantile(values, np.full(33, 0.2), share) == pytest.approx(expected, rel=1e-12)


def test_whole_weights_count_like_copies_in_the_long_run():
    """A draw of weight 3 counts like three draws: quantiles agree to the spacing of the draws."""
    values = np.sort(RNG.normal(size=2000))
    weights = RNG.integers(1, 4, size=2000).astype(float)
    copies = np.repeat(values, weights.astype(int))
    for share in (0.1, 0.5, 0.9):
        assert weighted_quantile(values, weights, share) == pytest.approx(np.quantile(copies, share), abs=0.02)


def test_standard_error_of_equal_weights_is_that_of_independent_blocks():
    """For a mean with equal weights the jackknife over blocks is the error of independent block means."""
    values = RNG.normal(size=160)
    found = weighted_estimate(values, np.full(160, 1 / 160), weighted_mean, scrambles=8)
    expected = summary.estimate(values, summary.mean, scrambles=8)
    assert found.value == pytest.approx(expected.value)
    assert found.standard_error == pytest.approx(expected.standard_error)


def test_figures_that_are_never_reached_are_none():
    """A quantile among draws that never pay back is None, and so is its error."""
    found = weighted_estimate(
        np.full(16, np.inf), np.full(16, 1 / 16), lambda x, w: weighted_quantile(x, w, 0.5), scrambles=4
    )
    assert (found.value, found.standard_error) == (None, None)
    assert weighted_share(np.array([True, False]), np.array([3.0, 1.0])) == 0.75
