"""What decides it: shares of the variance, and how far each input swings the worth."""

from __future__ import annotations

from collections.abc import Sequence

import altair as alt
import numpy as np

from riskcalc.report.charts.look import PAPER, finished, rows
from riskcalc.report.data import RankingRow
from riskcalc.report.rounding import money_estimate, percent_estimate

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
        .encode(x=x, x2="high:Q", y=y)
    )
    said = [percent_estimate(row.share) if (row.share.value or 0) > 0 else "0 %" for row in shown]
    figures = (
        alt.Chart(rows(share=share + error, place=place, text=said))
        .mark_text(align="left", dx=6, baseline="middle", color=PAPER["quiet"])
        .encode(x=x, y=y, text="text:N")
    )
    zero = alt.Chart(rows(share=[0.0])).mark_rule(color=PAPER["quiet"], strokeWidth=1).encode(x=x)
    layers = alt.layer(_names(shown), bars, zero, reach, figures)
    return finished(layers.properties(width=width - 10, height=ROW_HEIGHT * len(shown)))


def swing_chart(ranking: Sequence[RankingRow], *, currency: str, width: int) -> alt.TopLevelMixin:
    """Return the mean worth with each input low (hollow) and high (full), others drawn."""
    shown = swinging(ranking)[:MOST_ROWS]
    low = np.array([row.worth_at_p10.value for row in shown], dtype=float)
    high = np.array([row.worth_at_p90.value for row in shown], dtype=float)
    place = np.arange(len(shown))
    left, right = float(min(low.min(), high.min())), float(max(low.max(), high.max()))
    room = max(0.16 * (right - left), 1.0)
    x = alt.X("low:Q", scale=alt.Scale(domain=[left - room, right + room], nice=False), axis=None)
    y = _row_scale(len(shown))
    data = rows(low=low, high=high, place=place)
    line = alt.Chart(data).mark_rule(color=PAPER["paid"], strokeWidth=3, opacity=0.45).encode(x=x, x2="high:Q", y=y)
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
    ends = [row.worth_at_p10 for row in shown] + [row.worth_at_p90 for row in shown]
    at = np.concatenate([low, high])
    outward = np.where(at >= np.concatenate([high, low]), "right", "left")
    texts = [money_estimate(end, currency) for end in ends if end is not None]
    labels = [
        alt.Chart(
            rows(
                low=at[outward == side],
                place=np.concatenate([place, place])[outward == side],
                text=[text for text, out in zip(texts, outward, strict=True) if out == side],
            )
        )
        .mark_text(align=align, dx=dx, baseline="middle", color=PAPER["quiet"], fontSize=11)
        .encode(x=x, y=y, text="text:N")
        for side, align, dx in (("left", "right", -8), ("right", "left", 8))
        if (outward == side).any()
    ]
    zero = alt.Chart(rows(low=[0.0])).mark_rule(color=PAPER["rule"], strokeWidth=1.5).encode(x=x)
    inside = [zero] if left - room < 0 < right + room else []
    layers = alt.layer(*inside, _names(shown), line, hollow, full, *labels)
    return finished(layers.properties(width=width - 10, height=ROW_HEIGHT * len(shown)))


def swinging(ranking: Sequence[RankingRow]) -> list[RankingRow]:
    """Return the rows that have a low and a high end, widest swing first: luck has none."""
    ends = [row for row in ranking if row.worth_at_p10 is not None and row.worth_at_p90 is not None]
    return sorted(ends, key=swing, reverse=True)


def swing(row: RankingRow) -> float:
    """Return how far the worth moves between the ends of the input, without its sign."""
    if row.worth_at_p10 is None or row.worth_at_p90 is None:
        return 0.0
    return abs((row.worth_at_p90.value or 0.0) - (row.worth_at_p10.value or 0.0))


def _names(shown: Sequence[RankingRow]) -> alt.Chart:
    """Return the labels, each on its own line above its bar, so that long ones fit a phone."""
    names = alt.Chart(rows(place=range(len(shown)), text=[row.label for row in shown]))
    mark = names.mark_text(align="left", baseline="bottom", dy=-9, color=PAPER["ink"])
    return mark.encode(x=alt.value(0), y=_row_scale(len(shown)), text="text:N")


def _row_scale(count: int) -> alt.Y:
    return alt.Y("place:Q", scale=alt.Scale(domain=[-0.65, count - 0.65], reverse=True, nice=False), axis=None)
