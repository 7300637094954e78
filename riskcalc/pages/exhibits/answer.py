"""The answer for the household: what was asked, yes or no, what it costs and brings, and what to check first."""

from __future__ import annotations

from riskcalc.language import spoken
from riskcalc.pages.exhibit import Block, section
from riskcalc.pages.exhibit import Section as Part
from riskcalc.pages.exhibits import stay
from riskcalc.pages.exhibits.payback import NEARLY, futures_block, headline_stay, headline_years, paid_share
from riskcalc.pages.exhibits.worth import first_saving, outlay
from riskcalc.pages.figures import (
    UNKNOWN,
    Figure,
    capital,
    complement,
    counted,
    frequency,
    grouped,
    lower,
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
#: What to do before buying, by the start of the key that decides most. Inputs nobody can check are not here.
ADVICE = (
    ("kit.ageing.electronics_life", "Ask how long the electronics are under warranty, and what a repair costs."),
    ("kit.ageing", "Ask what capacity the maker guarantees for the battery, and for how many years."),
    ("kit.inverter.idle", "Ask what the unit itself draws while it is switched on."),
    ("kit.battery.capacity", "Ask for the usable capacity of the battery, not the nominal one."),
    ("kit", "Compare this figure with the datasheet of the kit you are offered: {input}."),
    ("purchase.resale", "Look up what used kits of this kind sell for."),
    ("purchase", "Get a written quote for the kit, with installation and every extra."),
    (
        "home.annual_use",
        "Read your yearly use from the last bill. If you have no bill, write down your use for a month.",
    ),
    ("home.surfaces", "Watch the place for shade over a whole sunny day."),
    ("home.car", "Think through when and how often the car charges at home."),
    ("home", "Check this in your own home: {input}."),
    ("tariff", "Read the prices per kWh from your own contract."),
    ("tenure.permission", "Ask for permission in writing before you order."),
    (
        "luck.tenure",
        "Ask for permission in writing, and think through how long you will stay and what happens at a move.",
    ),
    ("tenure", "Think through how long you will stay, and what happens to the kit at a move."),
    ("outages", "Ask your network operator how often and how long the supply fails."),
)


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
    said, later = verdict_alone(figures), stay.later_words(figures)
    return f"{said} {later}" if later else said


def opening_words(figures: Figures) -> str:
    """Return the sentence in the largest type: one that is hard to say holds figures enough, what comes later follows it."""
    return verdict_alone(figures) if hard_to_say(figures) else verdict_words(figures)


def later_in_brief(figures: Figures) -> str:
    """Return what later homes bring where the opening leaves it out; where it speaks of a gain, what that takes."""
    later = stay.later_words(figures) if hard_to_say(figures) else ""
    return f"{later} {say(GAINING)}" if later and verdict_kind(figures) == "toss_up_after" else later


def hard_to_say(figures: Figures) -> bool:
    """Return whether the odds of payback and those of a gain point to different answers."""
    if figures.get("page", {}).get("coupling") == "none" or certain(figures):
        return False
    return verdict_kind(figures).startswith("toss_up_")


def verdict_kind(figures: Figures) -> str:
    """Return which of the messages of the verdict holds for odds that are no certainty."""
    kind, paid = verdict(figures), value_of(paid_share(figures))
    if kind == "toss-up" and paid >= LIKELY:
        return "toss_up_later"
    return "toss_up_after" if kind == "toss-up" and paid <= 1 - LIKELY and headline_stay(figures) else kind


def verdict_alone(figures: Figures) -> str:
    """Return the verdict without what a kit that goes along brings after the stay."""
    draws, horizon, messages = figures["provenance"]["draws"], headline_years(figures), verdict_messages(figures)
    paid, said = paid_share(figures), whole_years(headline_years(figures))
    if figures.get("page", {}).get("coupling") == "none":
        return say("Nothing is bought in this scenario, so there is nothing to pay back.")
    if certain(figures):
        if value_of(paid):
            return say(messages["certain_yes"], years=years(figures["payback_years"]["p50"], horizon=horizon))
        return say(messages["certain_no"], years=said)
    parts = {"futures": frequency(paid, draws), "years": said}
    kind = verdict_kind(figures)
    if MOST < value_of(paid) < 1.0:
        parts["futures"] = say("{share} of futures", share=percent(paid))
    elif 0.0 < value_of(paid) < 1.0:
        parts["futures"] = say("{futures} ({share})", futures=parts["futures"], share=percent(paid))
    loss = figures["net_present_value"]["loss_probability"]
    return say(messages[kind], loss=percent(loss), gain=percent(complement(loss)), **parts)


#: Said of a kit that fails an electrical check.
UNSAFE = "Do not connect this as described."
#: To gain is more than to pay back.
GAINING = "To gain, it must also bring more than the same money put aside."
#: The verdict by what the headline is about, first a number of years, then the stay: by kind, `toss_up_later` where more
#: pay back than gain, `toss_up_after` where fewer do within the stay; `certain` where every input is fixed.
OF_YEARS, OF_STAY = (
    {
        "yes": "Yes: the kit pays for itself within {years} in {futures}.",
        "probably": "Probably yes: the kit pays for itself within {years} in {futures}.",
        "toss-up": "A toss-up: the kit pays for itself within {years} in {futures}.",
        "toss_up_later": "Hard to say: the kit pays for itself within {years} in {futures}. But in {loss} of futures, "
        "money put aside would bring more.",
        "probably not": "Probably not: the kit pays for itself within {years} in {futures}.",
        "no": "No: the kit pays for itself within {years} in {futures}.",
        "certain_yes": "Yes: with every input fixed, the kit pays for itself within {years}.",
        "certain_no": "No: with every input fixed, the kit does not pay for itself within {years}.",
    },
    {
        "yes": "Yes: the kit pays for itself before you move in {futures}.",
        "probably": "Probably yes: the kit pays for itself before you move in {futures}.",
        "toss-up": "A toss-up: the kit pays for itself before you move in {futures}.",
        "toss_up_later": "Hard to say: the kit pays for itself before you move in {futures}. But in {loss} of futures, "
        "money put aside would bring more.",
        "toss_up_after": "Hard to say: the kit pays for itself before you move in {futures}. But counting what comes at "
        "the move and after it, you gain in {gain} of futures.",
        "probably not": "Probably not: the kit pays for itself before you move in {futures}.",
        "no": "No: the kit pays for itself before you move in {futures}.",
        "certain_yes": "Yes: with every input fixed, the kit pays for itself within {years}, before you move.",
        "certain_no": "No: with every input fixed, the kit does not pay for itself before you move.",
    },
)


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
    """Return the second sentence of the answer: what it brings over what it costs, in the money of today."""
    mean, currency = figures["net_present_value"]["mean"], figures["currency"]
    value = value_of(mean)
    if figures.get("page", {}).get("coupling") == "none" or value == 0:
        return say("In the money of today, it brings as much as it costs.")
    amount = money(abs(value), currency, se=mean["standard_error"] or 0.0)
    if certain(figures):
        message = (
            "In the money of today it costs {amount} more than it brings."
            if value < 0
            else "In the money of today it brings {amount} more than it costs."
        )
        return say(message, amount=amount)
    message = (
        "On average it costs {amount} more than it brings, in the money of today."
        if value < 0
        else "On average it brings {amount} more than it costs, in the money of today."
    )
    return say(message, amount=amount)


def why_words(figures: Figures) -> str:
    """Return why: the outlay in savings of the first year, "" where there is none of either."""
    paid, saving = value_of(outlay(figures)), value_of(first_saving(figures))
    if paid <= 0.0 or figures.get("page", {}).get("coupling") == "none":
        return ""
    if saving <= 0.0:
        return say("Why: it saves nothing in its first year.")
    message = (
        "Why: it costs {times} times what it saves in the first year. Wear and repairs come on top."
        if value_of(figures["net_present_value"]["mean"]) < 0.0
        else "It costs {times} times what it saves in the first year, so it must work for about that many years. Wear and "
        "repairs come on top."
    )
    return say(message, times=significant(paid / saving, 2))


def refused_words(figures: Figures) -> str:
    """Return in how many futures permission is refused; the odds of payback are those of the others."""
    return refused_share_words(1.0 - value_of(figures["bought_share"]))


def refused_share_words(refused: Figure | float) -> str:
    """Return the same of a share; "" where permission is always or never given."""
    if not 0.0 < value_of(refused) < 1.0:
        return ""
    message = (
        "In {share} of all futures permission is refused and nothing is bought. The figures on payback leave these out. "
        "The average counts them as 0."
    )
    return say(message, share=percent(refused))


def key_figures(figures: Figures) -> list[tuple[str, str, str]]:
    """Return what it costs and brings, in the middle future and in a bad one: words, figure, a line below."""
    currency, worth, payback = figures["currency"], figures["net_present_value"], figures["payback_years"]
    ends = figures["first_year_p10_p90"].get("saving")
    spread = (
        say("the same in every future")
        if ends is None
        else say(
            "{low} to {high} in 8 of 10 futures",
            low=money(ends[0], currency, se=UNKNOWN),
            high=money(ends[1], currency, se=UNKNOWN),
        )
    )
    rows = [
        (say("Paid on the day of purchase"), money(outlay(figures), currency), say("kit and installation")),
        (say("Saved in the first year"), money(first_saving(figures), currency), spread),
    ]
    if certain(figures):
        return [
            *rows,
            (say("Over all years"), _gain(worth["p50"], currency), _below(worth["p50"], payback["p50"], figures)),
        ]
    rows += [
        (say("In the middle future"), _gain(worth["p50"], currency), _middle_below(figures)),
        (say("In a bad future"), _gain(worth["p5"], currency), _below(worth["p5"], payback["p95"], figures)),
    ]
    rows += unserved(figures)
    return rows


def check_first(figures: Figures) -> str:
    """Return the one thing to check before buying: the most decisive input that somebody can check."""
    for row in figures["ranking"]:
        share = row.get("share_of_variance", {}).get("value") or 0.0
        if "effect" not in row or share < 0.005:
            continue
        for start, advice in ADVICE:
            if row["key"].startswith(start):
                message = "{advice} This decides {share} of what separates good futures from bad ones."
                return say(message, advice=say(advice, input=lower(row["label"])), share=percent(share, se=UNKNOWN))
    return ""


def certain(figures: Figures) -> bool:
    """Return True if every future is the same, so that there is no distribution to speak of."""
    return not figures["net_present_value"]["sd"]["value"]


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
        check_first(figures)
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


def _gain(worth: Figures, currency: str) -> str:
    amount = money(
        abs(value_of(worth)), currency, se=UNKNOWN if worth["standard_error"] is None else worth["standard_error"]
    )
    return say("{amount} lost" if value_of(worth) < 0 else "{amount} gained", amount=amount)


#: When a future pays back, by the start of its name: where the headline ends at the move, later homes are told apart.
BELOW = {
    "pays": "pays back within {years}",
    "pays_but": "pays back within {years}, but money put aside would bring more",
    "pays_not": "does not pay back within {years}",
    "pays_nearly": "about half of all futures pay back within {years}",
    "later_pays": "pays back within {years}, later homes counted too",
    "later_pays_but": "pays back within {years}, later homes counted too, but money put aside would bring more",
    "later_pays_not": "does not pay back within {years}, later homes counted too",
    "later_pays_nearly": "about half of all futures pay back within {years}, later homes counted too",
}


def below_messages(figures: Figures) -> dict[str, str]:
    """Return the messages below a future's gain or loss, by kind; with later homes where the headline leaves them out."""
    start = "later_" if stay.counts_later_homes(figures) else ""
    return {kind: BELOW[start + kind] for kind in ("pays", "pays_but", "pays_not", "pays_nearly")}


def _middle_below(figures: Figures) -> str:
    """Return the line below the middle future; where hardly fewer than half pay back, that says more than that it does not."""
    payback, horizon = figures["payback_years"], figures["horizon_years"]
    if payback["p50"]["value"] is None and 1.0 - value_of(payback["never_share"]) >= NEARLY:
        return say(below_messages(figures)["pays_nearly"], years=whole_years(horizon))
    return _below(figures["net_present_value"]["p50"], payback["p50"], figures)


def _below(worth: Figures, payback: Figures, figures: Figures) -> str:
    """Return when such a future pays back; where it loses although it pays back, money put aside would bring more."""
    messages, horizon = below_messages(figures), figures["horizon_years"]
    if payback["value"] is None:
        return say(messages["pays_not"], years=whole_years(horizon))
    return say(messages["pays_but" if value_of(worth) < 0 else "pays"], years=years(payback, horizon=horizon))


def unserved(figures: Figures) -> list[tuple[str, str, str]]:
    """Return the days without power of a home that has no grid."""
    load = (figures.get("loss_of_load") or {}).get("first_year") or {}
    days = (load.get("days_share") or {}).get("value")
    if days is None:
        return []
    count = grouped(round(365 * days))
    return [
        (say("Days short of power"), say("{count} a year", count=count), say("days on which some demand is not met"))
    ]


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
