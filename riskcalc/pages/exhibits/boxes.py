"""The figures beside the answer, what it costs and brings, and what to check before buying."""

from __future__ import annotations

from riskcalc.pages.exhibits import stay
from riskcalc.pages.exhibits.payback import NEARLY
from riskcalc.pages.exhibits.worth import first_saving, outlay
from riskcalc.pages.figures import UNKNOWN, capital, grouped, lower, money, percent, say, value_of, whole_years, years
from riskcalc.types import Figures


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
            (say("Over all years"), _gain(worth["p50"], currency), _below(payback["p50"], figures)),
        ]
    rows += [
        (say("In the middle future"), _gain(worth["p50"], currency), _middle_below(figures)),
        (say("In a bad future (5 in 100 are worse)"), _gain(worth["p5"], currency), _below(payback["p95"], figures)),
    ]
    rows += unserved(figures)
    return rows


def certain(figures: Figures) -> bool:
    """Return True if every future is the same, so that there is no distribution to speak of."""
    return not figures["net_present_value"]["sd"]["value"]


def _gain(worth: Figures, currency: str) -> str:
    amount = money(
        abs(value_of(worth)), currency, se=UNKNOWN if worth["standard_error"] is None else worth["standard_error"]
    )
    return say("{amount} worse off" if value_of(worth) < 0 else "{amount} better off", amount=amount)


#: Below what a future gains or loses: against what, and when its cost comes back. A name with `later_` is for a headline
#: that ends at the move while these years count later homes.
BELOW = {
    "pays": "than with savings; the price is earned back within {years} (interest not counted)",
    "pays_not": "than with savings; the price is not earned back within {years}",
    "pays_nearly": "than with savings; the price is just about earned back within {years} (interest not counted)",
    "later_pays": "than with savings; the price is earned back within {years} (later homes counted, interest not)",
    "later_pays_not": "than with savings; the price is not earned back within {years}, later homes counted",
    "later_pays_nearly": "than with savings; the price is just about earned back within {years} (later homes counted, interest "
    "not)",
}


def below_messages(figures: Figures) -> dict[str, str]:
    """Return the messages below a future's gain or loss, by kind; with later homes where the headline leaves them out."""
    start = "later_" if stay.counts_later_homes(figures) else ""
    return {kind: BELOW[start + kind] for kind in ("pays", "pays_not", "pays_nearly")}


def _middle_below(figures: Figures) -> str:
    """Return the line below the middle future; where hardly fewer than half pay back, that says more than that it does not."""
    payback, horizon = figures["payback_years"], figures["horizon_years"]
    if payback["p50"]["value"] is None and 1.0 - value_of(payback["never_share"]) >= NEARLY:
        return say(below_messages(figures)["pays_nearly"], years=whole_years(horizon))
    return _below(payback["p50"], figures)


def _below(payback: Figures, figures: Figures) -> str:
    """Return what such a future's gain or loss is measured against, and when its cost comes back."""
    messages, horizon = below_messages(figures), figures["horizon_years"]
    if payback["value"] is None:
        return say(messages["pays_not"], years=whole_years(horizon))
    return say(messages["pays"], years=years(payback, horizon=horizon))


def days_short(figures: Figures) -> int | None:
    """Return on how many days of the first year some demand is not met; None with a grid."""
    load = (figures.get("loss_of_load") or {}).get("first_year") or {}
    days = (load.get("days_share") or {}).get("value")
    return None if days is None else round(365 * days)


def unserved(figures: Figures) -> list[tuple[str, str, str]]:
    """Return the days without power of a home that has no grid."""
    days = days_short(figures)
    if days is None:
        return []
    count = grouped(days)
    return [
        (say("Days short of power"), say("{count} a year", count=count), say("days on which it cannot run everything"))
    ]


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
#: The same where no supplier sends a bill.
OFF_GRID_ADVICE = (
    ("home.annual_use", "List what you want to run there, with its watts and its hours a day."),
    ("tariff", "Work out what a kWh costs you there today, with fuel and wear."),
)


def check_first(figures: Figures) -> str:
    """Return what to check before buying: the most decisive input that can be checked, and the permission if it may fail."""
    only, known = figures.get("page", {}), dict(ADVICE)
    said = ranked_check(figures)
    if not said and only.get("coupling") not in (None, "none"):
        # Too few futures rank the inputs: what pays to ask of any kit.
        said = " ".join(say(known[start]) for start in ("purchase", "kit.ageing.electronics_life"))
    asked = say(known["tenure.permission"])
    return f"{asked} {said}".strip() if 0.0 < value_of(figures["bought_share"]) < 1.0 and asked not in said else said


def ranked_check(figures: Figures) -> str:
    """Return the most decisive input that somebody can check, "" where no input is ranked or none can be checked."""
    for row in figures["ranking"]:
        share = row.get("share_of_variance", {}).get("value") or 0.0
        if "effect" not in row or share < 0.005:
            continue
        off_grid = figures.get("page", {}).get("coupling") == "off_grid"
        for start, advice in (*(OFF_GRID_ADVICE if off_grid else ()), *ADVICE):
            if row["key"].startswith(start):
                message = "{advice} {input} decides {share} of what separates good futures from bad ones."
                said, name = say(advice, input=lower(row["label"])), capital(row["label"])
                return say(message, advice=said, input=name, share=percent(share, se=UNKNOWN))
    return ""
