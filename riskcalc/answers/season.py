"""The bill of some months of the first year: the year is run once more with the rates of those months kept apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.dispatch import Flow
from riskcalc.money.bill import Energy, bill, prices_of
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.years.simulation import Plant, run_year


def season_energy(assessment: Assessment, months: Sequence[int]) -> Energy:
    """Return the billed energy of the months named 1 to 12, one more year of dispatch for all draws.

    The rates are doubled, first those outside the months, then those inside; switching stays as it was, so the energy
    is that of the assessment.
    """
    world, scenario = assessment.world, assessment.scenario
    rates = len(scenario.tariff.rates)
    inside = np.isin(world.plan.month, np.array(months) - 1)
    plan = replace(world.plan, rate=world.plan.rate + rates * inside, rates=2 * rates)
    plant = Plant(scenario, world.pools, plan, assessment.values, assessment.design.pool_year)
    simulation = assessment.simulation
    request = plant.year_request(
        0,
        capacity_share=simulation.capacity_share[0],
        working=simulation.working[0],
        stored_wh=simulation.stored_wh[0],
    )
    places = np.array(months) - 1
    exported = simulation.first_year_monthly_kwh[Flow.GRID_EXPORT][places].sum(axis=0)
    days = int(MONTH_LENGTHS[places].sum())
    return Energy(run_year(request).billed_kwh[:, rates:], exported, days)


def season_bills(scenario: Scenario, values: Mapping[str, Floats], season: Energy) -> tuple[Floats, Floats]:
    """Return the bill of those months without and with the kit at first-year prices, (draws,) each; blocks are not in it."""
    found = bill(prices_of(scenario, values), season)
    return found.without, found.with_kit
