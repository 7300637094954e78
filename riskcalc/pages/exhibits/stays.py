"""How the length of stay changes which option is ahead: its words, its table and its chart."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from itertools import pairwise

import numpy as np

from riskcalc.pages.exhibit import Block, chart, items, words
from riskcalc.pages.exhibits.options import first_word, in_sentence, own_or_ours, titles
from riskcalc.pages.figures import UNKNOWN, grouped, money, number, say, years
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, WIDE, finished, layered, rows, upright_title, years_axis
from riskcalc.types import Figures, Floats

#: Colours of the lines of several options, in order; each line also has a letter at its end.
LINES = ("paid", "never", "battery", "solar", "unmet", "grid")
#: By what happens at a move to the kit of the option that comes out ahead; None where it has none, or it is not known.
STAY_MESSAGES = {
    None: "{ahead} comes out ahead of {behind} on average if the household stays {stay} or more.",
    "take": "{ahead} comes out ahead of {behind} on average if the household stays {stay} or "
    "more. When it moves, it takes the kit with it and uses it in the next home.",
    "sell": "{ahead} comes out ahead of {behind} on average if the household stays {stay} or "
    "more. When it moves, it sells the kit.",
    "leave": "{ahead} comes out ahead of {behind} on average if the household stays {stay} or "
    "more. When it moves, the kit stays with the home.",
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


def stay_finding(result: Figures) -> str:
    """Return in how many comparisons the length of stay turns the order."""
    rows = result.get("length_of_stay") or ()
    turned = sum(row["break_even_years"]["value"] is not None for row in rows)
    if not turned:
        return "How long the household stays does not change which is ahead"
    return say(
        "In {turned} of {count} comparisons the length of stay changes which one is ahead",
        turned=turned,
        count=len(rows),
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
        partial(stay_chart, result),
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
    return finished(layered(*layers), width=plot_width, height=300 if width >= WIDE else 250)


def _moved_apart(ends: Floats, *, gap: float) -> Floats:
    """Return the heights of labels, moved up where they would touch the label below."""
    placed = ends.astype(np.float64).copy()
    for below, above in pairwise(np.argsort(ends, kind="stable")):
        placed[above] = max(placed[above], placed[below] + gap)
    return placed
