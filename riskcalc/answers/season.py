"""The bill of some months of the first year: the year is run once more with the rates of those months kept apart."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.dispatch import Flow, SlotPlan
from riskcalc.money.bill import Energy, bill, prices_of
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.years.simulation import Plant, run_year

#: Draws run in one go: the year of one takes some 8 kB of memory.
AT_ONCE = 4096


def season_energy(assessment: Assessment, months: Sequence[int], *, some: slice | None = None) -> Energy:
    """Return the billed energy of the months named 1 to 12, one more year of dispatch for all draws, or for `some`.

    The rates are doubled, first those outside the months, then those inside; switching stays as it was, so the energy
    is that of the assessment.
    """
    world = assessment.world
    rates = len(assessment.scenario.tariff.rates)
    inside = np.isin(world.plan.month, np.array(months) - 1)
    plan = replace(world.plan, rate=world.plan.rate + rates * inside, rates=2 * rates)
    first, last, _ = (some or slice(None)).indices(assessment.design.draws)
    billed = [
        _first_year_billed(assessment, plan, slice(start, min(last, start + AT_ONCE)))[:, rates:]
        for start in range(first, last, AT_ONCE)
    ]
    places = np.array(months) - 1
    exported = assessment.simulation.first_year_monthly_kwh[Flow.GRID_EXPORT][places, first:last].sum(axis=0)
    return Energy(np.concatenate(billed, axis=-1), exported, int(MONTH_LENGTHS[places].sum()))


def _first_year_billed(assessment: Assessment, plan: SlotPlan, some: slice) -> Floats:
    """Return the first year's energy of some draws, (kinds, rates, draws)."""
    values = {key: drawn[some] for key, drawn in assessment.values.items()}
    simulation = assessment.simulation
    pool_year = np.ascontiguousarray(assessment.design.pool_year[:, some])
    request = Plant(assessment.scenario, assessment.world.pools, plan, values, pool_year).year_request(
        0,
        capacity_share=simulation.capacity_share[0, some],
        working=simulation.working[0, some],
        stored_wh=simulation.stored_wh[0, some],
    )
    return run_year(request).billed_kwh


def season_bills(scenario: Scenario, values: Mapping[str, Floats], season: Energy) -> tuple[Floats, Floats]:
    """Return the bill of those months without and with the kit at first-year prices, (draws,) each; blocks are not in it."""
    found = bill(prices_of(scenario, values), season)
    return found.without, found.with_kit
