"""What decides it: shares of the variance, and how far each input swings the worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import altair as alt
import numpy as np

from riskcalc.pages.charts.look import PAPER, finished, rows
from riskcalc.pages.data import RankingRow
from riskcalc.pages.estimate import Estimate
from riskcalc.pages.labels import short
from riskcalc.pages.rounding import money_estimate, percent_estimate

#: More rows than this make a chart nobody reads; the table holds them all.
MOST_ROWS = 10
ROW_HEIGHT = 42


def share_chart(ranking: Sequence[RankingRow], *, width: int) -> alt.TopLevelMixin:
    """Return one bar per input, its share of the variance of worth, with two standard errors either way."""
    shown = ranking[:MOST_ROWS]
    share = np.array([row.share.value or 0.0 for row in shown])
    error = 2 * np.nan_to_num([row.share.se for row in shown])
    place = np.arange(len(shown))
    top = max(float((share + error).max()), 0.05)
    x = alt.X(
        "share:Q", scale=alt.Scale(domain=[min(0.0, float((share - error).min())), top * 1.16], nice=False), axis=None
    )
    y = _row_scale(len(shown))
    bars = (
        alt.Chart(rows(zero=[0.0] * len(shown), share=share, place=place))
        .mark_bar(size=9, color=PAPER["paid"])
        .encode(x=x, x2=alt.datum(0), y=y)
    )
    reach = (
        alt.Chart(rows(share=share - error, high=share + error, place=place))
        .mark_rule(color=PAPER["ink"], strokeWidth=1.2)
        .encode(x=x, x2=alt.X2("high:Q"), y=y)
    )
    said = [percent_estimate(row.share) if (row.share.value or 0) > 0 else "0 %" for row in shown]
    figures = (
        alt.Chart(rows(share=share + error, place=place, text=said))
        .mark_text(align="left", dx=6, baseline="middle", color=PAPER["quiet"])
        .encode(x=x, y=y, text=alt.Text("text:N"))
    )
    zero = (
        alt.Chart(rows(share=[0.0] * len(shown), low=place - 0.17, high=place + 0.17))
        .mark_rule(color=PAPER["quiet"], strokeWidth=1)
        .encode(x=x, y=_row_scale(len(shown), "low:Q"), y2=alt.Y2("high:Q"))
    )
    layers = alt.layer(_names(shown), bars, zero, reach, figures)
    return finished(layers, width=width - 10, height=ROW_HEIGHT * len(shown))


def swing_chart(ranking: Sequence[RankingRow], *, currency: str, width: int) -> alt.TopLevelMixin:
    """Return the mean worth with each input low (hollow) and high (full), others drawn."""
    shown = swings(ranking)[:MOST_ROWS]
    low = np.array([swing.low.value for swing in shown], dtype=np.float64)
    high = np.array([swing.high.value for swing in shown], dtype=np.float64)
    place = np.arange(len(shown))
    left, right = float(min(low.min(), high.min())), float(max(low.max(), high.max()))
    room = max(0.21 * (right - left), 1.0)
    x = alt.X("low:Q", scale=alt.Scale(domain=[left - room, right + room], nice=False), axis=None)
    y = _row_scale(len(shown))
    data = rows(low=low, high=high, place=place)
    line = (
        alt.Chart(data)
        .mark_rule(color=PAPER["paid"], strokeWidth=3, opacity=0.45)
        .encode(x=x, x2=alt.X2("high:Q"), y=y)
    )
    hollow = (
        alt.Chart(data)
        .mark_point(filled=True, size=75, color=PAPER["paper"], stroke=PAPER["paid"], strokeWidth=2, opacity=1)
        .encode(x=x, y=y)
    )
    full = (
        alt.Chart(data)
        .mark_point(filled=True, size=90, color=PAPER["paid"], opacity=1)
        .encode(x=alt.X("high:Q", axis=None), y=y)
    )
    ends = [swing.low for swing in shown] + [swing.high for swing in shown]
    at = np.concatenate([low, high])
    outward = np.where(at >= np.concatenate([high, low]), "right", "left")
    texts = [money_estimate(end, currency) for end in ends]
    sides: list[tuple[str, Literal["left", "right"], int]] = [("left", "right", -8), ("right", "left", 8)]
    labels = [
        alt.Chart(
            rows(
                low=at[outward == side],
                place=np.concatenate([place, place])[outward == side],
                text=[text for text, out in zip(texts, outward, strict=True) if out == side],
            )
        )
        .mark_text(align=align, dx=dx, baseline="middle", color=PAPER["quiet"], fontSize=11)
        .encode(x=x, y=y, text=alt.Text("text:N"))
        for side, align, dx in sides
        if (outward == side).any()
    ]
    zero = alt.Chart(rows(low=[0.0])).mark_rule(color=PAPER["rule"], strokeWidth=1.5).encode(x=x)
    inside = [zero] if left - room < 0 < right + room else []
    layers = alt.layer(*inside, _names([swing.row for swing in shown]), line, hollow, full, *labels)
    return finished(layers, width=width - 10, height=ROW_HEIGHT * len(shown))


@dataclass(frozen=True)
class Swing:
    """A row that has two ends: the mean worth with its input low and high."""

    row: RankingRow
    low: Estimate
    high: Estimate

    @property
    def width(self) -> float:
        """How far the worth moves between the ends, without its sign."""
        return abs((self.high.value or 0.0) - (self.low.value or 0.0))


def swings(ranking: Sequence[RankingRow]) -> list[Swing]:
    """Return the rows that have a low and a high end, widest swing first: luck has none."""
    ends = [
        Swing(row, row.worth_at_p10, row.worth_at_p90)
        for row in ranking
        if row.worth_at_p10 is not None and row.worth_at_p90 is not None
    ]
    return sorted(ends, key=lambda swing: -swing.width)


def _names(shown: Sequence[RankingRow]) -> alt.LayerChart | alt.FacetChart:
    """Return the labels, each on its own line above its bar, so that long ones fit a phone."""
    names = alt.Chart(rows(place=range(len(shown)), text=[short(row.label) for row in shown]))
    place: dict[str, Any] = {"align": "left", "baseline": "bottom", "dy": -9}
    # First a rim in the colour of the paper, so that a line behind the words does not cross them out.
    rim = names.mark_text(**place, color=PAPER["paper"], stroke=PAPER["paper"], strokeWidth=4)
    words = names.mark_text(**place, color=PAPER["ink"])
    both = [mark.encode(x=alt.XValue(0), y=_row_scale(len(shown)), text=alt.Text("text:N")) for mark in (rim, words)]
    return alt.layer(*both)


def _row_scale(count: int, field: str = "place:Q") -> alt.Y:
    return alt.Y(field, scale=alt.Scale(domain=[-0.65, count - 0.65], reverse=True, nice=False), axis=None)
