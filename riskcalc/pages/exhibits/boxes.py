"""The figures beside the answer, what it costs and brings, and what to check before buying."""

from __future__ import annotations

from riskcalc.pages.exhibits.worth import first_saving, outlay
from riskcalc.pages.figures import UNKNOWN, capital, lower, money, percent, say, value_of, whole_years
from riskcalc.types import Figures

#: Below a gain or loss: against what it is measured.
AGAINST = {
    "all": "than with a savings account, over {years}",
    "half": "than with a savings account; half of the futures turn out better than this one, half worse",
    "bad": "than with a savings account; only 5 futures in 100 turn out worse than this one",
}
#: Above what is left in the end, neither good nor bad.
MIDDLE = "In the middle future, after {years}"


def key_figures(figures: Figures) -> list[tuple[str, str, str]]:
    """Return what it costs and saves, and what it leaves in the middle future and a bad one: words, figure, a line below.

    The middle future goes with the odds of the verdict: it is a gain where those are above one half.
    """
    currency, worth = figures["currency"], figures["net_present_value"]
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
    years = whole_years(figures["horizon_years"])
    over = say(AGAINST["all" if certain(figures) else "half"], years=years)
    rows = [
        (say("Paid on the day of purchase"), money(outlay(figures), currency), say("kit and installation")),
        (say("Saved in the first year"), money(first_saving(figures), currency), spread),
    ]
    if certain(figures):
        return [*rows, (say("Over all years"), gain(worth["mean"], currency), over)]
    bad = (say("In a bad future"), gain(worth["p5"], currency), say(AGAINST["bad"]))
    return [*rows, (say(MIDDLE, years=years), gain(worth["p50"], currency), over), bad]


def may_be_refused(figures: Figures) -> bool:
    """Return whether permission is refused in some futures, so that shares of those that buy are not shares of all."""
    return "bought_share" in figures and 0.0 < value_of(figures["bought_share"]) < 1.0


def certain(figures: Figures) -> bool:
    """Return True if every future is the same, so that there is no distribution to speak of."""
    return not figures["net_present_value"]["sd"]["value"]


def gain(worth: Figures, currency: str) -> str:
    """Return how much better or worse off than with savings a worth leaves a household."""
    amount = money(
        abs(value_of(worth)), currency, se=UNKNOWN if worth["standard_error"] is None else worth["standard_error"]
    )
    return say("{amount} worse off" if value_of(worth) < 0 else "{amount} better off", amount=amount)


def days_short(figures: Figures) -> int | None:
    """Return on how many days of the first year some demand is not met; None with a grid."""
    load = (figures.get("loss_of_load") or {}).get("first_year") or {}
    days = (load.get("days_share") or {}).get("value")
    return None if days is None else round(365 * days)


#: What to do before buying, by the start of the key that decides most. Inputs nobody can check are not here.
ADVICE = (
    (
        "kit.ageing.electronics_life",
        "Ask how long the warranty on the electronics (inverter) lasts, and what a repair costs.",
    ),
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
    ("luck.permission", "Ask for permission in writing before you order."),
    ("luck.moves", "Think through how long you will stay, and what happens to the kit when you move."),
    ("tenure", "Think through how long you will stay, and what happens to the kit when you move."),
    ("outages", "Ask your network operator how often and how long the supply fails."),
)
#: The same where no supplier sends a bill.
OFF_GRID_ADVICE = (
    (
        "home.annual_use",
        "List the appliances you want to run there: the watts of each, and how many hours a day it runs.",
    ),
    ("tariff", "Work out what a kWh costs you there today, with fuel and wear."),
)


def check_first(figures: Figures) -> str:
    """Return the one thing to do before buying: get the permission where it may fail, else what decides most."""
    refused, known = 1.0 - value_of(figures["bought_share"]), dict(ADVICE)
    if 0.0 < refused < 1.0:
        return say("Get permission in writing, for example from the landlord.")
    if figures.get("page", {}).get("coupling") == "none":
        return ""
    found = decisive_check(figures)
    return found[0] if found else say(known["purchase"])


def check_words(figures: Figures) -> list[str]:
    """Return all that pays to check: what decides most with its share, a quote, and the warranty of the electronics."""
    if figures.get("page", {}).get("coupling") == "none":
        return []
    known, ranked = dict(ADVICE), ranked_check(figures)
    usual = [say(known[start]) for start in ("purchase", "kit.ageing.electronics_life")]
    return [*([ranked] if ranked else []), *(text for text in usual if text not in ranked)]


def ranked_check(figures: Figures) -> str:
    """Return what to do about the most decisive input that can be checked, with its share; "" where there is none."""
    found = decisive_check(figures)
    if not found:
        return ""
    message = "{advice} {input} decides {share} of the difference between good and bad futures."
    return say(message, advice=found[0], input=found[1], share=found[2])


def decisive_check(figures: Figures) -> tuple[str, str, str] | None:
    """Return advice, name and share of the most decisive input that somebody can check; None without any."""
    for row in figures["ranking"]:
        share = row.get("share_of_variance", {}).get("value") or 0.0
        if "effect" not in row or share < 0.005:
            continue
        off_grid = figures.get("page", {}).get("coupling") == "off_grid"
        said = advice_for(row["key"], row["label"], off_grid=off_grid)
        if said:
            return said, capital(row["label"]), percent(share, se=UNKNOWN)
    return None


def advice_for(key: str, label: str, *, off_grid: bool = False) -> str:
    """Return what to do about an input before buying; "" where nobody can check it."""
    known = (*(OFF_GRID_ADVICE if off_grid else ()), *ADVICE)
    return next((say(advice, input=lower(label)) for start, advice in known if key.startswith(start)), "")
