"""What a stream of flows is worth, in each draw: discount factors, worth, ratios, rates of return, payback.

Flows are (years + 1, draws), nominal, cost negative; `discount_rate` is nominal, decimal per year, scalar or (draws,).
Names, factors and definitions: ASTM E917 (life-cycle cost) and its Adjunct of discount factor tables, E964
(savings-to-investment ratio), E1057 (adjusted internal rate of return), E1121 (payback); 10 CFR 436.19 to 436.23; Fuller &
Petersen, Life-Cycle Costing Manual, NIST Handbook 135 (1995). Rates are decimals per year, `years` whole or not.

Payback that is not reached within the horizon is *censored*, not long: it is `inf` here. Shares and quantiles over
draws (riskcalc.uncertainty.summary) count it as never; no mean is ever taken over it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.types import Floats

Crossing = Literal["first", "lasting"]

#: Payback never reached within the horizon.
NEVER = np.inf

#: Rates searched: from losing nearly everything each year to a thousandfold gain.
LOWEST_RATE = -0.999
HIGHEST_RATE = 1000.0

#: Points of 1 / (1 + rate) between which a root is looked for before bisection.
GRID = 400
BISECTIONS = 60


def single_present_value(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Return SPV = (1 + d)^-n, today's worth of 1 paid after n years. Limit d = 0: 1."""
    return (1.0 + _rate(discount_rate)) ** -np.asarray(years, dtype=np.float64)


def uniform_present_value(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Return UPV = (1 - (1 + d)^-n) / d, today's worth of 1 at the end of each of n years. Limit d = 0: n."""
    rate, years = np.broadcast_arrays(_rate(discount_rate), np.asarray(years, dtype=np.float64))
    none = rate == 0.0
    safe = np.where(none, 1.0, rate)
    return np.where(none, years, -np.expm1(-years * np.log1p(safe)) / safe)


def uniform_capital_recovery(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Return UCR = 1 / UPV, the yearly payment that repays 1 over n years. Limit d = 0: 1 / n."""
    return 1.0 / uniform_present_value(discount_rate, years)


def single_compound_amount(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Return SCA = (1 + d)^n, what 1 grows to in n years."""
    return (1.0 + _rate(discount_rate)) ** np.asarray(years, dtype=np.float64)


def discounted(flows: Floats, *, discount_rate: ArrayLike) -> Floats:
    """Return flows (years + 1, draws) in money of the day of purchase; row y is multiplied by (1 + d)^-y.

    `discount_rate` is nominal for nominal flows, scalar or (draws,).
    """
    flows = np.asarray(flows, dtype=np.float64)
    years = np.arange(len(flows)).reshape((-1,) + (1,) * (flows.ndim - 1))
    return flows * single_present_value(discount_rate, years)


def net_present_value(flows: Floats, *, discount_rate: ArrayLike) -> Floats:
    """Return the worth on the day of purchase, (draws,): sum of flow[y] (1 + d)^-y. Limit d = 0: plain sum.

    Rows are added first to last, so the bits of a draw do not depend on its neighbours; flows times a power of two
    give exactly that multiple.
    """
    total = np.zeros(np.shape(flows)[1:])
    for row in discounted(flows, discount_rate=discount_rate):
        total = total + row
    return total


def savings_to_investment(savings: Floats, investment: Floats, *, discount_rate: ArrayLike) -> Floats:
    """Return SIR, (draws,): present value of operating savings over that of purchase, replacements less resale.

    Both arguments are (years + 1, draws) with their usual sign (savings positive, investment negative); upkeep belongs
    to the savings. Where the investment is not a net cost the ratio has no meaning and is NaN (10 CFR 436.21).
    """
    gain = net_present_value(savings, discount_rate=discount_rate)
    cost = -net_present_value(investment, discount_rate=discount_rate)
    meaningful = cost > 0.0
    return np.where(meaningful, gain / np.where(meaningful, cost, 1.0), np.nan)


def adjusted_rate_of_return(ratio: ArrayLike, *, discount_rate: ArrayLike, years: int) -> Floats:
    """Return AIRR = (1 + d) SIR^(1/n) - 1, (draws,) (10 CFR 436.22, ASTM E1057).

    Limits: SIR 1 gives d; SIR 0 gives -1. A negative ratio has no rate: NaN.
    """
    ratio = np.asarray(ratio, dtype=np.float64)
    meaningful = ratio >= 0.0
    root = np.where(meaningful, ratio, 0.0) ** (1.0 / years)
    return np.where(meaningful, (1.0 + np.asarray(discount_rate)) * root - 1.0, np.nan)


def annual_equivalent(worth: ArrayLike, *, discount_rate: ArrayLike, years: int) -> Floats:
    """Return the constant yearly amount with this present worth, (draws,): worth x UCR. Limit d = 0: worth / n."""
    return np.asarray(worth, dtype=np.float64) * uniform_capital_recovery(discount_rate, years)


def cost_per_kwh(costs: Floats, delivered_kwh: Floats, *, discount_rate: ArrayLike) -> Floats:
    """Return the levelised cost of a kWh delivered, (draws,): present value of costs over that of energy.

    `costs` (years + 1, draws) negative as booked: purchase, upkeep, replacements, resale; `delivered_kwh`
    (years, draws). A nominal rate gives a nominal price that stays level over the years. No energy: inf.
    """
    years, draws = np.shape(delivered_kwh)
    energy = np.zeros((years + 1, draws))
    energy[1:] = delivered_kwh
    kwh = net_present_value(energy, discount_rate=discount_rate)
    cost = -net_present_value(costs, discount_rate=discount_rate)
    return np.where(kwh > 0.0, cost / np.where(kwh > 0.0, kwh, 1.0), np.inf)


def largest_cumulative_shortfall(flows: Floats) -> Floats:
    """Return the largest fall of the running balance below an earlier peak, (draws,), positive.

    The balance before the purchase, zero, counts as a peak, so without other peaks this is the most that is owed.
    """
    balance_rows = np.cumsum(np.asarray(flows, dtype=np.float64), axis=0)
    peak = np.maximum(np.maximum.accumulate(balance_rows, axis=0), 0.0)
    return np.max(peak - balance_rows, axis=0)


def simple_payback_years(flows: Floats, *, crossing: Crossing = "first") -> Floats:
    """Return years until the running sum of undiscounted flows reaches zero, (draws,); inf = not within the horizon.

    Parameters
    ----------
    flows
        Nominal flows (years + 1, draws) *without resale*: purchase, incentive, upkeep, replacements, savings
        (`CashFlows.for_payback`). Payback asks when the savings, less later costs, have covered the purchase
        (ASTM E1121; 10 CFR 436.23); counting what a sale at the end would bring would put a false payback there.
    crossing
        "first": the first time the balance reaches zero. "lasting": the time from which it stays at or above zero to
        the end of the horizon; later than the first where a replacement pushes the balance below zero again.

    Notes
    -----
    Within a year the balance moves in a straight line, so a constant saving S and a price C give C / S: to the last bit
    where the balance is exact (whole amounts), else to within a few units in the last place per year. A price of zero
    pays back at 0.
    """
    return crossing_years(balance(flows), crossing=crossing)


def discounted_payback_years(flows: Floats, *, discount_rate: ArrayLike, crossing: Crossing = "first") -> Floats:
    """Return the same for flows discounted to the day of purchase (ASTM E1121), (draws,). Limit: rate 0 = simple."""
    return crossing_years(balance(discounted(flows, discount_rate=discount_rate)), crossing=crossing)


def balance(flows: Floats) -> Floats:
    """Return the running sum of flows at each year's end, (years + 1, draws)."""
    rows = np.array(flows, dtype=np.float64)
    for year in range(1, len(rows)):
        rows[year] += rows[year - 1]  # row by row: a tenth of the time that cumsum takes down the columns
    return rows


def while_in_debt(balance_rows: Floats, loan: Floats | None) -> Floats:
    """Return the balance of own money that a payback is read from, (years + 1, draws).

    Who borrows begins with little or no own money spent, and that is not a payback. So, as long as the loan runs, the
    balance counts only from the last year in which it is below zero: earlier rows are held at that year's figure.
    `loan` holds the flows of the loan, (years + 1, draws). Limiting case: without a loan nothing changes; a loan whose
    payments the savings always cover never needs own money and pays back at 0.
    """
    if loan is None:
        return balance_rows
    runs = np.flip(np.logical_or.accumulate(np.flip(loan != 0.0, axis=0), axis=0), axis=0)
    below = (balance_rows < 0.0) & runs
    later = np.flip(np.logical_or.accumulate(np.flip(below, axis=0), axis=0), axis=0)
    last = later.sum(axis=0) - 1  # the last row below zero, -1 without one
    figure = balance_rows[np.maximum(last, 0), np.arange(balance_rows.shape[1])]
    return np.where(later, np.minimum(balance_rows, figure), balance_rows)


def crossing_years(balance_rows: Floats, *, crossing: Crossing = "first") -> Floats:
    """Return when a balance (years + 1, draws) reaches zero from below, (draws,); inf if not."""
    if not np.isfinite(balance_rows).all():
        raise ValueError("balance: holds values that are not finite")
    last = len(balance_rows) - 1
    if crossing == "first":
        covered = balance_rows >= 0.0
        after = np.where(covered.any(axis=0), covered.argmax(axis=0), last + 1)
    elif crossing == "lasting":
        after = last + 1 - (balance_rows[::-1] < 0.0).argmax(axis=0)
        after = np.where((balance_rows < 0.0).any(axis=0), after, 0)
    else:
        raise ValueError(f'crossing: {crossing!r}; accepted: "first", "lasting"')
    # `after` is the first row at or above zero, so the row before it is below zero and the step between is positive.
    upper = np.clip(after, 1, max(last, 1))
    draws = np.arange(balance_rows.shape[1])
    if last == 0:
        return np.where(after == 0, 0.0, NEVER)
    start, end = balance_rows[upper - 1, draws], balance_rows[upper, draws]
    reached = (after >= 1) & (after <= last)
    step = np.where(reached, end - start, 1.0)
    years = (upper - 1) + np.where(reached, -start, 0.0) / step
    return np.where(after == 0, 0.0, np.where(reached, years, NEVER))


@dataclass(frozen=True)
class RateOfReturn:
    """Internal rate of return per draw; NaN where none exists in the range searched.

    `roots` counts the rates found; where it exceeds 1 (possible only with `sign_changes` above 1) `rate` is the one
    nearest zero and the figure must not be used alone.
    """

    rate: Floats
    sign_changes: NDArray[np.int64]
    roots: NDArray[np.int64]


def internal_rate_of_return(flows: Floats) -> RateOfReturn:
    """Return the rate at which flows (years + 1, draws) are worth zero.

    Notes
    -----
    Solves sum of flow[y] v^y = 0 for v = 1 / (1 + rate) by a scan of a geometric grid and bisection in every draw at
    once. By Descartes' rule there are at most `sign_changes` positive roots v; with one change there is exactly one.
    Two roots closer than one grid step (3.5 % of 1 + rate) can be missed.
    """
    flows = np.asarray(flows, dtype=np.float64)
    if not np.isfinite(flows).all():
        raise ValueError("flows: hold values that are not finite")
    grid = np.geomspace(1.0 / (1.0 + HIGHEST_RATE), 1.0 / (1.0 + LOWEST_RATE), GRID)
    previous = np.sign(_worth(flows, grid[0]))
    draws = flows.shape[1]
    low, high = np.full(draws, np.nan), np.full(draws, np.nan)
    roots = np.zeros(draws, dtype=np.int64)
    distance = np.full(draws, np.inf)
    for left, right in pairwise(grid):
        current = np.sign(_worth(flows, right))
        crosses = (previous * current < 0) | ((current == 0) & (previous != 0))
        roots += crosses
        away = abs(0.5 * (np.log(left) + np.log(right)))
        nearer = crosses & (away < distance)
        low, high = np.where(nearer, left, low), np.where(nearer, right, high)
        distance = np.where(nearer, away, distance)
        previous = np.where(current == 0, -previous, current)
    found = roots > 0
    low, high = np.where(found, low, 1.0), np.where(found, high, 1.0)
    sign_at_low = np.sign(_worth(flows, low))
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        same = np.sign(_worth(flows, middle)) == sign_at_low
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    rate = np.where(found, 1.0 / (0.5 * (low + high)) - 1.0, np.nan)
    return RateOfReturn(rate=rate, sign_changes=sign_changes(flows), roots=roots)


def sign_changes(flows: Floats) -> NDArray[np.int64]:
    """Return how often flows (years + 1, draws) change sign over the years, zeros skipped, (draws,)."""
    changes = np.zeros(np.shape(flows)[1], dtype=np.int64)
    last = np.zeros(np.shape(flows)[1])
    for row in np.sign(np.asarray(flows, dtype=np.float64)):
        changes += row * last < 0
        last = np.where(row != 0, row, last)
    return changes


def _worth(flows: Floats, v: Floats | float) -> Floats:
    """Return the polynomial sum of flows[y] v^y by Horner's rule, (draws,)."""
    total = np.zeros(flows.shape[1])
    for row in flows[::-1]:
        total = total * v + row
    return total


def _rate(rate: ArrayLike) -> Floats:
    rate = np.asarray(rate, dtype=np.float64)
    if not (rate > -1.0).all():
        raise ValueError("rate: must be above -1 (-100 % a year) and a number")
    return rate


def dominates(first: Floats, second: Floats, *, order: int) -> bool:
    """Return whether the outcomes `first` dominate `second` stochastically, both (draws,), more is better.

    order 0: at least as good in every draw and better in one (draws must be common).
    order 1: at every level, at least as likely to exceed it; everybody who likes more prefers it.
    order 2: at every level, no larger expected shortfall below it; every risk-averse buyer prefers it.

    Each order implies the next. Equal distributions do not dominate each other.

    Notes
    -----
    For equally likely draws, order 1 compares sorted values one by one and order 2 their running sums (Levy 1992, from
    memory). It is a statement about these draws; near ties may turn with others.
    """
    first, second = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if first.shape != second.shape or first.ndim != 1:
        raise ValueError(f"outcomes: shapes {first.shape} and {second.shape}; accepted: the same (draws,)")
    if order == 0:
        difference = first - second
    elif order == 1:
        difference = np.sort(first) - np.sort(second)
    elif order == 2:
        difference = np.cumsum(np.sort(first) - np.sort(second))
    else:
        raise ValueError(f"order: {order}; accepted: 0, 1, 2")
    return bool((difference >= 0.0).all() and (difference > 0.0).any())


def dominance_order(first: Floats, second: Floats) -> int | None:
    """Return the strictest order (0, 1, 2) at which `first` dominates `second`, or None."""
    return next((order for order in (0, 1, 2) if dominates(first, second, order=order)), None)
