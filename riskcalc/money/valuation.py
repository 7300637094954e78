"""From energy to money: prices over the years, what the kit saves, and what that is worth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import Billed, Flow
from riskcalc.money.block_rates import block_charges
from riskcalc.money.cashflow import CashFlows
from riskcalc.money.costs import purchase_flows
from riskcalc.money.measures import net_present_value
from riskcalc.money.payback import NEVER, balance, crossing_years, discounted_payback_years
from riskcalc.money.price_paths import PricePaths, paths_of
from riskcalc.scenario import Scenario
from riskcalc.uncertainty.sampling import PathNoise
from riskcalc.years.simulation import Simulation

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Values = Mapping[str, Floats]

DAYS_PER_YEAR = 365


@dataclass(frozen=True)
class Valuation:
    """Money of every draw, nominal, cost negative and saving positive.

    (years, draws): `saving`, `bill_without`, `bill_with`, `import_path` (price of each year over the first year's,
    dearest rate), `price_level` (of everything else) and `charging_cost`, what the supply delivers at each rate beyond
    the demand at that rate. (years + 1, draws): `cash_balance`, the running sum of all flows that count for the
    payback. (draws,): the rest; a payback that is not reached within the horizon is infinite.
    """

    saving: Floats
    bill_without: Floats
    bill_with: Floats
    import_path: Floats
    price_level: Floats
    charging_cost: Floats
    flows: CashFlows
    cash_balance: Floats
    payback_years: Floats
    lasting_payback_years: Floats
    discounted_payback_years: Floats
    net_present_value: Floats


def valuation(
    scenario: Scenario, simulation: Simulation, values: Values, noise: PathNoise, *, paths: PricePaths | None = None
) -> Valuation:
    """Return what the energy of `simulation` is worth under each draw's prices; `paths` are `paths_of`, if at hand."""
    years, draws = simulation.working.shape
    paths = paths_of(scenario, values, noise) if paths is None else paths
    import_path, export_path = paths.main, paths.export
    import_price = np.stack([values[f"tariff.rates.{name}.import_price_per_kwh"] for name in scenario.tariff.rates])
    export_price = values["tariff.export_price_per_kwh"]
    demand, imported, exported = (simulation.billed_kwh[row] for row in (Billed.DEMAND, Billed.IMPORT, Billed.EXPORT))
    # A series of prices weighs what is billed slot by slot; an export price that does not follow it needs plain energy.
    one_export_price = scenario.tariff.series is not None and not scenario.tariff.series.export_follows
    saving, without, charging = (np.zeros((years, draws)) for _ in range(3))
    for rate, (price, path) in enumerate(zip(import_price, paths.rates, strict=True)):
        without += price * path * demand[rate]
        # Demand less import before the price: a kit that changes nothing saves exactly nothing.
        saving += price * path * (demand[rate] - imported[rate])
        charging += price * path * np.maximum(imported[rate] - demand[rate], 0.0)
        if not one_export_price:
            saving += export_price * export_path * exported[rate]
    if one_export_price:
        saving += export_price * export_path * simulation.yearly_kwh[Flow.GRID_EXPORT]
    blocks = block_charges(scenario, simulation, values)
    if blocks is not None:
        without += blocks[0] * import_path
        saving += (blocks[0] - blocks[1]) * import_path
    without += DAYS_PER_YEAR * values["tariff.standing_charge_per_day"] * import_path
    flows = purchase_flows(scenario, simulation, values, saving=saving, level=paths.level)
    bought = simulation.course.bought
    for_payback = flows.for_payback
    cash_balance = balance(for_payback)
    discount_rate = values["prices.discount_rate_per_year"]
    return Valuation(
        saving=saving,
        bill_without=without,
        bill_with=without - saving,
        import_path=import_path,
        price_level=paths.level,
        charging_cost=charging,
        flows=flows,
        cash_balance=cash_balance,
        payback_years=_if_bought(bought, crossing_years(cash_balance)),
        lasting_payback_years=_if_bought(bought, crossing_years(cash_balance, crossing="lasting")),
        discounted_payback_years=_if_bought(bought, discounted_payback_years(for_payback, discount_rate=discount_rate)),
        net_present_value=net_present_value(flows.total, discount_rate=discount_rate),
    )


def price_paths(scenario: Scenario, values: Values, noise: PathNoise) -> tuple[Floats, Floats]:
    """Return import (dearest rate) and export price of each year over the first year's, each (years, draws)."""
    paths = paths_of(scenario, values, noise)
    return paths.main, paths.export


def _if_bought(bought: Flags, payback_years: Floats) -> Floats:
    """Return the payback, never where the purchase does not happen: what is not bought saves nothing."""
    return np.where(bought, payback_years, NEVER)
