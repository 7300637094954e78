"""How near the rule comes to perfect foresight: what the battery saves, as a share of what it could save."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import Param
from riskcalc.money.bill import prices_of, slot_prices
from riskcalc.study.draw_blocks import usable_threads
from riskcalc.study.foresight_hourly import (
    at_slots,
    energy_bill,
    floors_wh,
    year_ahead,
)
from riskcalc.study.foresight_programme import Foreseen, foreseen
from riskcalc.types import Floats
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
