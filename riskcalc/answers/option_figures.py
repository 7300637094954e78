"""Statistics of a comparison, from the worth of every choice in every common draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from riskcalc.money.measures import dominance_order
from riskcalc.types import Floats
from riskcalc.uncertainty.summary import QUANTILES, Estimate, estimate, mean, quantile_estimate


@dataclass(frozen=True)
class Pair:
    """Two choices: `first` less `second`, draw by draw.

    `difference` holds mean and quantiles, `first_better` the share of draws in which the first is worth more (ties
    count half). `independent_se` is the standard error that the mean difference would have if the two had been drawn
    apart, None where one of them is the same in every draw. `dominating` names the one that dominates, at `order` 0
    (in every draw), 1 or 2 (`money.dominance`).
    """

    first: str
    second: str
    difference: dict[str, Estimate]
    first_better: Estimate
    independent_se: float | None
    dominating: str | None
    order: int | None

    @property
    def gain_of_common_draws(self) -> float | None:
        """Standard error of the mean difference with draws apart over that with common draws; None where one is 0."""
        common = self.difference["mean"].standard_error
        return None if not common or not self.independent_se else self.independent_se / common


def best_shares(worth: Floats) -> Floats:
    """Return how far each choice is the best of its draw: 1, 0, or 1/n where n of them tie, (choices, draws)."""
    best = worth == worth.max(axis=0)
    return best / best.sum(axis=0)


def regrets(worth: Floats) -> Floats:
    """Return how much more the best choice of each draw is worth, never negative, (choices, draws)."""
    return worth.max(axis=0) - worth


def value_of_knowing(worth: Floats, *, scrambles: int) -> Estimate:
    """Return what it would be worth to know the draw before choosing (expected value of perfect information).

    Mean of the best worth in each draw less the best mean worth, which is the least expected regret. Limiting case: one
    choice is best in every draw and knowing changes nothing, 0.
    """
    return estimate(
        np.arange(worth.shape[1], dtype=np.float64),
        lambda part: float(regrets(worth[:, part.astype(int)]).mean(axis=1).min()),
        scrambles=scrambles,
    )


def pairs(names: Sequence[str], worth: Floats, *, scrambles: int) -> tuple[Pair, ...]:
    """Return every pair of choices, in the order of `names`."""
    return tuple(
        pair(names[one], names[other], worth[one], worth[other], scrambles=scrambles)
        for one, other in combinations(range(len(names)), 2)
    )


def pair(first: str, second: str, first_worth: Floats, second_worth: Floats, *, scrambles: int) -> Pair:
    """Return what separates two choices on common draws."""
    difference = first_worth - second_worth
    figures = {"mean": estimate(difference, mean, scrambles=scrambles)}
    for name, share in QUANTILES.items():
        figures[name] = replace(quantile_estimate(difference, share, scrambles=scrambles), interval_95=None)
    apart = [estimate(worth, mean, scrambles=scrambles).standard_error for worth in (first_worth, second_worth)]
    dominating, order = dominance(first, second, first_worth, second_worth)
    return Pair(
        first=first,
        second=second,
        difference=figures,
        first_better=estimate(np.where(difference == 0.0, 0.5, difference > 0.0), mean, scrambles=scrambles),
        independent_se=float(np.hypot(apart[0], apart[1])) if apart[0] and apart[1] else None,
        dominating=dominating,
        order=order,
    )


def dominance(first: str, second: str, first_worth: Floats, second_worth: Floats) -> tuple[str | None, int | None]:
    """Return which of two choices dominates the other, and at which order; (None, None) where neither does."""
    for name, better, worse in ((first, first_worth, second_worth), (second, second_worth, first_worth)):
        order = dominance_order(better, worse)
        if order is not None:
            return name, order
    return None, None
