"""Is the claim true? What it measures in every future, the share in which it holds, what would have to be different."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.assess import FLOWS_OF, first_year_arrays
from riskcalc.answers.break_even import BreakEven, break_even
from riskcalc.answers.factors import is_money_only
from riskcalc.answers.statements import Statement, payback_margin
from riskcalc.clock import MONTH_LENGTHS
from riskcalc.dispatch import Flow, SlotPlan
from riskcalc.money.bill import Energy, bill, prices_of
from riskcalc.scenario import Claim, Scenario
from riskcalc.scenario.claims import PAYBACKS
from riskcalc.study.draw_blocks import Block
from riskcalc.study.energy_kept import MOST_DRAWS, energy_key
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.uncertainty.summary import Estimate, share_estimate
from riskcalc.years.simulation import Plant, run_year
from riskcalc.years.store import user_store

#: Draws run in one go: the year of one takes some 8 kB of memory.
AT_ONCE = 4096


def season_energy(assessment: Assessment, months: Sequence[int]) -> Energy:
    """Return the billed energy of the months named 1 to 12: one more year of dispatch, unless it is at hand.

    The rates are doubled, first those outside the months, then those inside; switching stays as it was, so the energy
    is that of the assessment. It is kept as long as the assessment is, and on disk by what decides it.
    """
    kept: dict[tuple[int, ...], Energy] = assessment.kept.setdefault("season", {})
    key = tuple(months)
    if key not in kept:
        places = np.array(key) - 1
        exported = assessment.simulation.first_year_monthly_kwh[Flow.GRID_EXPORT][places].sum(axis=0)
        kept[key] = Energy(_season_kwh(assessment, key), exported, int(MONTH_LENGTHS[places].sum()))
    return kept[key]


def _season_kwh(assessment: Assessment, months: tuple[int, ...]) -> Floats:
    """Return the billed energy of some months, (kinds, rates, draws), from the user's store if it is there."""
    if assessment.draws > MOST_DRAWS:
        return _season_simulated(assessment, months)
    world = assessment.world
    whole = Block(slice(0, assessment.draws), assessment.values, assessment.design.pool_year)
    key = f"{energy_key(assessment.scenario, world.pools, world.plan, whole)} months {months}"
    made = user_store().kept("season", key, lambda: {"billed_kwh": _season_simulated(assessment, months)})
    return np.asarray(made["billed_kwh"])


def _season_simulated(assessment: Assessment, months: tuple[int, ...]) -> Floats:
    plan, rates = assessment.world.plan, len(assessment.scenario.tariff.rates)
    inside = np.isin(plan.month, np.array(months) - 1)
    doubled = replace(plan, rate=plan.rate + rates * inside, rates=2 * rates)
    parts = (slice(start, min(assessment.draws, start + AT_ONCE)) for start in range(0, assessment.draws, AT_ONCE))
    return np.concatenate([_first_year_billed(assessment, doubled, part)[:, rates:] for part in parts], axis=-1)


def _first_year_billed(assessment: Assessment, plan: SlotPlan, some: slice) -> Floats:
    """Return the first year's energy of some draws, (kinds, rates, draws)."""
    values = {key: drawn[some] for key, drawn in assessment.values.items()}
    simulation = assessment.simulation
    pool_year = np.ascontiguousarray(assessment.design.pool_year[:, some])
    request = Plant(assessment.scenario, assessment.world.pools, plan, values, pool_year).year_request(
        0,
        capacity_share=simulation.capacity_share[0, some],
        working=simulation.working[0, some],
        stored_wh=simulation.stored_wh[0, some],
    )
    return run_year(request).billed_kwh


def season_bills(scenario: Scenario, values: Mapping[str, Floats], season: Energy) -> tuple[Floats, Floats]:
    """Return the bill of those months without and with the kit at first-year prices, (draws,) each; blocks are not in it."""
    found = bill(prices_of(scenario, values), season)
    return found.without, found.with_kit


Measure = Callable[[Assessment], Floats]

#: A month that takes less than this from the grid counts as one without; our own choice, a tenth of a kilowatt-hour.
NO_GRID_USE_KWH = 0.1

OF_BILL = ("bill_cut_share", "saving", "bill_without", "bill_with")

#: Measures that money enters; all others depend on energy alone.
OF_MONEY = (
    "payback_years",
    "lasting_payback_years",
    "discounted_payback_years",
    "net_present_value",
    "saving_per_year",
    *OF_BILL,
)


def measure_of(claim: Claim, assessment: Assessment) -> Measure | None:
    """Return the function that measures a claim in any assessment of the same draws, None where nothing does.

    What does not depend on prices (the energy of a season) is worked out once, here.
    """
    name = claim.measure
    rows = tuple(np.array(claim.months or range(1, 13)) - 1)
    if beyond_horizon(claim, assessment.scenario.study.horizon_years):
        return None
    if name == "hours_bridged" and assessment.simulation.hours_bridged is None:
        return None
    if name in OF_BILL and claim.months is not None and assessment.scenario.tariff.blocks:
        return None  # blocks count the use of whole months or years and cannot be told by rate
    if name in OF_BILL:
        return _bill_measure(claim, assessment)
    if name in FLOWS_OF:
        return lambda found: _monthly(found, *FLOWS_OF[name], months=rows).sum(axis=0)
    measures: dict[str, Measure] = {
        "payback_years": lambda found: found.valuation.payback_years,
        "lasting_payback_years": lambda found: found.valuation.lasting_payback_years,
        "discounted_payback_years": lambda found: found.valuation.discounted_payback_years,
        "hours_bridged": lambda found: np.asarray(found.simulation.hours_bridged),
        "net_present_value": lambda found: found.valuation.net_present_value,
        "saving_per_year": lambda found: found.valuation.saving[: claim.years or 1].mean(axis=0),
        "demand_served_share": lambda found: _served_share(found, *FLOWS_OF["demand_kwh"], months=rows),
        "reachable_demand_served_share": lambda found: _served_share(found, Flow.DEMAND_REACHABLE, months=rows),
        "months_without_grid_use": lambda found: _months_below(found, Flow.GRID_IMPORT, months=rows),
        "months_without_grid_use_within_reach": lambda found: _months_below(
            found, Flow.GRID_TO_LOAD, Flow.GRID_TO_BATTERY, months=rows
        ),
    }
    return measures.get(name, lambda found: first_year_arrays(found)[name])


def beyond_horizon(claim: Claim, horizon_years: int) -> bool:
    """Return whether a claim speaks of years that this run does not look at."""
    limit = claim.at_most if claim.at_most is not None else claim.at_least
    return (claim.years or 0) > horizon_years or (
        claim.measure in PAYBACKS and limit is not None and limit > horizon_years
    )


def _bill_measure(claim: Claim, assessment: Assessment) -> Measure:
    season = None if claim.months is None else season_energy(assessment, claim.months)

    def measured(found: Assessment) -> Floats:
        if season is None:
            without, with_kit = found.valuation.bill_without[0], found.valuation.bill_with[0]
        else:
            without, with_kit = season_bills(found.scenario, found.values, season)
        if claim.measure == "bill_cut_share":
            return np.divide(without - with_kit, without, out=np.zeros_like(without), where=without > 0.0)
        return {"saving": without - with_kit, "bill_without": without, "bill_with": with_kit}[claim.measure]

    return measured


def _monthly(assessment: Assessment, *flows: Flow, months: tuple[int, ...]) -> Floats:
    """Return the first year's energy of some flows together, (months, draws)."""
    kwh = assessment.simulation.first_year_monthly_kwh
    return sum(kwh[flow] for flow in flows)[list(months)]  # type: ignore[return-value, index]


def _served_share(assessment: Assessment, *demand: Flow, months: tuple[int, ...]) -> Floats:
    served = _monthly(assessment, Flow.PV_TO_LOAD, Flow.BATTERY_TO_LOAD, months=months).sum(axis=0)
    whole = _monthly(assessment, *demand, months=months).sum(axis=0)
    return np.divide(served, whole, out=np.zeros_like(whole), where=whole > 0.0)


def _months_below(assessment: Assessment, *flows: Flow, months: tuple[int, ...]) -> Floats:
    return (_monthly(assessment, *flows, months=months) < NO_GRID_USE_KWH).sum(axis=0).astype(float)


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
