"""What is worth finding out before buying, what would change the answer, and whether published claims hold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from riskcalc.pages.exhibit import Block, fold, items, table, words
from riskcalc.pages.figures import (
    capital,
    counted,
    estimate,
    in_unit,
    lower,
    money,
    not_within,
    percent,
    say,
    short,
    value_of,
    with_unit,
)
from riskcalc.types import Figures


def information_blocks(figures: Figures) -> Iterator[Block]:
    """Yield what it is worth to know an input, a family or everything before buying."""
    found, currency = figures.get("value_of_information"), figures["currency"]
    if found is None:
        return
    yield words(information_title(found, currency), "h3")
    yield words(
        "Knowing an input beforehand lets you skip bad purchases. On average that is worth the amount shown. Research "
        "before buying cannot be worth more.",
        "reading",
    )
    cells = information_cells(found, currency)
    if not cells:
        yield words("No single input would change the decision often enough to be worth much.")
        return
    yield table("What knowing an input is worth", ("known before buying", "worth"), cells)
    yield words(
        "By regression of the worth on each input (Strong, Oakley and Brennan 2014). Amounts below twice their "
        "standard error are left out.",
        "small",
    )


def findout_finding(figures: Figures) -> str:
    """Return the single input most worth knowing before buying, or how many inputs could turn the answer."""
    found, rows = figures.get("value_of_information"), figures.get("break_even") or ()
    certain = sorted((row for row in found["factors"] if row["certain"]), key=value_of) if found else []
    if certain:
        worth = money(certain[-1], figures["currency"])
        return say("{input} is most worth knowing: {amount}", input=short(certain[-1]["label"]), amount=worth)
    turning = len({row["label"] for row in rows if row["value"] is not None})
    if turning:
        return counted(
            "Knowing one input is worth little, but {count} could change the answer by itself",
            "Knowing one input is worth little, but {count} could each change the answer",
            turning,
        )
    return "Nothing here would change the answer by itself"


def information_title(found: Figures, currency: str) -> str:
    """Return what it would be worth to know everything."""
    if value_of(found["everything"]) <= 0.0:
        return say("Nothing to find out: every future gives the same advice")
    return say("Knowing everything before buying would be worth {amount}", amount=money(found["everything"], currency))


def information_cells(found: Figures, currency: str) -> list[tuple[str, str]]:
    """Return families and inputs that are certainly worth something, with the amount."""
    rows = [(say("all of {family}", family=row["label"]), row) for row in found["families"] if row["certain"]]
    rows += [(capital(row["label"]), row) for row in found["factors"] if row["certain"]]
    return [(capital(name), money(row, currency, with_error=True)) for name, row in rows]


def break_even_blocks(figures: Figures) -> Iterator[Block]:
    """Yield, for each statement, the value that each input would need by itself."""
    rows = figures.get("break_even") or ()
    if not rows:
        return
    yield words("What would change the answer", "h3")
    yield words("The value one input would need, with everything else still uncertain.", "reading")
    # With one scramble no error is known at all; values are then shown without.
    errors_known = any(row["standard_error"] is not None for row in rows)
    for statement in dict.fromkeys(row["statement"] for row in rows):
        own = [row for row in rows if row["statement"] == statement]
        title = break_even_title(own)
        there = [row for row in own if row["value"] is not None]
        settled = [row for row in there if row["settled"] or not errors_known]
        yield words(title, "h4")
        cells = [(row["label"], break_even_value(row, figures["currency"], with_error=True)) for row in settled]
        if cells:
            yield table(title, ("with", "at"), cells)
        yield from _notes(own, settled)


def break_even_title(own: Sequence[Figures]) -> str:
    """Return the odds that are sought, and of what."""
    odds, statement = own[0]["odds"], own[0]["statement"]
    if odds == 0.5:
        return say("For 50:50 odds of {statement}", statement=statement)
    return say("For odds of {odds} of {statement}", odds=percent(odds), statement=statement)


def break_even_value(row: Figures, currency: str, *, with_error: bool = False) -> str:
    """Return the value, marked where it is only an estimate from the draws."""
    text = in_unit(row, row["unit"], currency, with_error=with_error)
    return say("about {value}", value=text) if row["method"] == "shifted" else text


def claims_finding(figures: Figures) -> str:
    """Return how many claims are true in more than half of the futures."""
    rows = figures.get("claims") or ()
    held = sum((value_of(row["probability"]) > 0.5) for row in rows if row["probability"] is not None)
    if len(rows) == 1:
        return "The claim is true in most futures" if held else "The claim is not true in most futures"
    if held in (0, len(rows)):
        message = "Every claim is true in most futures" if held else "No claim is true in most futures"
        return say(message, count=len(rows))
    return counted(
        "{count} of {all} claims is true in most futures",
        "{count} of {all} claims are true in most futures",
        held,
        all=len(rows),
    )


def claim_blocks(figures: Figures) -> Iterator[Block]:
    """Yield each claim: its sentence, in how many futures it is true, what was measured, what would make it 50:50."""
    for row in figures.get("claims") or ():
        yield Block("claim", claim_words(row, figures["currency"], figures["horizon_years"]))


def claim_words(row: Figures, currency: str, horizon: int) -> dict[str, str]:
    """Return one claim in words."""
    chance = row["probability"]
    if chance is None:
        return {"sentence": row["sentence"], "verdict": say("Not measured by this run."), "measured": "", "change": ""}
    low, middle, high = (_measure(row[name], row["unit"], currency, horizon) for name in ("p10", "p50", "p90"))
    if row["is_even_chance"]:
        change = say("So few futures cannot tell this from 50:50.")
    elif row["even_chance"] is None:
        change = say("No single change makes it 50:50.")
    else:
        move = row["even_chance"]
        change = say(
            "To make it 50:50: {input}, {value}.", input=lower(move["label"]), value=break_even_value(move, currency)
        )
    return {
        "sentence": row["sentence"],
        "verdict": say("True in {share} of the futures.", share=percent(chance, with_error=True)),
        "measured": say(
            "{measure}: {middle} in the middle future. Eight futures in ten: {low} to {high}.",
            measure=capital(row["measure_in_words"]),
            middle=middle,
            low=low,
            high=high,
        ),
        "change": change,
    }


def _notes(own: Sequence[Figures], settled: Sequence[Figures]) -> Iterator[Block]:
    if any(row["method"] == "shifted" for row in settled):
        yield words("“About” marks estimates from the futures already simulated; the others are recalculated.", "small")
    flat = [row["label"] for row in own if row["value"] is not None and row not in settled]
    if flat:
        yield fold(say("Inputs that hardly change the odds: {count}", count=len(flat)), items(flat))
    none = [row["label"] for row in own if row["value"] is None]
    if none:
        yield fold(say("Inputs that cannot bring it there by themselves: {count}", count=len(none)), items(none))


def _measure(value: float | None, unit: str, currency: str, horizon: int) -> str:
    if value is None:
        return not_within(horizon)
    if unit == currency:
        return money(estimate(value), currency)
    return percent(value) if unit == "share" else with_unit(value, unit)
