"""Options side by side: what each is called, and the sentences that answer which is best."""

from __future__ import annotations

import math

from riskcalc.language import told, translated
from riskcalc.pages.exhibits.answer import refused_share_words, share_words
from riskcalc.pages.figures import capital, error_of, listed, money, percent, say, value_of, whole_years
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


def choice_words(result: Figures, row: Figures) -> str:
    """Return what a choice is called within a sentence: by its letter on a page, else by its name."""
    letter = {known["option"]: known["letter"] for known in result.get("compared", ())}.get(row["option"])
    return in_sentence(title_of(row)) if letter is None else say(CHOICE, letter=letter)


#: Choices named of those that are about equally often the best; our own choice.
MOST_NAMED = 3
#: The answer by how far the best on average is ahead of the next; the panel of own figures says the same.
CHOICE = "choice {letter}"
LEADS = {
    "exact": "{best} is best on average: {lead} ahead of {other} over {years}.",
    "ahead": "{best} is best on average: {lead} ahead of {other} over {years}.",
    "close": "Too close to call: on average, {best} is {lead} ahead of {other} over {years}.",
    "same": "{best} and {other} come to exactly the same in every future.",
}
#: How far a lead that is not exact may be off, by two standard errors.
LEAD_ERROR = "The lead of {lead} is accurate to within about {error}."


def opening(result: Figures) -> str:
    """Return the sentence that answers which is best on average, and by how much."""
    leader, *others = choices(result)
    if not others:
        return say("There is only one choice here: {best}.", best=choice_words(result, leader))
    value, se = _lead(result)
    kind = "close" if abs(value) < 2 * se else "ahead"
    if se == 0.0:
        kind = "exact" if value else "same"
    best, other = (choice_words(result, row) for row in (leader, others[0]))
    lead, years = money(abs(value), result["currency"], se=se), whole_years(result["horizon_years"])
    first = best if kind == "close" else capital(best)
    return say(LEADS[kind], best=first, other=other, lead=lead, years=years)


def _lead(result: Figures) -> tuple[float, float]:
    """Return by how much the best on average is ahead of the next, and the standard error of that."""
    names = {row["option"] for row in choices(result)[:2]}
    pair = next(row for row in result["pairs"] if {row["first"], row["second"]} == names)
    return value_of(pair["difference"]["mean"]), error_of(pair["difference"]["mean"])


def lead_error_words(result: Figures) -> str:
    """Return how far the lead of the best on average may be off, "" where it is exact or there is one choice."""
    value, se = _lead(result) if len(choices(result)) > 1 else (0.0, 0.0)
    lead, error = (money(amount, result["currency"], se=se) for amount in (abs(value), 2 * se))
    return say(LEAD_ERROR, lead=lead, error=error) if se else ""


def home_fact(result: Figures) -> str:
    """Return what each kit is compared with where the homes differ, else ""."""
    return say("each kit is compared with doing nothing in its own home") if homes_differ(result) else ""


def reasons(result: Figures) -> list[str]:
    """Return how often the best on average beats doing nothing, which is best most often, and how far its lead may be off."""
    leader, often = choices(result)[0], by_best(result)
    best, told = choice_words(result, leader), []
    other_wins = often[0] is not leader and clearly_best(result) is not None
    if "paid_back_share" in leader and not other_wins:
        share = percent(leader["net_present_value"]["gain_probability"])
        told.append(
            say(
                "If you compare only {best} with doing nothing, {best} is ahead in {share} of futures.",
                best=best,
                share=share,
            )
        )
    if often[0] is leader:
        message = "{best} is the best choice in {share} of futures, more often than any other."
        told.append(say(message, best=capital(best), share=percent(leader["best_share"])))
    elif other_wins:
        message = "But {surest} is the best choice more often: in {share} of futures, {best} in {own}."
        parts = {"surest": choice_words(result, often[0]), "share": percent(often[0]["best_share"])}
        told.append(say(message, **parts, best=best, own=percent(leader["best_share"])))
        if value_of(leader["net_present_value"]["loss_probability"]) > 0.5:
            told.append(say("A few very good futures lift the average of {best}.", best=best))
    else:
        called = letters(result)
        shares = ", ".join(f"{called[row['option']]} {percent(row['best_share'])}" for row in often[:MOST_NAMED])
        told.append(say("Compared all at once, no choice is clearly more often the best: {shares}.", shares=shares))
    return [*told, *filter(None, [lead_error_words(result)])]


def by_best(result: Figures) -> list[Figures]:
    """Return the choices by how often each is the best, most often first; of equals the best on average first."""
    return sorted(choices(result), key=lambda row: -value_of(row["best_share"]))


def clearly_best(result: Figures) -> Figures | None:
    """Return the choice that is the best most often by more than two standard errors; None where none is."""
    first, *others = by_best(result)
    if not others:
        return first
    apart = value_of(first["best_share"]) - value_of(others[0]["best_share"])
    return first if apart > 2 * math.hypot(error_of(first["best_share"]), error_of(others[0]["best_share"])) else None


def homes_differ(result: Figures) -> bool:
    """Return whether the choices stand in different homes, or in one that is rented for some and owned for others."""
    return len(result.get("today", ())) > 1 or any(row["key"] == "tenure.kind" for row in result.get("differing", ()))


def check_words(result: Figures) -> str:
    """Return which report to read before buying."""
    leader, known = choices(result)[0], [row["letter"] for row in result["compared"]]
    best = next((row["letter"] for row in result["compared"] if row["option"] == leader["option"]), None)
    if best is None:
        return say("If you still want to buy, read the full report of {choices} first.", choices=listed(known))
    return say("Read the full report of {letter} first. It names what to check.", letter=best)


def price_words(result: Figures, option: str) -> str:
    """Return what an option costs on the day of purchase; "" where nothing is bought."""
    paid = next(row for row in result["options"] if row["option"] == option).get("outlay")
    return say("{amount} to buy", amount=money(paid, result["currency"])) if paid else ""


def question_words(result: Figures) -> str:
    """Return the title of a comparison."""
    known = [row["letter"] for row in result["compared"]]
    if len(known) == 1:
        return say("Is this better than nothing?")
    if homes_differ(result):
        return say("Different homes: what is best?")
    return say("What is best: {choices}, or doing nothing?", choices=", ".join(known))


def paid_words(result: Figures) -> list[str]:
    """Return how often the best on average pays for itself, and in how many futures it is refused; none if not bought."""
    leader = choices(result)[0]
    if "paid_back_share" not in leader:
        return []
    best, said = capital(choice_words(result, leader)), whole_years(result["horizon_years"])
    message = "{best} pays for itself within {years} in {paid} of futures, interest not counted."
    told = [say(message, best=best, years=said, paid=percent(leader["paid_back_share"]))]
    in_stay, refused = leader.get("paid_back_within_stay_share"), leader.get("refused_share")
    if in_stay:
        told.append(
            say(
                "In {paid} that happens while you still live here.",
                paid=share_words(in_stay, result["provenance"]["draws"]),
            )
        )
    return [*told, *([also] if refused is not None and (also := refused_share_words(refused)) else [])]


def regret_words(result: Figures) -> str:
    """Return what choosing the best on average still costs, which is what knowing the future would be worth."""
    if not value_of(result["value_of_knowing"]):
        return say("Even if you knew the future, you would choose the same.")
    return say(
        "If you knew the future and chose by it, you would be {amount} better off, on average, than with the best choice "
        "above. Never pay more than that for advice and measurements before you buy.",
        amount=money(result["value_of_knowing"], result["currency"]),
    )
