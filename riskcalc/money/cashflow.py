"""Yearly cash flows of a purchase, kind by kind.

Row 0 is the day of purchase; the flows of year y are booked at its end, row y (the usual convention of building
economics). Prices of the first year are those of the day of purchase: every price level starts at 1 in year 1.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

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


def _frozen(values: Floats) -> Floats:
    values.flags.writeable = False
    return values
