"""A kit without a supply against a cable to one: difference of life-cycle cost, and the demand left unserved."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from riskcalc.dispatch import Flow
from riskcalc.money.measures import net_present_value
from riskcalc.money.valuation import DAYS_PER_YEAR, Valuation
from riskcalc.scenario import Scenario
from riskcalc.types import Floats, Values
from riskcalc.uncertainty import summary
from riskcalc.uncertainty.summary import Estimate
from riskcalc.years.simulation import Simulation

HOURS_PER_YEAR = 8760


@dataclass(frozen=True)
class CableChoice:
    """Life-cycle costs in money of the day of purchase, positive, and the length at which they meet, (draws,) each."""

    kit_cost: Floats
    cable_cost: Floats
    cable_outlay: Floats
    break_even_length_m: Floats

    @property
    def difference(self) -> Floats:
        """Cost of the cable less that of the kit: positive where the kit is cheaper."""
        return self.cable_cost - self.kit_cost


def cable_choice(scenario: Scenario, money: Valuation, simulation: Simulation, values: Values) -> CableChoice | None:
    """Return what kit and cable cost over the horizon, None if the scenario weighs no cable.

    Notes
    -----
    Kit: every flow of the purchase, and the energy it leaves unmet, bought at the scenario's tariff. Cable: length x
    price per metre + fixed price on day 0, then all demand / (1 - loss) at the price at its end, which follows the same
    price path, standing charge and upkeep. ASTM E917. The break-even length makes both equal; at or below 0 the cable
    is dearer however short.
    """
    if scenario.alternative is None:
        return None
    rate = values["prices.discount_rate_per_year"]
    kit_flows = money.flows.without(("saving",)).copy()
    kit_flows[1:] -= money.bill_with
    per_m = values["alternative.price_per_m"]
    by_length = values["alternative.length_m"] * per_m
    outlay = by_length + values["alternative.fixed_price"]
    demand = simulation.yearly_kwh[Flow.DEMAND_REACHABLE] + simulation.yearly_kwh[Flow.DEMAND_WIRED]
    bought = demand / (1.0 - values["alternative.loss_share"]) * values["alternative.import_price_per_kwh"]
    standing = DAYS_PER_YEAR * values["alternative.standing_charge_per_day"]
    cable_flows = np.zeros_like(kit_flows)
    cable_flows[0] = -outlay
    cable_flows[1:] = -(bought + standing) * money.import_path
    cable_flows[1:] -= values["alternative.upkeep_per_year"] * money.price_level
    kit_cost, cable_cost = (-net_present_value(flows, discount_rate=rate) for flows in (kit_flows, cable_flows))
    with np.errstate(divide="ignore", invalid="ignore"):
        length_m = (kit_cost - (cable_cost - by_length)) / per_m
    return CableChoice(kit_cost, cable_cost, outlay, length_m)


def cable_figures(choice: CableChoice, *, scrambles: int) -> dict[str, Any]:
    """Return the figures of the choice with their standard errors."""
    lengths = {
        name: summary.estimate(
            choice.break_even_length_m,
            lambda part, share=share: summary.quantile(part, share),  # type: ignore[misc]
            scrambles=scrambles,
        )
        for name, share in summary.QUANTILES.items()
    }
    cheaper = summary.estimate(choice.difference, lambda part: float((part > 0.0).mean()), scrambles=scrambles)
    means = {"kit": choice.kit_cost, "cable": choice.cable_cost, "cable_outlay": choice.cable_outlay}
    return {
        "life_cycle_cost": summary.mean_figures(means, scrambles=scrambles),
        "difference": summary.worth_figures(choice.difference, scrambles=scrambles),
        "kit_cheaper": {"share": cheaper},
        "break_even_length_m": lengths,
    }


def loss_of_load(simulation: Simulation, *, years: slice) -> dict[str, Floats]:
    """Return how much demand within reach nothing serves, means over `years` of the horizon, (draws,) each.

    `hours_share` and `days_share`: loss-of-load probability, the share of hours and days in which some demand is not
    served; `unmet_kwh` per year, and its share of the demand.
    """
    kwh = simulation.yearly_kwh[:, years]
    demand = (kwh[Flow.DEMAND_REACHABLE] + kwh[Flow.DEMAND_WIRED]).mean(axis=0)
    unmet = kwh[Flow.UNMET].mean(axis=0)
    return {
        "hours_share": simulation.short_hours[years].mean(axis=0) / HOURS_PER_YEAR,
        "days_share": simulation.short_days[years].mean(axis=0) / DAYS_PER_YEAR,
        "unmet_kwh": unmet,
        "unmet_share": unmet / demand,
    }


def loss_of_load_figures(simulation: Simulation, *, scrambles: int) -> dict[str, dict[str, Estimate]]:
    """Return the loss of load in the first year, and over all years, whether the kit still works or not."""
    return {
        "first_year": summary.mean_figures(loss_of_load(simulation, years=slice(0, 1)), scrambles=scrambles),
        "all_years": summary.mean_figures(loss_of_load(simulation, years=slice(None)), scrambles=scrambles),
    }
