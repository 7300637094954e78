"""What is ranked: the uncertain inputs, and beside them the luck that no input describes.

Inputs that are correlated move together as one factor, because no index can tell dependent inputs apart. The luck of
the price path, of the weather and demand years, of moves and permissions and of failures are factors too; each owns
as many columns of the unit cube as it has random numbers.

A price path and a chain of weather years are many random numbers; here each is summed up in one figure (how far prices
ran above their trend, how sunny the years were), so estimates from these draws see most of that luck but not all of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from riskcalc.answers.limits import PRICE_LUCK, YEAR_LUCK
from riskcalc.money.prices import fixed_path
from riskcalc.scenario import Scenario, family_of
from riskcalc.study.model import Assessment, luck_keys
from riskcalc.types import Floats
from riskcalc.uncertainty.factor_model import DrawnFactor, FactorModel, factor_model
from riskcalc.uncertainty.indices import Cube
from riskcalc.uncertainty.ranking import rank_places
from riskcalc.uncertainty.sampling import Design, PathNoise, correlated, correlation_matrix
from riskcalc.uncertainty.smoothing import Additive
from riskcalc.years.failures import is_later_failure
from riskcalc.years.tenure import HOME_LUCK, MOVE_LUCK, PERMISSION_LUCK, is_later_home

#: Random numbers of one year of a price path: growth, export, jump or not, size of the jump, other rates, inflation.
PATH_NUMBERS = 6

#: Keys that the simulation of energy does not read: they only enter the money. By their beginning, with an exception (a
#: warranty decides what is replaced), or whole. `tests/answers/test_evaluation.py` holds this against full runs.
MONEY_ONLY = ("tariff.", "prices.", "purchase.")
ENERGY_TOO = ("purchase.warranty_years",)
MONEY_ONLY_TOO = (
    "outages.value_per_hour",
    "outages.value_per_kwh",
    "tenure.moving_cost",
    "tenure.resale_share",
    "tenure.resale_decline_per_year",
    "tenure.value_returned_share",
)

#: Points are kept this far from the ends of the unit interval: +-4.75 standard deviations of a normal.
EDGE = 1e-6


@dataclass(frozen=True)
class Factor:
    """One thing that is ranked: its name, its family, the keys of the design behind it (none for paths).

    Its columns.
    """

    name: str
    family: str
    keys: tuple[str, ...]
    columns: tuple[int, ...]

    @property
    def money_only(self) -> bool:
        """Whether the simulation of energy is the same whatever this factor does."""
        return self.name == PRICE_LUCK or (bool(self.keys) and all(is_money_only(key) for key in self.keys))


@dataclass(frozen=True)
class Factors:
    """All factors of a scenario and what turns points of the unit cube into random numbers of a run."""

    entries: tuple[Factor, ...]
    years: int
    pool_years: int
    correlations: Mapping[tuple[str, str], float]

    @property
    def columns(self) -> int:
        """Columns of the unit cube."""
        return sum(len(factor.columns) for factor in self.entries)

    @property
    def keys(self) -> tuple[str, ...]:
        """Every uncertain key, in the order of the columns."""
        return tuple(key for factor in self.entries for key in factor.keys)

    @property
    def energy_columns(self) -> NDArray[np.int64]:
        """Columns that the simulation of energy depends on."""
        return np.array([c for factor in self.entries if not factor.money_only for c in factor.columns], dtype=np.int64)

    def cube(self, *, rest: Sequence[str] = ()) -> Cube:
        """Return the cube grouped by factor; factors named in `rest` move together as one group."""
        return self._grouped({factor.name: REST if factor.name in rest else factor.name for factor in self.entries})

    def family_cube(self) -> Cube:
        """Return the same cube grouped by family."""
        return self._grouped({factor.name: factor.family for factor in self.entries})

    def design(self, rows: Floats) -> Design:
        """Return the random numbers of a run, one draw for each row (rows, columns) of the unit cube."""
        points = np.clip(np.ascontiguousarray(rows.T), EDGE, 1.0 - EDGE)
        unit: dict[str, Floats] = {}
        noise = np.full((self.years, PATH_NUMBERS, len(rows)), 0.5)
        pool_year = np.zeros((self.years, len(rows)), dtype=np.int64)
        for factor in self.entries:
            own = points[list(factor.columns)]
            if factor.name == PRICE_LUCK:
                noise = own.reshape(self.years, PATH_NUMBERS, len(rows))
            elif factor.name == YEAR_LUCK:
                pool_year = np.minimum((own * self.pool_years).astype(np.int64), self.pool_years - 1)
            else:
                own = correlated(own, correlation_matrix(factor.keys, self.correlations))
                unit |= dict(zip(factor.keys, own, strict=True))
        normals = special.ndtri(noise)
        path = PathNoise(
            growth_normals=normals[:, 0],
            export_normals=normals[:, 1],
            jump_uniforms=noise[:, 2],
            jump_normals=normals[:, 3],
            rate_normals=normals[:, 4],
            inflation_normals=normals[:, 5],
        )
        return Design(unit=unit, path=path, pool_year=pool_year, scrambles=1)

    def _grouped(self, group_of: Mapping[str, str]) -> Cube:
        groups = [""] * self.columns
        for factor in self.entries:
            for column in factor.columns:
                groups[column] = group_of[factor.name]
        return Cube(tuple(groups))


#: Name of the group of factors that a screening left out.
REST = "rest.screened_out"


def is_money_only(key: str) -> bool:
    """Return whether a key enters the money alone."""
    return key in MONEY_ONLY_TOO or (key.startswith(MONEY_ONLY) and key not in ENERGY_TOO)


def factors_of(scenario: Scenario) -> Factors:
    """Return the factors of a scenario in an order that does not depend on the order of its file."""
    study = scenario.study
    groups = correlated_groups(sorted(scenario.uncertain()), scenario.correlation_of())
    entries: list[Factor] = []
    column = 0

    def add(name: str, family: str, keys: tuple[str, ...], width: int) -> None:
        nonlocal column
        entries.append(Factor(name, family, keys, tuple(range(column, column + width))))
        column += width

    for keys in groups:
        add(" + ".join(keys), family_of(keys[0]), keys, len(keys))
    chances = sorted(luck_keys(scenario))
    for name in dict.fromkeys(luck_name(key) for key in chances):
        keys = tuple(key for key in chances if luck_name(key) == name)
        add(name, family_of(keys[0]), keys, len(keys))
    if price_luck_varies(scenario):
        add(PRICE_LUCK, "prices", (), PATH_NUMBERS * study.horizon_years)
    if study.pool_years > 1:
        add(YEAR_LUCK, "weather", (), study.horizon_years)
    return Factors(tuple(entries), study.horizon_years, study.pool_years, scenario.correlation_of())


def luck_name(key: str) -> str:
    """Return the factor that a chance belongs to: permission, moves, the sun of later homes, or the failures of a part."""
    known = {PERMISSION_LUCK: "luck.permission", MOVE_LUCK: "luck.moves", HOME_LUCK: "luck.later_sun"}
    return next((name for start, name in known.items() if key.startswith(start)), f"luck.{family_of(key)}")


def correlated_groups(
    keys: Sequence[str], correlations: Mapping[tuple[str, str], float]
) -> tuple[tuple[str, ...], ...]:
    """Return the keys in groups that correlations hold together, directly or through others."""
    group = {key: key for key in keys}
    for one, other in correlations:
        if one in group and other in group:
            joined, left = sorted((group[one], group[other]))
            group = {key: joined if head == left else head for key, head in group.items()}
    heads = dict.fromkeys(group.values())
    return tuple(tuple(key for key in keys if group[key] == head) for head in heads)


def price_luck_varies(scenario: Scenario) -> bool:
    """Return whether prices or inflation have any luck: a yearly spread, or jumps, where their path is not given."""
    quantities, fixed = scenario.quantities(), fixed_path(scenario)
    drawn = [] if fixed is not None else ["prices.spread", "prices.jump_chance_per_year"]
    if fixed is None or fixed.inflation_per_year is None:
        drawn.append("prices.inflation_spread")
    return any(quantities[key].practical_support[1] > 0.0 for key in drawn)


def drawn_factors(assessment: Assessment) -> tuple[DrawnFactor, ...]:
    """Return the factors of the scenario as this assessment drew them; luck that did not vary is left out."""
    places = ranked_places(assessment)
    found = []
    for factor in factors_of(assessment.scenario).entries:
        members = tuple(key for key in factor.keys or (factor.name,) if key in places)
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
