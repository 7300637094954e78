"""Payback told every way a household asks: before the first move, with the sale of the kit, with the loan and as if in cash."""

from __future__ import annotations

from riskcalc.pages.exhibit import Block, table
from riskcalc.pages.exhibits.payback import counts_later_homes, headline_stay, headline_years
from riskcalc.pages.figures import complement, not_within, percent, say, value_of, whole_years, years
from riskcalc.types import Figures

#: What becomes of the kit when the household first moves.
ENDS = {
    "taken_along": "you take it along",
    "sold": "you sell it",
    "left": "you leave it with the home",
    "broken": "it is broken by then",
    "stays": "you do not move within {years}",
}
#: Payback with what a move brings, by whether the kit stays with the home: within some years, before the move as within
#: the years, and differing between the two.
SALE = {
    "left": {
        "years": "Counting what the kit adds to the price of the home, it pays back within {years} in {share} of futures, not "
        "{without}.",
        "alike": "Counting what the kit adds to the price of the home, it pays back in {share} of futures; without that, in "
        "{without}.",
        "both": "Counting what the kit adds to the price of the home, it pays back by the first move in {in_stay} of futures, "
        "not {before}. Within {years} it is {share}, not {without}.",
    },
    "sold": {
        "years": "Counting what a sale at a move brings, it pays back within {years} in {share} of futures, not {without}.",
        "alike": "Counting what a sale at a move brings, it pays back in {share} of futures; without that, in {without}.",
        "both": "Counting what a sale at a move brings, it pays back by the first move in {in_stay} of futures, not {before}. "
        "Within {years} it is {share}, not {without}.",
    },
}


def stay_brief(figures: Figures) -> str:
    """Return how long a stay is, and the odds of payback by its end where the headline is not about it."""
    stay = figures.get("stay")
    if stay is None or value_of(stay["ends"].get("stays", {"share": 0.0})["share"]) >= 1.0:
        return ""
    half = whole_years(round(value_of(stay["years"]["p50"])))
    if headline_stay(figures) and not counts_later_homes(figures):
        return say("In half of the futures you move within {stay}.", stay=half)
    message = (
        "In half of the futures you move within {stay}. By the first move, the kit has paid back in {share} of futures."
    )
    return say(message, share=percent(stay["paid_back"]), stay=half)


def ends_table(figures: Figures) -> Block | None:
    """Return what becomes of the kit when the household first moves, and how often it has paid back by then."""
    stay = figures.get("stay")
    if stay is None:
        return None
    count = whole_years(figures["horizon_years"])
    rows = [
        (say(said, years=count), percent(stay["ends"][name]["share"]), percent(stay["ends"][name]["paid_back"]))
        for name, said in ENDS.items()
        if name in stay["ends"]
    ]
    title = "What becomes of the kit when you first move"
    return table(title, ("what happens", "of futures", "paid back by then"), rows)


def later_words(figures: Figures) -> str:
    """Return what the odds say of the homes after the first move."""
    stay = figures.get("stay")
    if stay is None or "taken_along" not in stay["ends"]:
        return ""
    return say(
        "You take the kit with you and use it in the next home. The odds within {years} count that.",
        years=whole_years(headline_years(figures)),
    )


def sale_brief(figures: Figures) -> str:
    """Return the odds with what a sale at a move brings beside those without; nothing where no sale brings money."""
    rows = figures.get("paid_back_with_sale_within_years")
    if rows is None:
        return ""
    horizon, stay = headline_years(figures), figures.get("stay")
    left, within_stay = stay is not None and "left" in stay["ends"], headline_stay(figures)
    share, without = percent(rows[horizon - 1]), percent(figures["paid_back_within_years"][horizon - 1])
    parts = {"share": share, "without": without, "years": whole_years(horizon)}
    if within_stay is None:
        kind = "years"
    else:
        in_stay, before = percent(within_stay["paid_back_with_sale"]), percent(within_stay["paid_back"])
        kind = "alike" if (in_stay, before) == (share, without) else "both"
        parts |= {"in_stay": in_stay, "before": before}
    counts = say("Gains and losses count this money; the odds that it pays for itself, given first, do not.")
    return f"{say(SALE['left' if left else 'sold'][kind], **parts)} {counts}"


def loan_brief(figures: Figures) -> str:
    """Return payback with the loan beside payback as if paid in cash; nothing without a loan."""
    cash = figures.get("payback_in_cash_years")
    if cash is None:
        return ""
    horizon = figures["horizon_years"]
    halves = [
        not_within(horizon) if side["p50"]["value"] is None else years(side["p50"], horizon=horizon)
        for side in (figures["payback_years"], cash)
    ]
    message = (
        "Part of the price is borrowed. Counted in the household's own money, {borrowed} of futures pay back within {years} "
        "(middle future: {half}). If paid in cash, {cash} would (middle future: {half_in_cash})."
    )
    shares = [percent(complement(side["never_share"])) for side in (figures["payback_years"], cash)]
    return say(
        message,
        borrowed=shares[0],
        cash=shares[1],
        years=whole_years(horizon),
        half=halves[0],
        half_in_cash=halves[1],
    )
