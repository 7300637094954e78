"""Rankings, information, break-even and claims as plain rows: what goes into result.json and ranking.json."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from riskcalc.answers.assess import YEAR_LUCK, labels, provenance, ranking_rows, worth_ranking
from riskcalc.answers.break_even import BreakEven, says_something
from riskcalc.answers.check import questions_of
from riskcalc.answers.claims import ClaimResult
from riskcalc.answers.factors import REST
from riskcalc.answers.insight import Insight
from riskcalc.answers.ranked import Agreement, Ranked
from riskcalc.answers.sobol import Screening, SobolRun
from riskcalc.scenario import Claim, Scenario, unit_of
from riskcalc.scenario.claims import MEASURES
from riskcalc.study.model import luck_keys
from riskcalc.uncertainty.indices import Indices
from riskcalc.uncertainty.information import FactorInformation, Information
from riskcalc.uncertainty.odds import RARE_SHARE, OddsRanking
from riskcalc.uncertainty.order import Order, Rival, Tier
from riskcalc.uncertainty.quantity import counted
from riskcalc.years.tenure import MOVE_LUCK

Rows = list[dict[str, Any]]
Words = Mapping[str, str]

#: In every locale the same.
MONTH_NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

#: Words for factors that are no key of the scenario.
LUCK_WORDS = {
    YEAR_LUCK: "whether years are sunny or dull, busy or quiet",
    "luck.permission": "whether permission is granted",
    "luck.moves": "length of stay in later homes",
    "luck.later_sun": "whether your next homes have sun",
    "luck.ageing": "when parts fail",
    REST: "all that the screening left out",
}


def factor_words(scenario: Scenario) -> dict[str, str]:
    """Return the name in words of every key and of the luck that is ranked beside the inputs."""
    words = {**labels(scenario), **LUCK_WORDS}
    # Under a yearly chance of moving the length of every stay is luck, the first one too.
    if MOVE_LUCK in luck_keys(scenario):
        words["luck.moves"] = "when you move"
    return words


#: Inputs that correlations hold together, under a name of their own.
TOGETHER: Mapping[tuple[str, ...], str] = {
    ("prices.inflation_per_year", "prices.trend_per_year"): "long-term inflation"
}


def named(name: str, words: Words) -> dict[str, str]:
    """Return a factor's name and its name in words; correlated inputs that move as one are joined."""
    return {"factor": name, "label": joined_label(name.split(" + "), words)}


def joined_label(keys: Sequence[str], words: Words) -> str:
    """Return the names of inputs that move as one: "Price of the kit and price of a repair"."""
    known = TOGETHER.get(tuple(sorted(keys)))
    if known is not None:
        return known
    first, *others = (words.get(key, key) for key in keys)
    return " and ".join([first, *(other[:1].lower() + other[1:] for other in others)])


def insight_figures(found: Insight, scenario: Scenario) -> dict[str, Any]:
    """Return odds, information, break-even and claims under the names documented in reports/README.md."""
    words = factor_words(scenario)
    return {
        "odds_ranking": odds_figures(found.odds, words),
        "value_of_information": information_figures(found.information, words),
        "break_even": [break_even_row(row, words, scenario.currency) for row in found.break_even],
        "claims": [claim_row(row, words, scenario.currency) for row in found.claims],
    }


def ranked_figures(found: Ranked) -> dict[str, Any]:
    """Return everything that `riskcalc rank` found, ready for JSON."""
    scenario = found.assessment.scenario
    words = factor_words(scenario)
    return {
        "scenario": scenario.name,
        "currency": scenario.currency,
        "horizon_years": scenario.study.horizon_years,
        "sobol": sobol_figures(found.sobol, words),
        "range_effects": ranking_rows(worth_ranking(found.assessment), scenario),
        "given_data": [
            {**named(row.name, words), "family": row.family, "share_of_variance": _pair(row.share, row.error)}
            for row in found.insight.given_data
        ],
        "screening": None if found.screening is None else screening_figures(found.screening, words),
        "agreement": None if found.agreement is None else agreement_figures(found.agreement, words),
        **insight_figures(found.insight, scenario),
        "questions": questions_of(scenario, found.assessment.world.pools),
        "provenance": provenance(found.assessment),
    }


def sobol_figures(run: SobolRun, words: Words) -> dict[str, Any]:
    """Return indices of each outcome by factor and family, with 95 % intervals and the order."""
    family_of = {factor.name: factor.family for factor in run.factors.entries}
    return {
        "points": run.points,
        "most_points": run.most_points,
        "futures": run.rows,
        "futures_simulated": run.simulated,
        "outcomes_that_do_not_vary": list(run.still),
        "outcomes": {
            name: {
                "order": order_figures(found.order, run, words),
                "factors": index_rows(found.factors, family_of, words),
                "families": index_rows(found.families, {}, words),
            }
            for name, found in run.outcomes.items()
        },
    }


def index_rows(found: Indices, family_of: Words, words: Words) -> Rows:
    """Return the indices by falling total order, each with its standard error and 95 % interval."""
    rows = []
    for place in np.argsort(-found.total, kind="stable").tolist():
        name = found.names[place]
        rows.append(
            {
                **named(name, words),
                **({"family": family_of.get(name, "several")} if family_of else {}),
                "first_order": _interval(
                    float(found.first[place]), float(found.first_error[place]), found.errors_in_95
                ),
                "total_order": _interval(
                    float(found.total[place]), float(found.total_error[place]), found.errors_in_95
                ),
            }
        )
    return rows


def order_figures(order: Order, run: SobolRun, words: Words) -> dict[str, Any]:
    """Return the first places, who ties with them, and what it would take to settle them."""
    return {
        "settled": order.settled,
        "places": [
            {
                **named(place.name, words),
                "settled": place.settled,
                "cannot_be_told_from": [_rival_row(rival, words) for rival in place.rivals],
            }
            for place in order.places
        ],
        "tiers": [_tier_row(tier, words) for tier in order.tiers],
        "points_that_would_settle": order.points_needed or None,
        "futures_that_would_settle": order.points_needed * run.simulated_per_point or None,
    }


def _tier_row(tier: Tier, words: Words) -> dict[str, Any]:
    """Return places whose order nobody can tell; a tie when more points within reach would not tell it either."""
    return {
        "places": [tier.first, tier.last],
        "factors": [named(name, words) for name in tier.names],
        "outside": [_rival_row(rival, words) for rival in tier.outside],
        "hardest_to_part": None if tier.hardest is None else _rival_row(tier.hardest, words),
        "settled": tier.settled,
        "is_tie": not tier.settled and tier.points_needed == 0,
    }


def _rival_row(rival: Rival, words: Words) -> dict[str, Any]:
    return {
        **named(rival.name, words),
        "difference": _pair(rival.difference, rival.error),
        "points_that_would_part": rival.points_needed,
    }


def screening_figures(found: Screening, words: Words) -> dict[str, Any]:
    """Return the screening by falling effect."""
    return {
        "futures_simulated": found.simulated,
        "factors": [
            {**named(row.name, words), "effect": _pair(row.effect, row.error), "ranked_alone": row.kept}
            for row in found.factors
        ],
    }


def agreement_figures(found: Agreement, words: Words) -> dict[str, Any]:
    """Return the first places by each method."""
    return {
        "sobol": [named(name, words) for name in found.sobol],
        "given_data": [named(name, words) for name in found.given_data],
        "given_data_agrees": found.given_data_agrees,
        "screening": [named(name, words) for name in found.screening] or None,
        "screening_agrees": found.screening_agrees,
    }


def odds_figures(found: OddsRanking, words: Words) -> dict[str, Any]:
    """Return what decides the odds of payback; no share of variance where the yes or the no is rare."""
    return {
        "within_years": found.within_years,
        "odds": found.odds,
        "too_rare_for_shares": found.rare,
        "rare_below": RARE_SHARE,
        "gap_of_no_effect": found.gap_floor,
        "distance_of_no_effect": found.distance_floor,
        "factors": [
            {
                **named(row.name, words),
                "family": row.family,
                "odds_gap": row.gap,
                "payback_distance": row.distance,
                "odds_at_10_percent": row.low,
                "odds_at_90_percent": row.high,
                "effect": _pair(row.effect, row.effect_error),
                "share_of_variance": None if row.share is None else _pair(row.share, row.share_error),
            }
            for row in found.rows
        ],
    }


def information_figures(found: Information, words: Words) -> dict[str, Any]:
    """Return what it is worth to find out, in money of the day of purchase."""
    return {
        "everything": found.total.as_dict(),
        "factors": [_information_row(row, words) for row in found.factors],
        "families": [_information_row(row, words) for row in found.families],
    }


def break_even_row(row: BreakEven, words: Words, currency: str) -> dict[str, Any]:
    """Return one break-even value; `value` is null where no value in the range does."""
    return {
        "key": row.key,
        "label": words.get(row.key, row.key),
        "unit": unit_of(row.key, currency),
        "statement": row.statement,
        "odds": row.level,
        "value": row.value,
        "standard_error": row.error,
        "share_of_draws_below": row.place,
        "settled": says_something(row.error, (row.low, row.high)),
        "looked_at": [row.low, row.high],
        "odds_at_ends": [row.odds_low, row.odds_high],
        "method": row.method,
    }


def claim_row(row: ClaimResult, words: Words, currency: str) -> dict[str, Any]:
    """Return one claim with its odds."""
    claim = row.claim
    return {
        "sentence": claim.sentence,
        "measure": claim.measure,
        "measure_in_words": measure_words(claim),
        "unit": measure_unit(claim.measure, currency),
        "at_least": claim.at_least,
        "at_most": claim.at_most,
        "months": None if claim.months is None else list(claim.months),
        "years": claim.years,
        "probability": None if row.probability is None else row.probability.as_dict(),
        "p10": row.low,
        "p50": row.middle,
        "p90": row.high,
        "is_even_chance": row.is_even,
        "even_chance": None if row.move is None else break_even_row(row.move, words, currency),
    }


def measure_words(claim: Claim) -> str:
    """Return what a claim measures, in words, with the months or years that are meant."""
    said = MEASURES.get(claim.measure) or claim.measure.removesuffix("_kwh").replace("_", " ")
    if claim.months is not None:
        return f"{said}, {month_words(claim.months)}"
    if claim.measure == "saving_per_year" and (claim.years or 1) > 1:
        return f"{said}, average of the first {counted(claim.years or 1, 'year')}"
    of_horizon = ("payback_years", "net_present_value")
    return said if claim.measure.endswith(of_horizon) else f"{said}, first year"


def month_words(months: Sequence[int]) -> str:
    """Return `June to August` for months in a row, else their names one by one."""
    names = [MONTH_NAMES[month - 1] for month in months]
    in_a_row = all((later - month) % 12 == 1 for month, later in itertools.pairwise(months))
    return f"{names[0]} to {names[-1]}" if in_a_row and len(names) > 2 else ", ".join(names)


def measure_unit(measure: str, currency: str) -> str:
    """Return the unit of a measure."""
    endings = {"_kwh": "kWh", "_share": "share", "payback_years": "years", "minutes": "minutes", "days": "days"}
    endings |= {"hours": "hours", "hours_bridged": "hours"}
    found = [unit for ending, unit in endings.items() if measure.endswith(ending)]
    if found:
        return found[0]
    return "months" if measure.startswith("months_") else currency


def _information_row(row: FactorInformation, words: Words) -> dict[str, Any]:
    return {
        **named(row.name, words),
        "family": row.family,
        **row.value.as_dict(),
        "held_out": None if np.isnan(row.held_out) else row.held_out,
        "certain": worth_finding_out(row.value.value, row.value.standard_error, row.held_out),
    }


def worth_finding_out(value: float | None, error: float | None, held_out: float) -> bool:
    """Return whether a value of information is above 0 by two standard errors, and in draws the regression has not seen."""
    return value is not None and error is not None and value > 2.0 * error and held_out > 0.0


def _pair(value: float, error: float | None) -> dict[str, float | None]:
    return {"value": value, "standard_error": None if error is None or np.isnan(error) else error}


def _interval(value: float, error: float, errors_in_95: float) -> dict[str, Any]:
    reach = errors_in_95 * error
    return {"value": value, "standard_error": error, "interval_95": [value - reach, value + reach]}
