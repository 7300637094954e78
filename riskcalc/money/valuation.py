"""From energy to money: prices over the years, what the kit saves, and what that is worth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from riskcalc.dispatch import Flow
from riskcalc.money.bill import DAYS_PER_YEAR, Energy, bill, prices_of
from riskcalc.money.flows import NOT_IN_PAYBACK, CashFlows, purchase_flows
from riskcalc.money.measures import NEVER, balance, crossing_years, discounted, net_present_value, while_in_debt
from riskcalc.money.prices import PricePaths, paths_of
from riskcalc.scenario import Scenario
from riskcalc.types import Flags, Floats, Values
from riskcalc.uncertainty.sampling import PathNoise
from riskcalc.years.simulation import Simulation


@dataclass(frozen=True)
class Valuation:
    """Money of every draw, nominal, cost negative and saving positive.

    (years, draws): `saving`, `bill_without`, `bill_with`, `import_path` (price of each year over the first year's,
    dearest rate), `price_level` (of everything else) and `charging_cost`, what the supply delivers at each rate beyond
    the demand at that rate. (years + 1, draws): `cash_balance`, the household's own money, the running sum of all
    flows but sales. (draws,): the rest; a payback that is not reached within the horizon is infinite, and so is one
    that is never bought. `payback_in_cash_years` is as if nothing were borrowed, `payback_with_sale_years` counts what
    a sale at a move brings; each is the plain payback where there is no loan or no sale.
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
    payback_in_cash_years: Floats
    payback_with_sale_years: Floats
    net_present_value: Floats

    @property
    def payback_balance(self) -> Floats:
        """The balance whose crossing of zero is the payback, (years + 1, draws); see `while_in_debt`."""
        return while_in_debt(self.cash_balance, self.flows.by_kind.get("loan"))


def valuation(
    scenario: Scenario, simulation: Simulation, values: Values, noise: PathNoise, *, paths: PricePaths | None = None
) -> Valuation:
    """Return what the energy of `simulation` is worth under each draw's prices; `paths` are `paths_of`, if at hand."""
    paths = paths_of(scenario, values, noise) if paths is None else paths
    yearly = bill(prices_of(scenario, values, paths), energy_of(simulation))
    flows = purchase_flows(scenario, simulation, values, saving=yearly.saving, level=paths.level)
    bought = simulation.course.bought
    own = flows.for_payback
    cash_balance = balance(own)
    loan = flows.by_kind.get("loan")
    discount_rate = values["prices.discount_rate_per_year"]
    discounted_balance = balance(discounted(own, discount_rate=discount_rate))
    payback = _payback_years(cash_balance, loan, bought)
    in_cash = with_sale = payback
    if loan is not None:
        in_cash = _payback_years(balance(flows.without((*NOT_IN_PAYBACK, "loan"))), None, bought)
    if "sale" in flows.by_kind:
        with_sale = _payback_years(balance(flows.without(("resale",))), loan, bought)
    return Valuation(
        saving=yearly.saving,
        bill_without=yearly.without,
        bill_with=yearly.with_kit,
        import_path=paths.main,
        price_level=paths.level,
        charging_cost=yearly.charging,
        flows=flows,
        cash_balance=cash_balance,
        payback_years=payback,
        lasting_payback_years=_if_bought(bought, crossing_years(cash_balance, crossing="lasting")),
        discounted_payback_years=_payback_years(discounted_balance, loan, bought),
        payback_in_cash_years=in_cash,
        payback_with_sale_years=with_sale,
        net_present_value=net_present_value(flows.total, discount_rate=discount_rate),
    )


def payback_and_worth(
    scenario: Scenario, simulation: Simulation, values: Values, *, saving: Floats, level: Floats
) -> dict[str, Floats]:
    """Return `payback_years` and `net_present_value` alone, (draws,) each, with the bits of `valuation`.

    `saving` and `level` (years, draws) are those of `valuation` for the same values: half the work where they are at hand.
    """
    flows = purchase_flows(scenario, simulation, values, saving=saving, level=level)
    return {
        "payback_years": _payback_years(
            balance(flows.for_payback), flows.by_kind.get("loan"), simulation.course.bought
        ),
        "net_present_value": net_present_value(flows.total, discount_rate=values["prices.discount_rate_per_year"]),
    }


def energy_of(simulation: Simulation) -> Energy:
    """Return what is billed in every year of a simulation."""
    demand, imported = simulation.monthly_demand_kwh, simulation.monthly_import_kwh
    return Energy(
        simulation.billed_kwh,
        simulation.yearly_kwh[Flow.GRID_EXPORT],
        DAYS_PER_YEAR,
        None if demand is None or imported is None else (demand, imported),
    )


def _payback_years(balance_rows: Floats, loan: Floats | None, bought: Flags) -> Floats:
    return _if_bought(bought, crossing_years(while_in_debt(balance_rows, loan)))


def _if_bought(bought: Flags, payback_years: Floats) -> Floats:
    """Return the payback, never where the purchase does not happen: what is not bought saves nothing."""
    return np.where(bought, payback_years, NEVER)
