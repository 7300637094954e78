"""From energy to money: prices over the years, what the kit saves, and what that is worth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import Billed
from riskcalc.money.cashflow import CashFlows, cash_flows, price_level
from riskcalc.money.measures import net_present_value
from riskcalc.money.payback import balance, discounted_payback_years, simple_payback_years
from riskcalc.prices import correlated_normals, price_path
from riskcalc.sampling import PathNoise
from riskcalc.scenario import Scenario
from riskcalc.simulation import Simulation

Floats = NDArray[np.float64]
Values = Mapping[str, Floats]

DAYS_PER_YEAR = 365


@dataclass(frozen=True)
class Valuation:
    """Money of every draw, nominal, cost negative and saving positive.

    (years, draws): `saving`, `bill_without`, `bill_with`, `import_path` (price of each year over the first year's).
    (years + 1, draws): `cash_balance`, the running sum of all flows but the resale. (draws,): the rest; a payback that is not
    reached within the horizon is infinite.
    """

    saving: Floats
    bill_without: Floats
    bill_with: Floats
    import_path: Floats
    flows: CashFlows
    cash_balance: Floats
    payback_years: Floats
    lasting_payback_years: Floats
    discounted_payback_years: Floats
    net_present_value: Floats


def valuation(scenario: Scenario, simulation: Simulation, values: Values, noise: PathNoise) -> Valuation:
    """Return what the energy of `simulation` is worth under each draw's prices."""
    years, draws = simulation.working.shape
    import_path, export_path = price_paths(scenario, values, noise)
    import_price = np.stack([values[f"tariff.rates.{name}.import_price_per_kwh"] for name in scenario.tariff.rates])
    export_price = values["tariff.export_price_per_kwh"]
    demand, imported, exported = (simulation.billed_kwh[row] for row in (Billed.DEMAND, Billed.IMPORT, Billed.EXPORT))
    saving, without = np.zeros((years, draws)), np.zeros((years, draws))
    for rate, price in enumerate(import_price):
        without += price * import_path * demand[rate]
        # Demand less import before the price: a kit that changes nothing saves exactly nothing.
        saving += price * import_path * (demand[rate] - imported[rate])
        saving += export_price * export_path * exported[rate]
    without += DAYS_PER_YEAR * values["tariff.standing_charge_per_day"] * import_path
    flows = cash_flows(saving, **_costs(scenario, simulation, values))
    discount_rate = values["prices.discount_rate_per_year"]
    return Valuation(
        saving=saving,
        bill_without=without,
        bill_with=without - saving,
        import_path=import_path,
        flows=flows,
        cash_balance=balance(flows.for_payback),
        payback_years=simple_payback_years(flows.for_payback),
        lasting_payback_years=simple_payback_years(flows.for_payback, crossing="lasting"),
        discounted_payback_years=discounted_payback_years(flows.for_payback, discount_rate=discount_rate),
        net_present_value=net_present_value(flows.total, discount_rate=discount_rate),
    )


def price_paths(scenario: Scenario, values: Values, noise: PathNoise) -> tuple[Floats, Floats]:
    """Return import and export price of each year over the first year's, each (years, draws).

    Both share trend and jumps; their yearly shocks correlate.
    """
    common = {
        "years": scenario.study.horizon_years,
        "trend": values["prices.trend_per_year"],
        "persistence": values["prices.persistence"],
        "spread": values["prices.spread"],
        "jump_chance": values["prices.jump_chance_per_year"],
        "jump_mean": values["prices.jump_mean"],
        "jump_spread": values["prices.jump_spread"],
        "jump_uniforms": noise.jump_uniforms,
        "jump_normals": noise.jump_normals,
    }
    export_normals = correlated_normals(
        noise.growth_normals, noise.export_normals, correlation=scenario.prices.export_correlation
    )
    return price_path(normals=noise.growth_normals, **common), price_path(normals=export_normals, **common)


def kit_price(scenario: Scenario, values: Values) -> Floats:
    """Return what kit, modules and batteries cost on the day of purchase, without the installation, (draws,)."""
    assert scenario.kit is not None
    modules = sum(array.modules for array in scenario.kit.arrays.values())
    price = values["purchase.price"] + modules * values["purchase.module_price"]
    return price + _extra_batteries(scenario) * values["purchase.extra_battery_price"]


def _extra_batteries(scenario: Scenario) -> int:
    kit = scenario.kit
    return 0 if kit is None or kit.battery is None else kit.battery.extra_batteries


def _costs(scenario: Scenario, simulation: Simulation, values: Values) -> dict[str, Floats]:
    """Return the arguments of `cash_flows` other than the saving; nothing bought costs nothing."""
    years, draws = simulation.working.shape
    if scenario.purchase is None:
        return {"purchase_price": np.zeros(draws)}
    price = kit_price(scenario, values)
    nothing = np.zeros(draws)
    batteries = 1 + _extra_batteries(scenario)
    replacements = simulation.battery_replaced * values.get("purchase.battery_replacement_price", nothing) * batteries
    replacements = replacements + simulation.electronics_replaced * values.get(
        "purchase.electronics_replacement_price", nothing
    )
    return {
        "purchase_price": price + values["purchase.installation"],
        "incentive": values["purchase.incentive"],
        "real_upkeep_per_year": values["purchase.upkeep_per_year"] * simulation.working,
        "real_replacements": replacements,
        "resale": values["purchase.resale_share"] * price,
        "level": price_level(values["prices.inflation_per_year"], years=years),
    }
