"""The exhibits of energy: the months of the first year and two weeks of it."""

from __future__ import annotations

from functools import partial

import altair as alt
import numpy as np

from riskcalc.pages import findings
from riskcalc.pages.charts.energy import MONTHS, demand_chart, demand_pieces, solar_chart
from riskcalc.pages.charts.week import top_watts, week_chart
from riskcalc.pages.data import MonthlyEnergy, ReportData, Week
from riskcalc.pages.exhibit import Exhibit, exhibit
from riskcalc.pages.rounding import significant


def demand_exhibit(report: ReportData) -> Exhibit:
    """Return the demand of each month by what served it."""
    months = report.months
    pieces = demand_pieces(months)
    values = np.array([getattr(months, field) for field, _, _ in pieces])
    words = [said for _, said, _ in pieces]
    return exhibit(
        "demand",
        lambda width: demand_chart(months, width=width),
        title=findings.demand_title(report),
        reading="What served the demand of each month, average over the futures; the whole bar is the demand.",
        alternative=f"{findings.demand_title(report)}. Stacked bars for the twelve months: {', '.join(words)}.",
        legend=[(colour, said) for _, said, colour in pieces],
        table=(
            ("month", *(f"{said}, kWh" for said in words), "demand, kWh"),
            _month_cells(np.vstack([values, values.sum(axis=0)])),
        ),
        columns={"month": range(1, 13), **{field: getattr(months, field) for field, _, _ in pieces}},
    )


def solar_exhibit(report: ReportData) -> Exhibit | None:
    """Return the solar energy of each month; None without any sun on modules."""
    months = report.months
    if float(np.sum(months.solar_used_kwh + months.curtailed_kwh)) == 0:
        return None
    wasted = float(np.sum(months.curtailed_kwh)) > 0.005 * float(np.sum(months.solar_used_kwh))
    columns = _solar_columns(months)
    return exhibit(
        "solar",
        lambda width: solar_chart(months, width=width),
        title=findings.solar_title(report),
        reading="Solar energy that was put to use, average over the futures; the line spans eight futures in ten."
        + (" The hollow part could not be used." if wasted else ""),
        alternative=f"{findings.solar_title(report)}. Bars for the twelve months.",
        legend=(("solar", "used"), ("solar hollow", "not used")) if wasted else (),
        table=(("month", *columns), _month_cells(np.array(list(columns.values())))),
        columns={
            "month": range(1, 13),
            **{
                field: getattr(months, field)
                for field in (
                    "solar_used_kwh",
                    "solar_used_p10_kwh",
                    "solar_used_p90_kwh",
                    "export_kwh",
                    "curtailed_kwh",
                    "losses_kwh",
                    "grid_to_battery_kwh",
                )
            },
        },
    )


def week_exhibits(report: ReportData) -> tuple[Exhibit, ...]:
    """Return the weeks, drawn to one scale."""
    if not report.weeks:
        return ()
    top = top_watts(report.weeks)
    return tuple(_week_exhibit(week, top_w=top) for week in report.weeks)


def _week_exhibit(week: Week, *, top_w: float) -> Exhibit:
    shown = {
        "demand": week.demand_w,
        "sun on the modules": week.solar_w,
        "from the grid": week.grid_import_w,
        "to the grid": week.export_w,
        "not met": week.unmet_w,
    }
    present = {name: watts for name, watts in shown.items() if float(watts.sum()) > 0}
    days = {name: watts.reshape(7, 48).sum(axis=1) / 2000 for name, watts in present.items()}
    cells = [
        (f"day {day + 1}", *(significant(float(kwh[day]), 2) for kwh in days.values()))
        for day in range(len(week.demand_w) // 48)
    ]
    legend = [("ink line", "demand"), ("solar line", "what the modules could give"), ("grid", "from the grid")]
    legend += [("solar", "to the grid")] if "to the grid" in present else []
    legend += [("unmet", "not met")] if "not met" in present else []
    legend += [("battery", "stored in the battery")] if week.capacity_wh > 0 else []
    title = findings.week_title(week)
    return exhibit(
        f"week-{week.season}",
        partial(_chart, week, top_w),
        title=title,
        reading=f"{week.first_day} and the six days after it, in one future (draw {week.draw}, year {week.year}): an "
        "example to look at, not an average.",
        alternative=f"{title}. Demand, solar power and grid power in watts through seven days"
        + (", and the energy in the battery below." if week.capacity_wh > 0 else "."),
        legend=legend,
        table=(("day", *(f"{name}, kWh" for name in days)), cells),
        columns={
            "half_hour": range(len(week.demand_w)),
            **{
                field: getattr(week, field)
                for field in (
                    "demand_w",
                    "out_of_reach_w",
                    "solar_w",
                    "grid_import_w",
                    "export_w",
                    "unmet_w",
                    "battery_wh",
                )
            },
        },
    )


def _chart(week: Week, top_w: float, width: int) -> alt.TopLevelMixin:
    return week_chart(week, top_w=top_w, width=width)


def _solar_columns(months: MonthlyEnergy) -> dict[str, np.ndarray]:
    columns = {
        "used, kWh": months.solar_used_kwh,
        "1 in 10 below": months.solar_used_p10_kwh,
        "1 in 10 above": months.solar_used_p90_kwh,
        "not used": months.curtailed_kwh,
        "to the grid": months.export_kwh,
        "losses of the kit": months.losses_kwh,
        "grid into battery": months.grid_to_battery_kwh,
    }
    return {name: values for name, values in columns.items() if float(np.sum(values)) > 0}


def _month_cells(values: np.ndarray) -> list[tuple[str, ...]]:
    """Return rows of text per month and for the year; two digits, as a monthly mean has no error of its own."""
    rows = [(name, *(significant(float(v), 2) for v in column)) for name, column in zip(MONTHS, values.T, strict=True)]
    return [*rows, ("year", *(significant(float(total), 3) for total in values.sum(axis=1)))]
