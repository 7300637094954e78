"""The futures of an assessment, seen factor by factor: where each draw stands in each factor, and with what value.

A price path and a chain of weather years are many random numbers; here each is summed up in one figure (how far prices
ran above their trend, how sunny the years were), so estimates from these draws see most of that luck but not all of it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from riskcalc.answers.factors import Factor, factors_of
from riskcalc.answers.limits import PRICE_LUCK, YEAR_LUCK
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.uncertainty.factor_model import DrawnFactor, FactorModel, factor_model
from riskcalc.uncertainty.ranking import rank_places
from riskcalc.uncertainty.smoothing import Additive
from riskcalc.years.failures import is_later_failure
from riskcalc.years.tenure import HOME_LUCK, PERMISSION_LUCK, is_later_home


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


def worth_fit(assessment: Assessment) -> tuple[FactorModel, Additive | None]:
    """Return the factors and families as drawn, and the worth fitted by them; worked out once an assessment."""
    if "worth_fit" not in assessment.kept:
        factors = drawn_factors(assessment)
        model = factor_model(factors, families(factors), scrambles=assessment.design.scrambles)
        assessment.kept["worth_fit"] = model, model.fit(assessment.valuation.net_present_value)
    found: tuple[FactorModel, Additive | None] = assessment.kept["worth_fit"]
    return found


def ranked_places(assessment: Assessment) -> dict[str, Floats]:
    """Return the place in (0, 1) of every draw in each uncertain input, and in the luck of prices and weather years."""
    unit = assessment.design.unit
    places = {key: unit[key] for key in unit if not is_later_home(key) and not is_later_failure(key)}
    path = assessment.valuation.import_path
    if np.ptp(path[-1]) > 0.0:
        places[PRICE_LUCK] = rank_places(_price_luck(assessment))
    resource = _year_luck(assessment)
    if np.ptp(resource) > 1e-9 * resource.max():
        places[YEAR_LUCK] = rank_places(resource)
    return places


def _price_luck(assessment: Assessment) -> Floats:
    """Return how far each draw's price path ran above what its own trend alone would give, (draws,)."""
    path, trend = assessment.valuation.import_path, assessment.values["prices.trend_per_year"]
    years = np.arange(len(path))[:, None]
    return (np.log(path) - np.log1p(trend) * years).mean(axis=0)


def _year_luck(assessment: Assessment) -> Floats:
    """Return the mean solar energy on the horizontal of the years each draw met, (draws,) [kWh/m2]."""
    return assessment.world.pools.weather.annual_ghi_kwh()[assessment.design.pool_year].mean(axis=0)
