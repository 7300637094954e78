"""How the battery is run where that was left to be found, and how near the rule comes to perfect foresight."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import Param
from riskcalc.money.bill import prices_of, slot_prices
from riskcalc.study.draw_blocks import usable_threads
from riskcalc.study.foresight_hourly import at_slots, energy_bill, floors_wh, year_ahead
from riskcalc.study.foresight_programme import Foreseen, foreseen
from riskcalc.study.model import Assessment
from riskcalc.study.optimised import switch_dates
from riskcalc.study.outlook import KINDS_OF_DAY
from riskcalc.types import Floats
from riskcalc.uncertainty import summary
from riskcalc.years.simulation import Plant, YearRequest, run_year


@dataclass(frozen=True)
class Gap:
    """First-year energy bills of some draws, (draws,) each, at one step: without cells, of the rule, of the optimum."""

    step_minutes: int
    without_cells: Floats
    of_rule: Floats
    of_optimum: Floats

    @property
    def taken_share(self) -> float:
        """What the rule saves with the cells over what perfect foresight would, of all draws together; NaN for nothing."""
        possible = float((self.without_cells - self.of_optimum).sum())
        return float((self.without_cells - self.of_rule).sum()) / possible if possible > 0.0 else float("nan")

    def of_draws(self, draws: NDArray[np.int64]) -> Gap:
        """Return the bills of some of the draws."""
        return Gap(self.step_minutes, self.without_cells[draws], self.of_rule[draws], self.of_optimum[draws])


def first_year(plant: Plant) -> YearRequest:
    """Return the first year of a new kit at the step of its slots; it begins with what is kept for outages."""
    new = np.ones(plant.draws)
    request = plant.year_request(0, capacity_share=new, working=new > 0.0, stored_wh=np.zeros(plant.draws))
    request = replace(request, inputs=at_slots(request.inputs))
    return replace(request, stored_wh=floors_wh(request))


def gap(plant: Plant) -> Gap:
    """Return how near the rule comes to the optimum in the first year of every draw of a plant."""
    scenario, values, request = plant.scenario, plant.values, first_year(plant)
    rule = run_year(request)

    def least_bill(draw: int) -> float:
        return optimum(plant, request, draw, float(rule.stored_wh[draw])).bill

    with ThreadPoolExecutor(usable_threads()) as threads:
        least = list(threads.map(least_bill, range(plant.draws)))
    return Gap(
        step_minutes=request.plan.slot_minutes,
        without_cells=energy_bill(scenario, run_year(_without_cells(request)), values),
        of_rule=energy_bill(scenario, rule, values),
        of_optimum=np.array(least),
    )


def optimum(plant: Plant, request: YearRequest, draw: int, least_end_wh: float) -> Foreseen:
    """Return what perfect foresight makes of one draw's first year, leaving as much in the cells as the rule does."""
    bought, paid = slot_prices(prices_of(plant.scenario, plant.values), request.plan, draw)
    return foreseen(
        year_ahead(
            request,
            draw,
            import_price=bought,
            export_price=paid,
            floor_wh=float(request.stored_wh[draw]),
            least_end_wh=least_end_wh,
        )
    )


def _without_cells(request: YearRequest) -> YearRequest:
    params = request.params.copy()
    params[[Param.CAPACITY_WH, Param.FLOOR_WH]] = 0.0
    return replace(request, params=params, stored_wh=np.zeros_like(request.stored_wh))


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
            **summary.as_dicts(summary.mean_figures(arrays, scrambles=scrambles)),
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


def running_figures(assessment: Assessment) -> dict[str, Any]:
    """Return what was found and what it is worth against the plain rule, {} where nothing was left to be found."""
    found = assessment.world.optimised
    if found is None:
        return {}
    rule, exports = found.running.by_need, bool(assessment.world.plan.export_stored_on.any())
    dates = switch_dates(found.running.solar_days)
    return {
        "running": {
            "forecasts": list(KINDS_OF_DAY) if found.forecasts else [],
            "target_share": found.running.target_share.tolist(),
            "solar_only_from": None if dates is None else dates[0],
            "solar_only_until": None if dates is None else dates[1],
            "hold_back_share": found.running.hold_back_share.tolist(),
            "export_stored_above_share": found.running.export_stored_above_share.tolist() if exports else None,
            "by_need": None if rule is None else {**vars(rule), "offset_share": rule.offset_share.tolist()},
            "draws": found.draws,
            "bill": found.bill,
            "bill_of_plain_rule": found.plain_bill,
        }
    }
