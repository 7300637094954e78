"""The odds of having paid back by the end of each year, with what never pays back drawn as a bar of its own."""

from __future__ import annotations

import altair as alt
import numpy as np

from riskcalc.pages.charts.look import PAPER, WIDE, finished, rows, upright_title, year_ticks
from riskcalc.pages.data import Payback
from riskcalc.pages.rounding import percent_estimate

NEVER_ROOM = 84


def odds_chart(payback: Payback, *, width: int) -> alt.TopLevelMixin:
    """Return the cumulative odds, simple and discounted, the band of two standard errors, and the never bar."""
    years = np.concatenate([[0], payback.years])
    share = np.concatenate([[0.0], payback.share_within])
    spread = 2 * np.nan_to_num(np.concatenate([[0.0], payback.share_within_se]))
    last = int(payback.years[-1])
    # Room at the right for the bar and its words, in pixels whatever the horizon.
    plot_width = width - 60
    per_year = (plot_width - NEVER_ROOM) / last
    bar_left, bar_right = last + 16 / per_year, last + 36 / per_year
    x = alt.X(
        "year:Q",
        scale=alt.Scale(domain=[0, last + NEVER_ROOM / per_year], nice=False),
        axis=alt.Axis(
            title="years after the purchase",
            values=year_ticks(last, pixels=per_year * last),
            format="d",
            titleAnchor="start",
            labelFlush=False,
        ),
    )
    y = alt.Y(
        "share:Q",
        scale=alt.Scale(domain=[0, 1]),
        axis=alt.Axis(
            format=".0%", values=[0, 0.25, 0.5, 0.75, 1], **upright_title("share of futures paid back by then")
        ),
    )
    band = (
        alt.Chart(rows(year=years, low=np.clip(share - spread, 0, 1), high=np.clip(share + spread, 0, 1)))
        .mark_area(color=PAPER["paid"], opacity=0.22)
        .encode(x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q"))
    )
    simple = alt.Chart(rows(year=years, share=share)).mark_line(color=PAPER["paid"], strokeWidth=2.5).encode(x=x, y=y)
    discounted = (
        alt.Chart(rows(year=years, share=np.concatenate([[0.0], payback.discounted_within])))
        .mark_line(color=PAPER["quiet"], strokeWidth=1.8, strokeDash=[5, 4])
        .encode(x=x, y=y)
    )
    reached = float(share[-1])
    never = (
        alt.Chart(rows(left=[bar_left], right=[bar_right], low=[reached], high=[1.0]))
        .mark_rect(color=PAPER["never"])
        .encode(x=alt.X("left:Q"), x2=alt.X2("right:Q"), y=alt.Y("low:Q"), y2=alt.Y2("high:Q"))
    )
    said = [percent_estimate(payback.never_share), "never"]
    text = alt.Chart(rows(year=[bar_right], share=[(1 + reached) / 2])).mark_text(
        align="left", dx=6, baseline="middle", color=PAPER["never"], fontWeight="bold", text=said, lineHeight=15
    )
    layers = [band, discounted, simple]
    if reached < 1:
        layers += [never, text.encode(x=x, y=y)]
    height = 300 if width >= WIDE else 240
    return finished(alt.layer(*layers), width=plot_width, height=height)
