"""Options side by side: what each is called, and the sentences that answer which is best."""

from __future__ import annotations

import math
from collections.abc import Sequence

from riskcalc.language import told, translated
from riskcalc.pages.exhibits.answer import refused_share_words, share_words
from riskcalc.pages.figures import capital, error_of, grouped, listed, money, percent, say, value_of, whole_years
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


NOTHING = "do nothing"
#: Choices named of those that are about equally often the best; our own choice.
MOST_NAMED = 3
#: Said of a choice that is better on average, and yet seldom better: odds and average would seem to disagree.
LIFTED = "{choice} is worse than doing nothing in most futures."
#: The answer by how far the best on average is ahead of the next; `none`, `neither` and `alone` where it is ahead, and yet none
#: of many, two or one choices is better half of the time. The panel of own figures says the same.
CHOICE = "choice {letter}"
LEADS = {
    "ahead": "{best} is best on average: {lead} better than {other} over {years}.",
    "gains": "{best} is best on average: after {years}, {lead} better than doing nothing.",
    "none": "Usually none of them: doing nothing is better.",
    "neither": "Usually neither: doing nothing is better.",
    "alone": LIFTED,
    "close": "Too close to call: on average, {best} and {other} differ by only {lead} over {years}.",
    "same": "{best} and {other} come to exactly the same in every future.",
}
#: The choices after the best one, against doing nothing.
BETTER, WORSE = (
    "{choice} is {amount} better than doing nothing, on average.",
    "{choice} is {amount} worse than doing nothing, on average.",
)
#: The answer for kits in different homes, where nobody chooses between the homes: what the best purchase brings in its own.
OF_HOMES = {
    "gains": "{best} pays off best: after {years}, on average {amount} more than a savings account.",
    "none": "Usually none of them: a savings account brings more.",
    "neither": "Usually neither: a savings account brings more.",
    "alone": "{choice} usually brings less than a savings account.",
    "loses": "No purchase beats a savings account on average. {best} comes closest: {amount} less over {years}.",
    "close": "It is too close to call which purchase pays off best on average.",
}
KIT, KIT_GAINS, KIT_LOSES = (
    "purchase {letter}",
    "{kit} brings {amount} more than a savings account, on average.",
    "{kit} brings {amount} less than a savings account, on average.",
)
#: Said of the best on average where it is seldom better than doing nothing, and another one is more often.
SELDOM = "Yet {choice} beats savings in only {share} of futures. A few very good futures lift its average."
#: How often a choice is better, where none is half of the time: for one home, and where homes differ.
OFTEN, KIT_OFTEN = (
    "{choice} is better than doing nothing in {share} of futures.",
    "{choice} beats a savings account in {share} of futures.",
)
#: How far a lead that is not exact may be off, by two standard errors.
LEAD_ERROR = "With {draws} futures, the calculated lead of the best may be off by about {error}."


def opening(result: Figures) -> str:
    """Return the sentence that answers which is best on average, and by how much."""
    if homes_differ(result) and kits(result):
        return homes_opening(result)
    leader, *others = choices(result)
    if not others:
        return say("There is only one choice here: {best}.", best=choice_words(result, leader))
    value, se = _lead(result, leader, others[0])
    kind = "same" if se == value == 0.0 else "close" if abs(value) < 2 * se else "ahead"
    best, other = (choice_words(result, row) for row in (leader, others[0]))
    lead, years = money(abs(value), result["currency"], se=se), whole_years(result["horizon_years"])
    if kind == "ahead" and leader["option"] != NOTHING:
        if _none_usually(but_nothing(result)):
            return say(LEADS[_seldom_kind(but_nothing(result))], choice=capital(best))
        mean = leader["net_present_value"]["mean"]
        kind, lead = "gains", money(value_of(mean), result["currency"], se=error_of(mean))
    return say(LEADS[kind], best=best if kind == "close" else capital(best), other=other, lead=lead, years=years)


def _lead(result: Figures, first: Figures, second: Figures) -> tuple[float, float]:
    """Return how far two options lie apart on average, and the standard error of that."""
    names = {first["option"], second["option"]}
    pair = next(row for row in result["pairs"] if {row["first"], row["second"]} == names)
    return value_of(pair["difference"]["mean"]), error_of(pair["difference"]["mean"])


def _is_close(result: Figures, rows: Sequence[Figures]) -> bool:
    """Return whether the lead of the first over the second, if there is one, is within two standard errors."""
    if len(rows) < 2:
        return False
    lead, se = _lead(result, rows[0], rows[1])
    return abs(lead) < 2 * se


def lead_error_words(result: Figures) -> str:
    """Return how far the lead of the best on average may be off, "" where it is exact or there is one choice."""
    leading = choices(result)[:2]
    se = _lead(result, *leading)[1] if len(leading) > 1 else 0.0
    draws = grouped(result["provenance"]["draws"])
    return say(LEAD_ERROR, draws=draws, error=money(2 * se, result["currency"], se=se)) if se else ""


def kits(result: Figures) -> list[Figures]:
    """Return the options in which a kit is bought, best average worth first."""
    return [row for row in choices(result) if "paid_back_share" in row]


def kit_words(result: Figures, row: Figures) -> str:
    """Return what a kit is called where homes differ: by its letter on a page, else by the name of its scenario."""
    letter = {known["option"]: known["letter"] for known in result.get("compared", ())}.get(row["option"])
    return in_sentence(title_of(row)) if letter is None else say(KIT, letter=letter)


def homes_opening(result: Figures) -> str:
    """Return which kit gains most in its own home, or loses least."""
    bought = kits(result)
    best, years = bought[0], whole_years(result["horizon_years"])
    value = value_of(best["net_present_value"]["mean"])
    kind = "close" if _is_close(result, bought) else "loses" if value <= 0.0 else "gains"
    if kind == "gains" and _none_usually(bought):
        return say(OF_HOMES[_seldom_kind(bought)], choice=capital(kit_words(result, best)))
    amount = money(abs(value), result["currency"], se=error_of(best["net_present_value"]["mean"]))
    return say(OF_HOMES[kind], best=capital(kit_words(result, best)), amount=amount, years=years)


def homes_reasons(result: Figures) -> list[str]:
    """Return what the kits after the best one bring, all of them where it is too close to call."""
    bought = kits(result)
    close = _is_close(result, bought)
    if not close and _none_usually(bought):
        return _odds_words(result, bought)
    told = [] if close or not _is_seldom(bought[0]) else [_seldom_words(result, bought[0])]
    for row in bought[0 if close else 1 : MOST_NAMED + 1]:
        mean = row["net_present_value"]["mean"]
        message = KIT_GAINS if value_of(mean) > 0.0 else KIT_LOSES
        amount = money(abs(value_of(mean)), result["currency"], se=error_of(mean))
        told.append(say(message, kit=capital(kit_words(result, row)), amount=amount))
    return told


def reasons(result: Figures) -> list[str]:
    """Return what the choices after the best one bring on average, against doing nothing."""
    if homes_differ(result) and kits(result):
        return homes_reasons(result)
    rows = but_nothing(result)
    if not rows or len(choices(result)) == 1:
        return []
    if not _is_close(result, choices(result)) and _lead(result, *choices(result)[:2])[0]:
        # The opening says how far the best one is ahead of doing nothing, or behind it.
        leads = choices(result)[0] is rows[0]
        if leads and _none_usually(rows):
            return _odds_words(result, rows)
        told = [_seldom_words(result, rows[0])] if leads and _is_seldom(rows[0]) else []
        return [*told, *(_against_nothing(result, row) for row in rows[1 : MOST_NAMED + 1])]
    return [_against_nothing(result, row) for row in rows[: MOST_NAMED + 1]]


def nothing_fact(result: Figures) -> str:
    """Return what doing nothing means for the money, "" where homes differ or savings are a choice of their own."""
    apart = any(row["option"].startswith("put the money in savings") for row in choices(result))
    return "" if apart or homes_differ(result) else say("“doing nothing” means the money stays in savings")


def but_nothing(result: Figures) -> list[Figures]:
    """Return the choices that do something, best average worth first."""
    return [row for row in choices(result) if row["option"] != NOTHING]


def _gains_seldom(row: Figures) -> bool:
    """Return whether a choice is better than doing nothing in fewer than half of the futures, by two standard errors."""
    share = row["net_present_value"]["gain_probability"]
    return value_of(share) + 2 * error_of(share) < 0.5


def _is_seldom(row: Figures) -> bool:
    """Return whether a choice is better than doing nothing on average, and yet seldom better."""
    return value_of(row["net_present_value"]["mean"]) > 0.0 and _gains_seldom(row)


def _seldom_kind(rows: Sequence[Figures]) -> str:
    """Return which of the messages holds where every choice is seldom better, by how many there are."""
    return {1: "alone", 2: "neither"}.get(len(rows), "none")


def _none_usually(rows: Sequence[Figures]) -> bool:
    """Return whether the best choice on average is better than doing nothing, and yet every choice is seldom better."""
    return _is_seldom(rows[0]) and all(map(_gains_seldom, rows))


def _called(result: Figures, row: Figures) -> str:
    return kit_words(result, row) if homes_differ(result) else choice_words(result, row)


def _odds_words(result: Figures, rows: Sequence[Figures]) -> list[str]:
    """Return how often each choice is better than doing nothing, most often first."""
    odds = [(row, row["net_present_value"]["gain_probability"]) for row in rows]
    message = KIT_OFTEN if homes_differ(result) else OFTEN
    return [
        say(message, choice=capital(_called(result, row)), share=percent(share))
        for row, share in sorted(odds, key=lambda each: -value_of(each[1]))[: MOST_NAMED + 1]
    ]


def _seldom_words(result: Figures, row: Figures) -> str:
    """Return that the best choice on average is seldom better than doing nothing."""
    share = percent(row["net_present_value"]["gain_probability"])
    return say(SELDOM, choice=_called(result, row), share=share)


def _against_nothing(result: Figures, row: Figures) -> str:
    mean = row["net_present_value"]["mean"]
    amount = money(abs(value_of(mean)), result["currency"], se=error_of(mean))
    message = (LIFTED if _is_seldom(row) else BETTER) if value_of(mean) > 0.0 else WORSE
    called = choice_words(result, row)
    return say(message, choice=capital(called), amount=amount)


def often_words(result: Figures) -> str:
    """Return which choice is the best most often, and why that is not the best on average where it is not."""
    leader, often = choices(result)[0], by_best(result)
    if often[0] is leader:
        message = "{best} is the best choice in {share} of futures, more often than any other."
        return say(message, best=capital(choice_words(result, leader)), share=percent(leader["best_share"]))
    if clearly_best(result) is not None:
        return _more_often(result, leader, often[0])
    called = letters(result)
    shares = ", ".join(f"{called[row['option']]} {percent(row['best_share'])}" for row in often[:MOST_NAMED])
    return say("Compared all at once, no choice is clearly more often the best: {shares}.", shares=shares)


def _more_often(result: Figures, leader: Figures, often: Figures) -> str:
    """Return that another choice than the best on average comes first more often, and why it is not the best for that."""
    best, surest = choice_words(result, leader), capital(choice_words(result, often))
    low, own_low = (value_of(row["net_present_value"]["p5"]) for row in (often, leader))
    if low < min(own_low, 0.0):
        amount = money(-low, result["currency"], se=error_of(often["net_present_value"]["p5"]))
        return say(
            "{surest} comes first more often, but can lose more: {amount} in a bad future.",
            surest=surest,
            amount=amount,
        )
    message = "{surest} comes first more often, but a few very good futures lift the average of {best}."
    return say(message, surest=surest, best=best)


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
    if homes_differ(result):
        message = "If your home is like {choices}, first read the full report on that purchase. The report lists what to check."
        return say(message, choices=listed(known))
    best = next((row["letter"] for row in result["compared"] if row["option"] == leader["option"]), None)
    if best is None:
        return say("If you still want to buy, read the full report of {choices} first.", choices=listed(known))
    return say("Read the full report of {letter} first. The report lists what to check.", letter=best)


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
        return say("Different households, different kits: which kit pays off best?")
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
                "In {paid} that happens before you move out.",
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
