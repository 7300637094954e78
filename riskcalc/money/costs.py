"""What a purchase costs and brings apart from the saving on the bill: price, upkeep, repairs, moves, its end."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from riskcalc.money.cashflow import CashFlows, cash_flows
from riskcalc.money.loan import loan_flows
from riskcalc.scenario import Scenario
from riskcalc.scenario.tenure import at_move_of
from riskcalc.years.outages import bridged_outages
from riskcalc.years.simulation import Simulation
from riskcalc.years.tenure import Course

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Values = Mapping[str, Floats]


def purchase_flows(
    scenario: Scenario, simulation: Simulation, values: Values, *, saving: Floats, level: Floats
) -> CashFlows:
    """Return every flow of the purchase by kind, nominal, (years + 1, draws); nothing bought costs nothing.

    `level` is the general price level of each year, 1 in the first, (years, draws).

    Kinds beyond those of `money.cashflow`: `sale` (what the kit brings when it is handed over at a move), `moving`,
    `disposal` (at the end of the last year in which the kit works, unless it was handed over), `outages` (what bridging
    them is worth), `loan`.
    """
    years, draws = saving.shape
    if scenario.purchase is None:
        return cash_flows(saving, purchase_price=np.zeros(draws))
    course, bought = simulation.course, simulation.course.bought
    price = kit_price(scenario, values)
    outlay = bought * (price + values["purchase.installation"]) * price_share(scenario, values, course)
    incentive = bought * values["purchase.incentive"]
    flows = cash_flows(
        saving,
        purchase_price=outlay,
        incentive=incentive,
        real_upkeep_per_year=values["purchase.upkeep_per_year"] * simulation.working,
        real_replacements=_replacements(scenario, simulation, values),
        resale=values["purchase.resale_share"] * price * price_share(scenario, values, course) * simulation.working[-1],
        level=level,
    )
    if scenario.tenure is not None:
        moves = course.moved_along & simulation.working
        flows = flows.with_kind("sale", _after_day_0(_sale(scenario, simulation, values)))
        flows = flows.with_kind("moving", _after_day_0(-values["tenure.moving_cost"] * level * moves))
    ends = last_working_year(simulation.working) & ~course.handed_over
    flows = flows.with_kind("disposal", _after_day_0(-values["purchase.disposal_cost"] * level * ends))
    bridged = bridged_outages(scenario, simulation, values)
    if bridged is not None:
        nothing = np.zeros(draws)
        worth = bridged.hours_bridged * values.get("outages.value_per_hour", nothing)
        worth = worth + bridged.kwh_served * values.get("outages.value_per_kwh", nothing)
        flows = flows.with_kind("outages", _after_day_0(worth * level))
    if scenario.purchase.loan is None:
        return flows
    borrowed = values["purchase.loan.financed_share"] * np.maximum(outlay - incentive, 0.0)
    loan = loan_flows(
        borrowed,
        loan_rate=values["purchase.loan.rate_per_year"],
        term_years=scenario.purchase.loan.term_years,
        years=years,
        draws=draws,
    )
    return flows.with_kind("loan", loan)


def kit_price(scenario: Scenario, values: Values) -> Floats:
    """Return what kit, modules and batteries cost on the day of purchase after the discount, (draws,)."""
    assert scenario.kit is not None
    price = values["purchase.price"] + modules_price(scenario, values)
    price = price + extra_batteries(scenario) * values["purchase.extra_battery_price"]
    return price * (1.0 - values["purchase.discount_share"])


def modules_price(scenario: Scenario, values: Values) -> Floats:
    """Return what the modules cost on top of the kit, before the discount, (draws,)."""
    assert scenario.kit is not None
    return sum(array.modules for array in scenario.kit.arrays.values()) * values["purchase.module_price"]


def extra_batteries(scenario: Scenario) -> int:
    """Return the number of batteries beside the first."""
    kit = scenario.kit
    return 0 if kit is None or kit.battery is None else kit.battery.extra_batteries


def price_share(scenario: Scenario, values: Values, course: Course) -> Floats:
    """Return the share of price and installation that is paid: less than 1 where modules are left out, (draws,)."""
    if scenario.tenure is None or scenario.tenure.price_share_without_modules is None:
        return np.ones(len(course.bought))
    return np.where(course.with_modules, 1.0, values["tenure.price_share_without_modules"])


def last_working_year(working: Flags) -> Flags:
    """Return the last year in which the kit works, as a mark (years, draws); none where it never works."""
    later = np.zeros_like(working)
    later[:-1] = np.logical_or.accumulate(working[::-1], axis=0)[::-1][1:]
    return working & ~later


def _replacements(scenario: Scenario, simulation: Simulation, values: Values) -> Floats:
    nothing = np.zeros(simulation.working.shape[1])
    batteries = 1 + extra_batteries(scenario)
    battery = simulation.battery_replaced * values.get("purchase.battery_replacement_price", nothing) * batteries
    electronics = values.get("purchase.electronics_replacement_price", nothing)
    return battery + simulation.electronics_replaced * electronics


def _sale(scenario: Scenario, simulation: Simulation, values: Values) -> Floats:
    """Return what the kit brings when it changes hands at a move, nominal, (years, draws).

    Its value at age a is price (1 - decline)^a, in money of the day: prices of used kit follow those of new kit, which
    fall. A sale brings `resale_share` of it, a kit that stays with a sold home `value_returned_share`. A kit that no
    longer works brings nothing.
    """
    assert scenario.tenure is not None
    assert scenario.kit is not None
    course = simulation.course
    sold = at_move_of(scenario.tenure, scenario.kit.coupling) != "leave"
    share = values["tenure.resale_share" if sold else "tenure.value_returned_share"]
    age = np.arange(1, len(course.held) + 1)[:, None]
    value = kit_price(scenario, values) * price_share(scenario, values, course)
    value = value * (1.0 - values["tenure.resale_decline_per_year"]) ** age
    return share * value * (course.handed_over & simulation.working)


def _after_day_0(rows: Floats) -> Floats:
    return np.concatenate([np.zeros((1, rows.shape[1])), rows])
