"""How near the rule of a scenario comes to perfect foresight, as figures of result.json."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np

from riskcalc.answers.foresight_gap import Gap, gap
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.uncertainty import summary
from riskcalc.years.simulation import Plant


def foresight_figures(assessment: Assessment) -> dict[str, Any]:
    """Return what the rule and perfect foresight make of the cells in the first year of one draw of each scramble.

    Empty without cells: then there is nothing to steer.
    """
    found = first_year_gap(assessment)
    if found is None:
        return {}
    scrambles = len(found.of_rule)
    arrays = {
        "saved_by_rule": found.without_cells - found.of_rule,
        "saved_with_foresight": found.without_cells - found.of_optimum,
    }
    taken = summary.estimate(np.arange(scrambles, dtype=np.float64), partial(_taken_share, found), scrambles=scrambles)
    return {
        "foresight": {
            "year": 1,
            "step_minutes": found.step_minutes,
            "draws": scrambles,
            "taken_share": taken.as_dict(),
            **{name: figure.as_dict() for name, figure in summary.mean_figures(arrays, scrambles=scrambles).items()},
        }
    }


def first_year_gap(assessment: Assessment) -> Gap | None:
    """Return the gap in the first year of one draw of each scramble, the first in which the kit is bought.

    None for a kit without cells, or one that is never bought. A scramble without a purchase has no draw.
    """
    scenario, random = assessment.scenario, assessment.design
    if scenario.kit is None or scenario.kit.battery is None:
        return None
    of_scramble = assessment.simulation.course.bought.reshape(random.scrambles, -1)
    firsts = np.arange(random.scrambles) * of_scramble.shape[1] + of_scramble.argmax(axis=1)
    chosen = firsts[of_scramble.any(axis=1)]
    if not len(chosen):
        return None
    values = {key: of_all[chosen] for key, of_all in assessment.values.items()}
    world = assessment.world
    return gap(Plant(scenario, world.pools, world.plan, values, random.pool_year[:, chosen]))


def _taken_share(found: Gap, draws: Floats) -> float:
    """Return the share taken of some draws together; infinite, which means none, where there is nothing to take."""
    share = found.of_draws(draws.astype(np.int64)).taken_share
    return share if np.isfinite(share) else np.inf
