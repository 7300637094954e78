"""Is the claim true? The share of futures in which it is, and what would have to be different for an even chance."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.break_even import BreakEven, break_even
from riskcalc.answers.factors import is_money_only
from riskcalc.answers.measures import OF_MONEY, Measure, measure_of
from riskcalc.answers.statements import Statement, payback_margin
from riskcalc.scenario import Claim
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.uncertainty.summary import Estimate, share_estimate

EVEN = 0.5

#: Figures are compared with this much room for rounding, so that "at least 3 months" is met by 3.
ROUNDING = 1e-9


@dataclass(frozen=True)
class ClaimResult:
    """One claim, checked in every future.

    `probability`: share of draws in which it is true; None when this run does not measure it. `middle`, `low`,
    `high`: the measure's median and its 10 % and 90 % points over the draws, None where never reached. `move`: the
    one input that reaches an even chance by the smallest move, None when none does alone.
    """

    claim: Claim
    probability: Estimate | None
    middle: float | None
    low: float | None
    high: float | None
    move: BreakEven | None

    @property
    def is_even(self) -> bool:
        """Whether the chance is an even one as it stands, within two standard errors: nothing has to move."""
        if self.probability is None or self.probability.value is None:
            return False
        return abs(self.probability.value - EVEN) <= 2.0 * (self.probability.standard_error or 0.0)


def claim_results(assessment: Assessment) -> tuple[ClaimResult, ...]:
    """Return every claim of the scenario with its odds."""
    return tuple(claim_result(assessment, claim) for claim in assessment.scenario.claims)


def claim_result(assessment: Assessment, claim: Claim) -> ClaimResult:
    """Return one claim with its odds and the nearest way to an even chance."""
    measure = measure_of(claim, assessment)
    if measure is None:
        return ClaimResult(claim, None, None, None, None, None)
    statement = claim_statement(claim, measure)
    probability = share_estimate(statement.true_in(assessment), scrambles=assessment.design.scrambles)
    counted = ~np.isnan(statement.counted(assessment))
    low, middle, high = _spread(measure(assessment)[counted]) if counted.any() else (None, None, None)
    found = ClaimResult(claim, probability, middle, low, high, None)
    return found if found.is_even else replace(found, move=nearest_move(assessment, statement))


def claim_statement(claim: Claim, measure: Measure) -> Statement:
    """Return the claim as a statement about every draw."""
    at_least = claim.at_least is not None
    limit = claim.at_least if claim.at_least is not None else claim.at_most
    assert limit is not None
    room = ROUNDING * max(1.0, abs(limit))
    sign = 1.0 if at_least else -1.0

    def holds(found: Assessment) -> NDArray[np.bool_]:
        return sign * (measure(found) - limit) >= -room

    return Statement(
        claim.sentence,
        holds,
        _margin(claim, measure, sign, limit),
        money=claim.measure in OF_MONEY,
        of_bought=claim.measure.endswith("payback_years"),
    )


def nearest_move(assessment: Assessment, statement: Statement) -> BreakEven | None:
    """Return the input that brings an even chance by the smallest move within its own distribution or beyond.

    Moves are compared by how far the value lies from the middle of the input's distribution, counted in shares of
    draws; beyond its ends the distance in widths is added.
    """
    found = []
    for key in assessment.scenario.uncertain():
        if is_money_only(key) and not statement.money:
            continue
        answer = break_even(assessment, statement, key, level=EVEN)
        if answer is not None and answer.value is not None:
            found.append((_size(assessment, answer), key, answer))
    return min(found)[2] if found else None


def _size(assessment: Assessment, answer: BreakEven) -> float:
    if answer.place is not None:
        return abs(answer.place - 0.5)
    assert answer.value is not None
    low, high = assessment.scenario.quantities()[answer.key].practical_support
    beyond = max(low - answer.value, answer.value - high)
    return 0.5 + beyond / (high - low)


def _margin(claim: Claim, measure: Measure, sign: float, limit: float) -> Callable[[Assessment], Floats] | None:
    """Return the finite figure that is at least 0 exactly where the claim holds, None for paybacks without one."""
    if claim.measure == "payback_years" and sign < 0.0:
        return lambda found: payback_margin(
            found.valuation.payback_balance, found.valuation.payback_years, within_years=limit
        )
    if claim.measure.endswith("payback_years"):
        return None
    return lambda found: sign * (measure(found) - limit)


def _spread(values: Floats) -> tuple[float | None, float | None, float | None]:
    """Return the 10 %, 50 % and 90 % points, None where infinite."""
    points = np.quantile(values, [0.1, 0.5, 0.9], method="inverted_cdf")
    low, middle, high = (float(point) if np.isfinite(point) else None for point in points)
    return low, middle, high
