"""What each choice is worth, and how far that spreads: its words, its table and its chart."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np

from riskcalc.pages.exhibit import Block, chart
from riskcalc.pages.exhibits.options import choices, first_word, in_sentence, labels, title_of
from riskcalc.pages.figures import money, percent, say, years
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, finished, layered, row_names, row_scale, rows, wrapped
from riskcalc.types import Figures, Floats


def spread_block(result: Figures, *, key: str = "spread", most: int | None = None) -> Block:
    """Return the spread of worth of each choice, of the `most` best ones if there are more."""
    shown, currency, horizon = choices(result)[:most], result["currency"], result.get("horizon_years", 0)
    names, (levels, means) = [labels(result)[row["option"]] for row in shown], _levels(shown)
    cells = [
        (
            name,
            money(row["net_present_value"]["mean"], currency, with_error=True),
            money(row["net_present_value"]["p5"], currency),
            money(row["net_present_value"]["p95"], currency),
            percent(row["net_present_value"]["loss_probability"]),
            percent(row["paid_back_share"]) if "paid_back_share" in row else "–",
            years(row["payback_years"]["p50"], horizon=horizon) if "payback_years" in row else "–",
        )
        for name, row in zip(names, shown, strict=True)
    ]
    header = (
        "choice",
        "average",
        "1 in 20 is below",
        "1 in 20 is above",
        "savings would bring more",
        "pay back",
        "half within",
    )
    title = spread_title(shown[0], currency)
    return chart(
        result,
        key,
        partial(spread_chart, result, most=most),
        title=title,
        reading="Net present value against doing nothing under the tariff of today. Thin line: nine futures in ten. Thick "
        "line: the middle half. Dot: the average.",
        alternative=say("{title}. For each choice the range of its net present value.", title=title),
        table=(header, cells),
        columns={
            "choice": names,
            "mean": means,
            **{name: levels[:, index] for index, name in enumerate(("p5", "p25", "p75", "p95"))},
        },
    )


def worth_finding(result: Figures) -> str:
    """Return the average worth of the best choice and of the next."""
    first, *others = choices(result)
    amounts = [money(row["net_present_value"]["mean"], result["currency"]) for row in (first, *others)]
    best = first_word(in_sentence(title_of(first)))
    if not others:
        return say("{best} is worth {amount} on average", best=best, amount=amounts[0])
    return say(
        "{best} is worth {amount} on average, {next} {next_amount}",
        best=best,
        amount=amounts[0],
        next=in_sentence(title_of(others[0])),
        next_amount=amounts[1],
    )


def spread_title(leader: Figures, currency: str) -> str:
    """Return the finding of the chart of worth."""
    low, high = (leader["net_present_value"][name] for name in ("p5", "p95"))
    best = first_word(in_sentence(title_of(leader)))
    if low["value"] == high["value"]:
        return say("{best} has the highest average worth", best=best)
    return say(
        "{best} has the highest average worth; nine in ten of its futures end between {low} and {high}",
        best=best,
        low=money(low, currency),
        high=money(high, currency),
    )


def spread_chart(result: Figures, *, width: int, most: int | None = None) -> alt.TopLevelMixin:
    """Return the spread of worth of each choice: nine in ten futures, the middle half, the average."""
    shown = choices(result)[:most]
    levels, means = _levels(shown)
    place = np.arange(len(shown))
    low, high = float(min(levels.min(), 0.0)), float(max(levels.max(), 0.0))
    room = max(0.03 * (high - low), 1.0)
    axis = alt.Axis(
        title=say("net present value in {currency}, money of today", currency=result["currency"]),
        format=",.0f",
        tickCount=width // 110,
        titleAnchor="start",
        orient="bottom",
    )
    x = alt.X("low:Q", scale=alt.Scale(domain=[low - room, high + room], nice=False), axis=axis)
    y = row_scale(len(shown))
    lines, height = wrapped([labels(result)[row["option"]] for row in shown], width - 30)

    def rule(left: int, right: int, **look: Any) -> alt.Chart:
        data = alt.Chart(rows(low=levels[:, left], high=levels[:, right], place=place))
        return data.mark_rule(color=PAPER["paid"], **look).encode(x=x, x2=alt.X2("high:Q"), y=y)

    dots = (
        alt.Chart(rows(low=means, place=place))
        .mark_point(filled=True, size=80, color=PAPER["paper"], stroke=PAPER["ink"], strokeWidth=2, opacity=1)
        .encode(x=x, y=y)
    )
    zero = alt.Chart(rows(low=[0.0])).mark_rule(color=PAPER["ink"], strokeWidth=1.2).encode(x=x)
    layers = (zero, row_names(lines), rule(0, 3, strokeWidth=3, opacity=0.4), rule(1, 2, strokeWidth=9), dots)
    return finished(layered(*layers), width=width - 20, height=height)


def _levels(shown: Sequence[Figures]) -> tuple[Floats, Floats]:
    """Return the 5, 25, 75 and 95 % points of each choice (choices, 4), and its mean (choices,)."""
    worths = [row["net_present_value"] for row in shown]
    levels = np.array([[worth[name]["value"] for name in ("p5", "p25", "p75", "p95")] for worth in worths])
    return levels, np.array([worth["mean"]["value"] for worth in worths])
