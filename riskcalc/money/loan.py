"""A purchase on credit: constant yearly payments (annuity)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.money.factors import uniform_capital_recovery, uniform_present_value

Floats = NDArray[np.float64]


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
