"""The answer for the household: what was asked, yes or no, what it costs and brings, and what to check first."""

from __future__ import annotations

from riskcalc.language import spoken
from riskcalc.pages.exhibit import Block, section
from riskcalc.pages.exhibit import Section as Part
from riskcalc.pages.exhibits import stay
from riskcalc.pages.exhibits.boxes import certain, check_first, days_short, key_figures, ranked_check
from riskcalc.pages.exhibits.futures import futures_block
from riskcalc.pages.exhibits.payback import headline_stay, headline_years, paid_share
from riskcalc.pages.exhibits.worth import first_saving, outlay
from riskcalc.pages.figures import (
    Figure,
    capital,
    complement,
    counted,
    frequency,
    grouped,
    in_years,
    money,
    percent,
    say,
    significant,
    value_of,
    whole_years,
    years,
)
from riskcalc.types import Figures

#: Share of futures above which the answer is yes, below which it is no, and above or below which it is sure.
#: Judgement: odds between 4 and 6 in 10 read as a toss of a coin.
LIKELY, SURE = 0.6, 0.95
#: Odds above which the frequency counts the futures that do not pay back; a percentage beside it would not agree with it.
MOST = 0.905


def answer_section(figures: Figures) -> Part:
    """Return the first screen of an assessment."""
    return Part(
        "answer",
        say("The answer"),
        (
            Block("asked", asked_words(figures)),
            *(Block("refusal", {"title": say(UNSAFE), "said": _refusal(row)}) for row in refused_checks(figures)),
            Block(
                "hero",
                {
                    "answer": opening_words(figures),
                    "brief": " ".join(
                        text
                        for text in (
                            worth_in_brief(figures),
                            why_words(figures),
                            later_in_brief(figures),
                            refused_words(figures),
                            *stay.briefs(figures, split=True),
                        )
                        if text
                    ),
                    "rows": key_figures(figures),
                    "check_title": say("Check first."),
                    "check": check_first(figures),
                    "blocks": (futures_block(figures),),
                },
            ),
            *_noted(say("What limits this answer"), [capital(limit) for limit in figures["limits"]]),
        ),
    )


def questions_section(figures: Figures) -> Part | None:
    """Return the inputs that are possible but unusual, with the usual range; None without any."""
    rows = figures.get("questions") or ()
    finding = counted(
        "{count} figure looks unusual. Is it right?", "{count} figures look unusual. Are they right?", len(rows)
    )
    asked = Block("items", tuple(question_words(row, figures) for row in rows)) if rows else None
    return section("right", "Is this right?", asked, finding=finding)


def question_words(row: Figures, figures: Figures) -> str:
    """Return one question of plausibility, the setting under its name in words."""
    named = {setting["key"]: setting["label"] for setting in figures.get("assumptions", ())}
    message = "{setting} is {given}. Usual: {usual}."
    name = str(row.get("label") or named.get(row["key"]) or row["key"])
    said = say(message, setting=capital(name), given=row["given"], usual=row["usual"])
    effect = capital(str(row.get("effect") or ""))
    told = " ".join(text if text.endswith(".") else f"{text}." for text in (said, effect) if text)
    asked_of = row.get("options")
    return say("{options}: {question}", options=", ".join(asked_of), question=told) if asked_of else told


def asked_words(figures: Figures) -> str:
    """Return what was asked: kit, home, cost and years."""
    only, paid = figures.get("page", {}), outlay(figures)
    parts = {
        "kit": only.get("kit") or say("as in the scenario"),
        "home": only.get("home") or say("as in the scenario"),
        "years": whole_years(figures["horizon_years"]),
        "price": money(paid, figures["currency"]),
    }
    if only.get("coupling") == "none":
        return say("Nothing is bought. Home: {home}. Time looked at: {years}.", **parts)
    if not value_of(paid):
        return say("Kit: {kit}. Home: {home}. Time looked at: {years}.", **parts)
    return say("Kit: {kit}. Home: {home}. Cost with installation: {price}. Time looked at: {years}.", **parts)


def verdict_words(figures: Figures) -> str:
    """Return the sentence that answers: yes, no, a toss-up or hard to say, and in how many futures it pays for itself."""
    return " ".join(text for text in (verdict_alone(figures), later_words(figures)) if text)


def opening_words(figures: Figures) -> str:
    """Return the sentence in the largest type; after a no or hard to say, what later homes bring follows below it."""
    return verdict_alone(figures) if says_later_below(figures) else verdict_words(figures)


def later_in_brief(figures: Figures) -> str:
    """Return what later homes bring where the opening leaves it out."""
    return later_words(figures) if says_later_below(figures) else ""


def later_words(figures: Figures) -> str:
    """Return the odds of payback with later homes, and why they change no verdict that is no or hard to say."""
    said = stay.later_words(figures)
    if not said or not says_later_below(figures):
        return said
    message = LATER_STILL.get(verdict_kind(figures))
    return f"{said} {say(message)}" if message else said


def says_later_below(figures: Figures) -> bool:
    """Return whether the verdict is no or hard to say, so that odds with later homes beside it would contradict it."""
    if figures.get("page", {}).get("coupling") == "none" or certain(figures):
        return False
    return verdict_kind(figures) in DOUBTS


def verdict_kind(figures: Figures) -> str:
    """Return which of the messages of the verdict holds for odds that are no certainty."""
    kind, paid = verdict(figures), value_of(paid_share(figures))
    if kind == "toss-up" and paid >= LIKELY:
        return "toss_up_later"
    return "toss_up_after" if kind == "toss-up" and paid <= 1 - LIKELY and headline_stay(figures) else kind


def verdict_alone(figures: Figures) -> str:
    """Return the verdict without what a kit that goes along brings after the stay, off grid with the days it falls short."""
    return f"{_odds_words(figures)} {short_words(figures, doubts=_doubts(figures))}".strip()


def short_words(figures: Figures, *, doubts: bool) -> str:
    """Return on how many days a year a kit without a grid falls short, "" on none; "but" unless the verdict `doubts`."""
    days = days_short(figures)
    if not days:
        return ""
    if doubts:
        return counted(
            "On {count} day a year it cannot run everything.", "On {count} days a year it cannot run everything.", days
        )
    return counted(
        "But on {count} day a year it cannot run everything.",
        "But on {count} days a year it cannot run everything.",
        days,
    )


def _doubts(figures: Figures) -> bool:
    """Return whether the verdict is no or hard to say."""
    if certain(figures):
        return not value_of(paid_share(figures))
    return verdict_kind(figures) in DOUBTS


def _odds_words(figures: Figures) -> str:
    """Return the verdict with its odds, without what holds off the grid."""
    draws, horizon, messages = figures["provenance"]["draws"], headline_years(figures), verdict_messages(figures)
    paid, said = paid_share(figures), whole_years(headline_years(figures))
    if figures.get("page", {}).get("coupling") == "none":
        return say("Nothing is bought in this scenario, so there is nothing to pay back.")
    if certain(figures):
        if value_of(paid):
            return say(messages["certain_yes"], years=years(figures["payback_years"]["p50"], horizon=horizon))
        return say(messages["certain_no"], years=said)
    parts = {"futures": frequency(paid, draws) if value_of(paid) else say(NONE, draws=grouped(draws)), "years": said}
    kind = verdict_kind(figures)
    if MOST < value_of(paid) < 1.0:
        parts["futures"] = say("{share} of futures", share=percent(paid))
    elif 0.0 < value_of(paid) < 1.0:
        parts["futures"] = say("{futures} ({share})", futures=parts["futures"], share=percent(paid))
    loss = figures["net_present_value"]["loss_probability"]
    return say(messages[kind], loss=percent(loss), gain=percent(complement(loss)), **parts)


#: Said of a kit that fails an electrical check.
UNSAFE = "Do not connect this as described."
#: In no future: what fits behind "in".
NONE = "0 of {draws} futures"
#: The verdicts after which nothing is said with "but".
DOUBTS = ("toss_up_later", "toss_up_after", "probably not", "no")
#: Said after the odds of payback with later homes, by the kind of the verdict: to gain is more than to pay back.
LATER_STILL = {
    **dict.fromkeys(("probably not", "no"), "That alone is no gain: savings would have earned interest."),
}
#: The verdict by what the headline is about, first a number of years, then the stay: by kind, `toss_up_later` where more
#: pay back than gain, `toss_up_after` where fewer do within the stay; `certain` where every input is fixed.
OF_YEARS, OF_STAY = (
    {
        "yes": "Yes: in {futures} the kit pays for itself within {years}.",
        "probably": "Probably yes: in {futures} the kit pays for itself within {years}.",
        "toss-up": "A toss-up: in {futures} the kit pays for itself within {years}.",
        "toss_up_later": "Hard to say: in {futures} the kit pays for itself within {years}. That alone is no gain: in "
        "{loss}, savings with interest would bring more.",
        "probably not": "Probably not: in {loss} of futures, savings would bring more. In {futures} the kit pays for "
        "itself within {years}.",
        "no": "No: in {loss} of futures, savings would bring more. In {futures} the kit pays for itself within {years}.",
        "certain_yes": "Yes: with every input fixed, the kit pays for itself within {years}.",
        "certain_no": "No: with every input fixed, the kit does not pay for itself within {years}.",
    },
    {
        "yes": "Yes: in {futures} the kit pays for itself before you move.",
        "probably": "Probably yes: in {futures} the kit pays for itself before you move.",
        "toss-up": "A toss-up: in {futures} the kit pays for itself before you move.",
        "toss_up_later": "Hard to say: in {futures} the kit pays for itself before you move. That alone is no gain: in "
        "{loss}, savings with interest would bring more.",
        "toss_up_after": "Hard to say: in {gain} of futures the kit brings more than savings in the end. But it pays for "
        "itself before you move in only {futures}.",
        "probably not": "Probably not: in {loss} of futures, savings would bring more. In {futures} the kit pays for "
        "itself before you move.",
        "no": "No: in {loss} of futures, savings would bring more. In {futures} the kit pays for itself before you move.",
        "certain_yes": "Yes: with every input fixed, the kit pays for itself within {years}, before you move.",
        "certain_no": "No: with every input fixed, the kit does not pay for itself before you move.",
    },
)
#: The mean net present value in words, lost or gained; `certain` where every input is fixed.
BRIEF = {
    "lost": "Over {years} it leaves you {amount} worse off than savings would, on average and in today's money.",
    "gained": "Over {years} it leaves you {amount} better off than savings would, on average and in today's money.",
    "certain_lost": "Over {years} it leaves you {amount} worse off than savings would, in today's money.",
    "certain_gained": "Over {years} it leaves you {amount} better off than savings would, in today's money.",
}
#: Share of the range of nine futures in ten from which on the average lies far from the middle; our own choice.
LIFT = 0.05
LIFTED = {
    "up": "A few very good futures lift this average.",
    "down": "A few very bad futures pull this average down.",
}
EVEN = "It leaves you as well off as savings would."


def verdict_messages(figures: Figures) -> dict[str, str]:
    """Return the verdicts of the headline, by kind."""
    return OF_YEARS if headline_stay(figures) is None else OF_STAY


def verdict(figures: Figures) -> str:
    """Return "yes", "probably", "toss-up", "probably not" or "no".

    Both must agree: the odds of payback within the headline's years or stay and those of a worth above zero.
    """
    paid, gains = value_of(paid_share(figures)), 1.0 - value_of(figures["net_present_value"]["loss_probability"])
    low, high = min(paid, gains), max(paid, gains)
    if low >= LIKELY:
        return "yes" if low >= SURE else "probably"
    if high <= 1 - LIKELY:
        return "no" if high <= 1 - SURE else "probably not"
    return "toss-up"


def worth_in_brief(figures: Figures) -> str:
    """Return the second sentence of the answer: its mean net present value, which is the gain over money put aside."""
    mean, currency = figures["net_present_value"]["mean"], figures["currency"]
    value = value_of(mean)
    if figures.get("page", {}).get("coupling") == "none" or value == 0:
        return say(EVEN)
    parts = {
        "amount": money(abs(value), currency, se=mean["standard_error"] or 0.0),
        "years": whole_years(figures["horizon_years"]),
    }
    if certain(figures):
        return say(BRIEF["certain_lost"] if value < 0 else BRIEF["certain_gained"], **parts)
    said = say(BRIEF["lost"] if value < 0 else BRIEF["gained"], **parts)
    return f"{said} {lift_words(figures)}".strip()


def lift_words(figures: Figures) -> str:
    """Return why the average lies far from the middle future, "" where it does not."""
    worth = figures["net_present_value"]
    low, middle, high = (value_of(worth[level]) for level in ("p5", "p50", "p95"))
    apart = value_of(worth["mean"]) - middle
    if abs(apart) <= LIFT * (high - low):
        return ""
    return say(LIFTED["up" if apart > 0 else "down"])


def why_words(figures: Figures) -> str:
    """Return in how many years the saving of the first year adds up to the outlay; "" without an outlay."""
    paid, saving = value_of(outlay(figures)), value_of(first_saving(figures))
    if paid <= 0.0 or figures.get("page", {}).get("coupling") == "none":
        return ""
    if saving <= 0.0:
        return say("It saves nothing in its first year.")
    message = (
        "At the first year's saving it takes {years} to earn back its cost. Wear and repairs make that longer, rising prices "
        "make it shorter."
    )
    return say(message, years=in_years(significant(paid / saving, 2)))


def refused_words(figures: Figures) -> str:
    """Return in how many futures permission is refused; the odds of payback are those of the others."""
    return refused_share_words(1.0 - value_of(figures["bought_share"]))


def refused_share_words(refused: Figure | float) -> str:
    """Return the same of a share; "" where permission is always or never given."""
    if not 0.0 < value_of(refused) < 1.0:
        return ""
    message = (
        "In {share} of futures permission is refused, so you buy nothing: ask before you buy. These futures are left out of "
        "the cost, the saving and the odds that it pays for itself. In gains and losses they count as 0."
    )
    return say(message, share=percent(refused))


def brief_lines(figures: Figures) -> list[str]:
    """Return the five sentences an adviser would read aloud."""
    figures = spoken(figures)
    currency, worth = figures["currency"], figures["net_present_value"]
    low, high = (money(worth[name], currency) for name in ("p5", "p95"))
    spread = say("Nine futures in ten end between {low} and {high}.", low=low, high=high)
    saving = say("In its first year it saves {amount}.", amount=money(first_saving(figures), currency))
    return [
        asked_words(figures),
        " ".join([*unsafe_words(figures), verdict_words(figures)]),
        f"{worth_in_brief(figures)} {refused_words(figures)}".strip(),
        saving if certain(figures) else f"{saving} {spread}",
        ranked_check(figures)
        or say(
            "Local codes come first (the electrical and building rules where you live). Ask a licensed electrician before "
            "you connect anything."
        ),
    ]


def brief_markdown(figures: Figures) -> str:
    """Return the five sentences as Markdown for a description box, with how they were made."""
    known = figures["provenance"]
    made = say(
        "From {draws} simulated futures (riskcalc {version}, seed {seed}). A calculation, not advice on wiring: local "
        "codes come first, the electrical and building rules where you live.",
        draws=grouped(known["draws"]),
        version=known["riskcalc"],
        seed=known["seed"],
    )
    lines = brief_lines(figures)
    return "\n".join(
        [
            f"## {figures['title']}",
            "",
            f"**{lines[1]}**",
            "",
            *(f"- {line}" for line in (lines[0], *lines[2:])),
            "",
            made,
        ]
    )


def refused_checks(figures: Figures) -> list[Figures]:
    """Return the electrical checks that the kit as described fails."""
    return [row for row in figures["electrical_fit"] if row["verdict"] == "refused"]


def unsafe_words(figures: Figures) -> list[str]:
    """Return that the kit must not be connected as described, and why; nothing where every check passes."""
    said = [_refusal(row) for row in refused_checks(figures)]
    return [say(UNSAFE), *said] if said else []


def _refusal(row: Figures) -> str:
    said = say("{what}: {advice}", what=capital(row["what"]), advice=row["advice"] or say("the limit is passed"))
    return said if said.endswith(".") else f"{said}."


def _noted(title: str, texts: list[str]) -> tuple[Block, ...]:
    sentences = tuple(text if text.endswith(".") else f"{text}." for text in texts)
    return (Block("noted", {"title": title, "items": sentences}),) if texts else ()
