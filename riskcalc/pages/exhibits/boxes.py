"""The figures beside the answer: what it costs and brings, in the middle future and in a bad one."""

from __future__ import annotations

from riskcalc.pages.exhibits import stay
from riskcalc.pages.exhibits.payback import NEARLY
from riskcalc.pages.exhibits.worth import first_saving, outlay
from riskcalc.pages.figures import UNKNOWN, grouped, money, say, value_of, whole_years, years
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
    "pays": "than with money put aside; the kit earns back its cost within {years}",
    "pays_not": "than with money put aside; the kit does not earn back its cost within {years}",
    "pays_nearly": "than with money put aside; the kit just about earns back its cost within {years}",
    "later_pays": "than with money put aside; the kit earns back its cost within {years}, later homes included",
    "later_pays_not": "than with money put aside; the kit does not earn back its cost within {years}, later homes included",
    "later_pays_nearly": "than with money put aside; the kit just about earns back its cost within {years}, later homes "
    "included",
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
        (say("Days short of power"), say("{count} a year", count=count), say("days on which some demand is not met"))
    ]
