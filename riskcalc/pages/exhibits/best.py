"""How often each choice beats doing nothing, and how often it is the best of all: tables and charts."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np

from riskcalc.pages.exhibit import Block, chart
from riskcalc.pages.exhibits.options import (
    but_nothing,
    by_best,
    choice_words,
    choices,
    clearly_best,
    homes_differ,
    labels,
)
from riskcalc.pages.figures import capital, error_of, money, percent, say, value_of
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, finished, layered, row_names, row_scale, rows, wrapped
from riskcalc.types import Figures


def best_block(result: Figures) -> Block:
    """Return how often each choice is the best, and what choosing it gives up."""
    shown, currency = by_best(result), result["currency"]
    names = [labels(result)[row["option"]] for row in shown]
    cells = [
        (
            name,
            percent(row["best_share"], with_error=True),
            money(row["expected_regret"], currency, with_error=True),
        )
        for name, row in zip(names, shown, strict=True)
    ]
    surest, title = clearly_best(result), say("How often each choice is the best")
    # Where another choice is ahead on average, the sentence above says why.
    if surest is not None and surest is choices(result)[0]:
        best, share = capital(choice_words(result, surest)), percent(surest["best_share"])
        title = say("{best} is best most often: in {share} of futures", best=best, share=share)
    return chart(
        result,
        "best",
        partial(best_chart, names, [value_of(row["best_share"]) for row in shown]),
        title=title,
        reading="Share of all futures in which it is the best choice.",
        alternative=say("{title}. Bars of the share of futures in which each choice is best.", title=title),
        table=(("choice", "best choice in", "how far behind the best choice, on average"), cells),
        columns={
            "choice": names,
            "share_best": [value_of(row["best_share"]) for row in shown],
            "standard_error": [error_of(row["best_share"]) for row in shown],
            "expected_regret": [row["expected_regret"]["value"] for row in shown],
        },
        kind="half",
    )


def gains_block(result: Figures) -> Block:
    """Return how often each choice brings more than doing nothing, in different homes than a savings account."""
    names, shares, means = _gains(result)
    title = say("How often each choice beats doing nothing")
    if homes_differ(result):
        title = say("How often each purchase beats a savings account")
    return chart(
        result,
        "gains",
        partial(gains_picture, result),
        title=title,
        reading="Share of all futures.",
        alternative=say("{title}. Bars of the share of futures.", title=title),
        table=(
            ("choice", "better in", "average worth"),
            [
                (
                    name,
                    percent(share, with_error=True),
                    money(mean, result["currency"], with_error=True),
                )
                for name, share, mean in zip(names, shares, means, strict=True)
            ],
        ),
        columns={
            "choice": names,
            "share_better": [value_of(share) for share in shares],
            "standard_error": [error_of(share) for share in shares],
        },
        kind="half",
    )


def _gains(result: Figures) -> tuple[list[str], list[Figures], list[Figures]]:
    """Return the names of the choices as the page lists them, the share of futures in which each is better, its mean worth.

    Choices that the list does not name follow, most often better first.
    """
    called, compared = labels(result), result.get("compared", ())
    place = {row["option"]: number for number, row in enumerate(compared)}

    def order(row: Figures) -> tuple[int, float]:
        return place.get(row["option"], len(place)), -value_of(row["net_present_value"]["gain_probability"])

    shown = sorted(but_nothing(result), key=order)
    worths = [row["net_present_value"] for row in shown]
    names = [called[row["option"]] for row in shown]
    return names, [worth["gain_probability"] for worth in worths], [worth["mean"] for worth in worths]


def gains_picture(result: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return the chart of the first screen: how often each choice beats doing nothing."""
    names, shares, _ = _gains(result)
    return best_chart(names, list(map(value_of, shares)), width=width)


def best_chart(names: Sequence[str], shares: Sequence[float], *, width: int) -> alt.TopLevelMixin:
    """Return one bar per name with its share of the futures in a column at the right."""
    share, place = np.array(shares), np.arange(len(names))
    x = alt.X("share:Q", scale=alt.Scale(domain=[0, 1.16], nice=False), axis=None)
    y = row_scale(len(names))
    lines, height = wrapped(names, width - 20)
    bars = (
        alt.Chart(rows(share=share, place=place))
        .mark_bar(size=9, color=PAPER["paid"])
        .encode(x=x, x2=alt.datum(0), y=y)
    )
    figures = (
        alt.Chart(rows(place=place, text=[percent(each) for each in shares]))
        .mark_text(align="right", baseline="middle", color=PAPER["ink"])
        .encode(x=alt.XValue(width - 10), y=y, text=alt.Text("text:N"))
    )
    return finished(layered(row_names(lines), bars, figures), width=width - 10, height=height)
