"""Everything `riskcalc rank` finds out: screening, Sobol' indices, given-data estimates beside them, insight."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from riskcalc.answers.factors import REST, factors_of
from riskcalc.answers.insight import EVEN_ODDS, Insight, insight
from riskcalc.answers.sobol import FIRST_YEAR_SAVING, WORTH, Screening, SobolRun, screening, sobol_run
from riskcalc.scenario import Scenario
from riskcalc.study.draw_blocks import Workers
from riskcalc.study.model import Assessment, World, design_of, drawn_values, evaluated, world_of
from riskcalc.uncertainty.indices import Indices
from riskcalc.uncertainty.order import PLACES, Z95, Order
from riskcalc.uncertainty.ranking import FactorShare
from riskcalc.years.planes import check_fit, scenario_fit


@dataclass(frozen=True)
class Agreement:
    """The first places by each method, and whether they name the same factors as far as they can be told apart."""

    sobol: tuple[str, ...]
    given_data: tuple[str, ...]
    screening: tuple[str, ...]
    given_data_agrees: bool
    screening_agrees: bool | None


@dataclass(frozen=True)
class Ranked:
    """The whole ranking of a scenario; `screening` is None unless it was asked for."""

    assessment: Assessment
    screening: Screening | None
    sobol: SobolRun
    insight: Insight
    agreement: Agreement | None


def ranked(
    scenario: Scenario,
    *,
    points: int,
    most_points: int,
    until_settled: bool = False,
    screen: bool = False,
    level: float = EVEN_ODDS,
    on_points: Callable[[int], None] | None = None,
    workers: Workers | None = None,
) -> Ranked:
    """Return the ranking of a scenario.

    Parameters
    ----------
    points, most_points, until_settled
        Base points of the Sobol' design, see `sobol_run`.
    screen
        Screen the factors first and rank those that matter little as one.
    level
        Odds for which break-even values are sought.
    on_points
        Told how many base points are done.
    workers
        Who simulates, see `model.assessment`; the result does not depend on them.

    Raises
    ------
    InputError
        Whatever is wrong with the scenario, its files, or the electrical fit.
    ValueError
        If `points` is no power of two.
    """
    factors = factors_of(scenario)
    world = world_of(scenario)
    check_fit(scenario, scenario_fit(scenario, world.pools.weather))
    found = assessed_in(scenario, world, workers)
    screened = screening(scenario, world, factors, workers=workers) if screen else None
    left_out = screened.left_out if screened is not None and len(screened.left_out) > 1 else ()
    run = sobol_run(
        scenario,
        world,
        factors,
        points=points,
        most_points=most_points,
        until_settled=until_settled,
        settle=(WORTH, FIRST_YEAR_SAVING),
        screened_out=left_out,
        on_points=on_points,
        workers=workers,
    )
    seen = insight(found, level=level, simulate=True, workers=workers)
    return Ranked(found, screened, run, seen, agreement(run, seen.given_data, screened))


def assessed_in(scenario: Scenario, world: World, workers: Workers | None = None) -> Assessment:
    """Return the assessment of a scenario in a world at hand."""
    random = design_of(scenario)
    values = drawn_values(scenario, random)
    simulation, money = evaluated(scenario, world, random, values, workers=workers)
    return Assessment(scenario, random, values, world, simulation, money)


def agreement(run: SobolRun, given_data: Sequence[FactorShare], screened: Screening | None) -> Agreement | None:
    """Return whether the methods name the same first places for the worth; None when nothing was indexed."""
    if WORTH not in run.outcomes or not given_data:
        return None
    found = run.outcomes[WORTH]
    by_data = first_by_share([(row.name, row.share, row.error) for row in given_data])
    effects = [] if screened is None else [(row.name, row.effect, row.error) for row in screened.factors]
    return Agreement(
        tuple(place.name for place in found.order.places),
        tuple(row.name for row in given_data[:PLACES]),
        tuple(name for name, _, _ in effects[:PLACES]),
        same_places(found.factors, found.order, by_data),
        None if screened is None else same_places(found.factors, found.order, first_by_share(effects)),
    )


@dataclass(frozen=True)
class First:
    """The first places without their order: who is among them for certain, and who may be."""

    certain: frozenset[str]
    possible: frozenset[str]


def first_by_share(rows: Sequence[tuple[str, float, float]]) -> First:
    """Return who is first by (name, figure, standard error), as far as the errors tell.

    Certain: in one of the first places, and clear of everyone below them. Possible: not clearly below the last of them.
    """
    ordered = sorted(rows, key=lambda row: (-row[1], row[0]))

    def clear(one: tuple[str, float, float], other: tuple[str, float, float]) -> bool:
        return one[1] - other[1] > Z95 * np.hypot(np.nan_to_num(one[2]), np.nan_to_num(other[2]))

    first, rest = ordered[:PLACES], ordered[PLACES:]
    certain = frozenset(row[0] for row in first if all(clear(row, other) for other in rest))
    possible = frozenset(row[0] for row in first) | {other[0] for other in rest if not clear(first[-1], other)}
    return First(certain, possible)


def first_by_order(order: Order) -> First:
    """Return the same of a ranking by total order: a place shared among the first places is certain for each of them."""
    first = frozenset(place.name for place in order.places)
    certain = frozenset(place.name for place in order.places if first.issuperset(place.tied_with))
    return First(certain, first.union(*(place.tied_with for place in order.places)))


def same_places(found: Indices, order: Order, others: First) -> bool:
    """Return whether another method names the same first places, in any order, as far as both can tell.

    An input that one method is certain of must be possible by the other. Factors that were ranked as one stand for each other.
    """
    ours = first_by_order(order)
    known = frozenset(found.names)
    certain, possible = (
        frozenset(name if name in known else REST for name in names) for names in (others.certain, others.possible)
    )
    return ours.certain <= possible and certain <= ours.possible
