"""Table [purchase]: what it costs, how it is paid, and what becomes of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from riskcalc.scenario.complaints import Complaint
from riskcalc.scenario.fields import OURS, Table, absent, default, default_number, needed, optional
from riskcalc.scenario.kit import Kit
from riskcalc.scenario.uncertain import Money, Uncertain, Whole
from riskcalc.uncertainty.quantity import Quantity


class Loan(Table):
    """Money borrowed for the purchase, paid back in even yearly payments."""

    financed_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = needed(
        "share of the outlay that is borrowed", title="Borrowed share"
    )
    rate_per_year: Annotated[Quantity, Uncertain(0, 0.5, unit="share/year")] = needed(
        "nominal interest of the loan", title="Loan interest"
    )
    term_years: Annotated[int, Whole(1, 40, unit="years")] = needed("years until it is paid back", title="Loan term")


#: Electronics that surely live longer than any horizon need no price of new ones.
LONGEST_HORIZON_YEARS = 60


class Purchase(Table):
    """What it costs and what becomes of it."""

    price: Annotated[Quantity, Money] = needed("price of the kit, tax included", title="Price of the kit")
    module_price: Annotated[Quantity, Money] = default_number(
        0.0,
        "price of each module, on top of price",
        absent("modules are within price unless given"),
        title="Price of a module",
    )
    extra_battery_price: Annotated[Quantity, Money] = default_number(
        0.0,
        "price of each extra battery, on top of price",
        absent("extra batteries are within price unless given"),
        title="Price of an extra battery",
    )
    installation: Annotated[Quantity, Money] = default_number(
        0.0, "work, scaffolding, brackets, permits", absent("none unless given"), title="Installation"
    )
    discount_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = default_number(
        0.0, "discount on the price of kit, modules and batteries", absent("none unless given"), title="Discount"
    )
    incentive: Annotated[Quantity, Money] = default_number(
        0.0, "grant or rebate on the day of purchase", absent("none unless given"), title="Incentive"
    )
    loan: Loan | None = optional("money borrowed for it", "paid from savings", title="Loan")
    upkeep_per_year: Annotated[Quantity, Uncertain(0, 1e9, unit="{money}/year")] = default_number(
        0.0, "inspection, insurance, cleaning per year, at today's prices", absent("none unless given"), title="Upkeep"
    )
    battery_replacement_price: Annotated[Quantity, Money] | None = optional(
        "price of a new battery, today's money, paid for each",
        "needed for when_worn = replace",
        title="Price of a new battery",
    )
    electronics_replacement_price: Annotated[Quantity, Money] | None = optional(
        "price of new electronics, today's money",
        "needed for when_worn = replace",
        title="Price of new electronics",
    )
    warranty_years: Annotated[Quantity, Uncertain(0, 40, unit="years")] = default_number(
        0.0,
        "years in which what fails or wears out is replaced free of charge",
        absent("none unless given"),
        title="Warranty",
    )
    when_worn: Literal["replace", "keep", "retire"] = default(
        "keep", "what happens when the battery is worn or the electronics fail", OURS, title="When worn or failed"
    )
    resale_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = default_number(
        0.0,
        "share of the price, modules and batteries included, that comes back at the end of the horizon",
        absent("nothing unless given"),
        title="Resale at the end",
    )
    disposal_cost: Annotated[Quantity, Money] = default_number(
        0.0, "cost of getting rid of it at its end, at today's prices", absent("none unless given"), title="Disposal"
    )


def purchase_complaints(purchase: Purchase, kit: Kit | None) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `purchase`."""
    if kit is None or purchase.when_worn != "replace":
        return
    needs = {
        "battery_replacement_price": kit.battery is not None,
        "electronics_replacement_price": kit.ageing.electronics_life_years.support[0] < LONGEST_HORIZON_YEARS
        or kit.ageing.failure_chance_per_year.support[1] > 0.0,
    }
    for name, is_needed in needs.items():
        if is_needed and getattr(purchase, name) is None:
            yield Complaint(("purchase", name), "nothing", 'needed for when_worn = "replace"')
