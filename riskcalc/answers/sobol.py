"""Sobol' indices of a scenario, and the screening that says which factors a dear ranking can leave out.

First order: the share of the variance that knowing the factor alone would take away. Total order: the share that would
be left if everything but the factor were known, so it holds every interaction the factor has a part in. Both as defined
by Saltelli et al., Computer Physics Communications 181 (2010) 259-270, for factors and for families of factors. The
design is run, and goes on until the order is settled; then every outcome is indexed.

Screening is Morris', a few futures per factor: mu* is the mean size of the change of the outcome as one factor steps
through its range while the others stay where the trajectory has brought them (Campolongo, Cariboni & Saltelli,
Environmental Modelling & Software 22 (2007) 1509-1518). It orders factors much as the total-order index does, at a
fraction of the cost, but it is no share of anything.

Rows that agree in every column which the simulation reads share one simulation; only their money differs. In Saltelli's
design this makes every price and cost input free, and so is a family that consists of one factor.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.factors import Factors
from riskcalc.money.valuation import valuation
from riskcalc.scenario import Scenario
from riskcalc.study.draw_blocks import Workers
from riskcalc.study.model import World, drawn_values, evaluated, part_of_design
from riskcalc.types import Floats
from riskcalc.uncertainty.draw_axis import of_draws
from riskcalc.uncertainty.factor_model import varies
from riskcalc.uncertainty.indices import (
    Cube,
    Indices,
    check_points,
    screening_effects,
    screening_rows,
    sobol_indices,
    sobol_rows,
)
from riskcalc.uncertainty.order import Order, ranking_order

WORTH, FIRST_YEAR_SAVING = "net_present_value", "first_year_saving"


@dataclass(frozen=True)
class Evaluated:
    """Outcomes of rows, each (rows,), and how many futures had to be simulated for them."""

    outcomes: Mapping[str, Floats]
    simulated: int


def evaluated_rows(
    scenario: Scenario,
    world: World,
    factors: Factors,
    rows: Floats,
    *,
    on_year: Callable[[int], None] | None = None,
    workers: Workers | None = None,
) -> Evaluated:
    """Return worth and first-year saving of each row (rows, columns) of the factors' unit cube."""
    random = factors.design(rows)
    values = drawn_values(scenario, random)
    kept, row_to_kept = distinct(rows[:, factors.energy_columns])
    few = {key: drawn[kept] for key, drawn in values.items()}
    simulation, _ = evaluated(scenario, world, part_of_design(random, kept), few, on_year=on_year, workers=workers)
    money = valuation(scenario, of_draws(simulation, row_to_kept), values, random.path)
    return Evaluated({WORTH: money.net_present_value, FIRST_YEAR_SAVING: money.saving[0]}, len(kept))


def distinct(rows: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the places of the first of each distinct row, and for each row which of them it equals.

    Without columns all rows are alike.
    """
    if rows.shape[1] == 0:
        return np.zeros(1, dtype=np.int64), np.zeros(len(rows), dtype=np.int64)
    whole = np.ascontiguousarray(rows).view(np.dtype((np.void, rows.dtype.itemsize * rows.shape[1]))).ravel()
    _, first, which = np.unique(whole, return_index=True, return_inverse=True)
    # In order of appearance, so that nothing depends on how bytes sort.
    order = np.argsort(first)
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    return first[order], place[which.ravel()]


#: Walks through the cube; the literature uses 10 to 50.
TRAJECTORIES = 24

#: A factor whose effects on the worth and on the first year's saving, two standard errors up, both stay below this share of
#: the strongest is left out; our own choice.
LEFT_OUT_BELOW = 0.1


@dataclass(frozen=True)
class ScreenedFactor:
    """Mean size of one factor's effect on the worth, in money, and its standard error.

    `kept`: whether it matters enough, for the worth or for the saving of the first year, to be ranked by itself.
    """

    name: str
    effect: float
    error: float
    kept: bool


@dataclass(frozen=True)
class Screening:
    """Factors by falling effect, and how many futures it took to tell."""

    factors: tuple[ScreenedFactor, ...]
    simulated: int

    @property
    def left_out(self) -> tuple[str, ...]:
        """Names of the factors that matter too little to be ranked one by one."""
        return tuple(factor.name for factor in self.factors if not factor.kept)


def screening(
    scenario: Scenario,
    world: World,
    factors: Factors,
    *,
    trajectories: int = TRAJECTORIES,
    on_year: Callable[[int], None] | None = None,
    workers: Workers | None = None,
) -> Screening:
    """Return the factors by the size of their effect on the worth; empty when the worth does not vary."""
    cube, seed = factors.cube(), scenario.study.seed
    rows = screening_rows(cube, trajectories=trajectories, seed=seed)
    found = evaluated_rows(scenario, world, factors, rows, on_year=on_year, workers=workers)
    if not varies(found.outcomes[WORTH]):
        return Screening((), found.simulated)
    effects, errors = screening_effects(cube, rows, found.outcomes[WORTH])
    kept = _matters(effects, errors)
    if varies(found.outcomes[FIRST_YEAR_SAVING]):
        kept |= _matters(*screening_effects(cube, rows, found.outcomes[FIRST_YEAR_SAVING]))
    rows_found = [
        ScreenedFactor(*row) for row in zip(cube.names, effects.tolist(), errors.tolist(), kept.tolist(), strict=True)
    ]
    rows_found.sort(key=lambda row: (-row.effect, row.name))
    return Screening(tuple(rows_found), found.simulated)


def _matters(effects: Floats, errors: Floats) -> NDArray[np.bool_]:
    return effects + 2.0 * errors >= LEFT_OUT_BELOW * effects.max()


#: Base points taken through the model at once: bounds the memory, not the result.
POINTS_AT_ONCE = 64


@dataclass(frozen=True)
class OutcomeIndices:
    """Indices of one outcome, by factor and by family, and the order by factor."""

    factors: Indices
    families: Indices
    order: Order


@dataclass(frozen=True)
class SobolRun:
    """What a run of the design says, and what it cost.

    `outcomes` leaves out outcomes that do not vary. `rows` counts the futures asked for, `simulated` those whose
    energy had to be simulated, `simulated_per_point` how many more each further point costs.
    """

    factors: Factors
    points: int
    most_points: int
    rows: int
    simulated: int
    outcomes: Mapping[str, OutcomeIndices]
    still: tuple[str, ...]

    @property
    def simulated_per_point(self) -> int:
        """Simulated futures per base point."""
        return -(-self.simulated // self.points)


def sobol_run(
    scenario: Scenario,
    world: World,
    factors: Factors,
    *,
    points: int,
    most_points: int,
    until_settled: bool = False,
    settle: Sequence[str] = (WORTH,),
    screened_out: Sequence[str] = (),
    on_points: Callable[[int], None] | None = None,
    workers: Workers | None = None,
) -> SobolRun:
    """Run the design and index worth and first-year saving.

    Parameters
    ----------
    points, most_points
        Base points to begin with and not to exceed, powers of two.
    until_settled
        Double the points until the first three places of every outcome in `settle` are settled or ties, or until
        `most_points`.
    screened_out
        Factors that move together as one group.
    on_points
        Told how many base points are done.
    workers
        Who simulates.

    Raises
    ------
    ValueError
        If `points` is no power of two.
    """
    check_points(points)
    cubes = (factors.cube(rest=screened_out), factors.family_cube())
    collected: tuple[list[dict[str, Floats]], ...] = ([], [])
    done = simulated = rows = 0
    wanted = points
    while True:
        for start in range(done, wanted, POINTS_AT_ONCE):
            stop = min(start + POINTS_AT_ONCE, wanted)
            parts = [
                sobol_rows(cube, points=wanted, seed=scenario.study.seed, start=start, stop=stop) for cube in cubes
            ]
            found = evaluated_rows(scenario, world, factors, np.concatenate(parts), workers=workers)
            cut = len(parts[0])
            collected[0].append({name: values[:cut] for name, values in found.outcomes.items()})
            collected[1].append({name: values[cut:] for name, values in found.outcomes.items()})
            simulated += found.simulated
            rows += len(parts[0]) + len(parts[1])
            if on_points is not None:
                on_points(stop)
        done = wanted
        outcomes, still = _indexed(cubes, collected, points=done, most_points=most_points)
        finished = all(outcomes[name].order.finished for name in settle if name in outcomes)
        if not until_settled or finished or done >= most_points:
            return SobolRun(factors, done, most_points, rows, simulated, outcomes, still)
        wanted = min(2 * done, most_points)


def _indexed(
    cubes: tuple[Cube, Cube],
    collected: tuple[list[dict[str, Floats]], ...],
    *,
    points: int,
    most_points: int,
) -> tuple[dict[str, OutcomeIndices], tuple[str, ...]]:
    outcomes: dict[str, OutcomeIndices] = {}
    still: list[str] = []
    for name in (WORTH, FIRST_YEAR_SAVING):
        by_factor, by_family = (np.concatenate([part[name] for part in parts]) for parts in collected)
        if not varies(by_factor):
            still.append(name)
            continue
        indices = sobol_indices(cubes[0], by_factor)
        outcomes[name] = OutcomeIndices(
            factors=indices,
            families=sobol_indices(cubes[1], by_family),
            order=ranking_order(indices, points=points, most_points=most_points),
        )
    return outcomes, tuple(still)
