"""What `rank` found: which input comes first, how sure that is, and the indices with their intervals."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

import numpy as np

from riskcalc.pages.exhibit import Block, Section, chart, fold, items, section, table, words
from riskcalc.pages.exhibits.boxes import advice_for
from riskcalc.pages.exhibits.ranking import plain_shares, share_chart
from riskcalc.pages.figures import (
    MINUS,
    capital,
    counted,
    error,
    error_of,
    estimate,
    grouped,
    listed,
    lower,
    percent,
    say,
    significant,
    value_of,
)
from riskcalc.types import Figures

#: Factors listed of a long ranking, bars on its first screen, and names listed of those that tie with one place.
MOST_ROWS, MOST_BARS, MOST_RIVALS, MOST_CHOICES = 12, 6, 3, 2
#: What ties for second place, by how many; of more the first few are named.
SHARED = {
    2: "Two things share second place: {inputs}.",
    3: "Three things share second place: {inputs}.",
}
PLACES = ("First place", "Second place", "Third place")
PARTS = {"net_present_value": "How sure the order is", "first_year_saving": "What decides the first year"}
READINGS = {
    "net_present_value": "Share of the difference between good and bad futures that goes with each input. Thin line: how far "
    "it may be off.",
    "first_year_saving": "Share of the difference between high and low savings that goes with each input. Thin line: how far it "
    "may be off.",
}
OUTCOMES = {"net_present_value": "gain or loss", "first_year_saving": "saving of the first year"}


def opening(figures: Figures) -> str:
    """Return what decides the worth, and whether that is settled."""
    found = figures["sobol"]["outcomes"].get("net_present_value")
    if found is None:
        return say("Nothing varies in this scenario, so nothing decides the worth.")
    first = found["order"]["tiers"][0]
    names = [row["label"] for row in first["factors"]]
    if first["settled"]:
        return say("What matters most: {input}.", input=lower(names[0]))
    if first["is_tie"]:
        rivals = [*first["factors"], *first["outside"]]
        return say("We cannot tell which input decides most: {inputs}.", inputs=_one_of(rivals))
    message = "What probably matters most: {input}."
    return say(message, input=lower(names[0]))


def reasons(figures: Figures) -> list[str]:
    """Return what comes next, or what else may come first."""
    found = figures["sobol"]["outcomes"].get("net_present_value")
    if found is None:
        return []
    first, *after = found["order"]["tiers"]
    if first["settled"]:
        if after and after[0]["settled"] and not after[0]["is_tie"] and len(after[0]["factors"]) == 1:
            return [say("Next comes: {input}.", input=lower(after[0]["factors"][0]["label"]))]
        return [told] if (told := open_words(found["order"])) else []
    rivals = [*first["factors"][1:], *first["outside"]]
    if first["is_tie"]:
        return []
    if not rivals:
        return [say("We are not sure of that yet.")]
    return [say("We are not sure of that yet: it may instead be {others}.", others=_one_of(rivals))]


def check_words(figures: Figures) -> str:
    """Return what to do about the strongest input that somebody can check; "" where there is none."""
    found = figures["sobol"]["outcomes"].get("net_present_value")
    advice = (advice_for(row["factor"], row["label"]) for row in found["factors"]) if found else ()
    return next(filter(None, advice), "")


def open_words(order: Figures) -> str:
    """Return what may come second after a first one that is settled; "" where the second place is settled too."""
    second = order["tiers"][1:2]
    if not second or second[0]["settled"]:
        return ""
    rivals = [*second[0]["factors"], *second[0]["outside"]]
    if second[0]["is_tie"] and len(rivals) in SHARED:
        return say(SHARED[len(rivals)], inputs=_in_a_row([lower(row["label"]) for row in rivals]))
    return say("Second place is still open: {inputs}.", inputs=_one_of(rivals))


def order_title(order: Figures, label: str, outcome: str) -> str:
    """Return what comes first for an outcome, and how sure that and the order after it are."""
    first = order["tiers"][0]
    if first["is_tie"]:
        message = "{input} is one of those that decide the {outcome} most"
    elif not first["settled"]:
        message = "{input} probably decides the {outcome} most, but that is not certain yet"
    elif any(not tier["settled"] and not tier["is_tie"] for tier in order["tiers"][1:2]):
        message = "{input} decides the {outcome} most; which input comes next is not sure yet"
    else:
        message = "{input} decides the {outcome} most"
    return say(message, input=capital(label), outcome=outcome)


def first_block(figures: Figures) -> Block:
    """Return what decides the worth as bars alone, for the first screen; figures and errors stand in the second part."""
    factors = figures["sobol"]["outcomes"]["net_present_value"]["factors"]
    shown = [(capital(row["label"]), _share_of(row["total_order"]["value"])) for row in factors]
    title = say("What decides gain or loss")
    reading = say("The longer the bar, the more it matters.")
    if len(factors) > MOST_BARS:
        reading += " " + say("These are the {count} that matter most.", count=MOST_BARS)
    return chart(
        figures,
        "decides",
        partial(plain_shares, [row["label"] for row in factors[:MOST_BARS]], [share for _, share in shown[:MOST_BARS]]),
        title=title,
        reading=reading,
        alternative=say("{title}. Bars of total-order shares, largest first.", title=title),
        table=(("input", "alone or with others"), [(name, percent(share)) for name, share in shown]),
        columns={
            "factor": [row["factor"] for row in factors],
            "label": [row["label"] for row in factors],
            "total_order": [row["total_order"]["value"] for row in factors],
        },
        kind="half",
    )


def order_block(figures: Figures, outcome: str, *, title: str = "") -> Block:
    """Return the shares with interactions of one outcome, under its finding unless there is another `title`."""
    found = figures["sobol"]["outcomes"][outcome]
    factors, said = found["factors"], say(OUTCOMES[outcome])
    title = title or order_title(found["order"], factors[0]["label"], said)
    totals = [estimate(_share_of(row["total_order"]["value"]), row["total_order"]["standard_error"]) for row in factors]
    return chart(
        figures,
        f"total-{outcome.replace('_', '-')}",
        partial(share_chart, [row["label"] for row in factors], totals),
        title=title,
        reading=order_reading(outcome, sum(value_of(total) for total in totals)),
        alternative=say("{title}. Bars of total-order shares, largest first.", title=title),
        table=(
            ("input", "alone", "very likely", "alone or with others", "very likely"),
            [(capital(row["label"]), *_cells(row["first_order"]), *_cells(row["total_order"])) for row in factors],
        ),
        columns={
            "factor": [row["factor"] for row in factors],
            "label": [row["label"] for row in factors],
            "first_order": [row["first_order"]["value"] for row in factors],
            "total_order": [row["total_order"]["value"] for row in factors],
            "total_order_standard_error": [_known(row["total_order"]["standard_error"]) for row in factors],
        },
        kind="half",
    )


def order_reading(outcome: str, total: float) -> str:
    """Return what bars and lines say, and why the shares make more than 100 % where their `total` is above 1."""
    said = say(READINGS[outcome])
    if round(100 * total) <= 100:
        return said
    together = say(
        "Inputs that act together are each counted with their joint share, so the shares add up to more than 100 %."
    )
    return f"{said} {together}"


def order_section(figures: Figures, outcome: str) -> Section | None:
    """Return the places of the inputs for one outcome, with its chart; None where it does not vary."""
    sobol = figures["sobol"]
    found = sobol["outcomes"].get(outcome)
    if found is None:
        return None
    return section(
        f"order-{outcome.replace('_', '-')}",
        PARTS[outcome],
        order_block(figures, outcome, title=say("The inputs that decide it")),
        items(_sentence(line) for line in order_lines(found["order"], sobol["most_points"])),
        *([method_fold(sobol)] if outcome == "net_present_value" else []),
        finding=order_title(found["order"], found["factors"][0]["label"], say(OUTCOMES[outcome])),
    )


def still_words(figures: Figures) -> list[str]:
    """Return which outcomes do not vary."""
    still = figures["sobol"]["outcomes_that_do_not_vary"]
    return [
        say("The {outcome} does not vary: there is nothing to rank.", outcome=say(OUTCOMES[name])) for name in still
    ]


def method_fold(sobol: Figures) -> Block:
    """Return what the shares are, how they add up, and how many futures they rest on."""
    message = (
        "{futures} futures were calculated, from {points} points of the design. The energy was simulated for {simulated} of "
        "them; where only money differs, it need not be."
    )
    counts = {"futures": "futures", "points": "points", "simulated": "futures_simulated"}
    return fold(
        "How these shares are calculated",
        words(
            "A share says how much of the variance of the result goes with an input, alone or together with others (its "
            "total-order index). What inputs do together counts for each of them, so the shares can add up to more than 100 %."
        ),
        words(
            "The shares are estimates, and the thin lines reach two standard errors either "
            "way. A share below 0 or above 100 % is shown as 0 or 100 %. By chance, the table "
            "may show a share alone that is larger than the share with others. The true share "
            "alone is never larger."
        ),
        words(say(message, **{name: grouped(sobol[key]) for name, key in counts.items()})),
    )


def family_blocks(figures: Figures) -> Iterator[Block]:
    """Yield the shares by family of inputs and whether other methods agree."""
    found = figures["sobol"]["outcomes"].get("net_present_value")
    if found is not None:
        cells = [
            (capital(row["label"]), *_cells(row["first_order"]), *_cells(row["total_order"]))
            for row in found["families"]
        ]
        header = ("family", "alone", "very likely", "alone or with others", "very likely")
        yield table("Shares by family", header, cells)
        yield words(
            "Every share is an estimate. By chance the share of one input can come out above that of its whole family.",
            "small",
        )
    if figures["agreement"] is not None:
        yield items(_sentence(line) for line in agreement_lines(figures["agreement"]))


def families_finding(figures: Figures) -> str:
    """Return the family with the largest share of the worth's variance, interactions included."""
    found = figures["sobol"]["outcomes"].get("net_present_value")
    rows = found["families"] if found else ()
    if not rows:
        return ""
    first = max(rows, key=lambda row: row["total_order"]["value"])
    others = [row["total_order"]["value"] for row in rows if row is not first]
    message = "Of the families of inputs, {family} decides most: {share}"
    if others and first["total_order"]["interval_95"][0] <= max(others):
        message = "Of the families of inputs, {family} seems to decide most: {share}, which is not certain"
    share = f"{_whole(_share_of(first['total_order']['value']))} %"
    return say(message, family=lower(first["label"]), share=share)


def order_lines(order: Figures, most_points: int) -> Iterator[str]:
    """Yield the first places: settled, tied, or open with what would settle them."""
    for tier in order["tiers"]:
        first, last = tier["places"]
        where = say("Places {first} to {last}", first=first, last=last)
        if first == last:
            where = say(PLACES[first - 1]) if first <= len(PLACES) else say("Place {first}", first=first)
        who = "; ".join([capital(tier["factors"][0]["label"]), *(lower(row["label"]) for row in tier["factors"][1:])])
        if tier["settled"]:
            yield say("{where}: {who}. This is settled, with 95 % certainty", where=where, who=who)
            continue
        message = "{where}, too close to tell apart: {who}" if tier["is_tie"] else "{where}, not sure yet: {who}"
        said = say(message, where=where, who=who)
        if tier["outside"]:
            said = say("{said}. May belong there too: {others}", said=said, others=_names(tier["outside"]))
        yield said
        if tier["is_tie"]:
            yield f"   {_tie_reason(tier['hardest_to_part'], most_points)}"
    needed = order["futures_that_would_settle"]
    if needed is not None:
        yield say(
            "About {futures} futures would settle the order",
            futures=significant(needed, 2),
        )


def agreement_lines(found: Figures) -> Iterator[str]:
    """Yield whether other methods name the same three."""
    methods = (
        ("given_data", "A second estimate, from the futures of an assessment"),
        ("screening", "Morris screening"),
    )
    for name, said in methods:
        if found[name]:
            inputs = "; ".join(row["label"] for row in found[name])
            message = (
                "{method}: no clear difference. It puts first: {inputs}"
                if found[f"{name}_agrees"]
                else "{method}: other inputs come first: {inputs}"
            )
            yield say(message, method=say(said), inputs=inputs)


def interval_text(index: Figures) -> str:
    """Return a share with its 95 % interval."""
    low, high = index["interval_95"]
    return say("{share} % ({low} to {high})", share=_whole(index["value"]), low=_whole(low), high=_whole(high))


def _cells(index: Figures) -> tuple[str, str]:
    low, high = map(_share_of, index["interval_95"])
    return f"{_whole(_share_of(index['value']))} %", say("{low} to {high} %", low=_whole(low), high=_whole(high))


def _share_of(value: float) -> float:
    """Return a share as a page shows it: what chance puts below 0 or above 1 lies at that end."""
    return min(1.0, max(0.0, value))


def _tie_reason(hardest: Figures, most_points: int) -> str:
    """Return how near the two of a tie are that are hardest to part, and why more points are not the way."""
    gap = hardest["difference"]
    apart = f"{percent(value_of(gap), se=error_of(gap))}{error(100 * error_of(gap))}"
    needed = hardest["points_that_would_part"]
    if needed is None:
        return say("they differ by {apart} of the spread, which does not matter in practice", apart=apart)
    message = (
        "they differ by {apart} of the spread; to tell which is ahead, run it with --most-points {needed} (now {most})"
    )
    return say(message, apart=apart, needed=str(needed), most=str(most_points))


def _in_a_row(names: Sequence[str]) -> str:
    """Return names in a row, with a comma before "and" too, since each may hold an "and" of its own."""
    return say("{first}, and {last}", first=", ".join(names[:-1]), last=names[-1]) if len(names) > 1 else names[0]


def _quoted(row: Figures) -> str:
    return say("“{name}”", name=capital(row["label"]))


def _names(rows: Sequence[Figures]) -> str:
    said = [_quoted(row) for row in rows[:MOST_RIVALS]]
    left = len(rows) - MOST_RIVALS
    return say("{names}; and {left} more", names="; ".join(said), left=left) if left > 0 else "; ".join(said)


def _one_of(rows: Sequence[Figures]) -> str:
    """Return the first few names as a choice, with how many others there are."""
    said = [_quoted(row) for row in rows[:MOST_CHOICES]]
    left = len(rows) - MOST_CHOICES
    if left > 0:
        return counted("{names}; or {count} other", "{names}; or one of {count} others", left, names="; ".join(said))
    return listed(said)


def _sentence(line: str) -> str:
    text = capital(line.strip())
    return text if text.endswith(".") else f"{text}."


def _whole(share: float) -> str:
    text = f"{100.0 * share:.0f}"
    return "0" if text == "-0" else text.replace("-", MINUS)


def _known(value: float | None) -> float:
    return float(np.nan) if value is None else value
