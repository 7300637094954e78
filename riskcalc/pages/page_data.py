"""Fill the report's data from an assessment: figures, curves, tables and texts, no new results."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.assess import (
    LUCK,
    family_of_ranked,
    first_year,
    first_year_arrays,
    labels,
    paid_back_within,
    provenance,
    result,
    worth_ranking,
)
from riskcalc.answers.curves import CASH_LEVELS, cash_balance, discounted_within, first_year_by_month, worth_histogram
from riskcalc.answers.limits import limits
from riskcalc.answers.stretch import request_of, traced_days
from riskcalc.answers.weeks import half_hours, week_stretches
from riskcalc.pages import data as page
from riskcalc.pages.cautions import cautions
from riskcalc.pages.method import MethodPart, method
from riskcalc.pages.page_details import details
from riskcalc.pages.page_insight import page_insight
from riskcalc.scenario import assumptions, unit_of
from riskcalc.study.model import Assessment
from riskcalc.uncertainty import summary
from riskcalc.uncertainty.distributions import quantile
from riskcalc.uncertainty.quantity import Quantity
from riskcalc.uncertainty.ranking import Ranking
from riskcalc.uncertainty.summary import Estimate
from riskcalc.years.electrical import scenario_fit

Floats = NDArray[np.float64]

RANKING_METHOD = (
    "Share of the variance of the worth that each input explains on its own, from a regression of the draws on a line "
    "and a bend in each input (first-order indices); what no single input explains is left out."
)

#: First-year figures shown, with their words and units.
FIRST_YEAR = (
    ("saving", "Saving on the bill", "money"),
    ("bill_without", "Bill without the kit", "money"),
    ("bill_with", "Bill with the kit", "money"),
    ("demand_kwh", "Electricity used", "kWh"),
    ("reachable_demand_kwh", "of which within reach of the kit", "kWh"),
    ("import_kwh", "Taken from the grid", "kWh"),
    ("export_kwh", "Sent to the grid", "kWh"),
    ("solar_available_kwh", "Solar energy the modules offered", "kWh"),
    ("solar_used_kwh", "Solar energy used", "kWh"),
    ("grid_to_battery_kwh", "Charged from the grid", "kWh"),
    ("battery_throughput_kwh", "Given back by the cells", "kWh"),
    ("losses_kwh", "Lost in conversion and idle draw", "kWh"),
    ("overload_kwh", "Demand in minutes above the inverter's rating", "kWh"),
    ("unmet_kwh", "Demand that nothing served", "kWh"),
    ("short_days", "Days with demand that nothing served", "days"),
)


def report_data(assessment: Assessment, *, command: str, figures: Mapping[str, Any] | None = None) -> page.ReportData:
    """Return everything the page shows; `figures` is `result(assessment)`, if it is at hand."""
    scenario, world = assessment.scenario, assessment.world
    horizon = scenario.study.horizon_years
    coupling = "none" if scenario.kit is None else scenario.kit.coupling
    fit = scenario_fit(scenario, world.pools.weather)
    found = worth_ranking(assessment)
    return page.ReportData(
        name=scenario.called,
        description=scenario.description,
        place=scenario.site.place,
        kit="" if scenario.kit is None else scenario.kit.name,
        home=scenario.home.name,
        tariff=scenario.tariff.name,
        currency=scenario.currency,
        coupling=coupling,
        horizon_years=horizon,
        headline_years=min(horizon, scenario.study.odds_within_years or horizon),
        payback=_payback(assessment),
        worth=_worth(assessment),
        cash=_cash(assessment),
        first_year=_first_year(assessment),
        months=_months(assessment),
        weeks=_weeks(assessment),
        ranking=_ranking(assessment, found),
        ranking_method=RANKING_METHOD,
        fit=tuple(
            page.FitRow(
                row.what, row.value, row.limit, row.margin, row.unit, row.verdict, row.advice, row.method, row.bound
            )
            for row in fit
        ),
        cautions=_cautions(assessment, coupling),
        assumptions=_assumptions(assessment),
        notes=tuple(limits(assessment, found)),
        weather_source=world.pools.weather.source,
        demand_source=world.pools.demand.source,
        provenance=_provenance(assessment, command),
        draws_table=_draw_table(assessment),
        method=_method(assessment, coupling),
        details=details(result(assessment) if figures is None else figures),
        insight=None if figures is None else page_insight(figures),
    )


def _estimate(figure: Estimate) -> page.Estimate:
    return page.Estimate(figure.value, float("nan") if figure.standard_error is None else figure.standard_error)


def _payback(assessment: Assessment) -> page.Payback:
    money, scrambles = assessment.valuation, assessment.design.scrambles
    within = paid_back_within(assessment)
    simple = summary.payback_figures(money.payback_years, scrambles=scrambles)
    lasting = summary.estimate(money.lasting_payback_years, summary.share_paid_back, scrambles=scrambles)
    discounted = summary.estimate(money.discounted_payback_years, summary.share_never, scrambles=scrambles)
    return page.Payback(
        years=np.array(list(within)),
        share_within=np.array([figure.value for figure in within.values()]),
        share_within_se=np.array([_estimate(figure).se for figure in within.values()]),
        discounted_within=discounted_within(assessment),
        **{name: _estimate(simple[name]) for name in summary.QUANTILES},
        never_share=_estimate(simple["never_share"]),
        discounted_never_share=_estimate(discounted),
        lasting_share=None if np.array_equal(money.payback_years, money.lasting_payback_years) else _estimate(lasting),
    )


def _worth(assessment: Assessment) -> page.Worth:
    worth = assessment.valuation.net_present_value
    figures = summary.worth_figures(worth, scrambles=assessment.design.scrambles)
    bins = worth_histogram(assessment)
    edges = bins["edges"]
    return page.Worth(
        **{name: _estimate(figure) for name, figure in figures.items()},
        bin_edges=edges,
        bin_share=bins["share"],
        ends_gathered=bool(worth.min() < edges[0] or worth.max() > edges[-1]),
        refused_share=refused_share(assessment),
    )


def refused_share(assessment: Assessment) -> float:
    """Return the share of draws in which permission is refused and nothing is bought."""
    return 1.0 - float(assessment.simulation.course.bought.mean())


def _cash(assessment: Assessment) -> page.CashFan:
    curves = cash_balance(assessment)
    return page.CashFan(
        years=np.arange(assessment.scenario.study.horizon_years + 1),
        cash=np.stack([curves[name] for name in CASH_LEVELS]),
        share_above_zero=curves["share_above_zero"],
        refused_share=refused_share(assessment),
    )


def _first_year(assessment: Assessment) -> tuple[page.Figure, ...]:
    means, arrays = first_year(assessment), first_year_arrays(assessment)
    figures = []
    for key, label, unit in FIRST_YEAR:
        drawn = arrays[key]
        if not drawn.any() and key != "saving":
            continue
        varies = np.ptp(drawn) > 0.0
        low, high = np.quantile(drawn, [0.1, 0.9]).tolist() if varies else (None, None)
        figures.append(page.Figure(key, label, unit, _estimate(means[key]), low, high))
    return tuple(figures)


def _months(assessment: Assessment) -> page.MonthlyEnergy:
    return page.MonthlyEnergy(**first_year_by_month(assessment))


def _weeks(assessment: Assessment) -> tuple[page.Week, ...]:
    """Return two weeks of the draw whose worth lies nearest the median."""
    scenario, world = assessment.scenario, assessment.world
    worth = assessment.valuation.net_present_value
    draw = int(np.argmin(np.abs(worth - np.median(worth))))
    battery = scenario.kit is not None and scenario.kit.battery is not None
    capacity_wh = 0.0
    if battery and scenario.kit is not None and scenario.kit.battery is not None:
        batteries = 1 + scenario.kit.battery.extra_batteries
        capacity_wh = 1000.0 * float(assessment.values["kit.battery.capacity_kwh"][draw]) * batteries
    request = request_of(assessment, draw=draw, year=1)
    weeks = [
        half_hours(
            stretch,
            traced_days(request, first_slot=stretch.first_slot, slots=stretch.slots),
            step_minutes=scenario.study.step_minutes,
        )
        for stretch in week_stretches(world.clock, latitude_deg=world.pools.weather.latitude_deg)
    ]
    return tuple(
        page.Week(
            season=week.season,
            first_day=week.first_day,
            demand_w=week.columns["demand_w"],
            out_of_reach_w=week.columns["demand_w"] - week.columns["reachable_demand_w"],
            solar_w=week.columns["pv_available_w"],
            grid_import_w=week.columns["grid_import_w"],
            export_w=week.columns["grid_export_w"],
            unmet_w=week.columns["unmet_w"],
            battery_wh=week.columns["battery_stored_wh"],
            capacity_wh=capacity_wh,
            draw=draw,
        )
        for week in weeks
    )


def _ranking(assessment: Assessment, found: Ranking) -> tuple[page.RankingRow, ...]:
    quantities, words = assessment.scenario.quantities(), labels(assessment.scenario)
    rows = []
    for row in found.inputs:
        low, high = (None, None)
        if row.key in quantities:
            low, high = quantile(quantities[row.key], np.array([0.1, 0.9])).tolist()
        rows.append(
            page.RankingRow(
                key=row.key,
                label=words[row.key],
                unit="" if row.key in LUCK else unit_of(row.key, assessment.scenario.currency),
                family=family_of_ranked(row.key),
                share=page.Estimate(row.share, row.share_se),
                input_p10=low,
                input_p90=high,
                worth_at_p10=page.Estimate(row.low, row.effect_se),
                worth_at_p90=page.Estimate(row.high, row.effect_se),
            )
        )
    return tuple(rows)


def _cautions(assessment: Assessment, coupling: str) -> tuple[str, ...]:
    kit, tenure = assessment.scenario.kit, assessment.scenario.tenure
    in_series = max((array.modules_in_series for array in kit.arrays.values()), default=0) if kit else 0
    return cautions(
        coupling=coupling,
        has_modules=bool(assessment.world.pools.planes),
        has_battery=kit is not None and kit.battery is not None,
        modules_in_series=in_series,
        renting=tenure is not None and tenure.kind == "rent",
        exports_stored=bool(assessment.scenario.dispatch.export_stored_at),
    )


def _method(assessment: Assessment, coupling: str) -> tuple[MethodPart, ...]:
    scenario = assessment.scenario
    kit, tenure, found = scenario.kit, scenario.tenure, assessment.world.optimised
    moves = tenure is not None and (tenure.stay_years is not None or tenure.moving_chance_per_year is not None)
    return method(
        generated_weather=assessment.world.pools.weather.real_years == 0,
        metered=scenario.home.demand.source == "meter",
        coupling=coupling,
        has_modules=bool(assessment.world.pools.planes),
        has_battery=kit is not None and kit.battery is not None,
        ageing_law="lfp" if kit is None else kit.ageing.law,
        moves=moves or not assessment.simulation.course.bought.all(),
        outages=scenario.outages is not None,
        searched=found is not None,
        exports_stored=bool(assessment.world.plan.export_stored_on.any()),
        forecasts=found is not None and found.forecasts,
        by_need=found is not None and found.running.by_need is not None,
    )


def _assumptions(assessment: Assessment) -> tuple[page.Assumption, ...]:
    quantities = assessment.scenario.quantities()
    return tuple(
        page.Assumption(
            key=row.key,
            label=row.label,
            family=row.family,
            given=row.given,
            kind=row.kind,
            unit=row.unit,
            source=row.source,
            is_default=row.is_default,
            sketch=_sketch(quantities.get(row.key)),
        )
        for row in assumptions(assessment.scenario)
    )


def _sketch(quantity: Quantity | None) -> Floats | None:
    if quantity is None or not quantity.is_uncertain:
        return None
    return quantile(quantity, page.SKETCH_LEVELS)


def _provenance(assessment: Assessment, command: str) -> page.Provenance:
    known = provenance(assessment)
    libraries = tuple(known["libraries"].items())
    return page.Provenance(
        command=command,
        seed=known["seed"],
        draws=known["draws"],
        scrambles=known["scrambles"],
        pool_years=known["pool_years"],
        step_minutes=known["step_minutes"],
        versions=(("riskcalc", known["riskcalc"]), ("python", known["python"]), *libraries),
        files=tuple((used["path"], used["sha256"]) for used in known["files"]),
    )


def _draw_table(assessment: Assessment) -> page.DrawTable | None:
    uncertain, words = list(assessment.scenario.uncertain()), labels(assessment.scenario)
    if not uncertain:
        return None
    return page.DrawTable(
        inputs=tuple((key, words[key], unit_of(key, assessment.scenario.currency)) for key in uncertain),
        values=np.stack([assessment.values[key] for key in uncertain]),
        payback_years=assessment.valuation.payback_years,
        net_present_value=assessment.valuation.net_present_value,
    )
