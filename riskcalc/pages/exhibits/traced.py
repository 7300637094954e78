"""One year of one future: what served its demand, where its energy came from and went, what the grid cost."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from riskcalc.pages.exhibit import Block, table, words
from riskcalc.pages.exhibits.energy import demand_pieces, served_by_month
from riskcalc.pages.figures import UNKNOWN, energy, money, percent, say
from riskcalc.types import Figures

#: The two sides of the balance, in the words of the columns of the CSV.
CAME = {
    "pv_used_w": "sun used",
    "grid_import_w": "taken from the grid",
    "battery_discharge_w": "out of the battery",
    "unmet_w": "not met",
}
#: Energy of a year that is not worth a sentence [kWh]; our own choice.
LEAST_KWH = 1.0
WENT = {
    "demand_w": "demand of the home",
    "grid_export_w": "sent to the grid",
    "battery_charge_w": "into the battery",
    "losses_w": "losses of the kit",
}


def opening(figures: Figures) -> str:
    """Return what the home uses in the year, and how much of it the grid or nothing served."""
    used, taken, unmet = (
        figures["went_kwh"]["demand_w"],
        figures["came_kwh"]["grid_import_w"],
        figures["came_kwh"]["unmet_w"],
    )
    parts = {"year": figures["year"], "draw": figures["draw"], "used": energy(used)}
    if not taken:
        message = "In year {year} of future {draw} the home uses {used}; {unmet} of it is not met."
        return say(message, unmet=energy(unmet), **parts)
    message = "In year {year} of future {draw} the home uses {used} and takes {taken} from the grid."
    return say(message, taken=energy(taken), **parts)


def answer_blocks(figures: Figures) -> Iterator[Block]:
    """Yield what served the demand month by month, what the grid cost, and that this is one future of many."""
    yield served_block(figures)
    if taken := grid_words(figures):
        yield words(taken)
    if figures["came_kwh"]["grid_import_w"] or figures["went_kwh"]["grid_export_w"]:
        message = (
            "At the prices of this year, the energy from the grid costs {paid}. What is sent to the grid earns {earned}. "
            "Standing charges come on top."
        )
        paid, earned = (
            money(figures[f"paid_for_{side}"], figures["currency"], se=UNKNOWN) for side in ("import", "export")
        )
        yield words(say(message, paid=paid, earned=earned))
    yield words(
        "This is one future of many: it shows how the calculation goes, not what to expect. The spreadsheet file (CSV) "
        "beside this page holds every step of the year.",
        "small",
    )


def grid_words(figures: Figures) -> str:
    """Return where the energy from the grid went: to the home at once, the rest into the battery and its losses."""
    taken, months = figures["came_kwh"]["grid_import_w"], figures["months"]
    at_once = float(np.sum(months["from_grid_kwh"] + months["out_of_reach_kwh"]))
    # From the rounded figures, so that what the sentence says adds up.
    rest = float(round(taken) - round(at_once))
    if rest < LEAST_KWH:
        return ""
    message = (
        "Of the {taken} from the grid, the home uses {at_once} directly. The other {rest} go through the kit: into the battery "
        "for later, or lost on the way."
    )
    return say(message, taken=energy(taken), at_once=energy(at_once), rest=energy(rest))


def served_block(figures: Figures) -> Block:
    """Return the demand of each month by what served it."""
    months = figures["months"]
    whole = float(np.sum([months[field] for field, _, _ in demand_pieces(months)]))
    served = float(np.sum(months["from_solar_kwh"] + months["from_battery_kwh"]))
    message = "The kit serves {served} of the demand of this year"
    if grid_words(figures):
        message = "The kit serves {served} of the demand of this year, partly with power it took from the grid earlier"
    title = say(message, served=percent(served / whole if whole else 0.0))
    return served_by_month(
        figures,
        "served",
        months,
        title=title,
        reading="What served the demand of each month. The whole bar is the demand.",
    )


def balance_finding(figures: Figures) -> str:
    """Return the sum that stands on both sides."""
    whole = sum(figures["came_kwh"].values())
    return say(
        "{energy} come in and {same} go out", energy=energy(whole), same=energy(sum(figures["went_kwh"].values()))
    )


def balance_blocks(figures: Figures) -> Iterator[Block]:
    """Yield both sides of the balance of home and kit together."""
    yield words("What comes into home and kit together goes out again, in every step and in the year.", "reading")
    for title, side, names in (("What comes in", "came_kwh", CAME), ("What goes out", "went_kwh", WENT)):
        rows = [(say(said), energy(figures[side][name])) for name, said in names.items() if figures[side][name] > 0.0]
        total = (say("together"), energy(sum(figures[side].values())))
        yield table(title, (title, "in the year"), [*rows, total])
