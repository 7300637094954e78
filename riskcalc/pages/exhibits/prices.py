"""How electricity prices may go: the drawn futures over the history that they are calibrated to."""

from __future__ import annotations

from functools import partial

import numpy as np

from riskcalc.pages.exhibit import Block, chart
from riskcalc.pages.exhibits.cash import LEVELS
from riskcalc.pages.figures import say, significant, whole_years
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, WIDE, finished, layered, rows, upright_title
from riskcalc.types import Figures

#: Histories in words: what `prices.history` may name.
HISTORIES = {
    "bls_city_average": "household prices of the United States, average of cities",
    "ons_electricity": "household prices of the United Kingdom, an index",
    "eia_residential": "household prices of the United States, average by month",
}


def price_block(figures: Figures) -> Block | None:
    """Return the fan of prices over its history; None where prices follow a given path."""
    if "price_fan" not in figures:
        return None
    fan, past = figures["price_fan"], figures["price_fan"]["history"]
    years = len(fan["p50"])
    cells = [
        (str(year), *(significant(fan[name][year]) for name in LEVELS))
        for year in sorted({0, *range(4, years, 5), years - 1})
    ]
    title = price_title(figures)
    return chart(
        figures,
        "prices",
        partial(price_chart, figures),
        title=title,
        reading=say(
            "Left of today: {history}, {first} to {last}, each year over the last. Right of it: the drawn futures. The dark band "
            "holds the middle half of them, the light band nine in ten.",
            history=say(HISTORIES[past["name"]]),
            first=past["years"][0],
            last=past["years"][-1],
        ),
        alternative=say(
            "{title}. Bands of the price over that of the first year, against years before and after the purchase.",
            title=title,
        ),
        legend=(
            ("ink line", "history"),
            ("grid line", "middle future"),
            ("grid", "half of the futures, and nine in ten"),
        ),
        table=(("year", *(say("{share} are below", share=name) for name in LEVELS.values())), cells),
        columns={"year": range(years), **{f"price_over_first_{name}": fan[name] for name in LEVELS}},
    )


def price_title(figures: Figures) -> str:
    """Return what the price is in the last year, over that of the first, in nine futures of ten."""
    fan = figures["price_fan"]
    return say(
        "After {years} the price is {low} to {high} times that of the first in nine futures of ten",
        years=whole_years(len(fan["p50"]) - 1),
        low=significant(fan["p5"][-1], 2),
        high=significant(fan["p95"][-1], 2),
    )


def price_finding(figures: Figures) -> str:
    """Return what the price is in the last year in the middle future, over that of the first."""
    middle = figures["price_fan"]["p50"]
    return say(
        "In the middle future the price after {years} is {times} times that of the first year",
        years=whole_years(len(middle) - 1),
        times=significant(middle[-1], 2),
    )


def price_chart(figures: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return the history up to today and the bands from there on."""
    fan, past = figures["price_fan"], figures["price_fan"]["history"]
    before = np.array(past["years"]) - past["years"][-1]
    year = np.arange(len(fan["p50"]))
    step = 10 if before[0] < -20 else 5
    ticks = list(range(int(before[0]) // step * step + step, int(year[-1]) + 1, step))
    scale = alt.Scale(domain=[int(before[0]), int(year[-1])], nice=False)
    axis = alt.Axis(title=say("years before and after the purchase"), values=ticks, format="d", titleAnchor="start")
    x = alt.X("year:Q", scale=scale, axis=axis)
    y = alt.Y("low:Q", axis=alt.Axis(tickCount=6, **upright_title(say("price over that of the first year"))))
    outer = alt.Chart(rows(year=year, low=fan["p5"], high=fan["p95"])).mark_area(color=PAPER["grid"], opacity=0.18)
    inner = alt.Chart(rows(year=year, low=fan["p25"], high=fan["p75"])).mark_area(color=PAPER["grid"], opacity=0.35)
    middle = alt.Chart(rows(year=year, low=fan["p50"])).mark_line(color=PAPER["grid"], strokeWidth=2.5)
    history = alt.Chart(rows(year=before, low=past["price_over_last"])).mark_line(color=PAPER["ink"], strokeWidth=1.5)
    today = alt.Chart(rows(year=[0])).mark_rule(color=PAPER["quiet"], strokeWidth=1.0).encode(x=alt.X("year:Q"))
    bands = [band.encode(x=x, y=y, y2=alt.Y2("high:Q")) for band in (outer, inner)]
    layers = layered(*bands, today, history.encode(x=x, y=y), middle.encode(x=x, y=y))
    return finished(layers, width=width - 90, height=260 if width >= WIDE else 220)
