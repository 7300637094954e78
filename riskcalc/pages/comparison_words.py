"""What a comparison found, in plain words made from its figures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from riskcalc.pages.estimate import Estimate
from riskcalc.pages.rounding import money, money_estimate, percent_estimate, years
from riskcalc.pages.words import frequency
from riskcalc.uncertainty.quantity import counted

#: Options that are always there are called by what to do; within a sentence they need a noun.
DEEDS = {
    "do nothing": "doing nothing",
    "only change the tariff": "only changing the tariff",
    "put the money in savings": "putting the money in savings",
}

Row = Mapping[str, Any]

#: What dominance of each order means to whoever chooses.
ORDER_WORDS = {
    0: "{better} is at least as good as {worse} in every future drawn, and better in some",
    1: "whatever sum one aims at, {better} is at least as likely as {worse} to reach it (first order)",
    2: "whoever shuns risk prefers {better} to {worse} (second order)",
}


def figure(pair: Row | None) -> Estimate:
    """Return a figure of result.json with its standard error, not known where that is null."""
    if pair is None:
        return Estimate(None)
    error = pair["standard_error"]
    return Estimate(pair["value"], float("nan") if error is None else error)


def choices(result: Row) -> list[Row]:
    """Return the options that are choices of their own, best average worth first."""
    return [row for row in result["options"] if row["same_as"] is None]


def titles(result: Row) -> dict[str, str]:
    """Return what a reader calls each option, by its name."""
    return {row["option"]: title_of(row) for row in result["options"]}


def title_of(row: Row) -> str:
    """Return what a reader calls an option."""
    return str(row.get("title") or row["option"])


def letters(result: Row) -> dict[str, str]:
    """Return how each option is called in short: its letter on the page, or what it means to do."""
    known = {row["option"]: row["letter"] for row in result.get("compared", ())}
    return {name: known.get(name, in_sentence(title)) for name, title in titles(result).items()}


def labels(result: Row) -> dict[str, str]:
    """Return how each option is called in drawings and tables: its title, with its letter in front."""
    known = {row["option"]: f"{row['letter']} · " for row in result.get("compared", ())}
    return {name: known.get(name, "") + title for name, title in titles(result).items()}


def opening(result: Row) -> str:
    """Return the sentence that answers which is best, and how sure that is."""
    draws = result["provenance"]["draws"]
    leader = choices(result)[0]
    surest = max(choices(result), key=lambda row: row["best_share"]["value"])
    share = frequency(figure(surest["best_share"]), draws)
    if leader is surest:
        return f"{capital(quoted(leader))} is the best choice in {share}."
    most = f"{capital(quoted(leader))} is worth most on average"
    return f"{most}, but {quoted(surest)} is the best choice more often: in {share}."


def margin(result: Row) -> str:
    """Return how far the best is ahead of the next, or that the draws do not part them."""
    leader, *others = choices(result)
    if not others:
        return ""
    pair = next(
        row for row in result["pairs"] if {row["first"], row["second"]} == {leader["option"], others[0]["option"]}
    )
    mean = figure(pair["difference"]["mean"])
    value = mean.value or 0.0
    currency = result["currency"]
    if value == 0.0 and mean.se == 0.0:
        return f"It is worth exactly as much as {quoted(others[0])} in every future drawn."
    if abs(value) < 2 * mean.se:
        return (
            f"Its lead over {quoted(others[0])} is too small for these draws: "
            f"{money_estimate(mean, currency, with_error=True)} on average."
        )
    return f"On average it is worth {money(abs(value), currency, se=mean.se)} more than {quoted(others[0])}."


def risk_words(result: Row) -> str:
    """Return how often the best on average pays for itself and how often it loses; empty for what is not bought."""
    leader, draws = choices(result)[0], result["provenance"]["draws"]
    if "paid_back_share" not in leader:
        return ""
    paid, lost = figure(leader["paid_back_share"]), figure(leader["net_present_value"]["loss_probability"])
    return (
        f"It pays for itself within {counted(result['horizon_years'], 'year')} in {frequency(paid, draws)}; "
        f"it is worth less than doing nothing in {frequency(lost, draws)}."
    )


def regret_words(result: Row) -> str:
    """Return what choosing the best on average still costs, which is what knowing the future would be worth."""
    known = figure(result["value_of_knowing"])
    amount = money_estimate(known, result["currency"], with_error=True)
    return (
        f"Choosing {quoted(choices(result)[0])} gives up {amount} on average against knowing each future beforehand; "
        "no inquiry before buying can be worth more than that."
    )


def dominance_words(row: Row, called: Mapping[str, str]) -> str:
    """Return what dominance says about a pair, empty where neither dominates."""
    if row["dominating"] is None:
        return ""
    worse = row["second"] if row["dominating"] == row["first"] else row["first"]
    better, worse = (in_sentence(called.get(name, name)) for name in (row["dominating"], worse))
    return ORDER_WORDS[row["dominance_order"]].format(better=better, worse=worse)


def stay_words(row: Row, called: Mapping[str, str]) -> str:
    """Return how long one must stay for the first of two options to come out ahead of the second."""
    at = figure(row["break_even_years"])
    first, second = (in_sentence(called.get(row[place], row[place])) for place in ("first", "second"))
    if at.value is None:
        last = row["stays"][-1]["difference"]["value"]
        if last == 0.0:
            return f"{capital(first)} and {second} are worth the same to a household that never moves."
        ahead, behind = (first, second) if last > 0.0 else (second, first)
        return f"{capital(ahead)} is ahead of {behind} on average, however long the household stays."
    ahead, behind = (first, second) if row["better_after"] == row["first"] else (second, first)
    return (
        f"{capital(ahead)} comes out ahead of {behind} on average once the household stays "
        f"{years(at, with_error=True)} or more."
    )


def best_title(result: Row) -> str:
    """Return the finding of the chart of how often each choice is best."""
    surest = max(choices(result), key=lambda row: row["best_share"]["value"])
    return f"{capital(quoted(surest))} is best in {percent_estimate(figure(surest['best_share']))} of the futures"


def spread_title(result: Row) -> str:
    """Return the finding of the chart of worth."""
    leader = choices(result)[0]
    low, high = (figure(leader["net_present_value"][name]) for name in ("p5", "p95"))
    currency = result["currency"]
    if low.value == high.value:
        return f"{capital(quoted(leader))} has the highest average worth"
    return (
        f"{capital(quoted(leader))} has the highest average worth; nine in ten of its futures lie between "
        f"{money_estimate(low, currency)} and {money_estimate(high, currency)}"
    )


def quoted(row: Row) -> str:
    """Return how an option is called within a sentence."""
    return in_sentence(title_of(row))


def in_sentence(name: str) -> str:
    """Return the name of an option as a noun: what tells to do something becomes the doing of it.

    A title of several words stands between quotation marks, or the sentence around it could not be read.
    """
    titled = f"“{name}”" if " " in name else name
    return next((noun + name[len(deed) :] for deed, noun in DEEDS.items() if name.startswith(deed)), titled)


def capital(text: str) -> str:
    """Return a noun of ours with a capital, to begin a sentence; the name of a scenario stays as it is written."""
    return text[:1].upper() + text[1:] if text.startswith(tuple(DEEDS.values())) else text
