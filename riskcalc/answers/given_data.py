"""First-order indices of factors and families from draws that are there already: a check at no further futures.

All factors enter one regression on a line and a bend per member (as in `ranking`) and on what the member's value adds to
them, and a factor's share is the variance
of its own terms, so members that are correlated count together. Interactions are not seen. Labelled as given-data
estimates wherever they are shown.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.conditional import expected
from riskcalc.answers.draws_at_hand import DrawnFactor, jackknife_error
from riskcalc.uncertainty.ranking import enough_draws, legendre

Floats = NDArray[np.float64]


#: A value that adds less than this share of its own spread to line and bend gets no column of its own.
LEAST_ADDED = 0.05


@dataclass(frozen=True)
class GivenDataIndex:
    """Share of the variance that one factor explains alone, with its standard error."""

    name: str
    family: str
    share: float
    error: float


def given_data_indices(
    outcome: Floats, factors: Sequence[DrawnFactor], *, scrambles: int
) -> tuple[GivenDataIndex, ...]:
    """Return the factors by falling first-order index; empty when draws are too few or the outcome does not vary.

    Raises
    ------
    ValueError
        If the outcome holds values that are not finite.
    """
    if not np.isfinite(outcome).all():
        raise ValueError("given-data indices: the outcome has draws that are not finite")
    members = sum(len(factor.members) for factor in factors)
    if not members or np.ptp(outcome) <= 1e-12 * max(1.0, float(np.abs(outcome).max())):
        return ()
    if not enough_draws(members, draws=len(outcome)):
        return ()
    parts = [
        np.concatenate([_columns(*member) for member in zip(factor.places, factor.values, strict=True)])
        for factor in factors
    ]
    basis, sizes = np.concatenate(parts), [len(part) for part in parts]

    def shares(kept: NDArray[np.int64]) -> Floats:
        return _shares(basis[:, kept], outcome[kept], sizes)

    errors = jackknife_error(shares, draws=len(outcome), scrambles=scrambles)
    found = [
        GivenDataIndex(factor.name, factor.family, share, error)
        for factor, share, error in zip(factors, shares(np.arange(len(outcome))).tolist(), errors.tolist(), strict=True)
    ]
    return tuple(sorted(found, key=lambda row: (-row.share, row.name)))


def _columns(place: Floats, value: Floats) -> Floats:
    """Return the orthonormal columns of one member, shape (2 or 3, draws): line, bend, and what its value adds to them."""
    known = legendre(place)
    centred = value - value.mean()
    rest = centred - expected(np.vstack([np.ones(len(place)), known]), centred)
    if rest.std() <= LEAST_ADDED * max(centred.std(), 1e-300):
        return known
    return np.vstack([known, rest / rest.std()])


def _shares(basis: Floats, outcome: Floats, sizes: Sequence[int]) -> Floats:
    columns = np.vstack([np.ones(basis.shape[1]), basis]).T
    coefficients, _, rank, _ = np.linalg.lstsq(columns, outcome, rcond=None)
    residual = outcome - columns @ coefficients
    noise = float(residual @ residual) / max(1, len(outcome) - int(rank)) / len(outcome)
    # Draws that all agree, as a part of them may, have no spread to be shared.
    spread = float(outcome.var()) or np.inf
    shares, start = [], 1
    for size in sizes:
        own = slice(start, start + size)
        part = columns[:, own] @ coefficients[own]
        # Fitted terms hold the variance of their own error too: take that out, so that no effect reads as none.
        shares.append((part.var() - size * noise) / spread)
        start += size
    return np.array(shares)
