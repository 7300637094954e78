"""What decides whether it pays back within N years, by measures that hold although some futures never pay back.

A payback that never comes has no variance and no mean, so it is not ranked by them. Four figures stand in:

- gap: how far the odds in a tenth of the draws, taken by the factor from low to high, lie from the odds of all draws,
  on average over the ten tenths; factors are ordered by it;
- distance: the same for the whole payback time, with the largest gap between the two distribution functions
  (Kolmogorov-Smirnov distance, as in the density-based measures of Pianosi & Wagener, Environmental Modelling &
  Software 67 (2015) 1-11). A future that never pays back counts at the far end, so nothing is dropped;
- the odds with the factor at its 10 % and at its 90 % point, others drawn, from smooth functions fitted to the yes/no;
- the share of the variance of the yes/no that the factor explains alone, unless the yes or the no is rare.

Chance alone gives a gap and a distance above 0. Their noise floors come from shuffled draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from riskcalc.types import Floats
from riskcalc.uncertainty.factor_model import DrawnFactor, FactorModel
from riskcalc.uncertainty.ranking import at_ends, factor_shares
from riskcalc.uncertainty.smoothing import Additive
from riskcalc.uncertainty.streams import Stream, generator
from riskcalc.uncertainty.summary import jackknife, share_within

#: A yes/no with odds outside 5 % to 95 % gets no index: its variance rests on a handful of draws.
RARE_SHARE = 0.05

#: Equal parts of a factor's distribution that are compared with all draws.
PARTS = 10

#: Shuffles behind the noise floors, and the chance that any factor without effect passes them.
SHUFFLES, CHANCE = 200, 0.05


@dataclass(frozen=True)
class OddsRow:
    """One factor and the odds of payback; shares are decimals, None where the yes or the no is too rare for an index.

    `low`, `high`: odds at the 10 % and 90 % point of the factor (the first member of a group of correlated inputs).
    """

    name: str
    family: str
    low: float
    high: float
    effect_error: float
    share: float | None
    share_error: float | None
    gap: float
    distance: float

    @property
    def effect(self) -> float:
        """Change of the odds from the 10 % to the 90 % point."""
        return self.high - self.low


@dataclass(frozen=True)
class OddsRanking:
    """Factors by falling gap; those whose gap is below `gap_floor` cannot be told from no effect on the odds."""

    within_years: int
    odds: float
    rare: bool
    gap_floor: float
    distance_floor: float
    rows: tuple[OddsRow, ...]


def odds_ranking(payback_years: Floats, model: FactorModel, *, within_years: int, seed: int) -> OddsRanking:
    """Return what decides the odds of payback within some years.

    Parameters
    ----------
    payback_years
        Payback of each draw, infinite where it never comes, NaN where nothing is bought, shape (draws,). The odds are those
        of the draws in which something is bought; if there are none, nothing is paid back.
    model
        The factors, and the functions that the yes/no is fitted by.
    """
    counted = ~np.isnan(payback_years)
    if not counted.any():
        counted, payback_years = ~counted, np.full(len(payback_years), np.inf)
    fitted, paid_fitted = model.among(counted), (payback_years <= within_years).astype(float)
    payback_years = payback_years[counted]
    odds = share_within(payback_years, within_years)
    rare = not RARE_SHARE <= odds <= 1.0 - RARE_SHARE
    paid = paid_fitted[counted]
    fit = fitted.fit(paid_fitted)
    shares = {} if rare else {row.name: row for row in factor_shares(fitted, fit)}
    rows = []
    for factor in model.factors:
        low, high, error = odds_at_ends(paid_fitted, fitted, factor, fit)
        row = shares.get(factor.name)
        rows.append(
            OddsRow(
                factor.name,
                factor.family,
                low,
                high,
                error,
                None if row is None else row.share,
                None if row is None else row.error,
                max(mean_gap(paid, place) for place in factor.places[:, counted]),
                max(distance(payback_years, place) for place in factor.places[:, counted]),
            )
        )
    rows.sort(key=lambda row: (-row.gap, row.name))
    gap_floor, distance_floor = noise_floors(payback_years, paid, factors=len(rows), seed=seed)
    return OddsRanking(within_years, odds, rare, gap_floor, distance_floor, tuple(rows))


def odds_at_ends(
    paid: Floats, model: FactorModel, factor: DrawnFactor, fit: Additive | None
) -> tuple[float, float, float]:
    """Return the odds at the 10 % and the 90 % point of a factor's first member, and the error of their difference.

    A member that is correlated with others brings them along, so it is fitted alone; so is every factor where the draws
    are too few to fit all at once (`fit` None).
    """
    if fit is None or len(factor.members) > 1:
        first = DrawnFactor(factor.name, factor.family, factor.members[:1], factor.places[:1], factor.values[:1])
        model = model.alone(first)
        fit = model.fit_anyway(paid)
    low, high = at_ends(model, fit, factor.members[0])
    error = float(jackknife((high - low)[1:]))
    return float(np.clip(low[0], 0.0, 1.0)), float(np.clip(high[0], 0.0, 1.0)), error


def distance(payback_years: Floats, place: Floats) -> float:
    """Return the mean Kolmogorov-Smirnov distance between each tenth of the draws by `place` and all of them.

    0 where the factor changes nothing, at most 1. Infinite payback lies beyond every finite one.
    """
    return float(_mean_distances(payback_years, [np.argsort(place, kind="stable")])[0])


def mean_gap(paid: Floats, place: Floats) -> float:
    """Return the mean difference between the odds in each tenth of the draws by `place` and those of all draws."""
    return float(_mean_gaps(paid, [np.argsort(place, kind="stable")])[0])


def noise_floors(payback_years: Floats, paid: Floats, *, factors: int, seed: int) -> tuple[float, float]:
    """Return the gap and the distance that none of so many factors without effect would pass in 95 of 100 runs.

    From shuffled draws, taken as normal, with the chance shared out among the factors (Bonferroni).
    """
    rng = generator(seed, Stream.SHUFFLES)
    orders = [rng.permutation(len(paid)) for _ in range(SHUFFLES)]
    gaps, distances = _mean_gaps(paid, orders), _mean_distances(payback_years, orders)
    above = float(special.ndtri(1.0 - CHANCE / max(1, factors)))
    return float(gaps.mean() + above * gaps.std(ddof=1)), float(distances.mean() + above * distances.std(ddof=1))


def _parts(draws: int) -> NDArray[np.int64]:
    """Return how many draws each of the equal parts holds, the larger ones first, (parts,)."""
    parts = min(PARTS, draws)
    return draws // parts + (np.arange(parts) < draws % parts)


def _mean_gaps(paid: Floats, orders: Sequence[NDArray[np.int64]]) -> Floats:
    """Return `mean_gap` of the draws taken in each order, (orders,)."""
    sizes = _parts(len(paid))
    starts = np.concatenate([[0], np.cumsum(sizes[:-1])])
    odds = [np.add.reduceat(paid[order], starts) / sizes for order in orders]
    return np.abs(np.array(odds) - paid.mean()).mean(axis=1)


def _mean_distances(payback_years: Floats, orders: Sequence[NDArray[np.int64]]) -> Floats:
    """Return `distance` of the draws taken in each order, (orders,)."""
    sizes = _parts(len(payback_years))
    values, rank = np.unique(payback_years, return_inverse=True)
    finite = int(np.isfinite(values).sum())
    if finite == 0:
        return np.zeros(len(orders))
    whole = np.cumsum(np.bincount(rank))[:finite] / len(rank)
    first_of_part = np.repeat(np.arange(len(sizes)) * len(values), sizes)
    means = []
    for order in orders:
        counts = np.bincount(first_of_part + rank[order], minlength=len(sizes) * len(values))
        own = counts.reshape(len(sizes), -1)[:, :finite].cumsum(axis=1) / sizes[:, None]
        means.append(np.abs(own - whole).max(axis=1).mean())
    return np.array(means)
