"""How long until the purchase has paid for itself.

Payback that is not reached within the horizon is *censored*, not long: it is `inf` here. Shares and quantiles over
draws (riskcalc.uncertainty.summary) count it as never; no mean is ever taken over it.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.money.factors import discounted

Floats = NDArray[np.float64]
Crossing = Literal["first", "lasting"]

#: Payback never reached within the horizon.
NEVER = np.inf


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
