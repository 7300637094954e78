"""The words of the page, explained once each, and linked from where a reader first meets them."""

from __future__ import annotations

import re
from html import escape

from riskcalc.pages.exhibit import Block
from riskcalc.pages.figures import say

#: Key, term, the forms in which a page uses it, meaning; at most twenty.
TERMS = (
    (
        "future",
        "Future",
        "future, futures",
        "One possible course of the years ahead: weather, prices, habits, wear and luck, drawn together.",
    ),
    (
        "payback",
        "Payback period",
        "pays for itself, pay for itself, pays back, pay back, paid back, payback",
        "The time until the bills saved have covered the cost. Interest, and resale at the end, do not count.",
    ),
    (
        "npv",
        "Net present value",
        "net present value, worth",
        "All the purchase brings less all it costs, in the money of today. Short: worth.",
    ),
    (
        "discounting",
        "Discounting",
        "discounted, discounting, discount rate, money of today",
        "Money later counts for less than money now, by the discount rate: the interest on savings.",
    ),
    (
        "se",
        "Standard error (±)",
        "standard error, standard errors",
        "How far a figure may be off because only so many futures were drawn. It is not the risk of the purchase.",
    ),
    (
        "toss-up",
        "Could go either way, hard to say",
        "could go either way, hard to say",
        "Could go either way: the odds are between 4 and 6 in 10. Hard to say: the odds of payback and those of a gain do not "
        "agree.",
    ),
    (
        "savings",
        "Savings account, the comparison",
        "savings account, savings",
        "The same money, not spent on the kit but kept in an account, where it earns interest at the discount rate.",
    ),
    ("even", "50:50", "50:50", "As likely as not, like tossing a coin."),
    (
        "middle",
        "Middle future",
        "middle future, middle half",
        "Half of all futures turn out better, half worse. Also: median.",
    ),
    ("bad", "Bad future", "bad future, bad one", "One future in twenty turns out worse than this."),
    (
        "nine",
        "Nine in ten",
        "nine in ten, nine futures in ten",
        "The range without the best 5 % and the worst 5 % of futures.",
    ),
    (
        "variance",
        "Variance",
        "variance, spread in the result, spread in worth, difference between good and bad futures",
        "How far good and bad futures lie apart, as one number. “Share of the variance” says "
        "how much of it one input explains.",
    ),
    (
        "ends",
        "Low and high end",
        "low end, high end, low to its high end",
        "One future in ten lies below the low end of an input, one in ten above its high end.",
    ),
    ("tie", "Tie", "tie, too close to call", "Two inputs are too close to tell which of them decides more."),
    (
        "interaction",
        "Interaction",
        "interaction, interactions, how the inputs combine",
        "One input matters more or less depending on another.",
    ),
    (
        "overload",
        "Overload",
        "overload, overloaded, above the inverter's rating",
        "A load above the inverter's rating. It then comes from the grid, or is not served.",
    ),
    ("idle", "Idle draw", "idle draw", "What the unit itself burns while it is switched on."),
    (
        "reach",
        "Within reach",
        "within reach of the kit, out of its reach",
        "Loads that the kit can serve; with a portable unit, what is plugged into it.",
    ),
    (
        "scramble",
        "Scramble",
        "scramble, scrambles",
        "One of several independent sets of futures. Their spread gives the standard error.",
    ),
    ("pool", "Pool", "pool", "The weather and demand years from which every future takes its own."),
)
#: What holds no words of ours, or is a link or a control already; tags; and the text between tags.
_PIECES = re.compile(
    r"<(script|style|svg|code|pre|a|h1|summary|button|label|blockquote)\b.*?</\1>|<[^>]*>|[^<]+", re.DOTALL
)


def glossary_blocks() -> tuple[Block, ...]:
    """Return the list of terms."""
    return (Block("terms", tuple((key, say(name), say(meaning)) for key, name, _, meaning in TERMS)),)


def with_links(html: str) -> str:
    """Return a page with every term of its glossary linked where it first stands; terms it never uses leave the list.

    Texts of the scenario (the head, sources, claims) are not searched.
    """
    start, foot = html.find("</header>"), html.find('<section id="terms"')
    if start < 0 or foot < 0:
        return html
    known = {
        escape(form.strip(), quote=True).replace("&#x27;", "&#39;").lower(): key
        for key, _, forms, _ in TERMS
        for form in say(forms).split(",")
    }
    left = set(known.values())
    # Longer forms first, so that "middle future" is not taken for "future"; "worth buying" is no amount.
    any_of = "|".join(re.escape(form) for form in sorted(known, key=len, reverse=True))
    forms = re.compile(rf"(?<![\w-])({any_of})(?![\w-])(?! (?:buying|finding))", re.IGNORECASE)

    def link(match: re.Match[str]) -> str:
        key = known[match[0].lower()]
        if key not in left:
            return match[0]
        left.remove(key)
        return f'<a class="term" href="#term-{key}">{match[0]}</a>'

    def piece(match: re.Match[str]) -> str:
        return match[0] if match[0].startswith("<") else forms.sub(link, match[0])

    body = _PIECES.sub(piece, html[start:foot])
    rest = html[foot:]
    for key in left:
        rest = re.sub(rf'<dt id="term-{key}">.*?</dd>', "", rest, flags=re.DOTALL)
    return html[:start] + body + rest
