"""A statement about a purchase: true or false in each future, with a margin by which it holds where one is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from riskcalc.study.model import Assessment
from riskcalc.types import Flags, Floats
from riskcalc.uncertainty.quantity import counted


@dataclass(frozen=True)
class Statement:
    """What may be true of a future.

    `holds` tells it for every draw of an assessment, (draws,). `margin`, finite and at least 0 exactly where it
    holds, says by how much; None where no such figure is at hand. `money` is False for statements about energy alone.
    `of_bought`: it is about the futures in which something is bought; the others are left out of its odds.
    """

    name: str
    holds: Callable[[Assessment], Flags]
    margin: Callable[[Assessment], Floats] | None
    money: bool = True
    of_bought: bool = False

    def counted(self, found: Assessment) -> Floats:
        """Return 1 in the draws that count for the odds and NaN in the others, (draws,)."""
        bought = found.simulation.course.bought
        return np.where(bought, 1.0, np.nan) if self.of_bought else np.ones(len(bought))

    def true_in(self, found: Assessment) -> Floats:
        """Return 1 in the draws in which it holds, else 0, NaN in those that do not count, (draws,)."""
        return self.holds(found) * self.counted(found)


def paid_back(within_years: float) -> Statement:
    """Return the statement that the purchase has paid for itself within some years."""
    return Statement(
        f"payback within {counted(within_years, 'year')}",
        lambda found: found.valuation.payback_years <= within_years,
        lambda found: payback_margin(
            found.valuation.payback_balance, found.valuation.payback_years, within_years=within_years
        ),
        of_bought=True,
    )


def worth_positive() -> Statement:
    """Return the statement that the purchase is worth more than it costs."""
    return Statement(
        "a worth above 0",
        lambda found: found.valuation.net_present_value > 0.0,
        lambda found: found.valuation.net_present_value,
    )


def payback_margin(balance: Floats, payback_years: Floats, *, within_years: float) -> Floats:
    """Return the highest cash balance reached within some years: the uncensored figure behind a censored payback.

    Payback within N years means that the running balance (years + 1, draws) has been at or above zero by then, so its
    highest value up to N is finite in every draw and at least 0 exactly where the payback came. A draw in which nothing
    was bought has a balance of 0 and no payback; its margin is put just below 0.
    """
    whole = min(int(np.floor(within_years)), len(balance) - 1)
    highest = balance[: whole + 1].max(axis=0)
    if within_years > whole and whole + 1 < len(balance):
        part = within_years - whole
        highest = np.maximum(highest, (1.0 - part) * balance[whole] + part * balance[whole + 1])
    tiny = 1e-9
    paid = payback_years <= within_years
    return np.where(paid, np.maximum(highest, 0.0), np.minimum(highest, -tiny))
