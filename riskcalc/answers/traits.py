"""What the cautions of a purchase go by; read by `check` as well, which simulates nothing and so must stay light."""

from __future__ import annotations

from typing import Any

from riskcalc.scenario import Scenario
from riskcalc.scenario.outages import bridges

#: Appliances whose content spoils when the power goes unnoticed.
COLD_STORES = ("fridge_freezer", "refrigerator", "chest_freezer", "upright_freezer")


def scenario_traits(scenario: Scenario) -> dict[str, Any]:
    """Return what the cautions of a purchase go by."""
    kit, tenure = scenario.kit, scenario.tenure
    return {
        "coupling": "none" if kit is None else kit.coupling,
        "has_modules": kit is not None and bool(kit.arrays),
        "has_battery": kit is not None and kit.battery is not None,
        "modules_in_series": max((array.modules_in_series for array in kit.arrays.values()), default=0) if kit else 0,
        "renting": tenure is not None and tenure.kind == "rent",
        "exports_stored": bool(scenario.dispatch.export_stored_at),
        "bridges": kit is not None and scenario.outages is not None and bridges(scenario.outages, kit.coupling),
        "cold_store": any(place == "unit" and name in COLD_STORES for name, place in scenario.home.appliances.items()),
    }
