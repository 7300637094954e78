"""Which factors can be left out of a dear ranking: Morris screening, a few futures per factor.

mu* is the mean size of the change of the outcome as one factor steps through its range while the others stay where the
trajectory has brought them (Campolongo, Cariboni & Saltelli, Environmental Modelling & Software 22 (2007) 1509-1518).
It orders factors much as the total-order index does, at a fraction of the cost, but it is no share of anything.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.evaluation import FIRST_YEAR_SAVING, WORTH, evaluated_rows
from riskcalc.answers.factors import Factors
from riskcalc.scenario import Scenario
from riskcalc.study.draw_blocks import Workers
from riskcalc.study.model import World
from riskcalc.types import Floats
from riskcalc.uncertainty.factor_model import varies
from riskcalc.uncertainty.indices import screening_effects, screening_rows

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
