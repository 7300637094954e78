"""What stands behind the answer: what was looked at, what counts and what does not, moves, and the limits of it all."""

from __future__ import annotations

from collections.abc import Sequence

from riskcalc.language import told
from riskcalc.pages.exhibit import Block, Section, items, section, words
from riskcalc.pages.exhibits import options, stay
from riskcalc.pages.exhibits.answer import refused_words, worth_in_brief
from riskcalc.pages.exhibits.boxes import certain, check_words, days_short, may_be_refused
from riskcalc.pages.exhibits.own_figures import published_note
from riskcalc.pages.exhibits.payback import NEARLY, counts_later_homes
from riskcalc.pages.exhibits.worth import first_saving, outlay
from riskcalc.pages.figures import (
    capital,
    counted,
    grouped,
    in_years,
    say,
    significant,
    value_of,
    whole_years,
    years,
)
from riskcalc.types import Figures


def more_section(figures: Figures) -> Section | None:
    """Return what the first screen leaves out, under words in bold."""
    moving = say("When you move, if you buy it" if may_be_refused(figures) else "When you move")
    parts: tuple[tuple[str, Sequence[str | Block | None]], ...] = (
        (say("What was looked at"), asked_of(figures)),
        (say("Earning back the cost"), paying_words(figures)),
        (say("How it compares with savings"), worth_words(figures)),
        (say("If permission is refused"), [refused_words(figures)]),
        (moving, [stay.stay_brief(figures), stay.ends_table(figures), stay.later_words(figures)]),
        (say("What a sale brings"), [stay.sale_brief(figures)]),
        (say("With the loan"), [stay.loan_brief(figures)]),
        (say("Days short of power"), short_words(figures)),
        (say("What to check before you buy"), [_listed(check_words(figures))]),
        (say("What limits this answer"), [_listed(limit_words(figures["limits"]))]),
    )
    return more_parts(parts, own=bool(figures.get("page", {}).get("own")))


def compared_section(figures: Figures) -> Section | None:
    """Return what the first screen of a comparison leaves out."""
    known = {row["option"]: row["letter"] for row in figures["compared"]}
    same = any(row["same_as"] is not None for row in figures["options"])
    homes = [
        say(
            "{letters}: {home}. Tariff today: {tariff}.",
            letters=", ".join(known[name] for name in home["options"]),
            home=home["home"] or say("unnamed home"),
            tariff=told(home["tariff"]),
        )
        for home in sorted(figures.get("today", ()), key=lambda home: min(known[name] for name in home["options"]))
    ]
    described = [
        say("{letter}: {text}", letter=row["letter"], text=row["description"])
        for row in figures["compared"]
        if row["description"]
    ]
    message = (
        "All choices face the same {draws} futures. What they share, such as weather and "
        "prices, is the same for all of them. If several are equally good in a future, each "
        "gets an equal share of it."
    )
    worth = say(
        "The amounts say how much better off a choice leaves you than doing nothing in its own home under today’s tariff."
    )
    even = say("An amount of 0 means: no better and no worse than leaving the money in savings.") if same else ""
    parts = (
        (say("What was looked at"), [*described, *homes]),
        (
            say("How they are compared"),
            [
                say(message, draws=grouped(figures["provenance"]["draws"])),
                f"{worth} {even}".strip(),
                options.lead_error_words(figures),
            ],
        ),
        (say("Earning back the cost"), options.paid_words(figures)),
        (say("What more knowledge is worth"), [options.regret_words(figures)]),
        (say("What limits this answer"), [_listed(limit_words(figures["limits"]))]),
    )
    return more_parts(parts, own=bool(figures["page"].get("own")))


def more_parts(parts: Sequence[tuple[str, Sequence[str | Block | None]]], *, own: bool = False) -> Section | None:
    """Return texts, tables and lists under words in bold; figures that a reader types in, if `own`, do not move them."""
    shown = tuple((lead, blocks) for lead, said in parts if (blocks := _blocks(said)))
    return section(
        "more",
        "More about the answer",
        published_note() if own else None,
        Block("more", shown),
        finding=say("What the answer counts, and what it leaves out"),
    )


def asked_of(figures: Figures) -> list[str]:
    """Return what was asked: the scenario in words, place and tariff."""
    only = figures.get("page", {})
    parts = {"place": only.get("place") or "", "tariff": only.get("tariff") or ""}
    message = "Place: {place}. Tariff today: {tariff}." if parts["place"] else "Tariff today: {tariff}."
    return [only.get("description") or "", say(message, **parts) if parts["tariff"] else ""]


def paying_words(figures: Figures) -> list[str]:
    """Return in how many years the first year's saving adds up to the cost, and when the middle future has it back."""
    paid, saving = value_of(outlay(figures)), value_of(first_saving(figures))
    if paid <= 0.0 or figures.get("page", {}).get("coupling") == "none":
        return []
    if saving <= 0.0:
        return [say("It saves nothing in its first year.")]
    message = (
        "At the first year's saving it takes {years} to earn back its cost. Wear and repairs make that longer, rising prices "
        "make it shorter."
    )
    return [say(message, years=in_years(significant(paid / saving, 2))), middle_words(figures)]


def middle_words(figures: Figures) -> str:
    """Return within how many years half of the futures have paid back, or that fewer do."""
    payback, horizon = figures["payback_years"], figures["horizon_years"]
    if certain(figures):
        return ""
    half, said = payback["p50"], whole_years(horizon)
    later = counts_later_homes(figures)
    if half["value"] is not None:
        message = "Half of the futures have earned it back within {half}."
        if later:
            message = "Half of the futures have earned it back within {half}, later homes counted."
        return say(message, half=years(half, horizon=horizon))
    if 1.0 - value_of(payback["never_share"]) >= NEARLY:
        return say("Just under half of the futures have earned it back within {years}.", years=said)
    message = "Fewer than half of the futures earn it back within {years}."
    if later:
        message = "Fewer than half of the futures earn it back within {years}, later homes counted."
    return say(message, years=said)


def worth_words(figures: Figures) -> list[str]:
    """Return what it leaves on average, against savings."""
    return [] if figures.get("page", {}).get("coupling") == "none" else [worth_in_brief(figures)]


def short_words(figures: Figures) -> list[str]:
    """Return what the days are on which a kit without a grid falls short, and how the money counts what it leaves."""
    days = days_short(figures)
    if not days:
        return []
    said = counted(
        "On {count} day a year something you want to run stays off, if only for a while.",
        "On {count} days a year something you want to run stays off, if only for a while.",
        days,
    )
    tariff = figures.get("page", {}).get("tariff") or say("as in the scenario")
    message = (
        "The money figures assume that you buy this missing energy at today's price, "
        "“{tariff}”. The kit saves nothing on it."
    )
    return [said, say(message, tariff=told(tariff))]


def limit_words(limits: list[str]) -> list[str]:
    """Return the limits of an answer as sentences."""
    said = [capital(limit) for limit in limits]
    return [text if text.endswith(".") else f"{text}." for text in said]


def _listed(texts: list[str]) -> Block | None:
    return items(texts) if texts else None


def _blocks(said: Sequence[str | Block | None]) -> tuple[Block, ...]:
    """Return the texts that are there as paragraphs, neighbours in one."""
    return tuple(words(each) if isinstance(each, str) else each for each in said if each)
