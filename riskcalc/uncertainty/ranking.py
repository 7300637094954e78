"""Which assumption matters most, from the draws already there (no further runs).

The outcome is regressed on orthonormal polynomials of each input's place in its own distribution. Because the inputs
are independent, the squared coefficients of one input sum to the variance it explains on its own: its first-order
index (Sudret, Reliability Engineering & System Safety 93 (2008) 964-979, polynomial chaos restricted to main effects).
What no single input explains - interactions and curvature beyond the fitted degree - is reported as the remainder.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Degree of the polynomials: a straight line and one bend. More needs more draws than 1,000 for 15 inputs.
DEGREE = 2

#: Draws per fitted coefficient below which the regression says more about the noise than about the inputs.
DRAWS_PER_COEFFICIENT = 4


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


def rank_places(values: Floats) -> Floats:
    """Return the place of each draw among all, (rank + 1/2) / n in (0, 1): turns realised luck into an input."""
    order = np.argsort(np.argsort(values, kind="stable"), kind="stable")
    return (order + 0.5) / len(values)


def ranking(outcome: Floats, unit: Mapping[str, Floats], *, scrambles: int) -> Ranking:
    """Return the ranking of the inputs `unit` (key -> place in (0, 1), shape (draws,)) for `outcome` (draws,).

    An outcome that does not vary, or too few draws for the number of inputs (`enough_draws`), give an empty ranking.
    Standard errors come from leaving out one scramble at a time (delete-a-group jackknife).

    Raises
    ------
    ValueError
        If the outcome holds values that are not finite: rank the worth or an odds, never a censored payback.
    """
    if not np.isfinite(outcome).all():
        raise ValueError("ranking: the outcome has draws that are not finite")
    if not unit or np.ptp(outcome) <= 1e-12 * max(1.0, float(np.abs(outcome).max())):
        return Ranking((), 0.0)
    if not enough_draws(len(unit), draws=len(outcome)):
        return Ranking((), 0.0)
    keys = list(unit)
    basis = np.concatenate([legendre(unit[key]) for key in keys])
    shares, lows, highs = _main_effects(basis, outcome)
    rounds = []
    if scrambles > 1:
        block = np.arange(len(outcome)) // (len(outcome) // scrambles)
        for left_out in range(scrambles):
            kept = block != left_out
            rounds.append(_main_effects(basis[:, kept], outcome[kept]))
    share_se = _jackknife([part[0] for part in rounds], len(keys))
    effect_se = _jackknife([part[2] - part[1] for part in rounds], len(keys))
    rows = [
        RankedInput(*row)
        for row in zip(
            keys,
            shares.tolist(),
            share_se.tolist(),
            lows.tolist(),
            highs.tolist(),
            effect_se.tolist(),
            strict=True,
        )
    ]
    rows.sort(key=lambda row: (-row.share, row.key))
    return Ranking(tuple(rows), float(max(0.0, 1.0 - shares.sum())))


def enough_draws(inputs: int, *, draws: int) -> bool:
    """Return whether `draws` can carry a ranking of so many inputs."""
    return draws >= DRAWS_PER_COEFFICIENT * (1 + DEGREE * inputs)


def legendre(place: Floats) -> Floats:
    """Return the first `DEGREE` orthonormal shifted Legendre polynomials at `place` in (0, 1), shape (DEGREE, draws).

    P1 = sqrt(3) (2u - 1), P2 = sqrt(5) (6u^2 - 6u + 1): zero mean and unit variance for uniform u.
    """
    centred = 2.0 * place - 1.0
    return np.stack([np.sqrt(3.0) * centred, np.sqrt(5.0) * (1.5 * centred**2 - 0.5)])


def _main_effects(basis: Floats, outcome: Floats) -> tuple[Floats, Floats, Floats]:
    """Return (share of variance, expectation at the 10 % point, at the 90 % point) per input."""
    columns = np.vstack([np.ones(basis.shape[1]), basis]).T
    coefficients, _, rank, _ = np.linalg.lstsq(columns, outcome, rcond=None)
    residual = outcome - columns @ coefficients
    freedom = max(1, len(outcome) - int(rank))
    noise = float(residual @ residual) / freedom / len(outcome)
    per_input = coefficients[1:].reshape(-1, DEGREE)
    # A squared coefficient holds the variance of its own error too; take that out, so that no effect reads as none.
    explained = (per_input**2 - noise).sum(axis=1)
    low, high = legendre(np.array([0.1, 0.9])).T
    return (
        # Draws that all agree, as those of a round may, have no spread to be shared.
        explained / (float(outcome.var()) or np.inf),
        coefficients[0] + per_input @ low,
        coefficients[0] + per_input @ high,
    )


def _jackknife(rounds: list[Floats], inputs: int) -> Floats:
    """Return the delete-a-group standard error over rounds of shape (inputs,); NaN when there are none."""
    if not rounds:
        return np.full(inputs, np.nan)
    stack = np.array(rounds)
    return np.sqrt((len(stack) - 1) / len(stack) * ((stack - stack.mean(axis=0)) ** 2).sum(axis=0))
