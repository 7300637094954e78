"""A purchase against what was measured since: is it on track, and what are its odds now."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from riskcalc.language import month_in_words
from riskcalc.pages.exhibit import Block, chart, table, words
from riskcalc.pages.figures import (
    MINUS,
    UNKNOWN,
    capital,
    counted,
    energy,
    error_of,
    grouped,
    joined,
    lower,
    money,
    percent,
    say,
    significant,
    value_of,
    whole_years,
    years,
)
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, finished, layered, row_names, row_scale, rows
from riskcalc.types import Figures

#: A change of an input's mean below this share of its spread is not worth a line.
LEAST_SHIFT = 0.1
#: A factor that moves the odds by less is not worth a line.
LEAST_POINTS = 0.005
NAMES = {"import_kwh": "taken from the grid", "generation_kwh": "generated", "bill": "bills"}
#: A change of the odds below this is called hardly a change; our own choice.
HARDLY = 0.02
#: What was measured, within a sentence.
MEASURES = {
    "bill": "your bills",
    "generation_kwh": "the electricity you generated",
    "import_kwh": "the electricity you took from the grid",
}
#: Below the picture of what was measured, and what the dot is where one quantity was.
TRACK_READING = "{dot} The bar is the usual range. A dot to the right of {expected} means more than expected."
DOTS = {
    "import_kwh": "The dot is what you took from the grid.",
    "generation_kwh": "The dot is what you generated.",
    "bill": "The dot is your bills.",
}
#: What the table says of one quantity, by its place in the range of eight futures in ten.
PLACED = {"below": "lower than expected", "within": "as expected", "above": "higher than expected"}
#: The answer where something lies outside its range, by the quantity and its place.
FINDINGS = {
    "generation_kwh": {
        "below": "Less electricity generated than expected so far.",
        "above": "More electricity generated than expected so far.",
    },
    "import_kwh": {
        "below": "Less taken from the grid than expected so far.",
        "above": "More taken from the grid than expected so far.",
    },
    "bill": {"below": "Lower bills than expected so far.", "above": "Higher bills than expected so far."},
}


#: What is said of a quantity within its range, by which side of the middle future it lies on.
USUAL = {
    "generation_kwh": {
        "below": "You generated {share} less electricity than expected, but differences of that size are usual.",
        "above": "You generated {share} more electricity than expected, but differences of that size are usual.",
    },
    "import_kwh": {
        "below": "You bought {share} less electricity from the grid than expected, but differences of that size are usual.",
        "above": "You bought {share} more electricity from the grid than expected, but differences of that size are usual.",
    },
    "bill": {
        "below": "Your bills were {share} lower than expected, but differences of that size are usual.",
        "above": "Your bills were {share} higher than expected, but differences of that size are usual.",
    },
}


def opening(found: Figures) -> str:
    """Return what lies outside the range expected of it, the quantity behind the verdict first; else that nothing does."""
    decisive = [row for row in found["tracks"] if row["place"] != "within" and row["verdict"] == found["verdict"]]
    if not decisive:
        return say("Yes, so far all is in the usual range.")
    return say(FINDINGS[decisive[0]["quantity"]][decisive[0]["place"]])


def usual_words(found: Figures) -> list[str]:
    """Return by how much each quantity within its usual range differs from the middle future."""
    said = []
    for row in found["tracks"]:
        apart = row["measured"] / row["expected"]["p50"] - 1.0 if row["expected"]["p50"] else 0.0
        if row["place"] != "within" or abs(apart) < LEAST_POINTS:
            continue
        said.append(say(USUAL[row["quantity"]]["above" if apart > 0.0 else "below"], share=percent(abs(apart))))
    return said


def odds_words(found: Figures) -> str:
    """Return how the odds moved."""
    within, change = found["revised"]["paid_back_within"]["years"], found["odds_moved"]["change"]
    before, now = percent(found["before"]["paid_back_within"]), percent(found["revised"]["paid_back_within"])
    message = "The chance that the kit pays for itself within {years} has risen from {before} to {now}."
    if hardly_moved(found):
        message = "The chance that the kit pays for itself within {years} is still about {now}."
        # To a point it would seem to have moved, and a reader would ask why; near 0 and 1 the points count.
        share = value_of(found["revised"]["paid_back_within"])
        now = percent(round(20 * share) / 20) if 0.1 < share < 0.9 else now
    elif change < 0:
        message = "The chance that the kit pays for itself within {years} has fallen from {before} to {now}."
    return say(message, years=whole_years(within), before=before, now=now)


def basis_words(found: Figures) -> str:
    """Return which measurements this goes by, and whether the odds count later homes."""
    known = [row["quantity"] for row in found["tracks"]]
    measured = [say(name) for quantity, name in MEASURES.items() if quantity in known]
    later = say("The chance counts what the kit saves in later homes.") if found.get("counts_later_homes") else ""
    return f"{say('Measured: {measured}.', measured=joined(measured))} {later}".strip()


def hardly_moved(found: Figures) -> bool:
    """Return whether the odds moved by less than two points, or by no more than twice the standard error of those now."""
    error = found["revised"]["paid_back_within"]["standard_error"] or 0.0
    return bool(abs(found["odds_moved"]["change"]) < max(HARDLY, 2 * error))


def reason(found: Figures) -> str:
    """Return why the odds moved, and why they may rise for a purchase that is behind, or fall for one that is ahead."""
    moved, rows_ = found["odds_moved"], moved_rows(found)
    change = moved["change"]
    if hardly_moved(found):
        return say("A few months say little about the years to come.")
    if not rows_:
        return say("No single input explains why the odds moved: many moved a little.")
    label = lower(rows_[0]["label"])
    first = say("That is mostly because of one input: {input}.", input=label)
    if not goes_against(found):
        return first
    message = "The odds are about all years. Poor months also show what the home uses and what a kWh costs; that can raise them."
    if change < 0:
        message = (
            "The odds are about all years. Good months also show what the home uses and what a kWh costs; that can "
            "lower them."
        )
    return f"{first} {say(message)}"


def goes_against(found: Figures) -> bool:
    """Return whether the odds rose for a purchase that is behind, or fell for one that is ahead."""
    change = found["odds_moved"]["change"]
    return (found["verdict"] == "behind" and change > 0) or (found["verdict"] == "ahead" and change < 0)


def price_words(found: Figures) -> str | None:
    """Return what a kWh from the grid cost as measured and as expected; None where bills or kWh were not measured."""
    paid = found["bill_per_kwh"]
    if paid is None:
        return None
    message = "Bill for each kWh taken from the grid, standing charge included: {measured}; expected {low} to {high}."
    low, high = (significant(paid["expected"][level]) for level in ("p10", "p90"))
    return say(message, measured=significant(paid["measured"]), low=low, high=high)


def moved_rows(found: Figures) -> list[Figures]:
    """Return what moved the odds by half a point or more, and by more than its error, largest first."""
    told = (row for row in found["odds_moved"]["rows"] if abs(row["change"]["value"]) >= LEAST_POINTS)
    return [row for row in told if abs(row["change"]["value"]) > (row["change"]["standard_error"] or 0.0)]


def moved_cells(found: Figures) -> list[tuple[str, str, str, str]]:
    """Return what moved the odds, as text: input, its middle value before and now, the change of the odds."""
    middle = {row["key"]: row for row in found["inputs"]}
    cells, rest = [], found["odds_moved"]["change"]
    for row in moved_rows(found):
        own, change = middle.get(row["key"]), row["change"]["value"]
        before, now = ("", "") if own is None else (significant(own[side]["p50"]) for side in ("before", "revised"))
        cells.append((capital(row["label"]), before, now, signed_points(change)))
        rest -= change
    return [*cells, (say("All else together"), "", "", signed_points(rest))]


def signed_points(change: float) -> str:
    """Return a change of the odds in points of a hundred, with its sign."""
    whole = round(100 * change)
    sign = MINUS if whole < 0 else "+" if whole > 0 else ""
    return f"{sign}{abs(whole)}"


def measured_words(found: Figures) -> str:
    """Return what was measured."""
    measured = found["measured"]
    return counted(
        "{count} month measured, {first} to {last}",
        "{count} months measured, {first} to {last}",
        measured["months"],
        first=month_in_words(measured["from"]),
        last=month_in_words(measured["to"]),
    )


def effective_words(found: Figures) -> str:
    """Return how many futures are left in effect."""
    message = (
        "{draws} futures were simulated. The better a future fits your months, the more it counts. Only some fit well, so "
        "these figures are as rough as if only {left} futures had been simulated."
    )
    return say(message, draws=grouped(found["draws"]), left=grouped(round(found["effective_draws"])))


def track_block(found: Figures) -> Block:
    """Return each measured total against what was expected of the same months."""
    tracks = found["tracks"]
    title = say("What you measured, against what was expected")
    dot = DOTS[tracks[0]["quantity"]] if len(tracks) == 1 else "The dot is your measurement."
    cells = [track_cells(row, found["currency"]) for row in tracks]
    return chart(
        found,
        "tracks",
        partial(track_chart, found),
        title=title,
        reading=say(TRACK_READING, dot=say(dot), expected=percent(1.0)),
        alternative=say("{title}. For each quantity the measured total and the expected range.", title=title),
        table=(("quantity", "measured", "expected", "eight futures in ten", "verdict"), cells),
        columns={
            "quantity": [row["quantity"] for row in tracks],
            "measured": [row["measured"] for row in tracks],
            **{level: [row["expected"][level] for row in tracks] for level in ("p10", "p50", "p90")},
        },
        kind="half",
    )


def track_cells(row: Figures, currency: str) -> tuple[str, str, str, str, str]:
    """Return a track as text: quantity, measured, expected, its range, verdict."""

    def said(value: float) -> str:
        return money(value, currency, se=UNKNOWN) if row["quantity"] == "bill" else energy(value)

    expected = row["expected"]
    between = say("{low} to {high}", low=said(expected["p10"]), high=said(expected["p90"]))
    measured = money(row["measured"], currency) if row["quantity"] == "bill" else energy(row["measured"])
    name = capital(say(NAMES[row["quantity"]]))
    return name, measured, said(expected["p50"]), between, say(PLACED[row["place"]])


def outlook_finding(found: Figures) -> str:
    """Return where the average worth stood before and stands now."""
    means = [found[side]["net_present_value"]["mean"] for side in ("before", "revised")]
    before, now = (money(mean, found["currency"]) for mean in means)
    if abs(value_of(means[1]) - value_of(means[0])) <= 2 * error_of(means[1]):
        return say("The average worth was {before} before and is {now} now: no clear change", before=before, now=now)
    return say("The average worth was {before} before and is {now} now", before=before, now=now)


def inputs_finding(found: Figures) -> str:
    """Return how many inputs the measurements moved."""
    moved = sum(abs(row["shift"]) >= LEAST_SHIFT for row in found["inputs"])
    if not moved:
        return "The measurements hardly move any input"
    return counted("The measurements move {count} input", "The measurements move {count} inputs", moved)


def outlook_blocks(found: Figures) -> Iterator[Block]:
    """Yield odds, payback and worth before and now."""
    yield table("Odds, payback and worth before and now", ("figure", "before", "now"), outlook_cells(found))


def outlook_cells(found: Figures) -> list[tuple[str, str, str]]:
    """Return the figures before and now, as text."""
    both, currency, horizon = (found["before"], found["revised"]), found["currency"], found["horizon_years"]
    within = whole_years(both[0]["paid_back_within"]["years"])
    paid = [percent(side["paid_back_within"], with_error=True) for side in both]
    half = [years(side["payback_years"]["p50"], horizon=horizon, with_error=True) for side in both]
    worths = [side["net_present_value"] for side in both]
    means = [money(worth["mean"], currency, with_error=True) for worth in worths]
    ranges = [say("{low} to {high}", low=money(w["p5"], currency), high=money(w["p95"], currency)) for w in worths]
    losses = [percent(worth["loss_probability"], with_error=True) for worth in worths]
    return [
        (name, before, now)
        for name, (before, now) in (
            (say("Paid back within {years}", years=within), paid),
            (say("Half pay back within"), half),
            (say("Average worth"), means),
            (say("Nine futures in ten"), ranges),
            (say("Savings would bring more"), losses),
        )
    ]


def input_blocks(found: Figures) -> Iterator[Block]:
    """Yield what moved the odds, and the inputs that the measurements moved."""
    if goes_against(found):
        yield words(
            "Better or worse says how the measured months compare with the same months of the futures. The odds are about all "
            "years: the months also say what the home uses and what a kWh costs, and that counts in every year to come."
        )
    if price_words(found):
        yield words(str(price_words(found)))
    if moved_rows(found):
        headings = ("input", "before", "now", "points of the odds")
        yield table("What moved the odds", headings, moved_cells(found))
    moved = [row for row in found["inputs"] if abs(row["shift"]) >= LEAST_SHIFT]
    if not moved:
        yield words("Every input stays close to what was assumed.")
        return
    message = "Middle value before and now, with the range of eight futures in ten now."
    yield words(message, "reading")
    cells = [input_cells(row) for row in moved]
    yield table("Inputs that the measurements moved", ("input", "before", "now", "eight in ten"), cells)


def input_cells(row: Figures) -> tuple[str, str, str, str]:
    """Return one input before and now, as text."""
    now = row["revised"]
    between = say("{low} to {high}", low=significant(now["p10"]), high=significant(now["p90"]))
    label = capital(row.get("label") or row["key"])
    return label, significant(row["before"]["p50"]), significant(now["p50"]), between


def track_chart(found: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return one row per quantity: measured over expected, with the range of eight futures in ten."""
    tracks = found["tracks"]
    middle = np.array([abs(row["expected"]["p50"]) or 1.0 for row in tracks])
    low, high, dot = (
        np.array(values) / middle
        for values in zip(
            *((row["expected"]["p10"], row["expected"]["p90"], row["measured"]) for row in tracks), strict=True
        )
    )
    place = np.arange(len(tracks))
    ends = np.concatenate([low, high, dot, [1.0]])
    room = max(0.08 * float(np.ptp(ends)), 0.02)
    axis = alt.Axis(
        title=say("100 % = as expected"),
        format=".0%",
        tickCount=width // 90,
        titleAnchor="start",
        orient="bottom",
    )
    scale = alt.Scale(domain=[float(ends.min()) - room, float(ends.max()) + room], nice=False)
    x, y = alt.X("low:Q", scale=scale, axis=axis), row_scale(len(tracks))
    line = (
        alt.Chart(rows(low=low, high=high, place=place))
        .mark_rule(color=PAPER["paid"], strokeWidth=9, opacity=0.45)
        .encode(x=x, x2=alt.X2("high:Q"), y=y)
    )
    dots = (
        alt.Chart(rows(low=dot, place=place))
        .mark_point(filled=True, size=90, color=PAPER["ink"], opacity=1)
        .encode(x=x, y=y)
    )
    even = alt.Chart(rows(low=[1.0])).mark_rule(color=PAPER["quiet"], strokeDash=[4, 3]).encode(x=x)
    names = row_names([[capital(say(NAMES[row["quantity"]]))] for row in tracks])
    return finished(layered(even, names, line, dots), width=width - 20, height=46 * len(tracks))
