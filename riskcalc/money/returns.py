"""The measures of building economics, draw by draw: ratios, rates of return, cost of a kWh, largest cumulative shortfall.

They judge the project, no matter who lends the money: the loan counts in the worth and in the largest shortfall only.
"""

from __future__ import annotations

import numpy as np

from riskcalc.dispatch import Flow
from riskcalc.money.flows import CashFlows, sum_in_order
from riskcalc.money.measures import (
    RateOfReturn,
    adjusted_rate_of_return,
    annual_equivalent,
    cost_per_kwh,
    internal_rate_of_return,
    largest_cumulative_shortfall,
    net_present_value,
    savings_to_investment,
    single_compound_amount,
)
from riskcalc.money.valuation import Valuation
from riskcalc.types import Flags, Floats, Values
from riskcalc.uncertainty import summary
from riskcalc.uncertainty.summary import Estimate
from riskcalc.years.simulation import Simulation

#: What an investment is made of (10 CFR 436.21: purchase and replacements less what comes back); the rest is operating.
INVESTMENT = ("purchase", "incentive", "replacement", "resale", "sale", "disposal")
#: Kinds that are gains rather than costs of a delivered kWh.
GAINS = ("saving", "outages")

LEVELS = {"p5": 0.05, "p50": 0.5, "p95": 0.95}

#: Energy that the kit delivers: to loads and to the grid.
DELIVERED = (Flow.PV_TO_LOAD, Flow.BATTERY_TO_LOAD, Flow.GRID_EXPORT)


def measures(money: Valuation, simulation: Simulation, values: Values) -> dict[str, Floats]:
    """Return each measure, (draws,): NaN where nothing is bought, infinite where a draw lies off its scale.

    Notes
    -----
    A kit that costs nothing in the end has an infinite ratio and rate; one whose savings do not even cover their own
    cost has minus infinity for a rate of return: worse than losing all that was put in. Cost per kWh: present value of
    every cost, the energy bought to charge the battery included, over that of the energy delivered to loads and grid;
    infinite where none is. Opportunity cost: what the money put down would have earned in the savings account by the
    end of the horizon, at compound interest, in money of that day.
    """
    flows, bought = money.flows, simulation.course.bought
    years = len(money.saving)
    rate = values["prices.discount_rate_per_year"]
    investment = of_kinds(flows, INVESTMENT)
    savings = of_kinds(flows, [kind for kind in flows.by_kind if kind not in (*INVESTMENT, "loan")])
    invested = -net_present_value(investment, discount_rate=rate)
    ratio = savings_to_investment(savings, investment, discount_rate=rate)
    ratio = np.where(invested > 0.0, ratio, np.inf)
    adjusted = adjusted_rate_of_return(ratio, discount_rate=rate, years=years)
    costs = of_kinds(flows, [kind for kind in flows.by_kind if kind not in (*GAINS, "loan")])
    costs[1:] -= money.charging_cost
    delivered = sum_in_order([simulation.yearly_kwh[flow] for flow in DELIVERED])
    put_down = -of_kinds(flows, ("purchase", "incentive", "loan"))[0]
    account = values.get("prices.savings_rate_per_year", rate)
    found = {
        "savings_to_investment_ratio": ratio,
        "adjusted_internal_rate_of_return": np.where(np.isnan(adjusted), -np.inf, adjusted),
        "internal_rate_of_return": rate_or_side(project_rate(money), project_flows(money)),
        "annual_equivalent": annual_equivalent(money.net_present_value, discount_rate=rate, years=years),
        "cost_per_kwh_delivered": cost_per_kwh(costs, delivered, discount_rate=rate),
        "largest_cumulative_shortfall": largest_cumulative_shortfall(flows.total),
        "opportunity_cost": put_down * (single_compound_amount(account, years) - 1.0),
    }
    return {name: np.where(bought, drawn, np.nan) for name, drawn in found.items()}


def measure_figures(
    money: Valuation, simulation: Simulation, values: Values, *, scrambles: int
) -> dict[str, dict[str, Estimate]]:
    """Return quantiles of every measure over the draws in which something is bought, and how far the rates can be read.

    `internal_rate_of_return` also has `ambiguous_share`, the share of draws with more than one rate (the one nearest
    zero is then given) or with changes of sign but none; and `most_sign_changes`.
    """
    figures: dict[str, dict[str, Estimate]] = {
        name: {
            level: summary.estimate(drawn, lambda part, share=share: known_quantile(part, share), scrambles=scrambles)  # type: ignore[misc]
            for level, share in LEVELS.items()
        }
        for name, drawn in measures(money, simulation, values).items()
    }
    if not simulation.course.bought.any():
        return {}
    found = project_rate(money)
    unclear = np.where(simulation.course.bought, ambiguous(found).astype(np.float64), np.nan)
    rates = figures["internal_rate_of_return"]
    rates["ambiguous_share"] = summary.estimate(unclear, known_mean, scrambles=scrambles)
    rates["most_sign_changes"] = Estimate(float(found.sign_changes.max()), None)
    return figures


def worth_by_kind(money: Valuation, values: Values, *, scrambles: int) -> dict[str, Estimate]:
    """Return the mean present value of every kind of flow; they add up to the mean net present value."""
    rate = values["prices.discount_rate_per_year"]
    present = {kind: net_present_value(flows, discount_rate=rate) for kind, flows in money.flows.by_kind.items()}
    return summary.mean_figures(present, scrambles=scrambles)


def project_flows(money: Valuation) -> Floats:
    """Return all flows but those of the loan, (years + 1, draws)."""
    return money.flows.without(("loan",))


def project_rate(money: Valuation) -> RateOfReturn:
    """Return the internal rate of return of the project, with the count of its sign changes and rates."""
    return internal_rate_of_return(project_flows(money))


def ambiguous(found: RateOfReturn) -> Flags:
    """Return the draws whose internal rate must not be read alone: several rates, or signs that change but no rate."""
    return (found.roots > 1) | ((found.roots == 0) & (found.sign_changes > 0))


def rate_or_side(found: RateOfReturn, flows: Floats) -> Floats:
    """Return the rate, and where there is none the side it is off: infinite for gains only, else minus infinity."""
    return np.where(np.isnan(found.rate), np.where((flows >= 0.0).all(axis=0), np.inf, -np.inf), found.rate)


def of_kinds(flows: CashFlows, kinds: object) -> Floats:
    """Return the sum of the flows of these kinds, zero if there are none, (years + 1, draws)."""
    chosen = [rows for kind, rows in flows.by_kind.items() if kind in kinds]  # type: ignore[operator]
    return sum_in_order(chosen) if chosen else np.zeros_like(flows.total)


def known_quantile(values: Floats, share: float) -> float:
    """Return the quantile over draws that are not NaN; infinite as soon as it touches an infinite draw."""
    ordered = np.sort(values[~np.isnan(values)])
    if not len(ordered):
        return float("nan")
    place = share * (len(ordered) - 1)
    below, above = ordered[int(np.floor(place))], ordered[int(np.ceil(place))]
    if np.isinf(below) or np.isinf(above):
        return float(below if np.isinf(below) else above)
    return float(below + (place - np.floor(place)) * (above - below))


def known_mean(values: Floats) -> float:
    """Return the mean over draws that are not NaN; NaN if there are none."""
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else float("nan")
