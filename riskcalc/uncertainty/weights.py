"""Draws that count more or less, given what was measured: importance weights and figures from them.

A draw counts in proportion to the likelihood of the measured figures under it (importance sampling with the prior as
proposal; Owen, Monte Carlo theory, methods and examples, ch. 9). How many equal draws the weights are worth is the
effective sample size (sum w)^2 / sum w^2 (Kish 1965, from memory).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from riskcalc.ordered import forward, lower_factor
from riskcalc.types import Floats
from riskcalc.uncertainty.summary import Estimate, jackknife

Statistic = Callable[[Floats, Floats], float]


def misfit(residual: Floats, covariance: Floats) -> Floats:
    """Return r' C^-1 r of each draw, (draws,), for residuals (figures, draws) and the covariance of their errors.

    Limiting case: independent errors of standard deviation s give the sum of (r / s)^2.
    """
    scaled = forward(lower_factor(covariance), residual)
    total = np.zeros(residual.shape[1])
    for row in scaled:
        total += row**2
    return total


def likelihood_weights(misfits: Floats) -> Floats:
    """Return weights proportional to exp(-misfit / 2) that sum to 1; an infinite misfit gives 0.

    Raises
    ------
    ValueError
        If no draw has a finite misfit.
    """
    best = misfits.min()
    if not np.isfinite(best):
        raise ValueError("no draw with a finite misfit")
    raw = np.exp(-0.5 * (misfits - best))
    return raw / raw.sum()


def effective_sample_size(weights: Floats) -> float:
    """Return how many draws of equal weight the weights are worth: n for equal ones, 1 if one draw has it all."""
    return float(weights.sum() ** 2 / (weights**2).sum())


def weighted_mean(values: Floats, weights: Floats) -> float:
    """Return the weighted mean."""
    return float((values * weights).sum() / weights.sum())


def weighted_share(flags: Floats, weights: Floats) -> float:
    """Return the weight of the draws that are marked (True or 1) over all weight."""
    return weighted_mean(np.asarray(flags, dtype=np.float64), weights)


def weighted_quantile(values: Floats, weights: Floats, share: float) -> float:
    """Return the weighted quantile of draws that may be infinite; infinite as soon as it touches an infinite draw.

    Draw k of the n in rising order lies at s(k) = (k - 1) w(k) + (n - 1) (w(1) + ... + w(k - 1)), linear in between;
    equal weights give definition 7 of Hyndman & Fan (1996), the one of `summary.quantile`.
    """
    kept = weights > 0.0
    order = np.argsort(values[kept], kind="stable")
    ordered, weight = values[kept][order], weights[kept][order]
    count = len(ordered)
    if count == 1:
        return float(ordered[0])
    before = np.concatenate([[0.0], np.cumsum(weight)[:-1]])
    place = np.arange(count) * weight + (count - 1) * before
    wanted = share * place[-1]
    above = int(np.clip(np.searchsorted(place, wanted, side="left"), 0, count - 1))
    if place[above] <= wanted * (1.0 + 1e-12) or above == 0:
        return float(ordered[above])
    if np.isinf(ordered[above]):
        return float(np.inf)
    part = (wanted - place[above - 1]) / (place[above] - place[above - 1])
    return float(ordered[above - 1] + part * (ordered[above] - ordered[above - 1]))


def weighted_estimate(values: Floats, weights: Floats, statistic: Statistic, *, scrambles: int) -> Estimate:
    """Return a weighted statistic with its standard error over scrambles left out one at a time (jackknife).

    se^2 = (R - 1) / R sum (t(r) - mean t)^2. Infinite figures become None, as in `summary.estimate`.
    """
    whole = statistic(values, weights)
    block = np.arange(len(values)) // (len(values) // scrambles)
    parts = []
    for left_out in range(scrambles):
        kept = block != left_out
        if scrambles > 1 and weights[kept].sum() > 0.0:
            parts.append(statistic(values[kept], weights[kept]))
    found = np.array(parts)
    known = len(found) > 1 and bool(np.isfinite(found).all())
    error = float(jackknife(found)) if known else None
    return Estimate(float(whole), error) if np.isfinite(whole) else Estimate(None, None)
