"""Where the energy goes, month by month of the first year."""

from __future__ import annotations

import altair as alt
import numpy as np

from riskcalc.pages.charts.look import PAPER, WIDE, finished, rows, upright_title
from riskcalc.pages.data import MonthlyEnergy

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

#: Pieces of the demand from the ground up: field, words, colour.
DEMAND = (
    ("from_solar_kwh", "straight from the sun", "solar"),
    ("from_battery_kwh", "from the battery", "battery"),
    ("from_grid_kwh", "from the grid", "grid"),
    ("out_of_reach_kwh", "out of the kit's reach", "beyond"),
    ("unmet_kwh", "not met", "unmet"),
)


def demand_pieces(months: MonthlyEnergy) -> list[tuple[str, str, str]]:
    """Return the pieces of `DEMAND` that are there at all."""
    return [piece for piece in DEMAND if float(np.sum(getattr(months, piece[0]))) > 0]


def demand_chart(months: MonthlyEnergy, *, width: int) -> alt.TopLevelMixin:
    """Return the demand of each month, stacked by what served it."""
    pieces = demand_pieces(months)
    values = np.array([getattr(months, field) for field, _, _ in pieces])
    upper = values.cumsum(axis=0)
    lower = upper - values
    data = rows(
        month=list(MONTHS) * len(pieces),
        low=lower.ravel(),
        high=upper.ravel(),
        piece=[words for _, words, _ in pieces for _ in MONTHS],
    )
    bars = (
        alt.Chart(data)
        .mark_bar(stroke=PAPER["paper"], strokeWidth=0.7)
        .encode(
            x=_months(width),
            y=alt.Y("low:Q", axis=alt.Axis(tickCount=5, **upright_title("kWh a month"))),
            y2=alt.Y2("high:Q"),
            color=alt.Color(
                "piece:N",
                legend=None,
                scale=alt.Scale(
                    domain=[words for _, words, _ in pieces], range=[PAPER[colour] for _, _, colour in pieces]
                ),
            ),
        )
    )
    return finished(bars, width=width - 44, height=260 if width >= WIDE else 210)


def solar_chart(months: MonthlyEnergy, *, width: int) -> alt.TopLevelMixin:
    """Return the solar energy used in each month, eight futures in ten as a line, and what went to waste on top."""
    used, wasted = months.solar_used_kwh, months.curtailed_kwh
    axis = alt.Axis(tickCount=5, **upright_title("kWh a month"))
    x = _months(width)
    bars = (
        alt.Chart(rows(month=MONTHS, low=[0.0] * 12, high=used))
        .mark_bar(color=PAPER["solar"])
        .encode(x=x, y=alt.Y("low:Q", axis=axis), y2=alt.Y2("high:Q"))
    )
    waste = (
        alt.Chart(rows(month=MONTHS, low=used, high=used + wasted))
        .mark_bar(fillOpacity=0, stroke=PAPER["solar"], strokeWidth=1.2)
        .encode(x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q"))
    )
    reach = (
        alt.Chart(rows(month=MONTHS, low=months.solar_used_p10_kwh, high=months.solar_used_p90_kwh))
        .mark_rule(color=PAPER["ink"], strokeWidth=1.6)
        .encode(x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q"))
    )
    layers = [bars, waste, reach] if float(wasted.sum()) > 0.005 * float(used.sum()) else [bars, reach]
    return finished(alt.layer(*layers), width=width - 44, height=260 if width >= WIDE else 210)


def _months(width: int) -> alt.X:
    first_letter = "substring(datum.label, 0, 1)" if width < WIDE else "datum.label"
    axis = alt.Axis(title=None, labelAngle=0, labelExpr=first_letter)
    return alt.X("month:N", sort=list(MONTHS), axis=axis, scale=alt.Scale(paddingInner=0.25, paddingOuter=0.1))
