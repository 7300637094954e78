"""Discount factors of life-cycle costing.

Names and formulas: ASTM E917 and its Adjunct of discount factor tables; Fuller & Petersen, Life-Cycle Costing Manual,
NIST Handbook 135 (1995). Rates are decimals per year, `years` whole or not; everything broadcasts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


def single_present_value(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Return SPV = (1 + d)^-n, today's worth of 1 paid after n years. Limit d = 0: 1."""
    return (1.0 + _rate(discount_rate)) ** -np.asarray(years, dtype=np.float64)


def uniform_present_value(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Return UPV = (1 - (1 + d)^-n) / d, today's worth of 1 at the end of each of n years. Limit d = 0: n."""
    rate, years = np.broadcast_arrays(_rate(discount_rate), np.asarray(years, dtype=np.float64))
    none = rate == 0.0
    safe = np.where(none, 1.0, rate)
    return np.where(none, years, -np.expm1(-years * np.log1p(safe)) / safe)


def growing_present_value(discount_rate: ArrayLike, growth: ArrayLike, years: ArrayLike) -> Floats:
    """Return UPV* = sum over t = 1..n of ((1 + e) / (1 + d))^t, for a payment that grows by e a year from today on.

    Limit e = d: n. The first payment, at the end of year 1, has already grown once (NIST convention).
    """
    rate = (1.0 + _rate(discount_rate)) / (1.0 + _rate(growth)) - 1.0
    return uniform_present_value(rate, years)


def uniform_capital_recovery(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Return UCR = 1 / UPV, the yearly payment that repays 1 over n years. Limit d = 0: 1 / n."""
    return 1.0 / uniform_present_value(discount_rate, years)


def single_compound_amount(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Return SCA = (1 + d)^n, what 1 grows to in n years."""
    return (1.0 + _rate(discount_rate)) ** np.asarray(years, dtype=np.float64)


def uniform_compound_amount(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Return UCA = UPV x SCA, what 1 a year grows to at the last payment. Limit d = 0: n."""
    return uniform_present_value(discount_rate, years) * single_compound_amount(discount_rate, years)


def uniform_sinking_fund(discount_rate: ArrayLike, years: ArrayLike) -> Floats:
    """Return USF = 1 / UCA, the yearly payment that grows to 1. Limit d = 0: 1 / n."""
    return 1.0 / uniform_compound_amount(discount_rate, years)


def discounted(flows: Floats, *, discount_rate: ArrayLike) -> Floats:
    """Return flows (years + 1, draws) in money of the day of purchase; row y is multiplied by (1 + d)^-y.

    `discount_rate` is nominal for nominal flows, scalar or (draws,).
    """
    flows = np.asarray(flows, dtype=np.float64)
    years = np.arange(len(flows)).reshape((-1,) + (1,) * (flows.ndim - 1))
    return flows * single_present_value(discount_rate, years)


def real_rate(nominal_rate: ArrayLike, inflation_per_year: ArrayLike) -> Floats:
    """Return the real rate that goes with a nominal one: (1 + nominal) / (1 + inflation) - 1."""
    return (1.0 + _rate(nominal_rate)) / (1.0 + _rate(inflation_per_year)) - 1.0


def _rate(rate: ArrayLike) -> Floats:
    rate = np.asarray(rate, dtype=np.float64)
    if not (rate > -1.0).all():
        raise ValueError("rate: must be above -1 (-100 % a year) and a number")
    return rate
