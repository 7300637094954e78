"""The title of each chart: what it found, in one line, from the figures it shows."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from riskcalc.pages.charts.energy import MONTHS
from riskcalc.pages.charts.futures import dots_per_year
from riskcalc.pages.charts.ranking import swings
from riskcalc.pages.data import ReportData, Week
from riskcalc.pages.estimate import Estimate
from riskcalc.pages.labels import short
from riskcalc.pages.rounding import NO_BREAK, money, percent, percent_estimate, significant, years
from riskcalc.uncertainty.quantity import counted

UNKNOWN = float("nan")

#: Share of the spread below which nobody asks who comes first; our own choice.
LEAST_NAMED = 0.05


def futures_title(report: ReportData) -> str:
    """Return how many of a hundred futures pay back."""
    dots = dots_per_year(report.payback)
    never = int(dots[-1])
    if never == 0:
        return f"Of 100 futures, all pay back within {counted(report.horizon_years, 'year')}"
    if never == 100:
        return f"Of 100 futures, none pays back within {counted(report.horizon_years, 'year')}"
    pay, do = ("pays" if never == 99 else "pay", "does" if never == 1 else "do")
    return f"Of 100 futures, {100 - never} {pay} back within {counted(report.horizon_years, 'year')} and {never} never {do}"


def odds_title(report: ReportData) -> str:
    """Return by when half have paid back, and the share that never does."""
    never = report.payback.never_share
    missing = f"{percent_estimate(never)} never do within {counted(report.horizon_years, 'year')}"
    if report.payback.p50.value is None:
        return f"Most futures do not pay back: {missing}"
    middle = f"Half of the futures have paid back after {years(report.payback.p50)}"
    return f"{middle}; {missing}" if never.value else f"{middle}, and all do in the end"


def cash_title(report: ReportData) -> str:
    """Return where the middle future stands at the end."""
    end = float(report.cash.cash[2, -1])
    amount = money(abs(end), report.currency, se=UNKNOWN)
    where = "ahead" if end >= 0 else "short"
    return f"After {counted(report.horizon_years, 'year')} the middle future is {amount} {where}"


def worth_title(report: ReportData) -> str:
    """Return the share of futures that lose money once later money is discounted."""
    loss = report.worth.loss_probability
    if loss.value == 0:
        return "No future drawn loses money, even with later money discounted"
    return f"{percent_estimate(loss)} of futures lose money once later money is discounted"


def share_title(report: ReportData) -> str:
    """Return what decides most; two are named where their standard errors do not part them."""
    first, *others = report.ranking
    if not others or _parted(report):
        return f"{short(first.label)}: {percent_estimate(first.share)} of the spread in worth"
    second = others[0]
    both = percent((first.share.value or 0.0) + (second.share.value or 0.0), se=UNKNOWN)
    return f"{short(first.label)} and {_lower(short(second.label))}: together {both} of the spread in worth"


def ties_words(report: ReportData) -> str:
    """Return which neighbours among the first four the draws do not part, "" where they part all that matter."""
    tied = [
        f"{short(one.label)} and {_lower(short(other.label))}"
        for one, other in pairwise(report.ranking[:4])
        if (one.share.value or 0.0) >= LEAST_NAMED and not _apart(one.share, other.share)
    ]
    return f" A tie by these draws: {'; '.join(tied)}." if tied else ""


def swing_title(report: ReportData) -> str:
    """Return the widest swing."""
    widest = swings(report.ranking)[0]
    error = float(np.hypot(widest.low.se, widest.high.se))
    moved = money(widest.width, report.currency, se=error)
    return f"{short(widest.row.label)}: {moved} between its low and its high end"


def demand_title(report: ReportData) -> str:
    """Return the share of the first year's demand that the kit serves and the share it cannot reach."""
    months = report.months
    pieces = [
        months.from_solar_kwh,
        months.from_battery_kwh,
        months.from_grid_kwh,
        months.out_of_reach_kwh,
        months.unmet_kwh,
    ]
    solar, battery, _, beyond, unmet = (float(np.sum(piece)) for piece in pieces)
    whole = float(np.sum(pieces))
    served = f"The kit serves {percent((solar + battery) / whole)} of the first year’s demand"
    if beyond > 0:
        return f"{served}; {percent(beyond / whole)} is out of its reach"
    return f"{served}; {percent(unmet / whole)} is not met" if unmet > 0 else served


def solar_title(report: ReportData) -> str:
    """Return the best and the poorest month for solar energy used."""
    used = report.months.solar_used_kwh
    best, worst = int(np.argmax(used)), int(np.argmin(used))
    return (
        f"Solar used runs from {significant(float(used[worst]), 2)}{NO_BREAK}kWh in {MONTHS[worst]} "
        f"to {significant(float(used[best]), 2)}{NO_BREAK}kWh in {MONTHS[best]}"
    )


def week_title(week: Week) -> str:
    """Return what the grid still supplies in that week, or what is not met without one."""
    demand, imported, unmet = (float(np.sum(w)) / 2000 for w in (week.demand_w, week.grid_import_w, week.unmet_w))
    used = f"{significant(demand, 2)}{NO_BREAK}kWh used"
    if imported == 0 and unmet == 0:
        return f"{week.season.capitalize()} week: all of the {used} comes from the kit"
    if imported == 0:
        return (
            f"{week.season.capitalize()} week: {significant(unmet, 2)} of {significant(demand, 2)}{NO_BREAK}kWh not met"
        )
    return f"{week.season.capitalize()} week: {significant(imported, 2)}{NO_BREAK}kWh from the grid, {used}"


def _parted(report: ReportData) -> bool:
    return _apart(report.ranking[0].share, report.ranking[1].share)


def _apart(one: Estimate, other: Estimate) -> bool:
    return bool((one.value or 0.0) - (other.value or 0.0) > 2 * np.hypot(one.se, other.se))


def _lower(label: str) -> str:
    return label[:1].lower() + label[1:]
