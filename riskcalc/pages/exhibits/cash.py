"""What the money does over the years: the running balance."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from riskcalc.pages.exhibit import Block, chart
from riskcalc.pages.figures import UNKNOWN, money, percent, say, value_of, whole_years
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, WIDE, finished, layered, rows, upright_title, years_axis
from riskcalc.types import Figures

LEVELS = {"p5": "5 %", "p25": "25 %", "p50": "50 %", "p75": "75 %", "p95": "95 %"}


def cash_block(figures: Figures) -> Block:
    """Return the balance over the years."""
    curves, currency = fan(figures), figures["currency"]
    above = figures["cash_balance"]["share_above_zero"]
    cells = [
        (str(year), *(money(float(value), currency, se=UNKNOWN) for value in column), percent(share))
        for year, (column, share) in enumerate(zip(curves.T, above, strict=True))
    ]
    refused = 1.0 - value_of(figures["bought_share"])
    title = cash_title(figures)
    reading = say(
        "The household's own money: the purchase, then savings less costs, added up year by year. The dark band holds "
        "the middle half of the futures, the light band nine in ten. A single future may move between the bands."
    )
    if refused > 0.0:
        reading += " " + say(
            "In {share} of the futures permission is refused and nothing is bought. These stay at zero; "
            "the last column of the table leaves them out.",
            share=percent(refused),
        )
    return chart(
        figures,
        "cash",
        partial(cash_chart, figures),
        title=title,
        reading=reading,
        alternative=say(
            "{title}. Bands of the balance against years, from {start} on the day of purchase.",
            title=title,
            start=money(float(curves[2, 0]), currency, se=UNKNOWN),
        ),
        legend=(("paid line", "middle future"), ("paid", "half of the futures, and nine in ten")),
        table=(
            ("year", *(say("{share} are below", share=name) for name in LEVELS.values()), "at or above zero"),
            cells,
        ),
        columns={
            "year": range(curves.shape[1]),
            **{f"balance_{name}": row for name, row in zip(LEVELS, curves, strict=True)},
            "share_above_zero": above,
        },
    )


def fan(figures: Figures) -> NDArray[np.float64]:
    """Return the balance at the five levels, (5, N + 1), from the day of purchase on."""
    return np.array([figures["cash_balance"][name] for name in LEVELS])


def cash_title(figures: Figures) -> str:
    """Return where the middle future stands at the end."""
    end, horizon = float(fan(figures)[2, -1]), whole_years(figures["horizon_years"])
    amount = money(abs(end), figures["currency"], se=UNKNOWN)
    message = (
        "After {years} the middle future is {amount} ahead, savings interest not counted"
        if end >= 0
        else "After {years} the middle future is {amount} short, savings interest not counted"
    )
    return say(message, years=horizon, amount=amount)


def cash_chart(figures: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return the balance over the years: nine in ten futures, the middle half, the middle one."""
    curves = fan(figures)
    low, lower, middle, upper, high = curves
    year = np.arange(curves.shape[1])
    plot_width = width - 150
    x = years_axis(int(year[-1]), pixels=plot_width, title="years after the purchase", line=False)
    title = upright_title(say("balance in {currency}, money of the day", currency=figures["currency"]))
    y = alt.Y("low:Q", axis=alt.Axis(format=",.0f", tickCount=6, **title))
    outer = alt.Chart(rows(year=year, low=low, high=high)).mark_area(color=PAPER["paid"], opacity=0.18)
    inner = alt.Chart(rows(year=year, low=lower, high=upper)).mark_area(color=PAPER["paid"], opacity=0.35)
    line = alt.Chart(rows(year=year, low=middle)).mark_line(color=PAPER["paid"], strokeWidth=2.5)
    zero = alt.Chart(rows(low=[0])).mark_rule(color=PAPER["ink"], strokeWidth=1.2).encode(y=alt.Y("low:Q"))
    layers = layered(
        outer.encode(x=x, y=y, y2=alt.Y2("high:Q")),
        inner.encode(x=x, y=y, y2=alt.Y2("high:Q")),
        zero,
        line.encode(x=x, y=y),
        _end_labels(curves),
    )
    return finished(layers, width=plot_width, height=300 if width >= WIDE else 250)


def _end_labels(curves: NDArray[np.float64]) -> alt.Chart:
    """Return the names of the three curves that end at the right, moved apart where they would touch."""
    ends = curves[:, -1]
    scale = max(float(np.ptp(curves)), 1e-9)
    low = min(ends[0], ends[2] - 0.09 * scale)
    high = max(ends[4], ends[2] + 0.09 * scale)
    names = [say("1 in 20 below"), say("middle future"), say("1 in 20 above")]
    places = rows(year=[curves.shape[1] - 1] * 3, low=[low, ends[2], high], text=names)
    return (
        alt.Chart(places)
        .mark_text(align="left", dx=6, color=PAPER["quiet"], fontSize=11)
        .encode(x=alt.X("year:Q"), y=alt.Y("low:Q"), text=alt.Text("text:N"))
    )
