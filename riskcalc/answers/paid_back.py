"""When and how often it pays back: in the futures in which it is bought, with a sale, in cash, within the stay.

A refused permission is no failure of the purchase, so the odds are those of the futures in which it is bought, and the
refused share stands beside them. Key by key in result.json:

- `payback_years`, `lasting_payback_years`, `discounted_payback_years`, `paid_back_within_years`: the household's own
  money, a loan included, without what a sale brings;
- `payback_in_cash_years`: as if nothing were borrowed, only where there is a loan;
- `payback_with_sale_years`, `paid_back_with_sale_within_years`: with what a sale at a move brings, only where there is one;
- `headline`: the odds to say first, within `study.odds_within_years` if given, else within the stay where any future moves
  before the horizon, else within the horizon;
- `stay`: the first stay, the odds within it, and what becomes of the kit at its end. Each future has its own stay, in whole
  years: it counts as paid back if its own savings have done so by then, with `_with_sale` if a sale at the move helps.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from riskcalc.scenario import Scenario
from riskcalc.scenario.tenure import at_move_of
from riskcalc.study.model import Assessment
from riskcalc.types import Flags, Floats
from riskcalc.uncertainty import summary
from riskcalc.uncertainty.summary import Estimate
from riskcalc.years.tenure import Course


def payback_result(assessment: Assessment) -> dict[str, Any]:
    """Return every figure about paying back, under its name in result.json."""
    money, scrambles = assessment.valuation, assessment.design.scrambles
    kinds = {
        "payback_years": money.payback_years,
        "lasting_payback_years": money.lasting_payback_years,
        "discounted_payback_years": money.discounted_payback_years,
    }
    if "loan" in money.flows.by_kind:
        kinds["payback_in_cash_years"] = money.payback_in_cash_years
    if may_be_sold(assessment):
        kinds["payback_with_sale_years"] = money.payback_with_sale_years
    found: dict[str, Any] = {
        name: summary.as_dicts(summary.payback_figures(of_bought(assessment, years), scrambles=scrambles))
        for name, years in kinds.items()
    }
    within = {"paid_back_within_years": money.payback_years}
    if "payback_with_sale_years" in kinds:
        within["paid_back_with_sale_within_years"] = money.payback_with_sale_years
    for name, payback in within.items():
        rows = paid_back_within(assessment, payback)
        found[name] = [{"years": years, **figure.as_dict()} for years, figure in rows.items()]
    refused = (~assessment.simulation.course.bought).astype(np.float64)
    found["refused_share"] = summary.estimate(refused, summary.mean, scrambles=scrambles).as_dict()
    stay = stay_figures(assessment)
    found["headline"] = headline(assessment)
    return found if stay is None else found | {"stay": stay}


def of_bought(assessment: Assessment, payback_years: Floats) -> Floats:
    """Return a payback with NaN in the draws in which nothing is bought, which every figure leaves out."""
    return np.where(assessment.simulation.course.bought, payback_years, np.nan)


def may_be_sold(assessment: Assessment) -> bool:
    """Return whether a sale at a move brings money in any draw."""
    sale = assessment.valuation.flows.by_kind.get("sale")
    return sale is not None and bool((sale > 0.0).any())


def paid_back_within(assessment: Assessment, payback_years: Floats) -> dict[int, Estimate]:
    """Return the share of bought futures that have paid back by the end of each year of the horizon."""
    years = range(1, assessment.scenario.study.horizon_years + 1)
    return {year: _share(assessment, payback_years <= year) for year in years}


def headline(assessment: Assessment) -> dict[str, Any]:
    """Return the odds to say first; `within_years` is None where they are those of the stay."""
    study, money = assessment.scenario.study, assessment.valuation
    stay = headline_stay(assessment)
    years = min(study.odds_within_years or study.horizon_years, study.horizon_years)
    within: Floats | int = years if stay is None else stay
    borrowed, sold = "loan" in money.flows.by_kind, may_be_sold(assessment)
    return {
        "within_stay": stay is not None,
        "within_years": None if stay is not None else years,
        "paid_back": _share(assessment, money.payback_years <= within).as_dict(),
        "paid_back_in_cash": _share(assessment, money.payback_in_cash_years <= within).as_dict() if borrowed else None,
        "paid_back_with_sale": _share(assessment, money.payback_with_sale_years <= within).as_dict() if sold else None,
    }


def headline_stay(assessment: Assessment) -> Floats | None:
    """Return the stays the headline is about, (draws,); None where it is about a number of years.

    `study.odds_within_years` goes before the stay. Without a move before the horizon there is no other stay.
    """
    return stay_asked(assessment.scenario, assessment.simulation.course)


def stay_asked(scenario: Scenario, course: Course) -> Floats | None:
    """Return what `headline_stay` does, of any scenario and what happens to its household."""
    study, stay, bought = scenario.study, first_stay_years(scenario, course), course.bought
    if study.odds_within_years is not None or scenario.kit is None or stay is None:
        return None
    return stay if bool((stay[bought] < study.horizon_years).any()) else None


def first_stay_years(scenario: Scenario, course: Course) -> Floats | None:
    """Return the whole years until the first move, the horizon where none comes within it, (draws,); None without moves."""
    tenure = scenario.tenure
    if tenure is None or (tenure.stay_years is None and tenure.moving_chance_per_year is None):
        return None
    moved = course.moved_along | course.handed_over
    years = len(moved)
    return np.where(moved.any(axis=0), moved.argmax(axis=0) + 1.0, float(years))


def stay_figures(assessment: Assessment) -> dict[str, Any] | None:
    """Return length of the first stay, odds within it, and what becomes of the kit at its end; None without moves.

    `paid_back_by_year`: shares paid back by the end of each year of the horizon and of their own stay.
    `ends`: shares of the bought futures in which the kit is `taken_along`, `sold`, `left` with the home, `broken` before,
    or the household `stays` to the horizon, each with the odds of having paid back by then.
    """
    scenario, course, money = assessment.scenario, assessment.simulation.course, assessment.valuation
    stay = first_stay_years(scenario, course)
    if stay is None or scenario.tenure is None or scenario.kit is None:
        return None
    scrambles, place = assessment.design.scrambles, stay.astype(np.int64) - 1
    draws = np.arange(len(stay))
    moves = (course.moved_along | course.handed_over)[place, draws]
    works = assessment.simulation.working[place, draws]
    over = course.handed_over[place, draws] & works
    leaves = at_move_of(scenario.tenure, scenario.kit.coupling) == "leave"
    ends = {
        "taken_along": course.moved_along[place, draws] & works,
        "sold": over & (not leaves),
        "left": over & leaves,
        "broken": moves & ~works,
        "stays": ~moves,
    }
    paid = money.payback_years <= stay
    figures = {
        name: summary.quantile_estimate(of_bought(assessment, stay), share, scrambles=scrambles).as_dict()
        for name, share in summary.QUANTILES.items()
    }
    return {
        "years": figures,
        "paid_back": _share(assessment, paid).as_dict(),
        "paid_back_with_sale": _share(assessment, money.payback_with_sale_years <= stay).as_dict(),
        "paid_back_by_year": [
            {"years": years, **figure.as_dict()}
            for years, figure in paid_back_within(assessment, np.where(paid, money.payback_years, np.inf)).items()
        ],
        "ends": {
            name: {
                "share": _share(assessment, end).as_dict(),
                "paid_back": _share(assessment, paid, among=end).as_dict(),
            }
            for name, end in ends.items()
            if (end & course.bought).any()
        },
    }


def _share(assessment: Assessment, true: Flags, *, among: Flags | None = None) -> Estimate:
    """Return the share of the bought draws, or of some of them, in which something is true."""
    counted = assessment.simulation.course.bought if among is None else assessment.simulation.course.bought & among
    drawn = np.where(counted, true.astype(np.float64), np.nan)
    return summary.estimate(drawn, summary.known(summary.mean), scrambles=assessment.design.scrambles)
