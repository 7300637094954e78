"""Charts of money: the cash balance over the years, and what the whole is worth."""

from __future__ import annotations

from typing import Literal

import altair as alt
import numpy as np

from riskcalc.pages.charts.look import PAPER, WIDE, finished, rows, upright_title, year_ticks
from riskcalc.pages.data import CashFan, Worth


def cash_chart(fan: CashFan, *, currency: str, width: int) -> alt.TopLevelMixin:
    """Return the balance over the years: nine in ten futures, the middle half, the middle one."""
    low, lower, middle, upper, high = fan.cash
    last = int(fan.years[-1])
    plot_width = width - 150
    x = alt.X(
        "year:Q",
        scale=alt.Scale(domain=[0, last], nice=False),
        axis=alt.Axis(
            title="years after the purchase",
            values=year_ticks(last, pixels=plot_width),
            labelFlush=False,
            format="d",
            titleAnchor="start",
            domain=False,
        ),
    )
    title = upright_title(f"balance in {currency}, money of the day")
    y = alt.Y("low:Q", axis=alt.Axis(format=",.0f", tickCount=6, **title))
    outer = alt.Chart(rows(year=fan.years, low=low, high=high)).mark_area(color=PAPER["paid"], opacity=0.18)
    inner = alt.Chart(rows(year=fan.years, low=lower, high=upper)).mark_area(color=PAPER["paid"], opacity=0.35)
    line = alt.Chart(rows(year=fan.years, low=middle)).mark_line(color=PAPER["paid"], strokeWidth=2.5)
    zero = alt.Chart(rows(low=[0])).mark_rule(color=PAPER["ink"], strokeWidth=1.2).encode(y=alt.Y("low:Q"))
    labels = _end_labels(fan)
    layers = alt.layer(
        outer.encode(x=x, y=y, y2=alt.Y2("high:Q")),
        inner.encode(x=x, y=y, y2=alt.Y2("high:Q")),
        zero,
        line.encode(x=x, y=y),
        labels,
    )
    return finished(layers, width=plot_width, height=300 if width >= WIDE else 250)


def worth_chart(worth: Worth, *, currency: str, width: int) -> alt.TopLevelMixin:
    """Return the histogram of net present value, losses and gains told apart, with the average marked."""
    left, right = worth.bin_edges[:-1], worth.bin_edges[1:]
    x = alt.X(
        "left:Q",
        scale=alt.Scale(domain=[float(left[0]), float(right[-1])], nice=False),
        axis=alt.Axis(
            title=f"net present value in {currency}, money of today",
            format=",.0f",
            tickCount=width // 90,
            titleAnchor="start",
            labelFlush=True,
        ),
    )
    y_axis = alt.Axis(format=".0%", tickCount=4, **upright_title("share of futures"))
    # A bin that straddles zero is cut there, its height kept, so that the colours say exactly what is lost.
    # Where nothing is bought the worth is exactly 0, which is neither: a bar of its own, taken out of its bin.
    at_zero = int(np.clip(np.searchsorted(worth.bin_edges, 0.0, side="right") - 1, 0, len(worth.bin_share) - 1))
    shares = worth.bin_share - worth.refused_share * (np.arange(len(worth.bin_share)) == at_zero)
    parts = [(a, b, s) for a, b, s in zip(left, right, shares, strict=True) if s > 1e-12]
    cut = [piece for a, b, s in parts for piece in (((a, 0.0, s), (0.0, b, s)) if a < 0 < b else ((a, b, s),))]
    bars = (
        alt.Chart(
            rows(
                left=[a for a, _, _ in cut],
                right=[b for _, b, _ in cut],
                share=[s for _, _, s in cut],
                side=["loss" if b <= 0 else "gain" for _, b, _ in cut],
            )
        )
        .mark_rect(stroke=PAPER["paper"], strokeWidth=0.6)
        .encode(
            x=x,
            x2=alt.X2("right:Q"),
            y=alt.Y("share:Q", axis=y_axis),
            y2=alt.Y2Datum(0),
            color=alt.Color(
                "side:N", legend=None, scale=alt.Scale(domain=["loss", "gain"], range=[PAPER["never"], PAPER["paid"]])
            ),
        )
    )
    narrow = 0.2 * float(right[0] - left[0])
    refused = (
        alt.Chart(rows(left=[-narrow], right=[narrow], share=[worth.refused_share]))
        .mark_rect(color=PAPER["quiet"], stroke=PAPER["paper"], strokeWidth=0.6)
        .encode(x=x, x2=alt.X2("right:Q"), y=alt.Y("share:Q", axis=y_axis), y2=alt.Y2Datum(0))
    )
    top = float(max(shares.max(), worth.refused_share))
    mean = float(worth.mean.value or 0.0)
    mark = alt.Chart(rows(left=[mean])).mark_rule(color=PAPER["ink"], strokeWidth=1.6, strokeDash=[4, 3]).encode(x=x)
    side: Literal["left", "right"] = "left" if mean < (left[0] + right[-1]) / 2 else "right"
    text = (
        alt.Chart(rows(left=[mean], share=[top]))
        .mark_text(align=side, dx=6 if side == "left" else -6, dy=-8, baseline="bottom", text="average")
        .encode(x=x, y=alt.Y("share:Q"))
    )
    layers = [bars, refused, mark, text] if worth.refused_share > 0.0 else [bars, mark, text]
    return finished(alt.layer(*layers), width=width - 56, height=220 if width >= WIDE else 190)


def _end_labels(fan: CashFan) -> alt.Chart:
    """Return the names of the three curves that end at the right, moved apart where they would touch."""
    ends = fan.cash[:, -1]
    names = ["1 in 20 below", "", "middle future", "", "1 in 20 above"]
    scale = max(float(np.ptp(fan.cash)), 1e-9)
    low = min(ends[0], ends[2] - 0.09 * scale)
    high = max(ends[4], ends[2] + 0.09 * scale)
    places = rows(year=[fan.years[-1]] * 3, low=[low, ends[2], high], text=[names[0], names[2], names[4]])
    return (
        alt.Chart(places)
        .mark_text(align="left", dx=6, color=PAPER["quiet"], fontSize=11)
        .encode(x=alt.X("year:Q"), y=alt.Y("low:Q"), text=alt.Text("text:N"))
    )
