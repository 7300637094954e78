"""All that can be said about an assessment without new futures: odds, information, break-even and claims."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from riskcalc.answers.break_even import BreakEven, break_even, within_reach
from riskcalc.answers.claims import ClaimResult, claim_results
from riskcalc.answers.factors import worth_fit
from riskcalc.answers.paid_back import of_bought
from riskcalc.answers.statements import Margins, Statement, paid_back, resimulated_margins, worth_positive
from riskcalc.study.draw_blocks import Workers
from riskcalc.study.model import Assessment
from riskcalc.uncertainty.information import Information, information
from riskcalc.uncertainty.odds import OddsRanking, odds_ranking
from riskcalc.uncertainty.ranking import FactorShare, factor_shares

#: The odds that a break-even value is sought for unless another level is asked.
EVEN_ODDS = 0.5

#: Looked at even where it is fixed: the price is what a buyer can still negotiate.
ALWAYS_VARIED = ("purchase.price",)


@dataclass(frozen=True)
class Insight:
    """What the draws of an assessment say beyond its figures.

    `break_even` holds one entry per input and statement (payback within the headline years, worth above 0).
    """

    within_years: int
    level: float
    given_data: tuple[FactorShare, ...]
    odds: OddsRanking
    information: Information
    break_even: tuple[BreakEven, ...]
    claims: tuple[ClaimResult, ...]


def insight(
    assessment: Assessment, *, level: float = EVEN_ODDS, simulate: bool = False, workers: Workers | None = None
) -> Insight:
    """Return odds, information, break-even and claims.

    Parameters
    ----------
    level
        Odds that break-even values are sought for.
    simulate
        Simulate again for break-even values of inputs that enter the energy; `workers` do it.
    """
    scenario, money = assessment.scenario, assessment.valuation
    within = headline_years(assessment)
    model, fit = worth_fit(assessment)
    # Beside them, since a claim about some months runs the kernel once more, which needs no lock of the interpreter.
    with ThreadPoolExecutor(1) as beside:
        claims = beside.submit(claim_results, assessment)
        given_data = factor_shares(model, fit)
        odds = odds_ranking(
            of_bought(assessment, money.payback_years), model, within_years=within, seed=scenario.study.seed
        )
        known = information(money.net_present_value, model, fit)
        held = claims.result()
    # After the claims: both value the same changes, each once.
    values = break_evens(assessment, level=level, simulate=simulate, workers=workers)
    return Insight(within, level, given_data, odds, known, values, held)


def break_evens(
    assessment: Assessment, *, level: float, simulate: bool = False, workers: Workers | None = None
) -> tuple[BreakEven, ...]:
    """Return for each input where payback within the headline years, and a worth above 0, become as likely as asked."""
    scenario = assessment.scenario
    if scenario.purchase is None:
        return ()
    keys = list(dict.fromkeys([*scenario.uncertain(), *ALWAYS_VARIED]))
    statements = (paid_back(headline_years(assessment)), worth_positive())
    quick = _solutions(assessment, statements, keys, level, {})
    if not simulate:
        return quick
    near = dict.fromkeys(row.key for row in quick if row.method == "shifted" and within_reach(row))
    margins = resimulated_margins(assessment, list(near), statements, workers=workers)
    return _solutions(assessment, statements, keys, level, margins)


def _solutions(
    assessment: Assessment,
    statements: Sequence[Statement],
    keys: Sequence[str],
    level: float,
    margins: Mapping[tuple[str, str], Margins],
) -> tuple[BreakEven, ...]:
    found = (
        break_even(assessment, statement, key, level=level, resimulated=margins)
        for statement in statements
        for key in keys
    )
    return tuple(answer for answer in found if answer is not None)


def headline_years(assessment: Assessment) -> int:
    """Return the N of "pays back within N years"."""
    study = assessment.scenario.study
    return min(study.horizon_years, study.odds_within_years or study.horizon_years)
