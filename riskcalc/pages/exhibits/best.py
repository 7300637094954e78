"""How often each choice is the best: its table and its chart."""

from __future__ import annotations

from functools import partial

import numpy as np

from riskcalc.pages.exhibit import Block, chart
from riskcalc.pages.exhibits.options import by_best, choice_words, choices, clearly_best, labels
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
    # Where another choice is ahead on average, the first screen says both in one paragraph.
    if surest is not None and surest is choices(result)[0]:
        best, share = capital(choice_words(result, surest)), percent(surest["best_share"])
        title = say("{best} is best most often: in {share} of futures", best=best, share=share)
    return chart(
        result,
        "best",
        partial(best_chart, result),
        title=title,
        reading="Share of all futures. The thin line shows how far it may be off.",
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


def best_chart(result: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return one bar per choice, largest first: the share of futures in which it is best, two standard errors either way."""
    shown = by_best(result)
    share = np.array([value_of(row["best_share"]) for row in shown])
    error = 2 * np.nan_to_num([error_of(row["best_share"]) for row in shown])
    place = np.arange(len(shown))
    x = alt.X("share:Q", scale=alt.Scale(domain=[0, 1.16], nice=False), axis=None)
    y = row_scale(len(shown))
    lines, height = wrapped([labels(result)[row["option"]] for row in shown], width - 20)
    low, high = np.clip(share - error, 0, 1), np.clip(share + error, 0, 1)
    bars = (
        alt.Chart(rows(share=share, place=place))
        .mark_bar(size=9, color=PAPER["paid"])
        .encode(x=x, x2=alt.datum(0), y=y)
    )
    reach = (
        alt.Chart(rows(share=low, high=high, place=place))
        .mark_rule(color=PAPER["ink"], strokeWidth=1.2)
        .encode(x=x, x2=alt.X2("high:Q"), y=y)
    )
    figures = (
        alt.Chart(rows(place=place, text=[percent(row["best_share"]) for row in shown]))
        .mark_text(align="right", baseline="middle", color=PAPER["ink"])
        .encode(x=alt.XValue(width - 10), y=y, text=alt.Text("text:N"))
    )
    return finished(layered(row_names(lines), bars, reach, figures), width=width - 10, height=height)
