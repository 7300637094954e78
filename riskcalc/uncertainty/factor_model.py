"""The factors of a run as smooth functions, one sum for every question that is asked of the same draws.

A factor is one thing that is ranked: an input, inputs that are correlated and so move together, or a kind of luck. Its
part of the sum is that of its members, and of the products of two members where there are few.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.types import Floats
from riskcalc.uncertainty.smoothing import Additive, Term, additive, blocks_of, product_term, smooth_term, used_draws

#: Draws per line and bend below which the fit says more about the noise than about the inputs.
DRAWS_PER_COEFFICIENT = 4
#: Members beyond which products of two are left out: their number grows with its square.
MOST_MEMBERS_WITH_PRODUCTS = 4


@dataclass(frozen=True)
class DrawnFactor:
    """One factor, or a family of them: `places` in (0, 1) and `values`, both (members, draws)."""

    name: str
    family: str
    members: tuple[str, ...]
    places: Floats
    values: Floats


@dataclass(frozen=True)
class FactorModel:
    """Factors and families with the functions they are fitted by; `of` names the members behind each term.

    `used`: the draws that are fitted, `block` the scramble of each.
    """

    factors: tuple[DrawnFactor, ...]
    families: tuple[DrawnFactor, ...]
    terms: tuple[Term, ...]
    of: tuple[tuple[str, ...], ...]
    used: NDArray[np.int64]
    block: NDArray[np.int64]
    scrambles: int

    def fit(self, outcome: Floats) -> Additive | None:
        """Return the sum fitted to an outcome (draws,), None when it does not vary or the draws are too few.

        Raises
        ------
        ValueError
            If the outcome holds values that are not finite: rank the worth or an odds, never a censored payback.
        """
        if not np.isfinite(outcome).all():
            raise ValueError("ranking: the outcome has draws that are not finite")
        inputs = sum(len(members) == 1 for members in self.of)
        if not inputs or not varies(outcome) or not enough_draws(inputs, draws=len(self.used)):
            return None
        return self.fit_anyway(outcome)

    def fit_anyway(self, outcome: Floats) -> Additive:
        """Return the sum fitted to an outcome (draws,), whether or not the draws carry it."""
        return additive(outcome[self.used], self.terms, self.block)

    def among(self, kept: NDArray[np.bool_]) -> FactorModel:
        """Return the model of some of the draws (draws,), which are still counted as before."""
        own = np.flatnonzero(kept[self.used])
        terms = tuple(replace(term, columns=term.columns[own]) for term in self.terms)
        return replace(self, terms=terms, used=self.used[own], block=self.block[own])

    def positions(self, members: Sequence[str]) -> list[int]:
        """Return which terms are functions of these members alone."""
        own = set(members)
        return [index for index, of in enumerate(self.of) if own.issuperset(of)]

    def alone(self, factor: DrawnFactor) -> FactorModel:
        """Return the model of one factor or family: all other factors are noise to it."""
        own = self.positions(factor.members)
        terms = tuple(self.terms[index] for index in own)
        of = tuple(self.of[index] for index in own)
        return replace(self, factors=(factor,), families=(), terms=terms, of=of)


def factor_model(
    factors: Iterable[DrawnFactor], families: Iterable[DrawnFactor] = (), *, scrambles: int
) -> FactorModel:
    """Return the model of factors and of families, which gather members of the same factors."""
    factors, families = tuple(factors), tuple(families)
    draws = factors[0].places.shape[1] if factors else 0
    used = used_draws(draws, scrambles)
    terms: dict[tuple[str, ...], Term] = {}
    for factor in factors:
        for key, place, value in zip(factor.members, factor.places, factor.values, strict=True):
            terms[(key,)] = smooth_term(place[used], value[used])
    for group in (*factors, *families):
        if 1 < len(group.members) <= MOST_MEMBERS_WITH_PRODUCTS:
            values = dict(zip(group.members, group.values, strict=True))
            for one, other in itertools.combinations(group.members, 2):
                terms[one, other] = product_term(values[one][used], values[other][used])
    return FactorModel(
        factors, families, tuple(terms.values()), tuple(terms), used, blocks_of(len(used), scrambles), scrambles
    )


def enough_draws(inputs: int, *, draws: int) -> bool:
    """Return whether `draws` can carry a line and a bend of so many inputs."""
    return draws >= DRAWS_PER_COEFFICIENT * (1 + 2 * inputs)


def varies(outcome: Floats) -> bool:
    """Return whether an outcome differs between draws by more than rounding."""
    return bool(np.ptp(outcome) > 1e-12 * max(1.0, float(np.abs(outcome).max())))
