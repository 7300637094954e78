"""What a meter, a display and a bill would have shown, month by month, in the first years of every draw."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.dispatch import Billed, Flow, SlotPlan
from riskcalc.money.bill import Energy, bill, prices_of
from riskcalc.money.prices import PricePaths, paths_of
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment, World
from riskcalc.types import Floats, Values
from riskcalc.years.simulation import Plant, Simulation, run_year

MONTHS = 12


@dataclass(frozen=True)
class Months:
    """Figures of every month, each (years, 12, draws): months of the calendar, years since the purchase.

    `bill` is None where the tariff has blocks, whose charges depend on more than the month's energy.
    """

    import_kwh: Floats
    generation_kwh: Floats
    bill: Floats | None


def predicted_months(assessment: Assessment, *, years: int) -> Months:
    """Return the months of the first `years` of every draw of an assessment."""
    paths = paths_of(assessment.scenario, assessment.values, assessment.design.path)
    return months_of(
        assessment.scenario,
        assessment.world,
        assessment.values,
        pool_year=assessment.design.pool_year,
        course=assessment.simulation,
        paths=paths,
        years=years,
    )


def months_of(
    scenario: Scenario,
    world: World,
    values: Values,
    *,
    pool_year: NDArray[np.int64],
    course: Simulation,
    paths: PricePaths,
    years: int,
) -> Months:
    """Return the months of draws whose wear, failures and moves are known from a simulation.

    Each year is dispatched once more, with the rates told apart by month. `paths` are the prices of
    each year over the first year's.
    """
    plan = plan_by_month(world.plan)
    plant = Plant(scenario, world.pools, plan, values, pool_year)
    shape = (years, MONTHS, plant.draws)
    imported, generated, bills = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for year in range(years):
        request = plant.year_request(
            year,
            capacity_share=course.capacity_share[year],
            working=course.working[year],
            stored_wh=course.stored_wh[year],
        )
        outcome = run_year(request)
        imported[year] = outcome.monthly_kwh[Flow.GRID_IMPORT]
        generated[year] = outcome.monthly_kwh[Flow.PV_USED]
        billed = outcome.billed_kwh.reshape(len(Billed), len(scenario.tariff.rates), MONTHS, -1)
        energy = Energy(billed, outcome.monthly_kwh[Flow.GRID_EXPORT], MONTH_LENGTHS[:, None])
        bills[year] = bill(prices_of(scenario, values, paths, year=year), energy).with_kit
    return Months(imported, generated, None if scenario.tariff.blocks else bills)


def plan_by_month(plan: SlotPlan) -> SlotPlan:
    """Return the plan with rate r of month m under the index 12 r + m, so that what is billed comes month by month."""
    return replace(plan, rate=plan.rate * MONTHS + plan.month, rates=plan.rates * MONTHS)
