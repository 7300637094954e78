"""Rank histograms: does what comes true lie evenly among what was thought possible?

If truth and ensemble come from the same distribution, the rank of the truth among the draws is uniform (Talts, Betancourt,
Simpson, Vehtari and Gelman, Validating Bayesian inference algorithms with simulation-based calibration, 2018).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc


def rank_histogram(places: ArrayLike, *, bins: int) -> NDArray[np.int64]:
    """Return how many places in [0, 1] fall into each of `bins` equal bins."""
    edges = np.clip((np.asarray(places, dtype=np.float64) * bins).astype(np.int64), 0, bins - 1)
    return np.bincount(edges, minlength=bins)


def chance_of_worse(counts: ArrayLike) -> float:
    """Return the chance that uniform ranks would give a histogram at least as uneven (chi-square, bins - 1 degrees)."""
    counts = np.asarray(counts, dtype=np.float64)
    expected = counts.sum() / len(counts)
    return float(chdtrc(len(counts) - 1, ((counts - expected) ** 2 / expected).sum()))


def place_among(truth: float, ensemble: ArrayLike, weights: ArrayLike | None = None) -> float:
    """Return the share of the ensemble below the truth, half of the ties included, in [0, 1]."""
    ensemble = np.asarray(ensemble, dtype=np.float64)
    weight = np.full(ensemble.shape, 1.0 / ensemble.size) if weights is None else np.asarray(weights, dtype=np.float64)
    return float((weight * ((ensemble < truth) + 0.5 * (ensemble == truth))).sum() / weight.sum())
