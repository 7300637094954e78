"""Block rates: what a bill holds beyond its rates because use passed a threshold. Such a bill is not linear in use."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from riskcalc.money.cashflow import sum_in_order
from riskcalc.scenario import Scenario
from riskcalc.years.simulation import Simulation

Floats = NDArray[np.float64]
Values = Mapping[str, Floats]


def block_charges(scenario: Scenario, simulation: Simulation, values: Values) -> tuple[Floats, Floats] | None:
    """Return what blocks add to the bill at first-year prices, (without, with the kit), (years, draws) each.

    None without blocks. Sum over periods and blocks of extra price x energy bought above the threshold; energy sent to
    the grid does not lower the count. Limiting cases: a threshold of 0 is a dearer rate; one out of reach adds nothing.
    """
    demand, imported = simulation.monthly_demand_kwh, simulation.monthly_import_kwh
    if not scenario.tariff.blocks or demand is None or imported is None:
        return None
    # Both sums hold the same energy where a kit changes nothing, added up in another order.
    imported = np.where(np.abs(imported - demand) <= 1e-9 * demand, demand, imported)
    return _charge(scenario, values, demand), _charge(scenario, values, imported)


def _charge(scenario: Scenario, values: Values, monthly_kwh: Floats) -> Floats:
    periods = list(monthly_kwh) if scenario.tariff.block_period == "month" else [sum_in_order(list(monthly_kwh))]
    parts = [
        values[f"tariff.blocks.{name}.extra_per_kwh"] * np.maximum(kwh - block.above_kwh, 0.0)
        for name, block in scenario.tariff.blocks.items()
        for kwh in periods
    ]
    return sum_in_order(parts)
