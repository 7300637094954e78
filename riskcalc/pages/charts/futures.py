"""A hundred futures as a hundred dots: each stands over the year in which it pays back, or in the pile that never does.

A quantile dot plot (Kay, Kola, Hullman and Munson 2016, "When (ish) is my bus?"): readers count dots instead of
reading areas.
The pile of futures that never pay back stands apart, on the same scale, so that nothing is hidden.
"""

from __future__ import annotations

import math

import altair as alt
import numpy as np
from numpy.typing import NDArray

from riskcalc.pages.charts.look import PAPER, finished, rows, year_ticks
from riskcalc.pages.data import Payback

DOTS = 100
#: Room for the stacks in pixels, the largest dot with its margin, and the gap before the pile that never pays back.
TALLEST, LARGEST = 330.0, 22.0
GAP = 1.5


def dots_per_year(payback: Payback) -> NDArray[np.int64]:
    """Return how many of a hundred futures pay back in each year, and last how many never do, shape (N + 1,).

    Shares are turned into whole dots by largest remainder, so that they always make up the hundred.
    """
    shares = np.append(np.diff(payback.share_within, prepend=0.0), payback.never_share.value or 0.0)
    quota = DOTS * shares / shares.sum()
    whole = np.floor(quota + 1e-9).astype(np.int64)
    left = DOTS - int(whole.sum())
    # Stable order: equal remainders go to the earlier year.
    whole[np.argsort(-(quota - whole), kind="stable")[:left]] += 1
    return whole


def futures_chart(payback: Payback, *, width: int) -> alt.TopLevelMixin:
    """Return the hundred dots."""
    dots = dots_per_year(payback)
    count = len(payback.years)
    slots, never_columns, height, cell = _grid(dots, width)
    columns = count * slots + GAP + never_columns
    x, y, kind = _places(dots, slots, never_columns)
    scale = alt.Scale(domain=[0, columns], nice=False)
    across = alt.X("x:Q", scale=scale, axis=None)
    colours = alt.Scale(domain=["paid", "never"], range=[PAPER["paid"], PAPER["never"]])
    marks = (
        alt.Chart(rows(x=x, y=y, kind=kind))
        .mark_circle(size=(0.84 * cell) ** 2 * math.pi / 4, opacity=1)
        .encode(
            x=across,
            y=alt.Y("y:Q", scale=alt.Scale(domain=[0, height + 0.1], nice=False), axis=None),
            color=alt.Color("kind:N", legend=None, scale=colours),
        )
    )
    named = [year for year in year_ticks(count, pixels=count * slots * cell) if year > 0]
    right = count * slots + GAP
    feet = rows(
        x=[(year - 0.5) * slots for year in named] + [right + never_columns / 2],
        text=[str(year) for year in named] + ["never"],
    )
    labels = (
        alt.Chart(feet)
        .mark_text(baseline="top", color=PAPER["quiet"])
        .encode(x=across, text=alt.Text("text:N"), y=alt.YValue(height * cell + 7))
    )
    lines = (
        alt.Chart(rows(x=[0, right], x2=[count * slots, right + never_columns]))
        .mark_rule(color=PAPER["quiet"])
        .encode(x=across, x2=alt.X2("x2:Q"), y=alt.YValue(height * cell + 1))
    )
    title = (
        alt.Chart(rows(x=[0], text=["year in which it has paid for itself"]))
        .mark_text(baseline="top", align="left", color=PAPER["quiet"])
        .encode(x=across, text=alt.Text("text:N"), y=alt.YValue(height * cell + 24))
    )
    layers = alt.layer(lines, marks, labels, title)
    return finished(layers, width=columns * cell, height=height * cell)


def _grid(dots: NDArray[np.int64], width: int) -> tuple[int, int, int, float]:
    """Return how many dots wide a year and the pile are, how many high, and the cell in pixels, as large as can be."""
    best = (1, 1, 1, 0.0)
    for slots in range(1, 8):
        highest = max(math.ceil(int(dots[:-1].max()) / slots), 5)
        never_columns = max(3, math.ceil(int(dots[-1]) / max(highest, 8)))
        height = max(highest, math.ceil(int(dots[-1]) / never_columns))
        columns = (len(dots) - 1) * slots + GAP + never_columns
        cell = min(width / columns, TALLEST / height, LARGEST)
        if cell > best[3]:
            best = (slots, never_columns, height, cell)
    return best


def _places(dots: NDArray[np.int64], slots: int, never_columns: int) -> tuple[list[float], list[float], list[str]]:
    """Return centre and kind of every dot, in cells; stacks fill row by row from the ground."""
    x: list[float] = []
    y: list[float] = []
    kind: list[str] = []
    years = len(dots) - 1
    for index, many in enumerate(dots):
        wide = never_columns if index == years else slots
        left = index * slots + (GAP if index == years else 0)
        for dot in range(int(many)):
            # A last row that is not full is centred, so that one dot stands over its year.
            in_row = min(wide, int(many) - dot // wide * wide)
            x.append(left + (wide - in_row) / 2 + dot % wide + 0.5)
            y.append(dot // wide + 0.5)
            kind.append("never" if index == years else "paid")
    return x, y, kind
