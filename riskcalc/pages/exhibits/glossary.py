"""The words of the page, explained once each."""

from __future__ import annotations

from riskcalc.pages.exhibit import Block
from riskcalc.pages.figures import lower, say

#: Key, term, meaning; at most twenty.
TERMS = (
    (
        "future",
        "Future",
        "One possible course of the years ahead: weather, prices, habits, wear and luck, drawn together.",
    ),
    ("payback", "Payback period", "The time until savings have covered the outlay. Resale at the end does not count."),
    ("npv", "Net present value", "All the purchase brings less all it costs, in the money of today. Short: worth."),
    ("discounting", "Discounting", "Money later counts for less than money now, by the discount rate."),
    (
        "se",
        "Standard error (±)",
        "How far a figure may be off because only so many futures were drawn. It is not the risk of the purchase.",
    ),
    ("middle", "Middle future", "Half of all futures turn out better, half worse. Also: median."),
    ("nine", "Nine in ten", "The range without the best 5 % and the worst 5 % of futures."),
    ("variance", "Variance", "A measure of spread. “Share of the variance” says how much of it one input explains."),
    (
        "ends",
        "Low and high end",
        "One future in ten lies below the low end of an input, one in ten above its high end.",
    ),
    ("tie", "Tie", "Two inputs are too close to tell which of them decides more."),
    ("refused", "Refused", "Permission is not given, so nothing is bought."),
    ("overload", "Overload", "A load above the inverter's rating. It then comes from the grid, or is not served."),
    ("idle", "Idle draw", "What the unit itself burns while it is switched on."),
    ("reach", "Within reach", "Loads that the kit can serve; with a portable unit, what is plugged into it."),
    ("scramble", "Scramble", "One of several independent sets of futures. Their spread gives the standard error."),
    ("pool", "Pool", "The weather and demand years from which every future takes its own."),
)


def glossary_blocks() -> tuple[Block, ...]:
    """Return the list of terms."""
    return (Block("terms", tuple((key, say(name), say(meaning)) for key, name, meaning in TERMS)),)


def linked_terms(*keys: str) -> Block:
    """Return the line that links the terms of a section to their meaning."""
    named = {key: name for key, name, _ in TERMS}
    return Block("linked", {"said": say("Terms:"), "terms": tuple((key, lower(say(named[key]))) for key in keys)})
