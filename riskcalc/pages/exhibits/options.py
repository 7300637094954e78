"""Options side by side: what each is called, and the sentences that answer which is best."""

from __future__ import annotations

from riskcalc.language import told, translated
from riskcalc.pages.exhibits.answer import refused_share_words
from riskcalc.pages.figures import error_of, frequency, money, say, value_of, whole_years
from riskcalc.types import Figures

#: Options that are always there are called by what to do; within a sentence they need a noun.
DEEDS = {
    "do nothing": "doing nothing",
    "only change the tariff": "only changing the tariff",
    "put the money in savings": "putting the money in savings",
}


def choices(result: Figures) -> list[Figures]:
    """Return the options that are choices of their own, best average worth first."""
    return [row for row in result["options"] if row["same_as"] is None]


def title_of(row: Figures) -> str:
    """Return what a reader calls an option."""
    return str(row.get("title") or row["option"])


def titles(result: Figures) -> dict[str, str]:
    """Return what a reader calls each option, by its name."""
    return {row["option"]: title_of(row) for row in result["options"]}


def letters(result: Figures) -> dict[str, str]:
    """Return how each option is called in short: its letter on the page, or what it means to do."""
    known = {row["option"]: row["letter"] for row in result.get("compared", ())}
    return {name: known.get(name, in_sentence(title)) for name, title in titles(result).items()}


def labels(result: Figures) -> dict[str, str]:
    """Return how each option is called in drawings and tables: its title, with its letter in front."""
    known = {row["option"]: f"{row['letter']} · " for row in result.get("compared", ())}
    return {name: known.get(name, "") + own_or_ours(title) for name, title in titles(result).items()}


def own_or_ours(title: str) -> str:
    """Return the title of an option in the reader's language where it is one of ours, with what follows it as it is."""
    deed = next((deed for deed in DEEDS if title.startswith(deed)), "")
    return translated(deed) + title[len(deed) :] if deed else told(title)


def in_sentence(name: str) -> str:
    """Return the name of an option as a noun: what tells to do something becomes the doing of it.

    A title of several words stands between quotation marks, or the sentence around it could not be read.
    """
    titled = say("“{name}”", name=told(name)) if " " in name else name
    return next((say(noun) + name[len(deed) :] for deed, noun in DEEDS.items() if name.startswith(deed)), titled)


def first_word(text: str) -> str:
    """Return a noun of ours with a capital, to begin a sentence; the name of a scenario stays as it is written."""
    return text[:1].upper() + text[1:] if text.startswith(tuple(map(say, DEEDS.values()))) else text


#: What is best on average, and what is best more often where that is something else; the panel of own figures says both.
BEST_BUT = "{best} is best on average."
SUREST = "The best choice most often is something else: {surest}, in {share}."


def opening(result: Figures) -> str:
    """Return the sentences that answer which is best, by how much, and how sure that is."""
    draws = result["provenance"]["draws"]
    leader = choices(result)[0]
    surest = max(choices(result), key=lambda row: row["best_share"]["value"])
    share, best = frequency(surest["best_share"], draws), first_word(in_sentence(title_of(leader)))
    if leader is surest:
        told = [say("{best} is the best choice in {share}.", best=best, share=share), margin(result)]
    else:
        other = in_sentence(title_of(surest))
        told = [say(BEST_BUT, best=best), margin(result, led=True), say(SUREST, surest=other, share=share)]
    return " ".join(filter(None, told))


def margin(result: Figures, *, led: bool = False) -> str:
    """Return how far the best is ahead of the next, or that the draws cannot tell them apart; `led` follows `BEST_BUT`."""
    leader, *others = choices(result)
    if not others:
        return ""
    names = {leader["option"], others[0]["option"]}
    pair = next(row for row in result["pairs"] if {row["first"], row["second"]} == names)
    mean, currency = pair["difference"]["mean"], result["currency"]
    value, se, other = value_of(mean), error_of(mean), in_sentence(title_of(others[0]))
    if value == 0.0 and se == 0.0:
        return say("It comes to exactly the same as {other} in every future.", other=other)
    if abs(value) < 2 * se:
        lead = money(abs(value), currency, se=se)
        return say("Its lead over {other} is too small to call: {lead} on average.", other=other, lead=lead)
    lead = money(abs(value), currency, se=se)
    if led:
        return say("The next by that measure is {other}, {lead} behind.", lead=lead, other=other)
    return say(
        "On average it leaves you {lead} better off than {other}, the second best on average.", lead=lead, other=other
    )


def risk_words(result: Figures) -> str:
    """Return how often the best on average pays for itself and how often it loses; empty for what is not bought."""
    leader, draws = choices(result)[0], result["provenance"]["draws"]
    if "paid_back_share" not in leader:
        return ""
    message, parts = (
        "{best} pays for itself within {years} in {paid}. Interest counts too: in {lost} doing nothing and saving the "
        "money brings more.",
        {"best": first_word(in_sentence(title_of(leader)))},
    )
    in_stay, refused = leader.get("paid_back_within_stay_share"), leader.get("refused_share")
    if in_stay:
        message = (
            "{best} pays for itself before you move in {in_stay}, and within {years} in {paid}. Interest counts too: in {lost} "
            "doing nothing and saving the money brings more."
        )
        parts |= {"in_stay": frequency(in_stay, draws)}
    said = say(
        message,
        years=whole_years(result["horizon_years"]),
        paid=frequency(leader["paid_back_share"], draws),
        lost=frequency(leader["net_present_value"]["loss_probability"], draws),
        **parts,
    )
    also = "" if refused is None else refused_share_words(refused)
    return f"{said} {also}" if also else said


def regret_words(result: Figures) -> str:
    """Return what choosing the best on average still costs, which is what knowing the future would be worth."""
    if not value_of(result["value_of_knowing"]):
        return say("Even if you knew the future, you would choose the same.")
    return say(
        "Knowing the future before you choose would bring {amount} on average. Do not spend more than that on finding out.",
        amount=money(result["value_of_knowing"], result["currency"]),
    )
