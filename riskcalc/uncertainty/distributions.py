"""From points of the unit interval to values: one quantile function per kind of uncertain quantity.

x = Q(F(minimum) + u [F(maximum) - F(minimum)]): a cut distribution is renormalised inside its cut, so nothing piles up
at the edges. Every quantile function rises with u, which is what lets correlated points (Gaussian copula) and
sensitivities keep their meaning. Definitions: Johnson, Kotz and Balakrishnan, Continuous univariate distributions,
2nd ed. (1994, 1995); PERT: Malcolm et al., Operations Research 7 (1959) 646-669, generalised by the weight 4.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from riskcalc.ordered import product
from riskcalc.uncertainty.observed import Discrete, Empirical
from riskcalc.uncertainty.quantity import Beta, Fixed, Lognormal, Normal, Pert, Quantity, Triangular, Uniform

Floats = NDArray[np.float64]

#: Points are kept this far from 0 and 1 where a tail is endless, so that no draw is infinite.
EDGE = 1e-12
#: Levels of the quantiles that the sketch of a distribution is drawn from.
SKETCH_LEVELS = np.linspace(0.01, 0.99, 99)


def quantile(quantity: Quantity, u: ArrayLike) -> Floats:
    """Return the value below which the share `u` of all draws lies, shape of `u`.

    Parameters
    ----------
    quantity
        What was said about the number.
    u
        Points in [0, 1], any shape.

    Raises
    ------
    ValueError
        If a point lies outside [0, 1] or is not a number.
    """
    points = np.asarray(u, dtype=float)
    if not ((points >= 0) & (points <= 1)).all():
        raise ValueError("u: points outside 0 to 1; accepted: 0 to 1")
    if isinstance(quantity, Fixed):
        return np.full(points.shape, quantity.value)
    if isinstance(quantity, Discrete):
        return _step_quantile(*_columns(quantity), points)
    if isinstance(quantity, Empirical):
        kept = np.array(quantity.kept)
        return kept[np.minimum((points * len(kept)).astype(np.int64), len(kept) - 1)]
    low, high = quantity.support
    if isinstance(quantity, Normal):
        scores = _normal_scores(points, *_scores_of_cut(quantity))
        values = quantity.mean + quantity.sd * scores
    elif isinstance(quantity, Lognormal):
        scores = _normal_scores(points, *_scores_of_cut(quantity))
        values = quantity.median * np.exp(quantity.sigma * scores)
    else:
        start, end = (float(cumulative(_uncut(quantity), edge)) for edge in (low, high))
        values = _bounded_quantile(quantity, start + points * (end - start))
    return np.clip(values, low, high)


def cumulative(quantity: Quantity, x: ArrayLike) -> Floats:
    """Return the share of all draws at or below `x`, shape of `x`."""
    values = np.asarray(x, dtype=float)
    low, high = quantity.support
    if isinstance(quantity, Fixed):
        return (values >= quantity.value).astype(float)
    if isinstance(quantity, Discrete):
        choices, chances = _columns(quantity)
        return np.concatenate([[0.0], np.cumsum(chances)])[np.searchsorted(choices, values, side="right")]
    if isinstance(quantity, Empirical):
        kept = np.array(quantity.kept)
        return np.searchsorted(kept, values, side="right") / len(kept)
    inside = np.clip(values, low, high)
    if isinstance(quantity, Normal | Lognormal):
        bottom, top = _scores_of_cut(quantity)
        with np.errstate(divide="ignore"):
            return _score_share(_score(quantity, inside), bottom, top)
    share = _bounded_share(quantity, inside)
    start, end = _bounded_share(quantity, low), _bounded_share(quantity, high)
    return (share - start) / (end - start)


def mean(quantity: Quantity) -> float:
    """Return the expected value, after any cut, in closed form.

    Cut normal: mean + sd (phi(a) - phi(b)) / (Phi(b) - Phi(a)); cut lognormal:
    median exp(sigma^2/2) (Phi(b - sigma) - Phi(a - sigma)) / (Phi(b) - Phi(a)), with a, b the scores of the cut.
    """
    if isinstance(quantity, Fixed):
        return quantity.value
    if isinstance(quantity, Discrete):
        choices, chances = _columns(quantity)
        return float(product(choices, chances))
    if isinstance(quantity, Empirical):
        return float(np.mean(quantity.kept))
    if isinstance(quantity, Normal):
        a, b = _scores_of_cut(quantity)
        return quantity.mean + quantity.sd * (_density(a) - _density(b)) / _score_mass(a, b)
    if isinstance(quantity, Lognormal):
        a, b = _scores_of_cut(quantity)
        whole = quantity.median * math.exp(quantity.sigma**2 / 2)
        return whole * _score_mass(a - quantity.sigma, b - quantity.sigma) / _score_mass(a, b)
    return _bounded_mean(quantity)


def describe(quantity: Quantity) -> str:
    """Return the quantity in words, such as `triangular 5 to 9, most likely 6`."""
    return quantity.words()


def cut_share(quantity: Quantity) -> float:
    """Return the share of the uncut distribution that its cut leaves: 1 without a cut, 0 for an empty support."""
    low, high = quantity.support
    if low > high:
        return 0.0
    if isinstance(quantity, Fixed):
        return 1.0
    if isinstance(quantity, Discrete | Empirical):
        return (
            1.0
            if quantity.minimum is None and quantity.maximum is None
            else len(_left(quantity)) / len(quantity.values)
        )
    if isinstance(quantity, Normal | Lognormal):
        return float(_score_mass(*_scores_of_cut(quantity)))
    return float(_bounded_share(quantity, high) - _bounded_share(quantity, low))


def _left(quantity: Discrete | Empirical) -> tuple[object, ...]:
    return quantity.choices if isinstance(quantity, Discrete) else quantity.kept


def _uncut(quantity: Quantity) -> Quantity:
    from dataclasses import replace

    return replace(quantity, minimum=None, maximum=None)


# ---- normal and lognormal, on the scale of normal scores


def _score(quantity: Normal | Lognormal, x: ArrayLike) -> Floats:
    if isinstance(quantity, Normal):
        return (np.asarray(x, dtype=float) - quantity.mean) / quantity.sd
    return np.log(np.asarray(x, dtype=float) / quantity.median) / quantity.sigma


def _scores_of_cut(quantity: Normal | Lognormal) -> tuple[float, float]:
    low, high = quantity.support
    with np.errstate(divide="ignore"):
        return float(_score(quantity, low)), float(_score(quantity, high))


def _normal_scores(u: Floats, bottom: float, top: float) -> Floats:
    """Return normal scores cut to [bottom, top]; worked in the nearer tail, where small shares keep their digits."""
    if bottom > 0:
        return -_normal_scores(1 - u, -top, -bottom)
    start, end = special.ndtr(bottom), special.ndtr(top)
    share = start + u * (end - start)
    if bottom == -math.inf:
        share = np.maximum(share, EDGE * end)
    if top == math.inf:
        share = np.minimum(share, 1 - EDGE)
    return special.ndtri(share)


def _score_mass(bottom: float, top: float) -> float:
    if bottom > 0:
        return float(special.ndtr(-bottom) - special.ndtr(-top))
    return float(special.ndtr(top) - special.ndtr(bottom))


def _score_share(scores: Floats, bottom: float, top: float) -> Floats:
    if bottom > 0:
        return (special.ndtr(-bottom) - special.ndtr(-scores)) / _score_mass(bottom, top)
    return (special.ndtr(scores) - special.ndtr(bottom)) / _score_mass(bottom, top)


def _density(score: float) -> float:
    return math.exp(-(score**2) / 2) / math.sqrt(2 * math.pi)


# ---- kinds with two ends


def _bounded_quantile(quantity: Quantity, share: Floats) -> Floats:
    low, high = quantity.full_support
    width = high - low
    if isinstance(quantity, Uniform):
        return low + width * share
    if isinstance(quantity, Triangular):
        turn = (quantity.mode - low) / width
        rising = low + width * np.sqrt(share * turn)
        falling = high - width * np.sqrt((1 - share) * (1 - turn))
        return np.where(share < turn, rising, falling)
    if isinstance(quantity, Beta | Pert):
        # Within 1e-12 of the ends the inverse may come back as NaN; the ends themselves are exact.
        rounded = np.where(share < EDGE, 0.0, np.where(share > 1 - EDGE, 1.0, share))
        return low + width * special.betaincinv(*quantity.shape, rounded)
    raise TypeError(f"no quantile function for {type(quantity).__name__}")


def _bounded_share(quantity: Quantity, x: ArrayLike) -> Floats:
    low, high = quantity.full_support
    place = (np.asarray(x, dtype=float) - low) / (high - low)
    if isinstance(quantity, Uniform):
        return place
    if isinstance(quantity, Triangular):
        turn = (quantity.mode - low) / (high - low)
        before, after = np.minimum(place, turn), np.minimum(1 - place, 1 - turn)
        rising = before * (before / turn) if turn > 0 else np.zeros_like(place)
        falling = 1 - after * (after / (1 - turn)) if turn < 1 else np.ones_like(place)
        return np.where(place < turn, rising, falling)
    if isinstance(quantity, Beta | Pert):
        return special.betainc(*quantity.shape, place)
    raise TypeError(f"no distribution function for {type(quantity).__name__}")


def _bounded_mean(quantity: Quantity) -> float:
    low, high = quantity.full_support
    width = high - low
    start, end = ((edge - low) / width for edge in quantity.support)
    if isinstance(quantity, Uniform):
        return low + width * (start + end) / 2
    if isinstance(quantity, Beta | Pert):
        alpha, beta = quantity.shape
        # x times the density is alpha/(alpha+beta) times the density with alpha + 1.
        part = special.betainc(alpha + 1, beta, end) - special.betainc(alpha + 1, beta, start)
        whole = special.betainc(alpha, beta, end) - special.betainc(alpha, beta, start)
        return low + width * float(alpha / (alpha + beta) * part / whole)
    if isinstance(quantity, Triangular):
        turn = (quantity.mode - low) / width
        whole = float(_bounded_share(quantity, quantity.support[1]) - _bounded_share(quantity, quantity.support[0]))
        return low + width * (_triangle_moment(end, turn) - _triangle_moment(start, turn)) / whole
    raise TypeError(f"no mean for {type(quantity).__name__}")


def _triangle_moment(place: float, turn: float) -> float:
    """Integral of x times the density of the unit triangle with its mode at `turn`, from 0 to `place`."""
    low_part = min(place, turn)
    moment = 2 * low_part**2 * (low_part / turn) / 3 if turn > 0 else 0.0
    if place > turn:
        left, whole = 1 - place, 1 - turn
        ratio = left / whole
        moment += whole - left * ratio - 2 * (whole**2 - left**2 * ratio) / 3
    return moment


# ---- kinds with separate values


def _columns(quantity: Discrete) -> tuple[Floats, Floats]:
    values, chances = zip(*quantity.choices, strict=True)
    return np.array(values), np.array(chances)


def _step_quantile(values: Floats, chances: Floats, u: Floats) -> Floats:
    place = np.searchsorted(np.cumsum(chances), u, side="right")
    return values[np.minimum(place, len(values) - 1)]
