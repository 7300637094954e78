"""Table [alternative]: what would be done instead of a kit without a supply."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from riskcalc.scenario.complaints import Complaint
from riskcalc.scenario.fields import Table, absent, default_number, needed
from riskcalc.scenario.kit import Kit
from riskcalc.scenario.uncertain import Money, Uncertain
from riskcalc.uncertainty.quantity import Quantity


class Alternative(Table):
    """A cable from the nearest supply, laid in a trench, with a board at its end."""

    kind: Literal["cable"] = needed("what would be done instead", title="Kind of alternative")
    length_m: Annotated[Quantity, Uncertain(1, 20_000, unit="m")] = needed(
        "length of the cable run in metres", title="Length of the cable"
    )
    price_per_m: Annotated[Quantity, Uncertain(0, 1e9, unit="{money}/m")] = needed(
        "cable, trench and making good, per metre", title="Price of the cable"
    )
    fixed_price: Annotated[Quantity, Money] = default_number(
        0.0,
        "sub-board, connection and certificates, whatever the length",
        absent("none unless given"),
        title="Fixed price of the cable",
    )
    import_price_per_kwh: Annotated[Quantity, Uncertain(0, 1_000_000, unit="{money}/kWh")] = needed(
        "price of a kWh at the end of the cable", title="Price of electricity by cable"
    )
    standing_charge_per_day: Annotated[Quantity, Uncertain(0, 1_000_000, unit="{money}/day")] = default_number(
        0.0, "fixed charge per day that the supply adds", absent("none unless given"), title="Standing charge by cable"
    )
    upkeep_per_year: Annotated[Quantity, Uncertain(0, 1e9, unit="{money}/year")] = default_number(
        0.0,
        "inspection and repair per year, at today's prices",
        absent("none unless given"),
        title="Upkeep of the cable",
    )
    loss_share: Annotated[Quantity, Uncertain(0, 0.3, unit="share")] = default_number(
        0.02, "share of the energy taken at the supply that the cable loses", title="Loss in the cable"
    )


def alternative_complaints(_: Alternative, kit: Kit | None) -> Iterator[Complaint]:
    """Yield what does not fit; paths start at `alternative`."""
    if kit is not None and kit.coupling.traits.on_grid:
        accepted = 'nothing: a cable is weighed against a kit with coupling = "off_grid"'
        yield Complaint(("alternative",), f"an alternative to a kit with coupling {kit.coupling}", accepted)
