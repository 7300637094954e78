"""Draws until the answer is precise enough: how precise it is, what is asked of it, and doubling until both meet.

One tolerance speaks for the odds and for the median payback: 0.01 is one percentage point of the odds and one
hundredth of the horizon for the median. Standard errors are the spread between the scrambles (see `summary`); with the usual
eight of them an error is itself known to a quarter of its size.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np

from riskcalc.scenario import Scenario
from riskcalc.study.draw_blocks import Workers
from riskcalc.study.model import Assessment, assessment, doubled
from riskcalc.uncertainty import summary
from riskcalc.uncertainty.summary import Estimate


@dataclass(frozen=True)
class Precision:
    """What so many draws say: odds of payback within `within_years`, odds of a worth above 0, median payback [years]."""

    draws: int
    within_years: int
    odds_paid_back: Estimate
    odds_worth_above_zero: Estimate
    median_payback_years: Estimate

    def meets(self, tolerance: float, *, horizon_years: int) -> bool:
        """Return whether the standard errors are at most those asked; a median beyond the horizon asks for nothing.

        An error that cannot be known (a scramble may be without a median) is not met. Where all scrambles agree by
        chance, odds still are no surer than the weight of one draw.
        """
        median = self.median_payback_years
        odds = (self.odds_paid_back.standard_error, self.odds_worth_above_zero.standard_error)
        if any(error is None or max(error, 1.0 / self.draws) > tolerance for error in odds):
            return False
        if median.value is None:
            return True
        return median.standard_error is not None and median.standard_error <= tolerance * horizon_years

    def as_dict(self) -> dict[str, Any]:
        """Return the figures under the names used in result.json."""
        return {
            "draws": self.draws,
            "odds_paid_back": self.odds_paid_back.as_dict(),
            "odds_worth_above_zero": self.odds_worth_above_zero.as_dict(),
            "median_payback_years": self.median_payback_years.as_dict(),
        }


@dataclass(frozen=True)
class Settled:
    """The last assessment of a row of doublings, and how precise each was."""

    assessment: Assessment
    tolerance: float
    most_draws: int
    rounds: tuple[Precision, ...]

    @property
    def reached(self) -> bool:
        """Whether the last round is as precise as asked."""
        return self.rounds[-1].meets(self.tolerance, horizon_years=self.assessment.scenario.study.horizon_years)

    def as_dict(self) -> dict[str, Any]:
        """Return what was asked and what came of it, for the provenance of result.json."""
        horizon = self.assessment.scenario.study.horizon_years
        return {
            "tolerance": self.tolerance,
            "standard_error_of_odds_at_most": self.tolerance,
            "standard_error_of_median_payback_at_most_years": self.tolerance * horizon,
            "most_draws": self.most_draws,
            "reached": self.reached,
            "rounds": [made.as_dict() for made in self.rounds],
        }


def precision(found: Assessment) -> Precision:
    """Return how precise the headline figures of an assessment are."""
    study, money, scrambles = found.scenario.study, found.valuation, found.design.scrambles
    within = min(study.horizon_years, study.odds_within_years or study.horizon_years)
    payback = np.where(found.simulation.course.bought, money.payback_years, np.nan)
    return Precision(
        found.draws,
        within,
        summary.estimate(payback, summary.known(partial(summary.share_within, years=within)), scrambles=scrambles),
        summary.estimate(money.net_present_value, lambda worth: float((worth > 0.0).mean()), scrambles=scrambles),
        summary.quantile_estimate(payback, 0.5, scrambles=scrambles),
    )


def settled(
    scenario: Scenario,
    *,
    tolerance: float,
    most_draws: int,
    on_round: Callable[[Precision], None] | None = None,
    on_year: Callable[[int], None] | None = None,
    workers: Workers | None = None,
) -> Settled:
    """Return the assessment after doubling the scenario's own number of draws until it is as precise as asked.

    Parameters
    ----------
    tolerance
        Largest standard error of the odds, as a share, and of the median payback, as a share of the horizon.
    most_draws
        No further doubling goes beyond it; the scenario's own number of draws is run in any case.
    on_round
        Told how precise the draws so far are, after each doubling.
    on_year, workers
        As for `assessment`.
    """
    found = assessment(scenario.with_draws(scenario.study.draws), on_year=on_year, workers=workers)
    rounds = [precision(found)]
    while True:
        if on_round is not None:
            on_round(rounds[-1])
        enough = rounds[-1].meets(tolerance, horizon_years=scenario.study.horizon_years)
        if enough or 2 * found.draws > most_draws:
            return Settled(found, tolerance, most_draws, tuple(rounds))
        found = doubled(found, on_year=on_year, workers=workers)
        rounds.append(precision(found))


def recorded(figures: Mapping[str, Any], made: Settled) -> dict[str, Any]:
    """Return a result with the doublings in its provenance: a replay compares figures and leaves that aside."""
    return {**figures, "provenance": {**figures["provenance"], "until": made.as_dict()}}
