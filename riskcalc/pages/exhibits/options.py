"""Options side by side: how often each is best, the spread of its worth, one against another, length of stay."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

import altair as alt
import numpy as np

from riskcalc.language import told, translated
from riskcalc.pages.exhibit import Block, chart, items, table, words
from riskcalc.pages.exhibits.answer import refused_share_words
from riskcalc.pages.figures import (
    UNKNOWN,
    counted,
    error_of,
    frequency,
    grouped,
    money,
    number,
    percent,
    say,
    significant,
    value_of,
    whole_years,
    years,
)
from riskcalc.pages.look import PAPER, WIDE, finished, row_names, row_scale, rows, upright_title, years_axis
from riskcalc.types import Figures, Floats

#: Options that are always there are called by what to do; within a sentence they need a noun.
DEEDS = {
    "do nothing": "doing nothing",
    "only change the tariff": "only changing the tariff",
    "put the money in savings": "putting the money in savings",
}
#: What dominance of each order means to the buyer.
ORDER_WORDS = {
    0: "{better} is at least as good as {worse} in every future, and better in some.",
    1: "For any target amount, {better} is at least as likely as {worse} to reach it.",
    2: "Any risk-averse buyer prefers {better} to {worse}.",
}
#: Height of a row with its name on one line, of every further line of the name, and the width of a letter [px].
ROW_HEIGHT, LINE_HEIGHT, LETTER_PX = 42, 15, 6.4
#: Colours of the lines of several options, in order; each line also has a letter at its end.
LINES = ("paid", "never", "battery", "solar", "unmet", "grid")


def choices(result: Figures) -> list[Figures]:
    """Return the options that are choices of their own, best average worth first."""
    return [row for row in result["options"] if row["same_as"] is None]


def title_of(row: Figures) -> str:
    """Return what a reader calls an option."""
    return str(row.get("title") or row["option"])


def titles(result: Figures) -> dict[str, str]:
    """Return what a reader calls each option, by its name."""
    return {row["option"]: title_of(row) for row in result["options"]}


def letters(result: Figures) -> dict[str, str]:
    """Return how each option is called in short: its letter on the page, or what it means to do."""
    known = {row["option"]: row["letter"] for row in result.get("compared", ())}
    return {name: known.get(name, in_sentence(title)) for name, title in titles(result).items()}


def labels(result: Figures) -> dict[str, str]:
    """Return how each option is called in drawings and tables: its title, with its letter in front."""
    known = {row["option"]: f"{row['letter']} · " for row in result.get("compared", ())}
    return {name: known.get(name, "") + own_or_ours(title) for name, title in titles(result).items()}


def own_or_ours(title: str) -> str:
    """Return the title of an option in the reader's language where it is one of ours, with what follows it as it is."""
    deed = next((deed for deed in DEEDS if title.startswith(deed)), "")
    return translated(deed) + title[len(deed) :] if deed else told(title)


def in_sentence(name: str) -> str:
    """Return the name of an option as a noun: what tells to do something becomes the doing of it.

    A title of several words stands between quotation marks, or the sentence around it could not be read.
    """
    titled = say("“{name}”", name=told(name)) if " " in name else name
    return next((say(noun) + name[len(deed) :] for deed, noun in DEEDS.items() if name.startswith(deed)), titled)


def first_word(text: str) -> str:
    """Return a noun of ours with a capital, to begin a sentence; the name of a scenario stays as it is written."""
    return text[:1].upper() + text[1:] if text.startswith(tuple(map(say, DEEDS.values()))) else text


#: What is best on average, and what is best more often where that is something else; the panel of own figures says both.
LEADS = "{best} leaves you best off on average."
SUREST = "{surest} is the best choice more often: in {share}."


def opening(result: Figures) -> str:
    """Return the sentences that answer which is best, by how much, and how sure that is."""
    draws = result["provenance"]["draws"]
    leader = choices(result)[0]
    surest = max(choices(result), key=lambda row: row["best_share"]["value"])
    share, best = frequency(surest["best_share"], draws), first_word(in_sentence(title_of(leader)))
    if leader is surest:
        told = [say("{best} is the best choice in {share}.", best=best, share=share), margin(result)]
    else:
        other = first_word(in_sentence(title_of(surest)))
        told = [say(LEADS, best=best), margin(result, led=True), say(SUREST, surest=other, share=share)]
    return " ".join(filter(None, told))


def margin(result: Figures, *, led: bool = False) -> str:
    """Return how far the best is ahead of the next, or that the draws cannot tell them apart; `led` follows `LEADS`."""
    leader, *others = choices(result)
    if not others:
        return ""
    names = {leader["option"], others[0]["option"]}
    pair = next(row for row in result["pairs"] if {row["first"], row["second"]} == names)
    mean, currency = pair["difference"]["mean"], result["currency"]
    value, se, other = value_of(mean), error_of(mean), in_sentence(title_of(others[0]))
    if value == 0.0 and se == 0.0:
        return say("It comes to exactly the same as {other} in every future.", other=other)
    if abs(value) < 2 * se:
        lead = money(abs(value), currency, se=se)
        return say("Its lead over {other} is too small to call: {lead} on average.", other=other, lead=lead)
    lead = money(abs(value), currency, se=se)
    if led:
        return say("That is {lead} more than the next best choice, {other}.", lead=lead, other=other)
    return say("On average it leaves you {lead} better off than the next best choice, {other}.", lead=lead, other=other)


def risk_words(result: Figures) -> str:
    """Return how often the best on average pays for itself and how often it loses; empty for what is not bought."""
    leader, draws = choices(result)[0], result["provenance"]["draws"]
    if "paid_back_share" not in leader:
        return ""
    message, parts = (
        "{best} pays for itself within {years} in {paid}. It leaves you worse off than doing nothing in {lost}.",
        {"best": first_word(in_sentence(title_of(leader)))},
    )
    in_stay, refused = leader.get("paid_back_within_stay_share"), leader.get("refused_share")
    if in_stay:
        message = (
            "{best} pays for itself before you move in {in_stay}, and within {years} in {paid}. It leaves you worse off than "
            "doing nothing in {lost}."
        )
        parts |= {"in_stay": frequency(in_stay, draws)}
    said = say(
        message,
        years=whole_years(result["horizon_years"]),
        paid=frequency(leader["paid_back_share"], draws),
        lost=frequency(leader["net_present_value"]["loss_probability"], draws),
        **parts,
    )
    also = "" if refused is None else refused_share_words(refused)
    return f"{said} {also}" if also else said


def regret_words(result: Figures) -> str:
    """Return what choosing the best on average still costs, which is what knowing the future would be worth."""
    if not value_of(result["value_of_knowing"]):
        return say("Even if you knew the future, you would choose the same.")
    return say(
        "Even if you knew the future, you would gain only {amount} on average. Do not spend more than that on finding out.",
        amount=money(result["value_of_knowing"], result["currency"]),
    )


def dominance_words(row: Figures, called: Mapping[str, str]) -> str:
    """Return what dominance says about a pair, empty where neither dominates."""
    if row["dominating"] is None:
        return ""
    worse = row["second"] if row["dominating"] == row["first"] else row["first"]
    better, worse = (in_sentence(called.get(name, name)) for name in (row["dominating"], worse))
    return say(ORDER_WORDS[row["dominance_order"]], better=better, worse=worse)


#: By what happens at a move to the kit of the option that comes out ahead; None where it has none, or it is not known.
STAY_MESSAGES = {
    None: "{ahead} comes out ahead of {behind} on average if the household stays {stay} or more.",
    "take": "{ahead} comes out ahead of {behind} on average if the household stays {stay} or more; at a move the kit goes "
    "along and works on in the next home.",
    "sell": "{ahead} comes out ahead of {behind} on average if the household stays {stay} or more; at a move the kit is sold.",
    "leave": "{ahead} comes out ahead of {behind} on average if the household stays {stay} or more; at a move the kit is left "
    "with the home.",
}


def stay_words(row: Figures, called: Mapping[str, str], *, horizon: int = 0) -> str:
    """Return how long a household must stay for the first of two options to come out ahead of the second."""
    at = row["break_even_years"]
    first, second = (in_sentence(called.get(row[place], row[place])) for place in ("first", "second"))
    if at["value"] is None:
        last = row["stays"][-1]["difference"]["value"]
        if last == 0.0:
            message = "{first} and {second} are worth the same to a household that never moves."
            return say(message, first=first_word(first), second=second)
        ahead, behind = (first, second) if last > 0.0 else (second, first)
        message = "{ahead} is ahead of {behind} on average, however long the household stays."
        return say(message, ahead=first_word(ahead), behind=behind)
    ahead, behind = (first, second) if row["better_after"] == row["first"] else (second, first)
    place = "first" if row["better_after"] == row["first"] else "second"
    message = STAY_MESSAGES[(row.get("at_move") or {}).get(place)]
    return say(message, ahead=first_word(ahead), behind=behind, stay=years(at, horizon=horizon, with_error=True))


def best_block(result: Figures) -> Block:
    """Return how often each choice is the best, and what choosing it gives up."""
    shown, currency = choices(result), result["currency"]
    names = [labels(result)[row["option"]] for row in shown]
    cells = [
        (
            name,
            percent(row["best_share"], with_error=True),
            money(row["expected_regret"], currency, with_error=True),
        )
        for name, row in zip(names, shown, strict=True)
    ]
    surest = max(shown, key=lambda row: row["best_share"]["value"])
    title = say(
        "{best} is best in {share} of the futures",
        best=first_word(in_sentence(title_of(surest))),
        share=percent(surest["best_share"]),
    )
    return chart(
        result,
        "best",
        lambda width: best_chart(result, width=width),
        title=title,
        reading="In how many futures each choice is the best. Where several choices tie, each gets a part of the future. "
        "The true share very likely lies within the line (two standard errors either way).",
        alternative=say("{title}. Bars of the share of futures in which each choice is best.", title=title),
        table=(("choice", "best in", "how far behind the best choice, on average"), cells),
        columns={
            "choice": names,
            "share_best": [value_of(row["best_share"]) for row in shown],
            "standard_error": [error_of(row["best_share"]) for row in shown],
            "expected_regret": [row["expected_regret"]["value"] for row in shown],
        },
        kind="half",
    )


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
    header = ("choice", "average", "1 in 20 is below", "1 in 20 is above", "lose money", "pay back", "half within")
    title = spread_title(shown[0], currency)
    return chart(
        result,
        key,
        lambda width: spread_chart(result, width=width, most=most),
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


def pairs_finding(result: Figures) -> str:
    """Return how often the best choice on average is ahead of the next."""
    first, *others = choices(result)
    if not others:
        return ""
    names = {first["option"], others[0]["option"]}
    pair = next(row for row in result["pairs"] if {row["first"], row["second"]} == names)
    return say(
        "{first} is ahead of {second} in {share} of the futures",
        first=first_word(in_sentence(titles(result)[pair["first"]])),
        second=in_sentence(titles(result)[pair["second"]]),
        share=percent(pair["first_better_share"]),
    )


def stay_finding(result: Figures) -> str:
    """Return in how many comparisons the length of stay turns the order."""
    rows = result.get("length_of_stay") or ()
    turned = sum(row["break_even_years"]["value"] is not None for row in rows)
    if not turned:
        return "How long the household stays does not change which is ahead"
    return say("The length of stay turns {turned} of {count} comparisons", turned=turned, count=len(rows))


def differs_finding(result: Figures) -> str:
    """Return in how many settings the options differ."""
    count = len(result["differing"])
    if not count:
        return "The options agree in every setting"
    return counted("The options differ in {count} setting", "The options differ in {count} settings", count)


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


def pair_blocks(result: Figures) -> Iterator[Block]:
    """Yield the differences of worth of every pair, where one dominates, and how precise they are."""
    called, currency = letters(result), result["currency"]
    yield words("Difference of worth in each future. The range holds nine futures in ten.", "reading")
    if result.get("compared"):
        names = [f"{row['letter']}: {row['title']}" for row in result["compared"]]
        yield words(f"{'; '.join(names)}.", "reading")
    cells = [pair_cells(row, called, currency) for row in result["pairs"]]
    yield table("Differences of worth", ("difference", "average", "nine in ten", "first ahead in"), cells, stacked=True)
    dominated = [said for row in result["pairs"] if (said := dominance_words(row, titles(result)))]
    if dominated:
        yield words("Where one is better throughout", "h3")
        yield items(tuple(first_word(said) for said in dominated))
        yield words("This holds for the futures drawn. With others, a near tie may turn out differently.", "small")
    gains = [
        say(
            "{first} less {second}: {gain} times",
            first=called[row["first"]],
            second=called[row["second"]],
            gain=significant(row["gain_of_common_draws"], 2),
        )
        for row in result["pairs"]
        if row["gain_of_common_draws"] is not None
    ]
    if gains:
        message = "Comparing both in the same futures makes the difference more precise. {gains}."
        yield words(say(message, gains="; ".join(gains)), "small")


def pair_cells(row: Figures, called: Mapping[str, str], currency: str) -> tuple[str, ...]:
    """Return a pair of choices as text: names, mean difference, its range, how often the first is ahead."""
    difference = row["difference"]
    low, high = (money(difference[name], currency) for name in ("p5", "p95"))
    return (
        say("{first} less {second}", first=called[row["first"]], second=called[row["second"]]),
        money(difference["mean"], currency, with_error=True),
        say("{low} to {high}", low=low, high=high),
        percent(row["first_better_share"], with_error=True),
    )


def stay_blocks(result: Figures) -> Iterator[Block]:
    """Yield average worth by length of stay, with what it means for each pair."""
    lines, horizon = result["page"]["stay"], result["horizon_years"]
    if lines is None:
        return
    called = titles(result)
    crossings = [row for row in result["length_of_stay"] if row["second"] != "do nothing"]
    worth, stays = np.asarray(lines["mean_worth"]), np.asarray(lines["stays"], dtype=np.float64)
    title = say("A longer stay is worth more")
    if crossings:
        title = stay_words(crossings[0], called, horizon=horizon).rstrip(".")
    elif bool((worth[:, -1] < worth[:, 0]).all()):
        title = say("A longer stay is worth less")
    cells = [
        (number(float(stay)), *(money(float(value), result["currency"], se=UNKNOWN) for value in column))
        for stay, column in zip(stays, worth.T, strict=True)
    ]
    yield chart(
        result,
        "stay",
        lambda width: stay_chart(result, width=width),
        title=title,
        reading="Average net present value if the household moves once, after so many years. At the right end it never "
        "moves within the horizon. Each option says what happens to the kit at a move.",
        alternative=say("{title}. A line of average worth against length of stay for each option.", title=title),
        table=(("years", *lines["letters"]), cells),
        legend=[
            (f"{LINES[place % len(LINES)]} line", f"{letter}: {own_or_ours(name)}")
            for place, (letter, name) in enumerate(zip(lines["letters"], lines["titles"], strict=True))
        ],
        columns={"years": lines["stays"], **dict(zip(lines["titles"], worth, strict=True))},
    )
    yield items(stay_words(row, called, horizon=horizon) for row in result["length_of_stay"])
    message = "From {draws} futures. Between the lengths of stay shown, the line is straight."
    yield words(say(message, draws=grouped(result["provenance"]["draws_for_length_of_stay"])), "small")


def differing_blocks(result: Figures) -> Iterator[Block]:
    """Yield every setting in which the options differ."""
    if not result["differing"]:
        yield words("The options agree in every setting.")
        return
    heads = tuple(f"{row['letter']}: {row['title']}" for row in result["compared"])
    cells = [
        {"label": row["label"], "key": row["key"], "cells": row["given"], "path": None, "source": ""}
        for row in result["differing"]
    ]
    listed = Block("assumed", {"header": (say("setting"), *heads), "rows": cells, "size": (0, 0), "each": True})
    yield Block("fold", {"summary": say("Every setting in which they differ"), "blocks": (listed,)})
    yield words(
        "What they share is an assumption too. The page of each assessment lists every setting with its source.",
        "small",
    )


def best_chart(result: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return one bar per choice: the share of futures in which it is best, two standard errors either way."""
    shown = choices(result)
    share = np.array([value_of(row["best_share"]) for row in shown])
    error = 2 * np.nan_to_num([error_of(row["best_share"]) for row in shown])
    place = np.arange(len(shown))
    x = alt.X("share:Q", scale=alt.Scale(domain=[0, 1.16], nice=False), axis=None)
    y = row_scale(len(shown))
    lines, height = _wrapped([labels(result)[row["option"]] for row in shown], width - 20)
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
        alt.Chart(rows(share=high, place=place, text=[percent(row["best_share"]) for row in shown]))
        .mark_text(align="left", dx=6, baseline="middle", color=PAPER["quiet"])
        .encode(x=x, y=y, text=alt.Text("text:N"))
    )
    return finished(alt.layer(row_names(lines), bars, reach, figures), width=width - 10, height=height)


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
    lines, height = _wrapped([labels(result)[row["option"]] for row in shown], width - 30)

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
    return finished(alt.layer(*layers), width=width - 20, height=height)


def stay_chart(result: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return the average worth of each option by length of stay."""
    lines = result["page"]["stay"]
    stays, worth = np.asarray(lines["stays"], dtype=np.float64), np.asarray(lines["mean_worth"])
    crossings = [row for row in result["length_of_stay"] if row["second"] != "do nothing"]
    crossing = crossings[0]["break_even_years"]["value"] if crossings else None
    plot_width, last = width - 75, float(stays[-1])
    x = years_axis(int(last), pixels=plot_width, title="years until the household moves", line=False)
    title = upright_title(say("average net present value in {currency}", currency=result["currency"]))
    y = alt.Y("worth:Q", axis=alt.Axis(format=",.0f", tickCount=6, **title))
    layers: list[alt.Chart] = [
        alt.Chart(rows(worth=[0])).mark_rule(color=PAPER["ink"], strokeWidth=1.2).encode(y=alt.Y("worth:Q"))
    ]
    ends = _moved_apart(worth[:, -1], gap=0.07 * max(float(np.ptp(worth)), 1.0))
    for index, (mark, line) in enumerate(zip(lines["letters"], worth, strict=True)):
        colour = PAPER[LINES[index % len(LINES)]]
        data = alt.Chart(rows(year=stays, worth=line))
        end = alt.Chart(rows(year=[last], worth=[ends[index]], text=[mark]))
        layers.append(data.mark_line(color=colour, strokeWidth=2.5).encode(x=x, y=y))
        layers.append(data.mark_point(filled=True, size=30, color=colour, opacity=1).encode(x=x, y=y))
        text = end.mark_text(align="left", dx=8, color=PAPER["ink"], fontWeight="bold")
        layers.append(text.encode(x=x, y=y, text=alt.Text("text:N")))
    if crossing is not None:
        layers.append(alt.Chart(rows(year=[crossing])).mark_rule(color=PAPER["quiet"], strokeDash=[4, 3]).encode(x=x))
    return finished(alt.layer(*layers), width=plot_width, height=300 if width >= WIDE else 250)


def _levels(shown: Sequence[Figures]) -> tuple[Floats, Floats]:
    """Return the 5, 25, 75 and 95 % points of each choice (choices, 4), and its mean (choices,)."""
    worths = [row["net_present_value"] for row in shown]
    levels = np.array([[worth[name]["value"] for name in ("p5", "p25", "p75", "p95")] for worth in worths])
    return levels, np.array([worth["mean"]["value"] for worth in worths])


def _moved_apart(ends: Floats, *, gap: float) -> Floats:
    """Return the heights of labels, moved up where they would touch the label below."""
    placed = ends.astype(np.float64).copy()
    for below, above in pairwise(np.argsort(ends, kind="stable")):
        placed[above] = max(placed[above], placed[below] + gap)
    return placed


def _wrapped(names: Sequence[str], pixels: int) -> tuple[list[list[str]], int]:
    """Return the names broken into lines that fit, and the height of the chart."""
    texts = [textwrap.wrap(name, int(pixels / LETTER_PX)) or [""] for name in names]
    most = max((len(lines) for lines in texts), default=1)
    return texts, len(names) * (ROW_HEIGHT + LINE_HEIGHT * (most - 1))
