"""The answer for the household: yes, no or hard to say, at most three reasons, what it costs and brings, what to check."""

from __future__ import annotations

from riskcalc.language import spoken
from riskcalc.pages.exhibit import Block, hero, section
from riskcalc.pages.exhibit import Section as Part
from riskcalc.pages.exhibits.boxes import certain, check_first, days_short, key_figures, ranked_check
from riskcalc.pages.exhibits.futures import futures_block
from riskcalc.pages.exhibits.payback import counts_later_homes, headline_stay, headline_years, paid_share
from riskcalc.pages.exhibits.worth import first_saving, outlay
from riskcalc.pages.figures import (
    Figure,
    capital,
    complement,
    counted,
    grouped,
    money,
    percent,
    say,
    value_of,
    whole_years,
    years,
)
from riskcalc.types import Figures

#: Share of futures above which the answer is yes, below which it is no, and above or below which it is sure.
#: Judgement: odds between 4 and 6 in 10 mean that it could go either way.
LIKELY, SURE = 0.6, 0.95


def answer_section(figures: Figures) -> Part:
    """Return the first screen of an assessment."""
    return Part(
        "answer",
        say("The answer"),
        (
            *(Block("refusal", {"title": say(UNSAFE), "said": _refusal(row)}) for row in refused_checks(figures)),
            hero(
                verdict_words(figures),
                reasons(figures),
                futures_block(figures),
                rows=key_figures(figures),
                check=check_first(figures),
            ),
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


#: Said of a kit that fails an electrical check.
UNSAFE = "Do not connect this as described."
#: The verdict by its kind, with one figure: in how many of all futures it beats a savings account. `toss_up_later` where it pays
#: for itself more often than it gains, `toss_up_after` the other way round; `certain` where every input is fixed.
OF_BOTH = {
    "yes": "Worth buying: the kit beats a savings account in {gain}.",
    "probably": "Probably worth buying: the kit beats a savings account in {gain}.",
    "toss-up": "Could go either way: the kit beats a savings account in {gain}.",
    "toss_up_later": "Hard to say: the kit often pays for itself, yet beats a savings account in only {gain}.",
    "rather_not": "Rather not worth buying: the kit often pays for itself, yet beats a savings account in only {gain}.",
    "probably not": "Probably not worth buying: the kit beats a savings account in only {gain}.",
    "no": "Not worth buying: the kit beats a savings account in {gain}.",
}
OF_YEARS, OF_STAY = (
    OF_BOTH
    | {
        "toss_up_after": "Hard to say: the kit beats a savings account in {gain}, but often does not pay for itself "
        "within {years}.",
        "certain_yes": "Yes: with every input fixed, the kit pays for itself within {years}.",
        "certain_no": "No: with every input fixed, the kit does not pay for itself within {years}.",
    },
    OF_BOTH
    | {
        "toss_up_after": "Hard to say: the kit beats a savings account in {gain}, but often does not pay for itself "
        "before you move out.",
        "certain_yes": "Yes: with every input fixed, the kit pays for itself within {years} and before you move out.",
        "certain_no": "No: with every input fixed, the kit does not pay for itself before you move out.",
    },
)
#: A share of futures, where it is none of them or all: neither says more than that many draws can tell.
OF_FUTURES, NONE, ALL = "{share} of futures", "0 of {draws} futures", "all {draws} futures"
#: How often it pays for itself: within some years, with later homes, or before the first move. The dots show the same.
PAYS = {
    "years": "If you buy it, it pays for itself within {years} in {paid}.",
    "along": "If you buy it and take it with you when you move, it pays for itself within {years} in {paid}.",
    "stay": "If you buy it, then in {paid} it pays for itself within {years} and before you move out.",
}
#: Said where it pays for itself more often than it beats a savings account.
HARDER = "Beating a savings account is harder, because savings earn interest."
#: The mean net present value in words, lost or gained; `certain` where every input is fixed.
BRIEF = {
    "lost": "Over {years} it leaves you {amount} worse off than a savings account would, on average and in today's money.",
    "gained": "Over {years} it leaves you {amount} better off than a savings account would, on average and in today's money.",
    "certain_lost": "Over {years} it leaves you {amount} worse off than a savings account would, in today's money.",
    "certain_gained": "Over {years} it leaves you {amount} better off than a savings account would, in today's money.",
}
#: Share of the range of nine futures in ten from which on the average lies far from the middle; our own choice.
LIFT = 0.05
LIFTED = {
    "up": "A few very good futures lift this average.",
    "down": "A few very bad futures pull this average down.",
}
EVEN = "It leaves you as well off as savings would."


def answer_words(figures: Figures) -> str:
    """Return the verdict and its reasons: what page, screen, workbench and notebook all say."""
    return " ".join([verdict_words(figures), *reasons(figures)])


def verdict_words(figures: Figures) -> str:
    """Return the sentence that answers, with the one figure behind it."""
    messages = verdict_messages(figures)
    if figures.get("page", {}).get("coupling") == "none":
        return say("Nothing is bought in this scenario, so there is nothing to pay back.")
    horizon, draws = headline_years(figures), figures["provenance"]["draws"]
    if certain(figures):
        if value_of(paid_share(figures)):
            return say(messages["certain_yes"], years=years(figures["payback_years"]["p50"], horizon=horizon))
        return say(messages["certain_no"], years=whole_years(horizon))
    worth = figures["net_present_value"]
    # A result.json of an earlier version has the odds of a loss alone.
    gain = share_words(worth.get("gain_probability") or complement(worth["loss_probability"]), draws)
    return say(messages[verdict_kind(figures)], years=whole_years(horizon), gain=gain)


def verdict_messages(figures: Figures) -> dict[str, str]:
    """Return the verdicts of the headline, by kind."""
    return OF_YEARS if headline_stay(figures) is None else OF_STAY


def verdict_kind(figures: Figures) -> str:
    """Return which of the messages of the verdict holds for odds that are no certainty."""
    kind, paid, gains = verdict(figures), value_of(paid_share(figures)), _gains(figures)
    if kind != "toss-up" or (_is_even(paid) and _is_even(gains)):
        return kind
    if paid <= gains:
        return "toss_up_after"
    return "rather_not" if gains <= 1 - LIKELY else "toss_up_later"


def _is_even(share: float) -> bool:
    return 1 - LIKELY < share < LIKELY


def _gains(figures: Figures) -> float:
    """Return the share of futures that do not lose, for the kind of the verdict: where nothing is bought, nothing is lost."""
    return 1.0 - value_of(figures["net_present_value"]["loss_probability"])


def share_words(share: Figure, draws: int) -> str:
    """Return "62 % of futures"; none and all of them with their number."""
    value = value_of(share)
    if 0.0 < value < 1.0:
        return say(OF_FUTURES, share=percent(share))
    return say(NONE if value <= 0.0 else ALL, draws=grouped(draws))


def reasons(figures: Figures) -> list[str]:
    """Return at most three sentences of why: payback, why savings are harder to beat, and days short of power."""
    short = short_words(figures)
    told = [short] if short else []
    if certain(figures) or figures.get("page", {}).get("coupling") == "none":
        return told
    count, share, kind = headline_years(figures), paid_share(figures), paid_kind(figures)
    if kind == "along":
        share = figures["paid_back_within_years"][count - 1]
    paid = share_words(share, figures["provenance"]["draws"])
    said = [say(PAYS[kind], paid=paid, years=whole_years(count))]
    worth = figures["net_present_value"]
    gain = worth.get("gain_probability") or complement(worth["loss_probability"])
    if value_of(share) > value_of(gain):
        said.append(say(HARDER))
    return [*said, *told]


def paid_kind(figures: Figures) -> str:
    """Return which of `PAYS` is said: later homes count where the kit goes along, as in the odds of beating savings."""
    if headline_stay(figures) is None:
        return "years"
    return "along" if counts_later_homes(figures) else "stay"


def short_words(figures: Figures) -> str:
    """Return on how many days a year a kit without a grid falls short, "" on none."""
    days = days_short(figures)
    if not days:
        return ""
    return counted(
        "One drawback: on {count} day a year the kit cannot supply everything you want to run.",
        "One drawback: on {count} days a year the kit cannot supply everything you want to run.",
        days,
    )


def verdict(figures: Figures) -> str:
    """Return "yes", "probably", "toss-up", "probably not" or "no".

    Both must agree: the odds of payback within the headline's years or stay and those of a worth above zero.
    """
    paid, gains = value_of(paid_share(figures)), _gains(figures)
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


def refused_words(figures: Figures) -> str:
    """Return in how many futures permission is refused; the odds of payback are those of the others."""
    return refused_share_words(1.0 - value_of(figures["bought_share"]))


def refused_share_words(refused: Figure | float) -> str:
    """Return the same of a share; "" where permission is always or never given."""
    if not 0.0 < value_of(refused) < 1.0:
        return ""
    message = (
        "In {share} of futures permission is refused, so you buy nothing: ask before you "
        "buy. The cost, the saving and the odds that it pays for itself leave these futures "
        "out. In the odds of beating savings they count as futures in which it does not. In "
        "gains and losses they count as 0."
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
        " ".join([*unsafe_words(figures), answer_words(figures)]),
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
