"""A hundred futures as dots, by the year in which each pays back.

The dots are a quantile dot plot (Kay, Kola, Hullman and Munson 2016, "When (ish) is my bus?"): readers count dots
instead of reading areas. Futures that do not pay back stand apart, on the same scale, so that nothing is hidden.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial

import numpy as np
from numpy.typing import NDArray

from riskcalc.pages.exhibit import Block, chart
from riskcalc.pages.exhibits.payback import (
    beyond_words,
    by_stay,
    dot_shares,
    headline_years,
)
from riskcalc.pages.figures import say, whole_years
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, finished, layered, rows
from riskcalc.types import Figures, Floats

DOTS = 100
#: Room for the stacks in pixels, the largest dot with its margin, and the gap before the pile that does not pay back.
TALLEST, LARGEST, GAP = 330.0, 22.0, 1.5


def dots_per_year(within: Floats) -> NDArray[np.int64]:
    """Return how many of a hundred futures pay back in each year, and last how many do not, shape (N + 1,).

    `within` are the shares paid back by the end of each year, (N,). All that pay back are rounded together, so that the
    dots agree with the odds beside them; they are shared out among the years by largest remainder.
    """
    quota = DOTS * np.diff(within, prepend=0.0)
    paid = int(np.floor(quota.sum() + 0.5))
    whole = np.floor(quota + 1e-9).astype(np.int64)
    left = max(0, paid - int(whole.sum()))
    # Stable order: equal remainders go to the earlier year.
    order = np.argsort(whole - quota, kind="stable")
    whole[order[:left]] += 1
    return np.append(whole, DOTS - paid)


def futures_block(figures: Figures) -> Block:
    """Return the hundred futures."""
    horizon, (within, early) = headline_years(figures), dot_shares(figures)
    dots = dots_per_year(within)
    title = dots_title(figures, int(dots[-1]))
    names = [say("year {year}", year=year + 1) for year in range(horizon)] + [beyond_words(figures)]
    return chart(
        figures,
        "futures",
        partial(futures_chart, within, early, by_stay=by_stay(figures)),
        title=title,
        # Where permission may be refused these are the futures in which it is bought; the second part says so.
        reading="Each dot is 1 of 100 futures.",
        alternative=say(
            "{title}. Each dot stands over its year of payback. Those that do not pay back stand apart at the right.",
            title=title,
        ),
        table=_dots_table(names, dots, early),
        columns={
            "year": [*range(1, horizon + 1), "not within"],
            "futures_in_100": [*map(int, dots)],
            **({} if early is None else {"paid_back_before_a_move_in_100": [*map(int, early_dots(early, dots)), 0]}),
        },
        legend=() if early is None else LEGEND,
        kind="dots",
    )


#: Where the kit goes along: which dots count what it saves in later homes.
LEGEND = (("paid", "paid back before you move"), ("paid hollow", "paid back, but only after you move"))


def _dots_table(
    names: Sequence[str], dots: NDArray[np.int64], early: Floats | None
) -> tuple[Sequence[str], Sequence[Sequence[str]]]:
    """Return the dots as a table, with those paid back before a move where they are told apart."""
    if early is None:
        return ("pays back in", "of 100 futures"), [(name, str(many)) for name, many in zip(names, dots, strict=True)]
    before = [*map(str, early_dots(early, dots)), "–"]
    rows_ = [(name, str(many), few) for name, many, few in zip(names, dots, before, strict=True)]
    return ("pays back in", "of 100 futures", "before you move"), rows_


def early_dots(early: Floats, dots: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return how many dots of each year pay back before the first move, (N,): never more than the year has."""
    return np.minimum(dots_per_year(early)[:-1], dots[:-1])


#: The title by how many of a hundred futures pay back: within some years, or before the first move. The panel of own figures says
#: the same.
YEARS_TITLES = {
    "all_pay": "In all 100 futures the kit pays for itself within {years}",
    "none_pays": "The kit pays for itself within {years} in none of 100 futures",
    "some_pay": "In {count} of 100 futures the kit pays for itself within {years}",
}
STAY_TITLES = {
    "all_pay": "In all 100 futures the kit pays for itself before you move out",
    "none_pays": "The kit pays for itself before you move out in none of 100 futures",
    "some_pay": "In {count} of 100 futures the kit pays for itself before you move out",
}


def dots_title(figures: Figures, missing: int) -> str:
    """Return how many of a hundred futures pay back within the headline's years or stay, where `missing` do not."""
    titles = STAY_TITLES if by_stay(figures) else YEARS_TITLES
    kind = {0: "all_pay", DOTS: "none_pays"}.get(missing, "some_pay")
    years = whole_years(headline_years(figures))
    return say(titles[kind], count=DOTS - missing, years=years)


def futures_chart(
    within: Floats, early: Floats | None = None, *, width: int, by_stay: bool = False
) -> alt.TopLevelMixin:
    """Return the hundred dots; `within` and `early` as from `dot_shares`, within the stay of each future if `by_stay`."""
    dots = dots_per_year(within)
    beyond = (
        say("not within {years},\nor you move first", years=whole_years(len(within)))
        if by_stay
        else say("not within\n{years}", years=whole_years(len(within)))
    )
    count = len(within)
    slots, never_columns, height, cell = _grid(dots, width)
    columns = count * slots + GAP + never_columns
    full = dots[:-1] if early is None else early_dots(early, dots)
    x, y, kind = _places(dots, full, slots, never_columns)
    scale = alt.Scale(domain=[0, columns], nice=False)
    across = alt.X("x:Q", scale=scale, axis=None)
    kinds = ["paid", "later", "never"]
    inside = alt.Scale(domain=kinds, range=[PAPER["paid"], PAPER["paper"], PAPER["never"]])
    rim = alt.Scale(domain=kinds, range=[PAPER["paid"], PAPER["paid"], PAPER["never"]])
    marks = (
        alt.Chart(rows(x=x, y=y, kind=kind))
        .mark_point(size=(0.76 * cell) ** 2 * math.pi / 4, opacity=1, filled=True, strokeWidth=1.5)
        .encode(
            x=across,
            y=alt.Y("y:Q", scale=alt.Scale(domain=[0, height + 0.1], nice=False), axis=None),
            fill=alt.Fill("kind:N", legend=None, scale=inside),
            stroke=alt.Stroke("kind:N", legend=None, scale=rim),
        )
    )
    step = next((step for step in (1, 2, 5, 10) if step * slots * cell >= 26), 20)
    right = count * slots + GAP
    named = range(step, count + 1, step)
    feet = rows(x=[(year - 0.5) * slots for year in named], text=[str(year) for year in named])
    labels = (
        alt.Chart(feet)
        .mark_text(baseline="top", color=PAPER["quiet"])
        .encode(x=across, text=alt.Text("text:N"), y=alt.YValue(height * cell + 7))
    )
    never = (
        alt.Chart(rows(x=[right + never_columns]))
        .mark_text(
            baseline="top",
            align="right",
            color=PAPER["never"],
            text=beyond.split("\n"),
        )
        .encode(x=across, y=alt.YValue(height * cell + 24))
    )
    lines = (
        alt.Chart(rows(x=[0, right], x2=[count * slots, right + never_columns]))
        .mark_rule(color=PAPER["quiet"])
        .encode(x=across, x2=alt.X2("x2:Q"), y=alt.YValue(height * cell + 1))
    )
    title = (
        alt.Chart(rows(x=[0]))
        .mark_text(baseline="top", align="left", color=PAPER["quiet"], text=say("year of payback").split("\n"))
        .encode(x=across, y=alt.YValue(height * cell + 24))
    )
    layers = [lines, marks, labels, title, *([never] if dots[-1] else [])]
    return finished(layered(*layers), width=columns * cell, height=height * cell)


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


def _places(
    dots: NDArray[np.int64], full: NDArray[np.int64], slots: int, never_columns: int
) -> tuple[list[float], list[float], list[str]]:
    """Return centre and kind of every dot, in cells; stacks fill row by row from the ground, the full ones first."""
    x: list[float] = []
    y: list[float] = []
    kind: list[str] = []
    last = len(dots) - 1
    for index, many in enumerate(dots):
        wide = never_columns if index == last else slots
        left = index * slots + (GAP if index == last else 0)
        for dot in range(int(many)):
            # A last row that is not full is centred, so that one dot stands over its year.
            in_row = min(wide, int(many) - dot // wide * wide)
            x.append(left + (wide - in_row) / 2 + dot % wide + 0.5)
            y.append(dot // wide + 0.5)
            kind.append("never" if index == last else "paid" if dot < full[index] else "later")
    return x, y, kind
