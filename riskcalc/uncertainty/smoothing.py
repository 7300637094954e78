"""What to expect of an outcome once an input is known: a sum of smooth functions of the inputs, fitted to the draws.

    outcome = mean + f_1(x_1) + ... + f_p(x_p) + rest

Each f is a cubic regression spline of the input's place in its own distribution, with a penalty on its third derivative
(smoothing splines with a reduced basis: Wood, Generalized additive models, 2nd ed. 2017, ch. 5).
Written in the functions that are orthonormal for uniform places and for the penalty at once (Demmler & Reinsch,
Numerische Mathematik 24 (1975) 375-382), the first two are a line and a bend, which no penalty touches, and those that
follow turn more and more often. How much of them an input needs is found by generalised cross-validation, which counts
each used degree 1.4 times, so that noise is not followed (Kim & Gu, Journal of the Royal Statistical Society B 66 (2004)
337-356). An input that takes a few values only gets a column for each of them instead.

Every fit is repeated with one scramble left out at a time: for the standard errors (jackknife), and because the left-out
scramble shows what the fit is worth in draws that it has not seen.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

from riskcalc.ordered import common_axes, product, solved
from riskcalc.types import Floats

#: Splines of one input; a jump is blurred over about one part in so many. Fewer where draws are few.
SPLINES, DRAWS_PER_SPLINE, LEAST_SPLINES = 24, 40, 6
#: An input with at most so many different values gets a column for each.
MOST_LEVELS = 12
#: What cross-validation counts each degree of freedom for (Kim & Gu 2004).
DEGREE_COUNTS = 1.4
#: Strengths of the penalty that are tried, in units of the first penalised function's own.
STRENGTHS = 10.0 ** np.arange(-7.0, 3.1, 0.5)
#: Functions that the penalty reduces below this are left out.
LEAST_LEFT = 0.01
#: Added to every squared length, so that columns that depend on one another share what they explain.
DEPENDENT = 1e-11
#: Draws used of a run that has more: the first of each scramble, which are a Sobol' design themselves.
MOST_DRAWS = 8192
#: Points and weights of Gauss and Legendre's rule of four points on [-1, 1] (Abramowitz & Stegun 1964, table 25.4).
INNER, OUTER = (np.sqrt(3.0 / 7.0 + sign * 2.0 / 7.0 * np.sqrt(6.0 / 5.0)) for sign in (-1.0, 1.0))
HEAVY, LIGHT = (0.5 + sign * np.sqrt(30.0) / 36.0 for sign in (1.0, -1.0))


@dataclass(frozen=True)
class Term:
    """One function of the sum: `columns` (draws, functions) at the draws, `penalty` (functions,), 0 where there is none.

    `fine` tells the functions that turn most often, whose part shows how much finer ones would still add.
    """

    columns: Floats
    penalty: Floats
    fine: NDArray[np.bool_]
    levels: Floats = field(default_factory=lambda: np.empty(0))

    @property
    def parts(self) -> int:
        """Number of parts between the knots of the spline, 0 for columns of levels."""
        return 0 if len(self.levels) else self.columns.shape[1] - 2

    def at(self, places: Floats, values: Floats) -> Floats:
        """Return the columns at places in (0, 1) and their values, (points,) each: (points, functions)."""
        if len(self.levels):
            nearest = self.levels[np.argmin(np.abs(self.levels - values[:, None]), axis=1)]
            return _level_columns(nearest, self.levels)
        return _spline_columns(places, self.columns.shape[1] + 1)


@dataclass(frozen=True)
class Additive:
    """A sum of functions fitted to an outcome, to all draws and with one scramble left out at a time.

    Rounds come first: round 0 is the fit to all draws, round r leaves out scramble r. `mean` (rounds,), `parts`
    (rounds, terms, draws) with mean 0 over the draws of the round, `rest` (rounds, draws), `noise` (rounds,) the variance
    of the rest. `degrees` and `noise_degrees` (terms,): traces of 2 S - S^2 and of S^2, S the smoother of a term.
    `coarse` (terms, draws): the parts of round 0 without the functions that turn most often.
    """

    outcome: Floats
    block: NDArray[np.int64]
    mean: Floats
    parts: Floats
    rest: Floats
    noise: Floats
    degrees: Floats
    noise_degrees: Floats
    coarse: Floats
    coefficients: tuple[Floats, ...]
    offsets: Floats

    @property
    def seen(self) -> Floats:
        """Whether each round has seen a draw, 1 or 0, (rounds, draws)."""
        return seen_by(len(self.mean), self.block)

    def unseen(self, part: Floats) -> Floats:
        """Return of `part` (rounds, draws) what each draw has in the round that left it out, (draws,)."""
        return part[self.block + 1, np.arange(len(self.outcome))]

    def part_at(self, term: int, columns: Floats) -> Floats:
        """Return the function of one term at `columns` (points, functions), (rounds, points)."""
        return product(self.coefficients[term], columns.T) - self.offsets[:, term, None]


def smooth_term(place: Floats, value: Floats) -> Term:
    """Return the functions of one input from the place of each draw in (0, 1) and its value, (draws,) each."""
    levels = np.unique(value[: 4 * MOST_LEVELS])
    if len(levels) <= MOST_LEVELS:
        levels = np.unique(value)
    if len(levels) <= MOST_LEVELS:
        columns = _level_columns(value, levels)
        count = columns.shape[1]
        return Term(columns, np.zeros(count), np.zeros(count, dtype=bool), levels)
    splines = int(np.clip(len(place) // DRAWS_PER_SPLINE, LEAST_SPLINES, SPLINES))
    penalty = _spline_basis(splines)[0]
    return Term(_spline_columns(place, splines), penalty, np.arange(splines - 1) >= splines // 2)


def product_term(one: Floats, other: Floats) -> Term:
    """Return the product of two inputs' values, each less its mean, as a function of its own."""
    product = (one - one.mean()) * (other - other.mean())
    spread = float(product.std())
    column = (product - product.mean()) / (spread if spread > 0.0 else 1.0)
    return Term(column[:, None], np.ones(1), np.zeros(1, dtype=bool))


def used_draws(draws: int, scrambles: int) -> NDArray[np.int64]:
    """Return which draws a fit uses: all, or the first of each scramble where there are more than `MOST_DRAWS`."""
    each = draws // scrambles
    first = np.arange(min(each, max(1, MOST_DRAWS // scrambles)))
    return (np.arange(scrambles)[:, None] * each + first).ravel()


def blocks_of(draws: int, scrambles: int) -> NDArray[np.int64]:
    """Return the scramble of each draw, counted from 0, (draws,)."""
    return np.arange(draws) // max(1, draws // scrambles)


def additive(outcome: Floats, terms: Sequence[Term], block: NDArray[np.int64]) -> Additive:
    """Return the sum of the terms' functions that fits the outcome (draws,); `block` is the scramble of each draw, rising."""
    kept = [np.flatnonzero(term.penalty == 0.0) for term in terms]
    strengths = [0.0] * len(terms)
    # First a line and a bend of everything; then as many turns as the rest bears out; once more with those at hand.
    for _ in range(2):
        fit = _fitted(outcome, terms, kept, strengths, rounds=1, block=block)
        chosen = [_chosen(fit, index, term) for index, term in enumerate(terms)]
        strengths = [strength for strength, _ in chosen]
        kept = [np.flatnonzero(left >= LEAST_LEFT) for _, left in chosen]
    scrambles = int(block[-1]) + 1
    return _fitted(outcome, terms, kept, strengths, rounds=scrambles + 1 if scrambles > 1 else 1, block=block)


def seen_by(rounds: int, block: NDArray[np.int64]) -> Floats:
    """Return whether each round sees a draw, 1 or 0, (rounds, draws): round 0 sees all, round r not scramble r."""
    return np.concatenate([np.ones((1, len(block))), block[None] != np.arange(rounds - 1)[:, None]])


def _fitted(
    outcome: Floats,
    terms: Sequence[Term],
    kept: Sequence[NDArray[np.int64]],
    strengths: Sequence[float],
    *,
    rounds: int,
    block: NDArray[np.int64],
) -> Additive:
    """Return the penalised least squares fit on the kept functions of each term."""
    draws = len(outcome)
    sizes = [len(own) for own in kept]
    ends = np.cumsum([1, *sizes])
    columns = np.concatenate(
        [np.ones((draws, 1)), *(term.columns[:, own] for term, own in zip(terms, kept, strict=True))], axis=1
    )
    penalty = np.concatenate(
        [np.zeros(1), *(s * term.penalty[own] for term, own, s in zip(terms, kept, strengths, strict=True))]
    )
    seen = seen_by(rounds, block)
    counts = seen.sum(axis=1)
    ends_of = np.searchsorted(block, np.arange(int(block[-1]) + 2))
    slices = [slice(first, last) for first, last in itertools.pairwise(ends_of)]
    products = np.stack([product(columns[own].T, columns[own]) for own in slices])
    moments = np.stack([product(columns[own].T, outcome[own]) for own in slices])
    gram = np.repeat(products.sum(axis=0)[None], rounds, axis=0)
    right = np.repeat(moments.sum(axis=0)[None], rounds, axis=0)
    gram[1:] -= products[: rounds - 1]
    right[1:] -= moments[: rounds - 1]
    gram = gram / counts[:, None, None] + np.diag(penalty + DEPENDENT)
    right /= counts[:, None]
    coefficients = solved(gram, right)
    mean = product(seen, outcome) / counts
    parts, coarse = np.empty((rounds, len(terms), draws)), np.empty((len(terms), draws))
    offsets = np.empty((rounds, len(terms)))
    full, degrees, noise_degrees = [], np.empty(len(terms)), np.empty(len(terms))
    for index, (term, own) in enumerate(zip(terms, kept, strict=True)):
        here = slice(ends[index], ends[index + 1])
        part = product(coefficients[:, here], columns[:, here].T)
        offsets[:, index] = (part * seen).sum(axis=1) / counts
        parts[:, index] = part - offsets[:, index, None]
        rough = here.start + np.flatnonzero(~term.fine[own])
        coarse[index] = product(columns[:, rough], coefficients[0, rough])
        coarse[index] -= coarse[index].mean()
        left = 1.0 / (1.0 + strengths[index] * term.penalty[own])
        degrees[index], noise_degrees[index] = (2.0 * left - left**2).sum(), (left**2).sum()
        whole = np.zeros((rounds, term.columns.shape[1]))
        whole[:, own] = coefficients[:, here]
        full.append(whole)
    rest = outcome - mean[:, None] - parts.sum(axis=1)
    freedom = np.maximum(1.0 - (1.0 + degrees.sum()) / counts, 1.0 / counts)
    noise = (rest**2 * seen).sum(axis=1) / counts / freedom
    return Additive(
        outcome, block, mean, parts, rest, noise, degrees, noise_degrees, coarse, tuple(full), offsets
    )  # fmt: skip


def _chosen(fit: Additive, index: int, term: Term) -> tuple[float, Floats]:
    """Return the strength of one term's penalty and what it leaves of each function, by generalised cross-validation.

    The outcome less all other terms is smoothed; functions count as orthonormal, as they are for evenly spread draws.
    """
    if not term.penalty.any():
        return 0.0, np.ones(len(term.penalty))
    draws = len(fit.outcome)
    partial = fit.rest[0] + fit.parts[0, index]
    on_each = (product(partial, term.columns) / draws) ** 2
    unit = term.penalty[term.penalty > 0.0].min()
    left = 1.0 / (1.0 + STRENGTHS[:, None] / unit * term.penalty)
    unexplained = np.maximum((partial**2).mean() - product(2.0 * left - left**2, on_each), 1e-300)
    others = 1.0 + fit.degrees.sum() - fit.degrees[index]
    freedom = np.maximum(1.0 - (others + DEGREE_COUNTS * left.sum(axis=1)) / draws, 1e-3)
    # The strongest penalty among equals.
    scores = unexplained / freedom**2
    best = len(scores) - 1 - int(np.argmin(scores[::-1]))
    return float(STRENGTHS[best] / unit), left[best]


@cache
def _spline_basis(splines: int) -> tuple[Floats, Floats]:
    """Return penalties (functions,) and the functions as sums of B-splines (splines, turning functions)."""
    edges = np.linspace(0.0, 1.0, splines - 2)
    # Four points a part integrate the product of two cubics exactly (Gauss-Legendre).
    nodes, weights = np.array([-OUTER, -INNER, INNER, OUTER]), np.array([LIGHT, HEAVY, HEAVY, LIGHT])
    width = edges[1]
    points = (edges[:-1, None] + 0.5 * width * (nodes + 1.0)).ravel()
    each = np.tile(0.5 * width * weights, splines - 3)
    at, third = cubic_splines(points, splines), _third_derivatives(points, splines)
    penalty, functions = common_axes(product(third.T, each[:, None] * third), product(at.T, each[:, None] * at))
    # The first three are constant, line and bend, in any mixture: those are written down instead.
    return np.concatenate([np.zeros(2), penalty[3:]]), functions[:, 3:]


def _knots(splines: int) -> Floats:
    """Return the knots of cubic B-splines on [0, 1]: parts of equal width, both ends fourfold, (splines + 4,)."""
    return np.concatenate([np.zeros(3), np.linspace(0.0, 1.0, splines - 2), np.ones(3)])


def cubic_splines(place: Floats, splines: int) -> Floats:
    """Return cubic B-splines with knots at equal distances at places in [0, 1], (places, splines).

    By the recurrence of Cox and de Boor (de Boor, A practical guide to splines, revised ed. 2001, ch. IX, eq. 14),
    written here because the library that has it takes a fifth of a second to read; a test compares the two.
    """
    return _b_splines(place, _knots(splines), degree=3)


def _b_splines(place: Floats, knots: Floats, *, degree: int) -> Floats:
    """Return the B-splines of one degree at places between the first and the last knot, (places, splines)."""
    inner = len(knots) - 7
    part = 3 + np.minimum((place * inner).astype(np.int64), inner - 1)
    # Rounding may name the neighbour of the part that holds the place.
    part += (place >= knots[part + 1]) & (part < inner + 2)
    part -= place < knots[part]
    values = np.zeros((len(place), degree + 1))
    values[:, 0] = 1.0
    for order in range(1, degree + 1):
        carried = np.zeros(len(place))
        for index in range(order):
            left, right = knots[part + 1 + index - order], knots[part + 1 + index]
            share = values[:, index] / (right - left)
            values[:, index] = carried + (right - place) * share
            carried = (place - left) * share
        values[:, order] = carried
    whole = np.zeros((len(place), len(knots) - 1 - degree))
    np.put_along_axis(whole, part[:, None] - degree + np.arange(degree + 1), values, axis=1)
    return whole


def _third_derivatives(place: Floats, splines: int) -> Floats:
    """Return the third derivatives of the cubic B-splines, constant on each part, (places, splines).

    By differences of splines of lower degree (de Boor 2001, ch. X, eq. 12).
    """
    knots = _knots(splines)
    lower = _b_splines(place, knots, degree=0)
    for degree in (1, 2, 3):
        reach = knots[degree:] - knots[:-degree]
        scaled = degree * np.divide(lower, reach, out=np.zeros_like(lower), where=reach > 0.0)
        lower = scaled[:, :-1] - scaled[:, 1:]
    return lower


def _spline_columns(place: Floats, splines: int) -> Floats:
    """Return line, bend (the first shifted Legendre polynomials) and turning functions, (draws, splines - 1)."""
    centred = 2.0 * place - 1.0
    turning = product(cubic_splines(np.clip(place, 0.0, 1.0), splines), _spline_basis(splines)[1])
    line, bend = np.sqrt(3.0) * centred, np.sqrt(5.0) * (1.5 * centred**2 - 0.5)
    return np.concatenate([line[:, None], bend[:, None], turning], axis=1)


def _level_columns(value: Floats, levels: Floats) -> Floats:
    """Return a column for each level but the first, 1 at draws of it, (draws, levels - 1)."""
    return (value[:, None] == levels[None, 1:]).astype(float)
