"""What decides it: shares of the variance, how far each input swings the worth, and the odds at each end."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from itertools import pairwise
from typing import Any, Literal

import numpy as np

from riskcalc.pages.exhibit import Block, chart, table, words
from riskcalc.pages.figures import (
    UNKNOWN,
    capital,
    counted,
    error_of,
    estimate,
    listed,
    lower,
    money,
    percent,
    say,
    short,
    value_of,
    whole_years,
    with_unit,
)
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, finished, layered, row_scale, rows, short_names
from riskcalc.types import Figures

#: More rows than this make a chart nobody reads; the table holds them all.
MOST_ROWS, ROW_HEIGHT = 10, 42
#: Share of the spread below which nobody asks who comes first; our own choice.
LEAST_NAMED = 0.05
#: Share of the spread that the heading counts inputs up to; our own choice.
HALF = 0.5


def ranked(figures: Figures) -> list[Figures]:
    """Return the inputs and chances by their share of the variance; what is left to interactions is no row."""
    return [row for row in figures["ranking"] if "effect" in row]


def decides_finding(figures: Figures) -> str:
    """Return how few inputs explain half of the spread of worth, "" without a ranking."""
    shares = sorted((value_of(row["share_of_variance"]) for row in ranked(figures)), reverse=True)
    if not shares:
        return ""
    reached = np.cumsum(shares) >= HALF
    if not reached.any():
        return "Most of the spread in the result comes from how the inputs combine"
    return counted(
        "A single input explains at least half of the spread in the result",
        "{count} inputs together explain half of the spread in the result",
        int(np.argmax(reached)) + 1,
    )


def share_block(figures: Figures) -> Block:
    """Return the shares of the variance of worth."""
    ranking = ranked(figures)
    title = share_title(ranking)
    shares = [row["share_of_variance"] for row in ranking]
    reading = say(
        "Share of the variance of the net present value that would go away if this one input were known. The line is "
        "two standard errors either way."
    )
    ties = ties_words(ranking)
    return chart(
        figures,
        "share",
        partial(share_chart, [row["label"] for row in ranking], shares),
        title=title,
        reading=f"{reading} {ties}" if ties else reading,
        alternative=say("{title}. Bars of shares of the variance of worth, largest first.", title=title),
        table=(
            ("input", "family", "share of the variance"),
            [
                (capital(row["label"]), row["family"], percent(row["share_of_variance"], with_error=True))
                for row in ranking
            ],
        ),
        columns={
            "key": [row["key"] for row in ranking],
            "label": [row["label"] for row in ranking],
            "family": [row["family"] for row in ranking],
            "share_of_variance": [value_of(share) for share in shares],
            "standard_error": [error_of(share) for share in shares],
        },
        kind="half",
    )


def share_title(ranking: Sequence[Figures]) -> str:
    """Return what decides most; two are named where their standard errors cannot tell them apart."""
    first, *others = ranking
    share = first["share_of_variance"]
    if not others or _apart(share, others[0]["share_of_variance"]):
        return say(
            "{input} decides most: {share} of the spread in worth", input=short(first["label"]), share=percent(share)
        )
    both = value_of(share) + value_of(others[0]["share_of_variance"])
    return say(
        "{input} and {second} decide most: together {share} of the spread in worth",
        input=short(first["label"]),
        second=lower(short(others[0]["label"])),
        share=percent(both, se=UNKNOWN),
    )


def ties_words(ranking: Sequence[Figures]) -> str:
    """Return which neighbours among the first four the draws do not part, "" where they part all that matter."""
    groups: list[list[str]] = []
    together = False
    for one, other in pairwise(ranking[:4]):
        first, second = one["share_of_variance"], other["share_of_variance"]
        if _apart(first, second) or value_of(first) < LEAST_NAMED:
            together = False
            continue
        if not together:
            groups.append([short(one["label"])])
        groups[-1].append(lower(short(other["label"])))
        together = True
    return " ".join(say("Not sure which matters more: {names}.", names=listed(names)) for names in groups)


def swing_block(figures: Figures) -> Block | None:
    """Return the worth at the low and high end of each input; None where nothing has two ends."""
    moving, currency, only = swings(figures), figures["currency"], figures.get("page", {}).get("units", {})
    if not moving:
        return None
    title = swing_title(moving, currency)
    ends = [row["input_at_10_and_90_percent"] or (None, None) for row in moving]

    def end(row: Figures, value: float | None, name: str) -> str:
        return name if value is None else with_unit(value, only.get(row["key"], ""))

    cells = [
        (
            capital(row["label"]),
            end(row, low, say("low end")),
            money(worth_at(row, 10), currency),
            end(row, high, say("high end")),
            money(worth_at(row, 90), currency),
        )
        for row, (low, high) in zip(moving, ends, strict=True)
    ]
    return chart(
        figures,
        "swing",
        partial(swing_chart, moving, currency=currency),
        title=title,
        reading="Average worth with the input at its low end (hollow: one future in ten is lower) and at its high end "
        "(full). Everything else is still uncertain.",
        alternative=say("{title}. For each input, the average worth at its low and high end.", title=title),
        table=(("input", "low end", "worth there", "high end", "worth there"), cells),
        columns={
            "key": [row["key"] for row in moving],
            "label": [row["label"] for row in moving],
            "low_end": [np.nan if low is None else low for low, _ in ends],
            "worth_at_low_end": [row["worth_at_10_percent"] for row in moving],
            "high_end": [np.nan if high is None else high for _, high in ends],
            "worth_at_high_end": [row["worth_at_90_percent"] for row in moving],
        },
        kind="half",
    )


def swings(figures: Figures) -> list[Figures]:
    """Return the rows that have a low and a high end, widest swing first."""
    moving = [row for row in ranked(figures) if row["worth_at_10_percent"] is not None]
    return sorted(moving, key=lambda row: -abs(row["worth_at_90_percent"] - row["worth_at_10_percent"]))


def worth_at(row: Figures, level: int) -> dict[str, Any]:
    """Return the average worth at an end of an input, with the standard error of the effect."""
    return estimate(row[f"worth_at_{level}_percent"], row["effect"]["standard_error"])


def swing_title(moving: Sequence[Figures], currency: str) -> str:
    """Return the widest swing."""
    widest = moving[0]
    se = float(np.sqrt(2.0) * error_of(widest["effect"]))
    width = abs(widest["worth_at_90_percent"] - widest["worth_at_10_percent"])
    return say(
        "{input} moves the worth by {amount} from its low to its high end",
        input=short(widest["label"]),
        amount=money(width, currency, se=se),
    )


def odds_movers(figures: Figures) -> list[Figures]:
    """Return the inputs that move the odds of payback by more than chance would, strongest first as ranked."""
    found = figures.get("odds_ranking")
    return [row for row in found["factors"] if row["odds_gap"] > found["gap_of_no_effect"]] if found else []


def odds_finding(figures: Figures) -> str:
    """Return what moves the odds of payback most, "" where nothing does."""
    moving = odds_movers(figures)
    if not moving:
        return ""
    first = moving[0]
    return say(
        "{input} moves the odds most: {low} at its low end, {high} at its high end",
        input=short(first["label"]),
        low=percent(first["odds_at_10_percent"]),
        high=percent(first["odds_at_90_percent"]),
    )


def odds_table(figures: Figures) -> Iterator[Block]:
    """Yield what decides the odds of payback: the odds near the low and high end of each input."""
    cells = [
        (
            capital(row["label"]),
            percent(row["odds_gap"]),
            percent(row["odds_at_10_percent"]),
            percent(row["odds_at_90_percent"]),
        )
        for row in odds_movers(figures)
    ]
    if not cells:
        return
    found = figures["odds_ranking"]
    title = say(
        "What moves the odds of payback within {years} ({odds} overall)",
        years=whole_years(found["within_years"]),
        odds=percent(found["odds"]),
    )
    yield words(title, "h3")
    yield words(
        say(
            "For each input, the futures are sorted into ten groups. The gap is the average distance between a group's odds and "
            "the overall odds. A gap below {least} may be chance and is left out.",
            least=percent(found["gap_of_no_effect"]),
        ),
        "reading",
    )
    yield table(title, ("input", "gap", "odds at its low end", "odds at its high end"), cells)


def plain_shares(labels: Sequence[str], shares: Sequence[float], *, width: int) -> alt.TopLevelMixin:
    """Return one bar per input and nothing but its name."""
    place, top = np.arange(len(shares)), max([*shares, 0.05])
    bars = (
        alt.Chart(rows(share=shares, place=place))
        .mark_bar(size=9, color=PAPER["paid"])
        .encode(
            x=alt.X("share:Q", scale=alt.Scale(domain=[0.0, top], nice=False), axis=None),
            x2=alt.datum(0),
            y=row_scale(len(shares)),
        )
    )
    return finished(layered(short_names(labels), bars), width=width - 10, height=ROW_HEIGHT * len(shares))


def share_chart(labels: Sequence[str], shares: Sequence[Figures], *, width: int) -> alt.TopLevelMixin:
    """Return one bar per input, its share of the variance of worth, with two standard errors either way."""
    labels, shares = labels[:MOST_ROWS], shares[:MOST_ROWS]
    share = np.array([value_of(figure) for figure in shares])
    error = 2 * np.nan_to_num([error_of(figure) for figure in shares])
    place, count = np.arange(len(shares)), len(shares)
    top = max(float((share + error).max()), 0.05)
    domain = [min(0.0, float((share - error).min())), top * 1.16]
    x = alt.X("share:Q", scale=alt.Scale(domain=domain, nice=False), axis=None)
    y = row_scale(count)
    bars = (
        alt.Chart(rows(zero=[0.0] * count, share=share, place=place))
        .mark_bar(size=9, color=PAPER["paid"])
        .encode(x=x, x2=alt.datum(0), y=y)
    )
    reach = (
        alt.Chart(rows(share=share - error, high=share + error, place=place))
        .mark_rule(color=PAPER["ink"], strokeWidth=1.2)
        .encode(x=x, x2=alt.X2("high:Q"), y=y)
    )
    said = [percent(figure) if value_of(figure) > 0 else "0 %" for figure in shares]
    figures = (
        alt.Chart(rows(place=place, text=said))
        .mark_text(align="right", baseline="middle", color=PAPER["ink"])
        .encode(x=alt.XValue(width - 10), y=y, text=alt.Text("text:N"))
    )
    zero = (
        alt.Chart(rows(share=[0.0] * count, low=place - 0.17, high=place + 0.17))
        .mark_rule(color=PAPER["quiet"], strokeWidth=1)
        .encode(x=x, y=row_scale(count, "low:Q"), y2=alt.Y2("high:Q"))
    )
    layers = layered(short_names(labels), bars, zero, reach, figures)
    return finished(layers, width=width - 10, height=ROW_HEIGHT * count)


def swing_chart(moving: Sequence[Figures], *, currency: str, width: int) -> alt.TopLevelMixin:
    """Return the mean worth with each input low (hollow) and high (full), others drawn."""
    shown = moving[:MOST_ROWS]
    low = np.array([row["worth_at_10_percent"] for row in shown], dtype=np.float64)
    high = np.array([row["worth_at_90_percent"] for row in shown], dtype=np.float64)
    place = np.arange(len(shown))
    left, right = float(min(low.min(), high.min())), float(max(low.max(), high.max()))
    room = max(0.21 * (right - left), 1.0)
    x = alt.X("low:Q", scale=alt.Scale(domain=[left - room, right + room], nice=False), axis=None)
    y = row_scale(len(shown))
    data = alt.Chart(rows(low=low, high=high, place=place))
    line = data.mark_rule(color=PAPER["paid"], strokeWidth=3, opacity=0.45).encode(x=x, x2=alt.X2("high:Q"), y=y)
    hollow = data.mark_point(
        filled=True, size=75, color=PAPER["paper"], stroke=PAPER["paid"], strokeWidth=2, opacity=1
    ).encode(x=x, y=y)
    full = data.mark_point(filled=True, size=90, color=PAPER["paid"], opacity=1).encode(
        x=alt.X("high:Q", axis=None), y=y
    )
    ends = [worth_at(row, 10) for row in shown] + [worth_at(row, 90) for row in shown]
    at, twice = np.concatenate([low, high]), np.concatenate([place, place])
    outward = np.where(at >= np.concatenate([high, low]), "right", "left")
    texts = [money(end, currency) for end in ends]
    sides: list[tuple[str, Literal["left", "right"], int]] = [("left", "right", -8), ("right", "left", 8)]
    labels = [
        alt.Chart(
            rows(
                low=at[outward == side],
                place=twice[outward == side],
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
    layers = layered(*inside, short_names([row["label"] for row in shown]), line, hollow, full, *labels)
    return finished(layers, width=width - 10, height=ROW_HEIGHT * len(shown))


def _apart(one: Figures, other: Figures) -> bool:
    return bool(value_of(one) - value_of(other) > 2 * np.hypot(error_of(one), error_of(other)))
