"""Payback told every way a household asks: before the first move, with the sale of the kit, with the loan and as if in cash."""

from __future__ import annotations

from collections.abc import Iterator

from riskcalc.pages.exhibits.payback import headline_stay, headline_years
from riskcalc.pages.figures import capital, complement, not_within, percent, say, value_of, whole_years, years
from riskcalc.types import Figures

#: The panel of own figures says this too.
LATER = "Counting what it saves in later homes too, it pays back within {years} in {share} of futures."
#: Payback with what a move brings, by whether the kit stays with the home: within some years, before the move as within
#: the years, and differing between the two.
SALE = {
    "left": {
        "years": "Counting what the kit adds to the price of the home, it pays back within {years} in {share} of futures, not "
        "{without}.",
        "alike": "Counting what the kit adds to the price of the home, it pays back in {share} of futures, not {without}.",
        "both": "Counting what the kit adds to the price of the home, it pays back by the first move in {in_stay} of futures, "
        "not {before}. Within {years} it is {share}, not {without}.",
    },
    "sold": {
        "years": "Counting what a sale at a move brings, it pays back within {years} in {share} of futures, not {without}.",
        "alike": "Counting what a sale at a move brings, it pays back in {share} of futures, not {without}.",
        "both": "Counting what a sale at a move brings, it pays back by the first move in {in_stay} of futures, not {before}. "
        "Within {years} it is {share}, not {without}.",
    },
}


def stay_brief(figures: Figures) -> str:
    """Return the odds of payback before the first move, with how long a stay is; nothing where nobody moves."""
    stay = figures.get("stay")
    if stay is None or value_of(stay["ends"].get("stays", {"share": 0.0})["share"]) >= 1.0:
        return ""
    half = whole_years(round(value_of(stay["years"]["p50"])))
    if headline_stay(figures):
        return say("In half of the futures you move within {stay}.", stay=half)
    message = (
        "In half of the futures you move within {stay}. By the first move, the kit has paid back in {share} of futures."
    )
    return say(message, share=percent(stay["paid_back"]), stay=half)


def split_brief(figures: Figures) -> str:
    """Return what becomes of the kit at the end of the stay, in shares of the futures that buy, if the headline is about it."""
    stay = headline_stay(figures)
    if stay is None:
        return ""
    messages = {
        "taken_along": "in {share} you take it along",
        "sold": "in {share} you sell it",
        "left": "in {share} you leave it with the home",
        "broken": "in {share} it no longer works",
        "stays": "in {share} you never move",
    }
    known = [name for name in messages if name in stay["ends"]]
    shares = [percent(stay["ends"][name]["share"]) for name in known]
    shares[0] = say("{share} of futures", share=shares[0])
    parts = ", ".join(say(messages[name], share=share) for name, share in zip(known, shares, strict=True))
    message = "What happens to the kit when you first move? {parts}."
    if 0.0 < value_of(figures["bought_share"]) < 1.0:
        message = "If you buy the kit, what happens to it when you first move? {parts}."
    return say(message, parts=capital(parts))


def counts_later_homes(figures: Figures) -> bool:
    """Return whether the odds to the horizon count homes that the headline, which ends at the first move, leaves out."""
    stay = headline_stay(figures)
    return stay is not None and "taken_along" in stay["ends"]


def later_words(figures: Figures) -> str:
    """Return the odds to the horizon beside those of the stay: a kit that goes along saves money in later homes too."""
    if not counts_later_homes(figures):
        return ""
    horizon = figures["horizon_years"]
    share = percent(figures["paid_back_within_years"][horizon - 1])
    return say(LATER, years=whole_years(horizon), share=share)


def ends_words(figures: Figures) -> Iterator[str]:
    """Yield what becomes of the kit at the end of the first stay, and what that means for the odds."""
    stay = figures.get("stay")
    if stay is None:
        return
    messages = {
        "taken_along": "At the first move the kit goes along in {share} of futures; it has paid back by then in {paid} of these.",
        "sold": "At the first move the kit is sold in {share} of futures; it has paid back by then in {paid} of these.",
        "left": "At the first move the kit is left with the home in {share} of futures; it has paid back by then in {paid} of "
        "these.",
        "broken": "At the first move the kit is broken or retired in {share} of futures; it has paid back by then in {paid} of "
        "these.",
        "stays": "The household never moves in {share} of futures; the kit pays back in {paid} of these.",
    }
    for name, message in messages.items():
        if name in stay["ends"]:
            row = stay["ends"][name]
            yield say(message, share=percent(row["share"]), paid=percent(row["paid_back"]))
    if "taken_along" in stay["ends"] and not headline_stay(figures):
        yield say(
            "A kit that goes along works on in the next home. The odds within {years} count that.",
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
    return say(SALE["left" if left else "sold"][kind], **parts)


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


def briefs(figures: Figures, *, split: bool = False) -> list[str]:
    """Return the sentences that stand beside the answer: the stay, how it ends with `split`, with the sale, with the loan."""
    ends = split_brief(figures) if split else ""
    told = (stay_brief(figures), ends, sale_brief(figures), loan_brief(figures))
    return [text for text in told if text]
