"""What a meter, a display and a bill would have shown, month by month, in the first years of every draw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.dispatch import Billed, DispatchOutcome, Flow, SlotPlan
from riskcalc.money.cashflow import sum_in_order
from riskcalc.money.valuation import price_paths
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment, World
from riskcalc.years.simulation import Plant, Simulation, run_year

Floats = NDArray[np.float64]
Values = Mapping[str, Floats]

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
    paths = price_paths(assessment.scenario, assessment.values, assessment.design.path)
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
    paths: tuple[Floats, Floats],
    years: int,
) -> Months:
    """Return the months of draws whose wear, failures and moves are known from a simulation.

    Each year is dispatched once more, with the rates told apart by month. `paths` are the import and export price of
    each year over the first year's, (years, draws).
    """
    plan = plan_by_month(world.plan)
    plant = Plant(scenario, world.pools, plan, values, pool_year)
    shape = (years, MONTHS, plant.draws)
    imported, generated, bill = np.zeros(shape), np.zeros(shape), np.zeros(shape)
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
        bill[year] = _bill(scenario, values, outcome, paths[0][year], paths[1][year])
    return Months(imported, generated, None if scenario.tariff.blocks else bill)


def plan_by_month(plan: SlotPlan) -> SlotPlan:
    """Return the plan with rate r of month m under the index 12 r + m, so that what is billed comes month by month."""
    return replace(plan, rate=plan.rate * MONTHS + plan.month, rates=plan.rates * MONTHS)


def _bill(
    scenario: Scenario, values: Values, outcome: DispatchOutcome, import_path: Floats, export_path: Floats
) -> Floats:
    """Return the bill of each month, (12, draws): energy at its rates, less what export earns, and standing charge."""
    names = list(scenario.tariff.rates)
    billed = outcome.billed_kwh.reshape(len(Billed), len(names), MONTHS, -1)
    prices = [values[f"tariff.rates.{name}.import_price_per_kwh"] for name in names]
    energy = sum_in_order([price * billed[Billed.IMPORT, rate] for rate, price in enumerate(prices)])
    one_export_price = scenario.tariff.series is not None and not scenario.tariff.series.export_follows
    exported = outcome.monthly_kwh[Flow.GRID_EXPORT] if one_export_price else billed[Billed.EXPORT].sum(axis=0)
    standing = MONTH_LENGTHS[:, None] * values["tariff.standing_charge_per_day"]
    return (energy + standing) * import_path - values["tariff.export_price_per_kwh"] * export_path * exported
