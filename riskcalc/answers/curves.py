"""What the charts draw: balances over the years, the spread of worth, energy by month, and the electrical fit."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from riskcalc.dispatch import Flow
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.uncertainty import summary
from riskcalc.years.planes import scenario_fit

CASH_LEVELS = {"p5": 0.05, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p95": 0.95}
WORTH_BINS = 40


def curve_figures(assessment: Assessment) -> dict[str, Any]:
    """Return every curve under the name it has in result.json."""
    return {
        "discounted_paid_back_within_years": _plain(discounted_within(assessment)),
        "cash_balance": {name: _plain(curve) for name, curve in cash_balance(assessment).items()},
        "worth_histogram": {name: _plain(curve) for name, curve in worth_histogram(assessment).items()},
        "first_year_by_month": {name: _plain(curve) for name, curve in first_year_by_month(assessment).items()},
        "electrical_fit": fit_rows(assessment),
    }


def fit_rows(assessment: Assessment) -> list[dict[str, Any]]:
    """Return the electrical fit as plain rows; the margin over a lower limit of zero has no figure."""
    lines = scenario_fit(assessment.scenario, assessment.world.pools.weather)
    return [{**asdict(line), "margin": line.margin if np.isfinite(line.margin) else None} for line in lines]


def discounted_within(assessment: Assessment) -> Floats:
    """Return the share of bought draws whose discounted payback lies within each year 1..N, (years,)."""
    payback = assessment.valuation.discounted_payback_years[assessment.simulation.course.bought]
    years = range(1, assessment.scenario.study.horizon_years + 1)
    return np.array([summary.share_within(payback, year) if len(payback) else 0.0 for year in years])


def cash_balance(assessment: Assessment) -> dict[str, Floats]:
    """Return quantiles of the nominal balance at the end of each year 0..N, and the share of draws at or above zero.

    Of the draws in which it is bought. The balance is the household's own money: a loan is in it, a sale is not. Before
    any money is spent, and while a loan alone has paid, nobody counts as ahead (see `payback.while_in_debt`).
    """
    bought = assessment.simulation.course.bought
    if not bought.any():
        none = np.zeros(len(assessment.valuation.cash_balance))
        return dict.fromkeys(CASH_LEVELS, none) | {"share_above_zero": none}
    balance = assessment.valuation.cash_balance[:, bought]
    rows = np.quantile(balance, list(CASH_LEVELS.values()), axis=1)
    ahead = assessment.valuation.payback_balance[:, bought] >= 0.0
    return dict(zip(CASH_LEVELS, rows, strict=True)) | {"share_above_zero": ahead.mean(axis=1)}


def worth_histogram(assessment: Assessment) -> dict[str, Floats]:
    """Return edges of bins of net present value and the share of draws in each.

    The bins span all but the most extreme half per cent at either end; what lies beyond counts in the outermost bin.
    """
    worth = assessment.valuation.net_present_value
    low, high = np.quantile(worth, [0.005, 0.995])
    if high <= low:
        low, high = worth.min() - 0.5, worth.max() + 0.5
    edges = np.linspace(low, high, WORTH_BINS + 1)
    counts, _ = np.histogram(np.clip(worth, low, high), bins=edges)
    return {"edges": edges, "share": counts / len(worth)}


def first_year_by_month(assessment: Assessment) -> dict[str, Floats]:
    """Return the energy of the first year by month, means over the draws, (12,) each [kWh].

    `solar_used_p10_kwh` and `solar_used_p90_kwh` are quantiles over the draws.
    """
    monthly = assessment.simulation.first_year_monthly_kwh
    mean, used = monthly.mean(axis=2), monthly[Flow.PV_USED]
    low, high = np.quantile(used, [0.1, 0.9], axis=1)
    return {
        "from_solar_kwh": mean[Flow.PV_TO_LOAD],
        "from_battery_kwh": mean[Flow.BATTERY_TO_LOAD],
        "from_grid_kwh": mean[Flow.GRID_TO_LOAD],
        "out_of_reach_kwh": mean[Flow.DEMAND_WIRED],
        "unmet_kwh": mean[Flow.UNMET],
        "solar_used_kwh": mean[Flow.PV_USED],
        "solar_used_p10_kwh": low,
        "solar_used_p90_kwh": high,
        "export_kwh": mean[Flow.GRID_EXPORT],
        "curtailed_kwh": mean[Flow.PV_AVAILABLE] - mean[Flow.PV_USED],
        "losses_kwh": mean[Flow.LOSSES],
        "grid_to_battery_kwh": mean[Flow.GRID_TO_BATTERY],
    }


def _plain(curve: Floats) -> list[float]:
    return [float(value) for value in curve]
