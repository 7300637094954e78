"""Outages of the supply: hours of them that the kit bridges in each year, and the energy it serves meanwhile."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from riskcalc.scenario import Scenario
from riskcalc.types import Floats, Values
from riskcalc.years.simulation import Simulation


@dataclass(frozen=True)
class Bridged:
    """Hours without supply in a year, hours of them bridged and energy served meanwhile, (years, draws) each."""

    hours: Floats
    hours_bridged: Floats
    kwh_served: Floats


def bridged_outages(scenario: Scenario, simulation: Simulation, values: Values) -> Bridged | None:
    """Return what the kit bridges, None if the scenario says nothing about outages; see `riskcalc.years.bridging`."""
    if scenario.outages is None:
        return None
    per_year = values["outages.per_year"]
    hours = np.broadcast_to(per_year * values["outages.hours_each"], simulation.working.shape)
    bridged = per_year * simulation.hours_carried
    return Bridged(hours, bridged, bridged * simulation.load_carried_w / 1000.0)
