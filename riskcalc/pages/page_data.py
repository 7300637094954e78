"""Fill the page's parts from the one dict an assessment comes to (`answers.page_dict`): no arrays of it, no new results."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from riskcalc.pages import data as page
from riskcalc.pages.cautions import cautions
from riskcalc.pages.estimate import Estimate
from riskcalc.pages.method import method
from riskcalc.pages.page_details import details
from riskcalc.pages.page_insight import page_insight

Figures = Mapping[str, Any]

RANKING_METHOD = (
    "Share of the variance of the worth that each input explains on its own, from smooth functions of the inputs fitted to "
    "the draws (first-order indices); what no single input explains is left out."
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


def report_data(figures: Figures) -> page.ReportData:
    """Return everything the page shows, from `answers.page_dict.page_dict`."""
    only, known = figures["page"], figures["provenance"]
    libraries = tuple(known["libraries"].items())
    return page.ReportData(
        name=figures["title"],
        **{name: only[name] for name in ("description", "place", "kit", "home", "tariff", "coupling")},
        currency=figures["currency"],
        horizon_years=figures["horizon_years"],
        headline_years=only["headline_years"],
        payback=_payback(figures),
        worth=_worth(figures),
        cash=_cash(figures),
        first_year=_first_year(figures),
        months=page.MonthlyEnergy(**{key: np.array(row) for key, row in figures["first_year_by_month"].items()}),
        weeks=tuple(page.Week(**week) for week in only["weeks"]),
        ranking=_ranking(figures),
        ranking_method=RANKING_METHOD,
        fit=tuple(
            page.FitRow(**{**row, "margin": np.inf if row["margin"] is None else row["margin"]})
            for row in figures["electrical_fit"]
        ),
        cautions=cautions(**only["traits"]),
        assumptions=tuple(
            page.Assumption(
                **{name: row[name] for name in ("key", "label", "family", "given", "kind", "unit", "source")},
                is_default=row["is_default"],
                sketch=only["sketches"].get(row["key"]),
            )
            for row in figures["assumptions"]
        ),
        notes=tuple(figures["limits"]),
        weather_source=known["weather"],
        demand_source=known["demand"],
        provenance=page.Provenance(
            command=only["command"],
            **{name: known[name] for name in ("seed", "draws", "scrambles", "pool_years", "step_minutes")},
            versions=(("riskcalc", known["riskcalc"]), ("python", known["python"]), *libraries),
            files=tuple((used["path"], used["sha256"]) for used in known["files"]),
        ),
        draws_table=_draw_table(only["draws"]),
        method=method(**only["method"]),
        details=details(figures),
        insight=page_insight(figures),
    )


def estimate_of(row: Figures) -> Estimate:
    """Return a figure with its standard error, not a number where that is not known."""
    error = row["standard_error"]
    return Estimate(row["value"], float("nan") if error is None else error)


def _payback(figures: Figures) -> page.Payback:
    within, simple = figures["paid_back_within_years"], figures["payback_years"]
    lasting = figures["lasting_payback_years"]["never_share"]
    return page.Payback(
        years=np.array([row["years"] for row in within]),
        share_within=np.array([row["value"] for row in within]),
        share_within_se=np.array([estimate_of(row).se for row in within]),
        discounted_within=np.array(figures["discounted_paid_back_within_years"]),
        **{name: estimate_of(simple[name]) for name in ("p5", "p25", "p50", "p75", "p95", "never_share")},
        discounted_never_share=estimate_of(figures["discounted_payback_years"]["never_share"]),
        lasting_share=Estimate(1.0 - lasting["value"], estimate_of(lasting).se)
        if figures["page"]["lasting_differs"]
        else None,
    )


def _worth(figures: Figures) -> page.Worth:
    bins = figures["worth_histogram"]
    return page.Worth(
        **{name: estimate_of(row) for name, row in figures["net_present_value"].items()},
        bin_edges=np.array(bins["edges"]),
        bin_share=np.array(bins["share"]),
        ends_gathered=figures["page"]["ends_gathered"],
        refused_share=1.0 - figures["bought_share"]["value"],
    )


def _cash(figures: Figures) -> page.CashFan:
    curves = figures["cash_balance"]
    return page.CashFan(
        years=np.arange(figures["horizon_years"] + 1),
        cash=np.array([curve for name, curve in curves.items() if name != "share_above_zero"]),
        share_above_zero=np.array(curves["share_above_zero"]),
        refused_share=1.0 - figures["bought_share"]["value"],
    )


def _first_year(figures: Figures) -> tuple[page.Figure, ...]:
    means, ends = figures["first_year"], figures["first_year_p10_p90"]
    return tuple(
        page.Figure(key, label, unit, estimate_of(means[key]), *ends.get(key, (None, None)))
        for key, label, unit in FIRST_YEAR
        if key in ends or means[key]["value"] != 0.0 or key == "saving"
    )


def _ranking(figures: Figures) -> tuple[page.RankingRow, ...]:
    rows = []
    for row in figures["ranking"]:
        if "effect" not in row:
            continue  # what is left to interactions
        low, high = row["input_at_10_and_90_percent"] or (None, None)
        error = estimate_of(row["effect"]).se
        rows.append(
            page.RankingRow(
                **{name: row[name] for name in ("key", "label", "family")},
                unit=figures["page"]["units"][row["key"]],
                share=estimate_of(row["share_of_variance"]),
                input_p10=low,
                input_p90=high,
                worth_at_p10=Estimate(row["worth_at_10_percent"], error),
                worth_at_p90=Estimate(row["worth_at_90_percent"], error),
            )
        )
    return tuple(rows)


def _draw_table(draws: Figures | None) -> page.DrawTable | None:
    if draws is None:
        return None
    inputs = tuple((key, label, unit) for key, label, unit in draws["inputs"])
    return page.DrawTable(**{**draws, "inputs": inputs})
