"""The futures of an assessment, seen factor by factor: where each draw stands in each factor, and with what value.

A price path and a chain of weather years are many random numbers; here each is summed up in one figure (how far prices
ran above their trend, how sunny the years were), so estimates from these draws see most of that luck but not all of it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.assess import ranked_places
from riskcalc.answers.factors import Factor, factors_of
from riskcalc.study.model import Assessment
from riskcalc.years.tenure import HOME_LUCK, PERMISSION_LUCK

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class DrawnFactor:
    """One factor, or a family of them: `places` in (0, 1) and `values`, both (members, draws)."""

    name: str
    family: str
    members: tuple[str, ...]
    places: Floats
    values: Floats


def drawn_factors(assessment: Assessment) -> tuple[DrawnFactor, ...]:
    """Return the factors of the scenario as this assessment drew them; luck that did not vary is left out."""
    places = ranked_places(assessment)
    found = []
    for factor in factors_of(assessment.scenario).entries:
        members = tuple(key for key in _members(factor) if key in places)
        if members:
            found.append(
                DrawnFactor(
                    factor.name,
                    factor.family,
                    members,
                    np.stack([places[key] for key in members]),
                    np.stack([_value(assessment, key, places[key]) for key in members]),
                )
            )
    return tuple(found)


def families(factors: Sequence[DrawnFactor]) -> tuple[DrawnFactor, ...]:
    """Return the factors gathered by family, in order of first appearance."""
    gathered = []
    for family in dict.fromkeys(factor.family for factor in factors):
        own = [factor for factor in factors if factor.family == family]
        gathered.append(
            DrawnFactor(
                family,
                family,
                tuple(member for factor in own for member in factor.members),
                np.concatenate([factor.places for factor in own]),
                np.concatenate([factor.values for factor in own]),
            )
        )
    return tuple(gathered)


def jackknife_error(statistic: Callable[[NDArray[np.int64]], Floats], *, draws: int, scrambles: int) -> Floats:
    """Return the standard error of `statistic` (draws kept -> figures) from leaving out one scramble at a time.

    se^2 = (R - 1) / R * sum (figure without scramble r - their mean)^2; NaN with a single scramble.
    """
    everything = np.arange(draws)
    if scrambles < 2:
        return np.full_like(np.asarray(statistic(everything), dtype=float), np.nan)
    block = everything // (draws // scrambles)
    rounds = np.array([statistic(everything[block != left_out]) for left_out in range(scrambles)])
    return np.sqrt((scrambles - 1) / scrambles * ((rounds - rounds.mean(axis=0)) ** 2).sum(axis=0))


def _value(assessment: Assessment, key: str, place: Floats) -> Floats:
    """Return what a draw meets by an input, or by a chance: permission or none, sun or none; else the place itself."""
    values, course = assessment.values, assessment.simulation.course
    if key == PERMISSION_LUCK:
        return (course.bought & course.with_modules).astype(float)
    if key == HOME_LUCK:
        return (place < values["tenure.new_home_sun_chance"]).astype(float)
    return values.get(key, place)


def _members(factor: Factor) -> tuple[str, ...]:
    return factor.keys or (factor.name,)
