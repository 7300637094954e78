"""What a stream of flows is worth, in each draw.

Flows are (years + 1, draws), nominal, cost negative; `discount_rate` is nominal, decimal per year, scalar or (draws,).
Definitions: ASTM E917 (life-cycle cost), E964 (savings-to-investment ratio), E1057 (adjusted internal rate of return);
10 CFR 436.19 to 436.23.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.money.factors import discounted, single_compound_amount, uniform_capital_recovery

Floats = NDArray[np.float64]


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


def modified_rate_of_return(flows: Floats, *, finance_rate: ArrayLike, reinvestment_rate: ArrayLike) -> Floats:
    """Return MIRR, (draws,): gains compounded to the last year against costs discounted to day 0.

    (future worth of positive flows / present worth of negative flows)^(1/n) - 1; NaN where either is missing.
    """
    flows = np.asarray(flows, dtype=np.float64)
    years = len(flows) - 1
    gains = net_present_value(np.maximum(flows, 0.0), discount_rate=reinvestment_rate)
    future = gains * single_compound_amount(reinvestment_rate, years)
    cost = -net_present_value(np.minimum(flows, 0.0), discount_rate=finance_rate)
    meaningful = (cost > 0.0) & (future > 0.0)
    ratio = np.where(meaningful, future, 1.0) / np.where(meaningful, cost, 1.0)
    return np.where(meaningful, ratio ** (1.0 / years) - 1.0, np.nan)


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


def largest_drawdown(flows: Floats) -> Floats:
    """Return the largest fall of the running balance below an earlier peak, (draws,), positive.

    The balance before the purchase, zero, counts as a peak, so without other peaks this is the deepest debt.
    """
    balance_rows = np.cumsum(np.asarray(flows, dtype=np.float64), axis=0)
    peak = np.maximum(np.maximum.accumulate(balance_rows, axis=0), 0.0)
    return np.max(peak - balance_rows, axis=0)
