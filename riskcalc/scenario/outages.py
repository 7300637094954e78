"""Table [outages]: how often the supply fails, and what it is worth to bridge that."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import StrictBool

from riskcalc.coupling import Coupling
from riskcalc.scenario.complaints import Complaint
from riskcalc.scenario.fields import Table, needed, optional
from riskcalc.scenario.kit import Kit
from riskcalc.scenario.uncertain import Uncertain
from riskcalc.uncertainty.quantity import Quantity


class Outages(Table):
    """Outages of the supply."""

    per_year: Annotated[Quantity, Uncertain(0, 1000, unit="1/year")] = needed(
        "outages in a year", title="Outages a year"
    )
    hours_each: Annotated[Quantity, Uncertain(0, 720, above=True, unit="h")] = needed(
        "length of an outage in hours", title="Length of an outage"
    )
    value_per_hour: Annotated[Quantity, Uncertain(0, 1e9, unit="{money}/h")] | None = optional(
        "what an hour bridged is worth, at today's prices",
        "outages are counted, not valued",
        title="Worth of an hour bridged",
    )
    value_per_kwh: Annotated[Quantity, Uncertain(0, 1e9, unit="{money}/kWh")] | None = optional(
        "what a kWh served during an outage is worth, at today's prices",
        "outages are counted, not valued",
        title="Worth of a kWh in an outage",
    )
    kit_bridges: StrictBool | None = optional(
        "does the kit carry its loads while the supply is out",
        "yes with loads plugged into it (sockets), otherwise no: wired systems need equipment of their own for it",
        title="Kit bridges outages",
    )


def bridges(outages: Outages, coupling: Coupling) -> bool:
    """Return whether the kit carries its loads during an outage, the default by its coupling included."""
    return coupling.traits.between_mains if outages.kit_bridges is None else outages.kit_bridges


def outage_complaints(outages: Outages, kit: Kit | None) -> Iterator[Complaint]:
    """Yield what does not fit; paths start at `outages`."""
    if kit is None:
        return
    if not kit.coupling.traits.on_grid:
        accepted = "nothing: off grid there is no supply to fail"
        yield Complaint(("outages",), "outages of a supply", accepted, "remove [outages]")
    if kit.coupling == "plug_in" and outages.kit_bridges:
        accepted = "false: a plug-in inverter switches off with the grid"
        yield Complaint(("outages", "kit_bridges"), "true", accepted)
