"""Yearly cash flows of a purchase, kind by kind: price, saving, upkeep, repairs, loan, moves, outages, its end.

Row 0 is the day of purchase; the flows of year y are booked at its end, row y (the usual convention of building
economics). Prices of the first year are those of the day of purchase: every price level starts at 1 in year 1.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from riskcalc.money.measures import uniform_capital_recovery, uniform_present_value
from riskcalc.scenario import Scenario
from riskcalc.scenario.tenure import at_move_of
from riskcalc.types import Flags, Floats, Values
from riskcalc.years.simulation import Simulation, bridged_outages
from riskcalc.years.tenure import Course

#: Kinds that `cash_flows` books, in the order of its parameters; others may be added under names of their own.
KINDS = ("purchase", "incentive", "saving", "upkeep", "replacement", "resale")

#: Left out of the payback: money that only a sale brings.
NOT_IN_PAYBACK = ("resale", "sale")


@dataclass(frozen=True)
class CashFlows:
    """Nominal flows by kind, each (years + 1, draws), cost negative."""

    by_kind: Mapping[str, Floats] = field(default_factory=dict)

    @property
    def total(self) -> Floats:
        """Sum of all kinds, (years + 1, draws)."""
        return self.without(())

    @property
    def for_payback(self) -> Floats:
        """The household's own money: all kinds but those of `NOT_IN_PAYBACK`, (years + 1, draws)."""
        return self.without(NOT_IN_PAYBACK)

    def without(self, kinds: Iterable[str]) -> Floats:
        """Return the sum of all kinds but these, (years + 1, draws)."""
        left_out = set(kinds)
        return sum_in_order([flows for kind, flows in self.by_kind.items() if kind not in left_out])

    def with_kind(self, kind: str, flows: ArrayLike) -> CashFlows:
        """Return a copy that also books `flows` (years + 1, draws) under a new name: a loan, the cost of a move."""
        flows = np.asarray(flows, dtype=np.float64)
        if kind in self.by_kind:
            raise ValueError(f"kind of flow: {kind} is booked already")
        for booked in self.by_kind.values():
            if flows.shape != booked.shape:
                raise ValueError(f"{kind}: shape {flows.shape}; accepted: {booked.shape}")
        return CashFlows({**self.by_kind, kind: _frozen(flows.copy())})


def cash_flows(
    saving: Floats,
    *,
    purchase_price: ArrayLike,
    incentive: ArrayLike = 0.0,
    real_upkeep_per_year: ArrayLike = 0.0,
    real_replacements: ArrayLike = 0.0,
    resale: ArrayLike = 0.0,
    level: ArrayLike = 1.0,
) -> CashFlows:
    """Return the flows of a purchase paid on day 0.

    Parameters
    ----------
    saving
        Bill without the kit less bill with it, nominal, (years, draws).
    purchase_price
        Paid on day 0 with installation, positive, scalar or (draws,).
    incentive
        Received on day 0, positive, scalar or (draws,).
    real_upkeep_per_year
        Upkeep at prices of the day of purchase, positive, scalar, (draws,) or (years, draws).
    real_replacements
        Spent in each year at prices of the day of purchase, positive, (years, draws) or anything that broadcasts.
    resale
        Nominal, positive: (draws,) is received at the end of the last year; (years, draws) at the end of each.
    level
        Price level of upkeep and replacements, (years, draws); see `price_level`.
    """
    saving = np.asarray(saving, dtype=np.float64)
    if saving.ndim != 2:
        raise ValueError(f"saving: shape {saving.shape}; accepted: (years, draws)")
    years, draws = saving.shape
    level = np.asarray(level, dtype=np.float64)
    resale = np.asarray(resale, dtype=np.float64)
    resale_rows = np.zeros((years, draws))
    if resale.ndim == 2:
        resale_rows[:] = resale
    elif years:
        resale_rows[-1] = resale

    def on_day_0(amount: ArrayLike) -> Floats:
        flows = np.zeros((years + 1, draws))
        flows[0] = amount
        return _frozen(flows)

    def yearly(amount: ArrayLike) -> Floats:
        flows = np.zeros((years + 1, draws))
        flows[1:] = amount
        return _frozen(flows)

    return CashFlows(
        {
            "purchase": on_day_0(-np.asarray(purchase_price, dtype=np.float64)),
            "incentive": on_day_0(incentive),
            "saving": yearly(saving),
            "upkeep": yearly(-(np.asarray(real_upkeep_per_year, dtype=np.float64) * level)),
            "replacement": yearly(-(np.asarray(real_replacements, dtype=np.float64) * level)),
            "resale": yearly(resale_rows),
        }
    )


def price_level(inflation_per_year: ArrayLike, *, years: int) -> Floats:
    """Return the general price level of each year, 1 in the first, (years, draws).

    `inflation_per_year` is scalar or (draws,) for a constant rate, or (years, draws) for a path whose row y leads from
    year y to year y + 1 (rows counted from 1; the first row is not used).
    """
    rate = np.asarray(inflation_per_year, dtype=np.float64)
    if rate.ndim == 2:
        level = np.ones(rate.shape)
        level[1:] = np.cumprod(1.0 + rate[1:], axis=0)
        return level
    return (1.0 + np.atleast_1d(rate)) ** np.arange(years)[:, None]


def sum_in_order(parts: list[Floats]) -> Floats:
    """Return the sum of equal arrays, added first to last.

    numpy sums along an axis in an order that depends on memory layout; this one gives the same bits whichever draws
    stand beside one another.
    """
    if not parts:
        raise ValueError("nothing to add up")
    total = parts[0].copy()
    for part in parts[1:]:
        total = total + part
    return total


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


def annuity_per_year(principal: ArrayLike, *, loan_rate: ArrayLike, term_years: ArrayLike) -> Floats:
    """Return the constant payment at each year's end that repays `principal` in time. Limit rate 0: even parts."""
    return np.asarray(principal, dtype=np.float64) * uniform_capital_recovery(loan_rate, term_years)


def loan_flows(principal: ArrayLike, *, loan_rate: ArrayLike, term_years: ArrayLike, years: int, draws: int) -> Floats:
    """Return the flows of a loan, nominal, (years + 1, draws): the sum received on day 0, then payments.

    `term_years` is whole, scalar or (draws,). If the horizon ends before the term, the debt left is repaid with the
    last payment, so that the worth of a loan at its own rate is zero whatever the horizon.
    """
    principal = np.broadcast_to(np.asarray(principal, dtype=np.float64), (draws,))
    term = np.broadcast_to(np.asarray(term_years), (draws,))
    if (term < 1).any() or (term != np.floor(term)).any():
        raise ValueError("term_years: must be whole years, at least 1")
    payment = annuity_per_year(principal, loan_rate=loan_rate, term_years=term)
    flows = np.zeros((years + 1, draws))
    flows[0] = principal
    year = np.arange(1, years + 1)[:, None]
    flows[1:] = np.where(year <= term, -payment, 0.0)
    flows[years] -= payment * uniform_present_value(loan_rate, np.maximum(term - years, 0))
    return flows


def _after_day_0(rows: Floats) -> Floats:
    return np.concatenate([np.zeros((1, rows.shape[1])), rows])


def _frozen(values: Floats) -> Floats:
    values.flags.writeable = False
    return values
