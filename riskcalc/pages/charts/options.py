"""Charts of options side by side: how often each is best, the spread of its worth, worth by length of stay."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import altair as alt
import numpy as np
from numpy.typing import NDArray

from riskcalc.pages.charts.look import PAPER, WIDE, finished, rows, upright_title, year_ticks
from riskcalc.pages.estimate import Estimate
from riskcalc.pages.rounding import percent_estimate

Floats = NDArray[np.float64]

#: Height of a row with its name on one line, and of every further line of the name.
ROW_HEIGHT, LINE_HEIGHT = 42, 15
#: Width of a letter, somewhat above the average of the type.
LETTER_PX = 6.4
#: Colours of the lines of several options, in order; each line also has a letter at its end.
LINES = ("paid", "never", "battery", "solar", "unmet", "grid")
#: How far the last line of a name stands above its row.
ABOVE = 9


def line_colour(place: int) -> str:
    """Return the colour name of the line of an option."""
    return LINES[place % len(LINES)]


def best_chart(names: Sequence[str], shares: Sequence[Estimate], *, width: int) -> alt.TopLevelMixin:
    """Return one bar per choice: the share of futures in which it is best, two standard errors either way."""
    share = np.array([figure.value or 0.0 for figure in shares])
    error = 2 * np.nan_to_num([figure.se for figure in shares])
    place = np.arange(len(names))
    x = alt.X("share:Q", scale=alt.Scale(domain=[0, 1.16], nice=False), axis=None)
    y = _row_scale(len(names))
    lines, height = _wrapped(names, width - 20)
    bars = (
        alt.Chart(rows(share=share, place=place))
        .mark_bar(size=9, color=PAPER["paid"])
        .encode(x=x, x2=alt.datum(0), y=y)
    )
    reach = (
        alt.Chart(rows(share=np.clip(share - error, 0, 1), high=np.clip(share + error, 0, 1), place=place))
        .mark_rule(color=PAPER["ink"], strokeWidth=1.2)
        .encode(x=x, x2=alt.X2("high:Q"), y=y)
    )
    figures = (
        alt.Chart(rows(share=np.clip(share + error, 0, 1), place=place, text=[percent_estimate(s) for s in shares]))
        .mark_text(align="left", dx=6, baseline="middle", color=PAPER["quiet"])
        .encode(x=x, y=y, text=alt.Text("text:N"))
    )
    layers = alt.layer(_names(lines), bars, reach, figures)
    return finished(layers, width=width - 10, height=height)


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
    lines, height = _wrapped(names, width - 30)
    outer = (
        alt.Chart(rows(low=levels[:, 0], high=levels[:, 3], place=place))
        .mark_rule(color=PAPER["paid"], strokeWidth=3, opacity=0.4)
        .encode(x=x, x2=alt.X2("high:Q"), y=y)
    )
    inner = (
        alt.Chart(rows(low=levels[:, 1], high=levels[:, 2], place=place))
        .mark_rule(color=PAPER["paid"], strokeWidth=9)
        .encode(x=x, x2=alt.X2("high:Q"), y=y)
    )
    dots = (
        alt.Chart(rows(low=means, place=place))
        .mark_point(filled=True, size=80, color=PAPER["paper"], stroke=PAPER["ink"], strokeWidth=2, opacity=1)
        .encode(x=x, y=y)
    )
    zero = alt.Chart(rows(low=[0.0])).mark_rule(color=PAPER["ink"], strokeWidth=1.2).encode(x=x)
    layers = alt.layer(zero, _names(lines), outer, inner, dots)
    return finished(layers, width=width - 20, height=height)


def stay_chart(
    marks: Sequence[str], stays: Floats, worth: Floats, *, crossing: float | None, currency: str, width: int
) -> alt.TopLevelMixin:
    """Return the average worth of each option by length of stay, `worth` being (options, stays).

    `marks` are the letters at the ends of the lines.
    """
    plot_width = width - 75
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
    zero = alt.Chart(rows(worth=[0])).mark_rule(color=PAPER["ink"], strokeWidth=1.2).encode(y=alt.Y("worth:Q"))
    layers: list[alt.Chart] = [zero]
    ends = _apart(worth[:, -1], gap=0.07 * max(float(np.ptp(worth)), 1.0))
    for index, (mark, line) in enumerate(zip(marks, worth, strict=True)):
        colour = PAPER[line_colour(index)]
        data = rows(stay=stays, worth=line)
        layers.append(alt.Chart(data).mark_line(color=colour, strokeWidth=2.5).encode(x=x, y=y))
        layers.append(alt.Chart(data).mark_point(filled=True, size=30, color=colour, opacity=1).encode(x=x, y=y))
        end = rows(stay=[last], worth=[ends[index]], text=[mark])
        layers.append(
            alt.Chart(end)
            .mark_text(align="left", dx=8, color=PAPER["ink"], fontWeight="bold")
            .encode(x=x, y=y, text=alt.Text("text:N"))
        )
    if crossing is not None:
        layers.append(alt.Chart(rows(stay=[crossing])).mark_rule(color=PAPER["quiet"], strokeDash=[4, 3]).encode(x=x))
    return finished(alt.layer(*layers), width=plot_width, height=300 if width >= WIDE else 250)


def _names(names: Sequence[Sequence[str]]) -> alt.LayerChart | alt.FacetChart:
    """Return the names, each above its row, with a rim so that no line crosses them out."""
    y = _row_scale(len(names))
    marks = []
    for above in range(max(map(len, names))):
        shown = [(place, lines[-1 - above]) for place, lines in enumerate(names) if above < len(lines)]
        data = alt.Chart(rows(place=[place for place, _ in shown], text=[text for _, text in shown]))
        where: dict[str, Any] = {"align": "left", "baseline": "bottom", "dy": -ABOVE - above * LINE_HEIGHT}
        rim = data.mark_text(color=PAPER["paper"], stroke=PAPER["paper"], strokeWidth=4, **where)
        words = data.mark_text(color=PAPER["ink"], **where)
        marks += [mark.encode(x=alt.XValue(0), y=y, text=alt.Text("text:N")) for mark in (rim, words)]
    return alt.layer(*marks)


def _row_scale(count: int) -> alt.Y:
    return alt.Y("place:Q", scale=alt.Scale(domain=[-0.65, count - 0.65], reverse=True, nice=False), axis=None)


def _apart(ends: Floats, *, gap: float) -> Floats:
    """Return the heights of labels, moved up where one would touch the label below it."""
    placed = ends.astype(np.float64).copy()
    order = np.argsort(ends, kind="stable")
    for below, above in pairwise(order):
        placed[above] = max(placed[above], placed[below] + gap)
    return placed


def _wrapped(names: Sequence[str], pixels: int) -> tuple[list[list[str]], int]:
    """Return the names broken into lines that fit, and the height of the chart."""
    texts = [textwrap.wrap(name, int(pixels / LETTER_PX)) or [""] for name in names]
    most = max((len(lines) for lines in texts), default=1)
    return texts, len(names) * (ROW_HEIGHT + LINE_HEIGHT * (most - 1))
