"""Which assumption matters most, from the draws already there (no further runs).

The outcome is fitted by a sum of smooth functions of the inputs (`smoothing`). The share of the variance that an input
explains on its own, its first-order index, is the variance of its function f over that of the outcome. With r the
outcome less all other functions, n draws and the smoother S of f = S r, the variance is taken as

    [2 f.r - f.f - noise tr(2 S - S^2)] / n,

which the noise does not lift and which errs only by the square of what the smoother misses. What no single input explains
is reported as the remainder. A stated error holds the scatter between scrambles and the method's own error: how far the
share found in draws that the fit has not seen, and the share without the functions that turn most often, lie off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from riskcalc.types import Floats
from riskcalc.uncertainty.factor_model import FactorModel
from riskcalc.uncertainty.smoothing import Additive
from riskcalc.uncertainty.summary import jackknife

#: Points of an input at which the expected outcome is stated.
ENDS = (0.1, 0.9)


@dataclass(frozen=True)
class RankedInput:
    """What one input does to one outcome, each figure with its standard error.

    `share` is the share of the outcome's variance that the input explains alone; `low` and `high` are the expected
    outcome with the input at its 10 % and its 90 % point and all others still drawn.
    """

    key: str
    share: float
    share_se: float
    low: float
    high: float
    effect_se: float

    @property
    def effect(self) -> float:
        """Change of the expected outcome from the 10 % to the 90 % point of the input."""
        return self.high - self.low


@dataclass(frozen=True)
class Ranking:
    """Inputs by falling share, and the share that no single input explains."""

    inputs: tuple[RankedInput, ...]
    remainder: float


@dataclass(frozen=True)
class FactorShare:
    """Share of the variance that one factor explains alone, with its standard error."""

    name: str
    family: str
    share: float
    error: float


def rank_places(values: Floats) -> Floats:
    """Return the place of each draw among all, (rank + 1/2) / n in (0, 1): turns realised luck into an input."""
    order = np.argsort(np.argsort(values, kind="stable"), kind="stable")
    return (order + 0.5) / len(values)


def ranking(model: FactorModel, fit: Additive | None) -> Ranking:
    """Return the inputs by what they explain of the outcome fitted; empty where nothing could be fitted."""
    if fit is None:
        return Ranking((), 0.0)
    keys = [members[0] for members in model.of if len(members) == 1]
    places = [model.positions([key]) for key in keys]
    shares, errors = explained(fit, places)
    rows = []
    for key, share, error in zip(keys, shares.tolist(), errors.tolist(), strict=True):
        low, high = at_ends(model, fit, key)
        effect_se = float(jackknife((high - low)[1:]))
        rows.append(RankedInput(key, share, error, float(low[0]), float(high[0]), effect_se))
    rows.sort(key=lambda row: (-row.share, row.key))
    return Ranking(tuple(rows), float(max(0.0, 1.0 - shares.sum())))


def factor_shares(model: FactorModel, fit: Additive | None) -> tuple[FactorShare, ...]:
    """Return the factors by falling share; members that are correlated count together."""
    if fit is None:
        return ()
    shares, errors = explained(fit, [model.positions(factor.members) for factor in model.factors])
    rows = [
        FactorShare(factor.name, factor.family, share, error)
        for factor, share, error in zip(model.factors, shares.tolist(), errors.tolist(), strict=True)
    ]
    return tuple(sorted(rows, key=lambda row: (-row.share, row.name)))


def explained(fit: Additive, groups: Sequence[Sequence[int]]) -> tuple[Floats, Floats]:
    """Return the share of the variance that each group of terms explains and its error, (groups,) each."""
    seen = fit.seen
    shares, errors = np.empty(len(groups)), np.empty(len(groups))
    variance = _mean((fit.outcome - fit.mean[:, None]) ** 2, seen)
    # Draws that all agree, as those of a round may, have no spread to be shared.
    variance = np.where(variance > 0.0, variance, np.inf)
    for index, group in enumerate(groups):
        part = fit.parts[:, group].sum(axis=1)
        noise = fit.noise * fit.degrees[group].sum() / seen.sum(axis=1)
        rounds = (_mean(part * (2.0 * fit.rest + part), seen) - noise) / variance
        coarse = fit.coarse[group].sum(axis=0)
        beyond = float(((part[0] - coarse) ** 2).mean()) / variance[0]
        gap = 0.0
        if len(rounds) > 1:
            unseen = fit.unseen(part)
            held_out = float((unseen * (2.0 * fit.unseen(fit.rest) + unseen)).mean()) / variance[0]
            gap = rounds[0] - held_out
        shares[index] = rounds[0]
        errors[index] = np.sqrt(jackknife(rounds[1:]) ** 2 + gap**2 + beyond**2)
    return shares, errors


def at_ends(model: FactorModel, fit: Additive, key: str) -> tuple[Floats, Floats]:
    """Return the expected outcome with an input at its 10 % and at its 90 % point, (rounds,) each."""
    (term,) = model.positions([key])
    place, value = next(
        (factor.places[row], factor.values[row])
        for factor in model.factors
        for row, member in enumerate(factor.members)
        if member == key
    )
    in_order = np.argsort(place, kind="stable")
    ends = np.array(ENDS)
    columns = model.terms[term].at(ends, value[in_order[(ends * len(place)).astype(int)]])
    low, high = (fit.mean[:, None] + fit.part_at(term, columns)).T
    return low, high


def _mean(values: Floats, seen: Floats) -> Floats:
    """Return the mean over the draws that each round has seen, (rounds,)."""
    return np.asarray((values * seen).sum(axis=1) / seen.sum(axis=1))
