"""What the page of an assessment reads: the content of result.json, and under `page` what only the page needs.

Pages are made of this dict alone: texts of the scenario, two traced weeks, sketches of the distributions, the draws
themselves, and the traits that cautions and the account of the method go by.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from riskcalc.answers.assess import LUCK, labels, result, worth_ranking
from riskcalc.answers.check import scenario_traits
from riskcalc.answers.insight import headline_years, insight
from riskcalc.answers.own_figures import own_figures
from riskcalc.answers.paid_back import headline_stay
from riskcalc.answers.rows import insight_figures
from riskcalc.answers.trace import HALF_HOUR, WEEK_COLUMNS, Week, request_of, traced_days, week_stretches
from riskcalc.answers.warranty import warranty_figures
from riskcalc.scenario import Scenario, assumptions, unit_of
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.uncertainty.quantity import SKETCH_LEVELS
from riskcalc.weather.pool import LEAST_YEARS


def chart_dict(assessment: Assessment, figures: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the charts read that need no insight: `figures` of `assess.result`, and under `page` two traced weeks."""
    scenario, money = assessment.scenario, assessment.valuation
    worth, edges = money.net_present_value, figures["worth_histogram"]["edges"]
    return {
        **figures,
        "page": {
            "coupling": "none" if scenario.kit is None else scenario.kit.coupling,
            "headline_years": headline_years(assessment),
            "lasting_differs": not np.array_equal(money.payback_years, money.lasting_payback_years),
            "ends_gathered": bool(worth.min() < edges[0] or worth.max() > edges[-1]),
            "weeks": weeks(assessment),
        },
    }


def page_dict(
    assessment: Assessment,
    *,
    command: str,
    figures: Mapping[str, Any] | None = None,
    charts: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """Return everything the page shows; `figures` is the content of result.json if it is at hand, else without odds.

    `charts` is what `chart_dict` gives, if it is at hand.
    """
    figures = result(assessment) if figures is None else figures
    scenario, found = assessment.scenario, worth_ranking(assessment)
    return {
        **figures,
        "page": {
            **(chart_dict(assessment, figures) if charts is None else charts)["page"],
            "command": command,
            "description": scenario.description,
            "place": scenario.site.place,
            "kit": "" if scenario.kit is None else scenario.kit.name,
            "home": scenario.home.name,
            "tariff": scenario.tariff.name,
            "sketches": sketches(scenario),
            "units": {row.key: "" if row.key in LUCK else unit_of(row.key, scenario.currency) for row in found.inputs},
            "draws": draws_shown(assessment),
            "own": own_figures(assessment),
            "traits": scenario_traits(scenario),
            "method": method_traits(assessment),
        },
    }


def weeks(assessment: Assessment) -> list[dict[str, Any]]:
    """Return a summer and a winter week of the draw whose worth lies nearest the median.

    Power is in means over the half hour [W], stored energy stands at its end [Wh], arrays of (336,) each.
    """
    scenario, world = assessment.scenario, assessment.world
    worth = assessment.valuation.net_present_value
    draw = int(np.argmin(np.abs(worth - np.median(worth))))
    capacity_wh = 0.0
    if scenario.kit is not None and scenario.kit.battery is not None:
        batteries = 1 + scenario.kit.battery.extra_batteries
        capacity_wh = 1000.0 * float(assessment.values["kit.battery.capacity_kwh"][draw]) * batteries
    request = request_of(assessment, draw=draw, year=1)
    shown = []
    for stretch in week_stretches(world.clock, latitude_deg=world.pools.weather.latitude_deg):
        traced = traced_days(request, first_slot=stretch.first_slot, slots=stretch.slots, row_minutes=HALF_HOUR)
        week = Week(stretch.season, stretch.first_day, traced)
        out_of_reach = week.columns["demand_w"] - week.columns["reachable_demand_w"]
        shown.append(
            {"season": week.season, "first_day": week.first_day, "draw": draw, "year": 1, "capacity_wh": capacity_wh}
            | {name: week.columns[column] for name, column in WEEK_COLUMNS.items()}
            | {"out_of_reach_w": out_of_reach}
        )
    return shown


def sketches(scenario: Scenario) -> dict[str, Floats]:
    """Return the quantiles at `SKETCH_LEVELS` of every uncertain setting, (99,) each."""
    quantities, keys = scenario.quantities(), {row.key for row in assumptions(scenario)}
    return {
        key: quantity.quantile(SKETCH_LEVELS)
        for key, quantity in quantities.items()
        if key in keys and quantity.is_uncertain
    }


def draws_shown(assessment: Assessment) -> dict[str, Any] | None:
    """Return the draws themselves, so that a reader can narrow an assumption: values are (inputs, draws)."""
    scenario, words = assessment.scenario, labels(assessment.scenario)
    uncertain = list(scenario.uncertain())
    if not uncertain:
        return None
    return {
        "inputs": [[key, words[key], unit_of(key, scenario.currency)] for key in uncertain],
        "values": np.stack([assessment.values[key] for key in uncertain]),
        "payback_years": assessment.valuation.payback_years,
        "stay_years": headline_stay(assessment),
        "net_present_value": assessment.valuation.net_present_value,
    }


def method_traits(assessment: Assessment) -> dict[str, Any]:
    """Return what the account of the method goes by."""
    scenario, world = assessment.scenario, assessment.world
    kit, tenure, found = scenario.kit, scenario.tenure, world.optimised
    moves = tenure is not None and (tenure.stay_years is not None or tenure.moving_chance_per_year is not None)
    traits = scenario_traits(scenario)
    return {
        "generated_weather": world.pools.weather.real_years < LEAST_YEARS,
        "metered": scenario.home.demand.source == "meter",
        "coupling": traits["coupling"],
        "has_modules": bool(world.pools.planes),
        "has_battery": traits["has_battery"],
        "ageing_law": "lfp" if kit is None else kit.ageing.law,
        "moves": moves or not bool(assessment.simulation.course.bought.all()),
        "outages": scenario.outages is not None,
        "searched": found is not None,
        "exports_stored": bool(world.plan.export_stored_on.any()),
        "forecasts": found is not None and found.forecasts,
        "by_need": found is not None and found.running.by_need is not None,
    }


def whole_result(
    assessment: Assessment, *, foresight: bool = False, figures: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Return every figure under the names documented in reports/README.md, ready for JSON.

    With `foresight` also how near the rule comes to the best there is, which takes some seconds more. `figures` is what
    `assess.result` gives, if it is at hand.
    """
    first = result(assessment) if figures is None else figures
    # Beside the insight, since it runs the kernel, which needs no lock of the interpreter.
    with ThreadPoolExecutor(1) as beside:
        warranty = beside.submit(warranty_figures, assessment)
        seen = insight_figures(insight(assessment), assessment.scenario)
        figures = {**first, **warranty.result(), **seen}
    if not foresight:
        return figures
    from riskcalc.answers.foresight import foresight_figures  # meets scipy's optimisers, a third of a second

    return figures | foresight_figures(assessment)
