"""Charts of options side by side: how often each is best, the spread of its worth, worth by length of stay."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import altair as alt
import numpy as np
from numpy.typing import NDArray

from riskcalc.report.charts.look import PAPER, WIDE, finished, rows, upright_title, year_ticks
from riskcalc.report.data import Estimate
from riskcalc.report.rounding import percent_estimate

Floats = NDArray[np.float64]

ROW_HEIGHT = 42
#: Colours of the lines of several options, in order; each line is also named at its end.
LINES = ("paid", "never", "battery", "solar", "unmet", "grid")


def best_chart(names: Sequence[str], shares: Sequence[Estimate], *, width: int) -> alt.TopLevelMixin:
    """Return one bar per choice: the share of futures in which it is best, two standard errors either way."""
    share = np.array([figure.value or 0.0 for figure in shares])
    error = 2 * np.nan_to_num([figure.se for figure in shares])
    place = np.arange(len(names))
    x = alt.X("share:Q", scale=alt.Scale(domain=[0, 1.16], nice=False), axis=None)
    y = _row_scale(len(names))
    bars = (
        alt.Chart(rows(share=share, place=place))
        .mark_bar(size=9, color=PAPER["paid"])
        .encode(x=x, x2=alt.datum(0), y=y)
    )
    reach = (
        alt.Chart(rows(share=np.clip(share - error, 0, 1), high=np.clip(share + error, 0, 1), place=place))
        .mark_rule(color=PAPER["ink"], strokeWidth=1.2)
        .encode(x=x, x2="high:Q", y=y)
    )
    figures = (
        alt.Chart(rows(share=np.clip(share + error, 0, 1), place=place, text=[percent_estimate(s) for s in shares]))
        .mark_text(align="left", dx=6, baseline="middle", color=PAPER["quiet"])
        .encode(x=x, y=y, text="text:N")
    )
    layers = alt.layer(_names(names), bars, reach, figures)
    return finished(layers.properties(width=width - 10, height=ROW_HEIGHT * len(names)))


def spread_chart(
    names: Sequence[str], levels: Floats, means: Floats, *, currency: str, width: int
) -> alt.TopLevelMixin:
    """Return the spread of worth of each choice: nine in ten futures, the middle half, the average.

    `levels` is (choices, 4): the 5, 25, 75 and 95 % points.
    """
    place = np.arange(len(names))
    low, high = float(min(levels.min(), 0.0)), float(max(levels.max(), 0.0))
    room = max(0.03 * (high - low), 1.0)
    axis = alt.Axis(
        title=f"net present value in {currency}, money of today",
        format=",.0f",
        tickCount=width // 110,
        titleAnchor="start",
        orient="bottom",
    )
    x = alt.X("low:Q", scale=alt.Scale(domain=[low - room, high + room], nice=False), axis=axis)
    y = _row_scale(len(names))
    outer = (
        alt.Chart(rows(low=levels[:, 0], high=levels[:, 3], place=place))
        .mark_rule(color=PAPER["paid"], strokeWidth=3, opacity=0.4)
        .encode(x=x, x2="high:Q", y=y)
    )
    inner = (
        alt.Chart(rows(low=levels[:, 1], high=levels[:, 2], place=place))
        .mark_rule(color=PAPER["paid"], strokeWidth=9)
        .encode(x=x, x2="high:Q", y=y)
    )
    dots = (
        alt.Chart(rows(low=means, place=place))
        .mark_point(filled=True, size=80, color=PAPER["paper"], stroke=PAPER["ink"], strokeWidth=2, opacity=1)
        .encode(x=x, y=y)
    )
    zero = alt.Chart(rows(low=[0.0])).mark_rule(color=PAPER["ink"], strokeWidth=1.2).encode(x=x)
    layers = alt.layer(zero, _names(names), outer, inner, dots)
    return finished(layers.properties(width=width - 20, height=ROW_HEIGHT * len(names)))


def stay_chart(
    names: Sequence[str], stays: Floats, worth: Floats, *, crossing: float | None, currency: str, width: int
) -> alt.TopLevelMixin:
    """Return the average worth of each option by length of stay, `worth` being (options, stays)."""
    plot_width = width - 110
    last = float(stays[-1])
    x = alt.X(
        "stay:Q",
        scale=alt.Scale(domain=[0, last], nice=False),
        axis=alt.Axis(
            title="years until the household moves",
            values=year_ticks(int(last), pixels=plot_width),
            format="d",
            titleAnchor="start",
            labelFlush=False,
            domain=False,
        ),
    )
    title = upright_title(f"average net present value in {currency}")
    y = alt.Y("worth:Q", axis=alt.Axis(format=",.0f", tickCount=6, **title))
    zero = alt.Chart(rows(worth=[0])).mark_rule(color=PAPER["ink"], strokeWidth=1.2).encode(y="worth:Q")
    layers: list[alt.Chart] = [zero]
    ends = _apart(worth[:, -1], gap=0.07 * max(float(np.ptp(worth)), 1.0))
    for index, (name, line) in enumerate(zip(names, worth, strict=True)):
        colour = PAPER[LINES[index % len(LINES)]]
        data = rows(stay=stays, worth=line)
        layers.append(alt.Chart(data).mark_line(color=colour, strokeWidth=2.5).encode(x=x, y=y))
        layers.append(alt.Chart(data).mark_point(filled=True, size=30, color=colour, opacity=1).encode(x=x, y=y))
        end = rows(stay=[last], worth=[ends[index]], text=[_short(name)])
        layers.append(
            alt.Chart(end).mark_text(align="left", dx=8, color=colour, fontSize=11).encode(x=x, y=y, text="text:N")
        )
    if crossing is not None:
        mark = alt.Chart(rows(stay=[crossing])).mark_rule(color=PAPER["quiet"], strokeDash=[4, 3]).encode(x=x)
        layers.append(mark)
    return finished(alt.layer(*layers).properties(width=plot_width, height=300 if width >= WIDE else 250))


def _names(names: Sequence[str]) -> alt.LayerChart | alt.FacetChart:
    """Return the names, each on its own line above its row, with a rim so that no line crosses them out."""
    data = alt.Chart(rows(place=range(len(names)), text=list(names)))
    rim = data.mark_text(
        align="left", baseline="bottom", dy=-9, color=PAPER["paper"], stroke=PAPER["paper"], strokeWidth=4
    )
    words = data.mark_text(align="left", baseline="bottom", dy=-9, color=PAPER["ink"])
    return alt.layer(*(mark.encode(x=alt.value(0), y=_row_scale(len(names)), text="text:N") for mark in (rim, words)))


def _row_scale(count: int) -> alt.Y:
    return alt.Y("place:Q", scale=alt.Scale(domain=[-0.65, count - 0.65], reverse=True, nice=False), axis=None)


def _apart(ends: Floats, *, gap: float) -> Floats:
    """Return the heights of labels, moved up where one would touch the label below it."""
    placed = ends.astype(np.float64).copy()
    order = np.argsort(ends, kind="stable")
    for below, above in pairwise(order):
        placed[above] = max(placed[above], placed[below] + gap)
    return placed


def _short(name: str) -> str:
    return name if len(name) <= 18 else f"{name[:17]}…"
