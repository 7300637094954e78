"""The bill of some months of the first year: the year is run once more with the rates of those months kept apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.dispatch import Billed, Flow
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment
from riskcalc.years.simulation import Plant, run_year

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class SeasonEnergy:
    """What is billed in some months of the first year, (3, rates, draws) with the rows of `Billed`, and their days.

    `exported_kwh` (draws,) is plain energy, whatever a series of prices makes of it.
    """

    billed_kwh: Floats
    exported_kwh: Floats
    days: int


def season_energy(assessment: Assessment, months: Sequence[int]) -> SeasonEnergy:
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
    return SeasonEnergy(run_year(request).billed_kwh[:, rates:], exported, days)


def season_bills(scenario: Scenario, values: dict[str, Floats], season: SeasonEnergy) -> tuple[Floats, Floats]:
    """Return the bill of those months without and with the kit at first-year prices, (draws,) each; blocks are not in it."""
    prices = np.stack([values[f"tariff.rates.{name}.import_price_per_kwh"] for name in scenario.tariff.rates])
    demand, imported, exported = (season.billed_kwh[row] for row in (Billed.DEMAND, Billed.IMPORT, Billed.EXPORT))
    without = (prices * demand).sum(axis=0) + season.days * values["tariff.standing_charge_per_day"]
    series = scenario.tariff.series
    sent = exported.sum(axis=0) if series is None or series.export_follows else season.exported_kwh
    saving = (prices * (demand - imported)).sum(axis=0) + values["tariff.export_price_per_kwh"] * sent
    return without, without - saving
