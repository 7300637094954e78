"""What a longer warranty is worth: the same futures once more, with some years of it added."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from riskcalc.money.valuation import valuation
from riskcalc.study.draw_blocks import values_of
from riskcalc.study.model import Assessment, evaluated, part_of_design
from riskcalc.types import Flags, Floats, Values
from riskcalc.years.failures import electronics_course

#: Years added, and the most futures that are simulated once more.
YEARS_LONGER, DRAWS_FOLLOWED = 5.0, 32
KEY = "purchase.warranty_years"


def warranty_figures(assessment: Assessment) -> dict[str, Any]:
    """Return what `YEARS_LONGER` more years of warranty add to the net present value on average, over all futures.

    Repairs that need not be paid, batteries renewed for nothing, and savings that a failed kit would not have brought.
    {} where nothing is bought, or the longer warranty changes nothing. Only a future in which something fails between the
    two ends of warranty can change; where the household repairs, only its bills do, so nothing is simulated. Elsewhere
    `DRAWS_FOLLOWED` of the futures that change stand for all of them, and the standard error holds that choice too.
    """
    scenario, draws = assessment.scenario, assessment.draws
    if scenario.purchase is None:
        return {}
    longer = {**assessment.values, KEY: assessment.values[KEY] + YEARS_LONGER}
    gained, weight = np.zeros(draws), np.ones(draws)
    chosen = np.empty(0, dtype=np.int64)
    if scenario.purchase.when_worn == "replace":
        gained = _of_bills(assessment, longer)
    else:
        changed = np.flatnonzero(_energy_changes(assessment, longer))
        # The first draws of every scramble: they meet few years, which takes half the time.
        chosen = np.sort(
            changed[np.argsort(changed % (draws // assessment.design.scrambles), kind="stable")][:DRAWS_FOLLOWED]
        )
        if len(chosen):
            part = part_of_design(assessment.design, chosen)
            _, money = evaluated(scenario, assessment.world, part, values_of(longer, chosen), keep=True)
            gained[chosen] = money.net_present_value - assessment.valuation.net_present_value[chosen]
            weight[changed] = 0.0
            weight[chosen] = len(changed) / len(chosen)
    if not gained.any():
        return {}
    mean = float((weight * gained).sum()) / draws
    variance = float((weight * (gained - mean) ** 2).sum()) / draws**2
    if len(chosen) > 1:
        share, taken = float(weight[chosen].sum()) / draws, 1.0 / float(weight[chosen[0]])
        variance += share**2 * float(gained[chosen].var(ddof=1)) / len(chosen) * (1.0 - taken)
    worth = {"value": mean, "standard_error": float(np.sqrt(variance))}
    helps = float((weight * (gained > 0.0)).sum()) / draws
    return {"longer_warranty": {"years": YEARS_LONGER, "worth": worth, "helps_share": helps}}


def _of_bills(assessment: Assessment, longer: Values) -> Floats:
    """Return the gain of each draw where whatever fails is replaced: the energy is the same, some bills are not."""
    simulation, years = assessment.simulation, len(assessment.simulation.working)
    _, renewed = electronics_course(assessment.scenario, longer, years=years, draws=assessment.draws)
    renewed[:-1] &= simulation.course.held[1:years]
    paid = simulation.battery_replaced & (np.arange(1, years + 1)[:, None] > longer[KEY])
    covered = replace(simulation, electronics_replaced=renewed, battery_replaced=paid)
    money = valuation(assessment.scenario, covered, longer, assessment.design.path)
    return money.net_present_value - assessment.valuation.net_present_value


def _energy_changes(assessment: Assessment, longer: Values) -> Flags:
    """Return the draws whose energy the longer warranty may change: the kit works longer, or a battery wears out."""
    simulation, years = assessment.simulation, len(assessment.simulation.working)
    sound, at_first = (
        electronics_course(assessment.scenario, values, years=years, draws=assessment.draws)[0]
        for values in (longer, assessment.values)
    )
    changed: Flags = ((sound != at_first) & simulation.course.held[:years]).any(axis=0)
    if "kit.ageing.end_of_life_share" in longer:
        changed |= (simulation.capacity_share < longer["kit.ageing.end_of_life_share"]).any(axis=0)
    return changed
