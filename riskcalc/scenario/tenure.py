"""Table [tenure]: renting or owning, how long the household stays, what a move does to the kit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from riskcalc.coupling import Coupling
from riskcalc.scenario.complaints import Complaint
from riskcalc.scenario.fields import OURS, Table, absent, default, default_number, needed, optional
from riskcalc.scenario.kit import Kit
from riskcalc.scenario.uncertain import Money, Uncertain
from riskcalc.uncertainty.quantity import Quantity

Share = Annotated[Quantity, Uncertain(0, 1, unit="share")]
Chance = Annotated[Quantity, Uncertain(0, 1, unit="share")]


class Tenure(Table):
    """Renting or owning, and what happens when the household moves."""

    kind: Literal["rent", "own"] = needed("does the household rent or own the home", title="Rent or own")
    stay_years: Annotated[Quantity, Uncertain(0, 100, above=True, unit="years")] | None = optional(
        "years until the household moves; later stays are drawn from the same",
        "stays to the end of the horizon",
        title="Length of stay in this home",
    )
    moving_chance_per_year: Annotated[Quantity, Uncertain(0, 1, unit="1/year")] | None = optional(
        "chance of moving at the end of each year, instead of stay_years",
        "stays to the end of the horizon",
        title="Chance of moving",
    )
    at_move: Literal["take", "sell", "leave"] | None = optional(
        "what happens to the kit at a move: it goes along, is sold, or stays with the home",
        "take; leave where the kit is wired into the home (whole_home)",
        title="Kit at a move",
    )
    if_no_sun: Literal["keep", "sell"] = default(
        "keep",
        "what happens to a kit that goes along when the new home has no usable sun: it is kept, or sold at the move",
        OURS,
        title="Kit in a new home without sun",
    )
    moving_cost: Annotated[Quantity, Money] = default_number(
        0.0,
        "cost of taking the kit along at a move, at today's prices",
        absent("none unless given"),
        title="Cost of taking it along",
    )
    new_home_sun_chance: Chance = default_number(
        0.5, "chance that a new home has usable sun", OURS, title="Chance of sun in a new home"
    )
    new_home_yield_share: Annotated[Quantity, Uncertain(0, 2, unit="share")] = default_number(
        0.8,
        "solar yield in a new home with usable sun over that in the first: other plane, other shade",
        OURS,
        title="Yield in a new home",
    )
    resale_share: Share = default_number(
        0.5, "share of the kit's value at its age that a sale at a move brings", OURS, title="Resale at a move"
    )
    resale_decline_per_year: Annotated[Quantity, Uncertain(0, 0.9, unit="share/year")] = default_number(
        0.15, "share of its value that the kit loses each year", OURS, title="Yearly loss of value"
    )
    value_returned_share: Share = default_number(
        0.0,
        "share of the kit's value at its age that comes back when it stays with a sold home",
        absent("nothing unless given"),
        title="Value returned with the home",
    )
    permission_refused_chance: Chance = default_number(
        0.0,
        "chance that landlord or authority refuse permission",
        absent("always granted unless given"),
        title="Chance of refused permission",
    )
    if_refused: Literal["nothing", "without_modules"] = default(
        "nothing",
        "what is bought when permission is refused: nothing, or the kit without its modules",
        OURS,
        title="If permission is refused",
    )
    price_share_without_modules: Share | None = optional(
        "share of price and installation that is paid when the modules are left out",
        "needed for without_modules",
        title="Price without modules",
    )


def at_move_of(tenure: Tenure, coupling: Coupling) -> str:
    """Return what happens to the kit at a move, the default by its coupling included."""
    return tenure.at_move or ("leave" if coupling.traits.fixed else "take")


def tenure_complaints(tenure: Tenure, kit: Kit | None) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `tenure`."""
    if tenure.stay_years is not None and tenure.moving_chance_per_year is not None:
        accepted = "stay_years or moving_chance_per_year, not both"
        yield Complaint(("tenure", "moving_chance_per_year"), "both", accepted, "remove one of them")
    if tenure.if_refused != "without_modules":
        return
    if tenure.price_share_without_modules is None:
        yield Complaint(
            ("tenure", "price_share_without_modules"), "nothing", 'needed for if_refused = "without_modules"'
        )
    if kit is not None and (kit.battery is None or not kit.arrays):
        lacks = "battery" if kit.battery is None else "modules"
        accepted = "nothing: a kit that can do without its modules has modules and a battery"
        yield Complaint(("tenure", "if_refused"), f"without_modules for a kit without {lacks}", accepted)
