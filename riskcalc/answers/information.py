"""What it is worth to find out before buying: expected value of perfect information, in money.

The choice is to buy or not to buy, and what is not bought is worth nothing. With W the worth of buying,

    all known:     EVPI   = E[max(W, 0)] - max(E[W], 0)
    factor known:  EVPPI  = E[max(E[W | X], 0)] - max(E[W], 0)

E[W | X] comes from a regression of the draws' worth on the factor (Strong, Oakley & Brennan, Medical Decision Making 34
(2014) 311-326), less the part of the fit that is noise (`conditional`), so one set of draws serves every factor. What
noise is left errs upwards, most where the average worth is near zero; `held_out` decides each scramble's draws by a
regression on the others and errs downwards. Limiting case: a purchase that pays in every draw, or in none, leaves
nothing to find out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.conditional import basis, expected_less_noise
from riskcalc.answers.draws_at_hand import DrawnFactor, jackknife_error
from riskcalc.uncertainty.summary import Estimate, estimate

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class FactorInformation:
    """Worth of knowing one factor or family before the purchase, in money of the day of purchase."""

    name: str
    family: str
    value: Estimate
    held_out: float


@dataclass(frozen=True)
class Information:
    """Worth of knowing everything, each factor and each family; factors and families by falling value."""

    total: Estimate
    factors: tuple[FactorInformation, ...]
    families: tuple[FactorInformation, ...]


def information(
    worth: Floats,
    factors: Sequence[DrawnFactor],
    families: Sequence[DrawnFactor],
    *,
    scrambles: int,
) -> Information:
    """Return what it is worth to know everything, and to know each factor and family alone.

    Parameters
    ----------
    worth
        Net present value of buying, shape (draws,).
    factors, families
        Where the draws stand in each.
    scrambles
        Independent parts of the draws, for the standard errors.
    """
    return Information(
        estimate(worth, perfect_information, scrambles=scrambles),
        _sorted(factor_information(worth, factor, scrambles=scrambles) for factor in factors),
        _sorted(factor_information(worth, family, scrambles=scrambles) for family in families),
    )


def perfect_information(worth: Floats) -> float:
    """Return the expected value of knowing the worth itself before deciding."""
    return float(np.maximum(worth, 0.0).mean() - max(worth.mean(), 0.0))


def factor_information(worth: Floats, factor: DrawnFactor, *, scrambles: int) -> FactorInformation:
    """Return the expected value of knowing one factor before deciding, with its standard error (jackknife)."""
    columns = basis(factor)

    def gain(kept: NDArray[np.int64]) -> Floats:
        part = worth[kept]
        fitted = expected_less_noise(columns[:, kept], part)
        return np.array(np.maximum(fitted, 0.0).mean() - max(part.mean(), 0.0))

    value = float(gain(np.arange(len(worth))))
    error = float(jackknife_error(gain, draws=len(worth), scrambles=scrambles))
    return FactorInformation(
        factor.name,
        factor.family,
        Estimate(value, None if np.isnan(error) else error),
        held_out_gain(worth, columns, scrambles=scrambles),
    )


def held_out_gain(worth: Floats, columns: Floats, *, scrambles: int) -> float:
    """Return what deciding by the factor brings in draws that the regression has not seen.

    Over the best fixed decision.
    """
    if scrambles < 2:
        return float("nan")
    block = np.arange(len(worth)) // (len(worth) // scrambles)
    bought = np.zeros(len(worth), dtype=bool)
    for part in range(scrambles):
        own = block == part
        bought[own] = expected_less_noise(columns[:, ~own], worth[~own], at=columns[:, own]) > 0.0
    return float((worth * bought).mean() - max(worth.mean(), 0.0))


def _sorted(rows: Iterable[FactorInformation]) -> tuple[FactorInformation, ...]:
    return tuple(sorted(rows, key=lambda row: (-(row.value.value or 0.0), row.name)))
