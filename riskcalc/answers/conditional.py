"""What to expect of an outcome once one factor is known: a smooth regression on the draws at hand.

The basis holds, for each member of the factor, its value and the first two orthonormal Legendre polynomials of its place
in its own distribution: an outcome that is a straight line in the value is met exactly, whatever its distribution, and
bends are met as well. Groups of a few members also get the products of their values.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.draws_at_hand import DrawnFactor
from riskcalc.uncertainty.ranking import legendre

Floats = NDArray[np.float64]

#: Members beyond which products of two are left out: their number grows with its square.
MOST_MEMBERS_WITH_PRODUCTS = 4


def basis(factor: DrawnFactor, *, at: tuple[Floats, Floats] | None = None) -> Floats:
    """Return the columns of the regression for one factor or family, shape (columns, draws), the constant first.

    `at`, (places, values) of shape (members, points), asks for the columns at other points than the draws.
    """
    spread = factor.values.std(axis=1, keepdims=True)
    places, values = (factor.places, factor.values) if at is None else at
    scaled = (values - factor.values.mean(axis=1, keepdims=True)) / np.where(spread > 0.0, spread, 1.0)
    columns = [np.ones(places.shape[1])]
    for value, place in zip(scaled, places, strict=True):
        columns += [value, *legendre(place)]
    if len(scaled) <= MOST_MEMBERS_WITH_PRODUCTS:
        columns += [one * other for one, other in itertools.combinations(scaled, 2)]
    return np.array(columns)


def expected(columns: Floats, outcome: Floats, *, at: Floats | None = None) -> Floats:
    """Return the fitted outcome at the draws, or at the columns `at`; (draws,).

    Collinear columns (a uniform input's value and its first polynomial) are no trouble: the least-norm fit is taken.
    """
    return (columns if at is None else at).T @ _coefficients(columns, outcome)


def _coefficients(columns: Floats, outcome: Floats) -> Floats:
    return np.asarray(np.linalg.lstsq(columns.T, outcome, rcond=1e-10)[0], dtype=np.float64)


def expected_less_noise(
    columns: Floats, outcome: Floats, *, at: Floats | None = None, least_kept: float = 0.0
) -> Floats:
    """Return the fitted outcome, drawn towards its mean by the share of the fit that is noise.

    A regression of k columns on n draws follows the noise by k s^2 / n, s^2 the variance it leaves. The fit's departure
    from the mean is multiplied by 1 - noise / variance of the fit, at least 0 (positive-part shrinkage of James & Stein
    1961), so that a factor without effect is expected to have none and a strong one stays as it is. A fit of which less than
    `least_kept` would be left is taken for noise altogether.
    """
    return fit_less_noise(columns, outcome, least_kept=least_kept)(columns if at is None else at)


def fit_less_noise(columns: Floats, outcome: Floats, *, least_kept: float = 0.0) -> Callable[[Floats], Floats]:
    """Return what gives the fitted outcome of `expected_less_noise` at any columns: one fit, asked many times."""
    coefficients = _coefficients(columns, outcome)
    fitted = columns.T @ coefficients
    degrees = int(np.linalg.matrix_rank(columns, rtol=1e-8)) - 1
    left = float(((outcome - fitted) ** 2).sum()) / max(1, len(outcome) - degrees - 1)
    variance = float(fitted.var())
    noise = degrees * left / len(outcome)
    kept = 0.0 if variance <= noise else 1.0 - noise / variance
    kept = kept if kept >= least_kept else 0.0
    middle = float(outcome.mean())
    return lambda at: middle + kept * (at.T @ coefficients - middle)
