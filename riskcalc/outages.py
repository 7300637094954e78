"""Outages of the supply: how much of them reserve and sun bridge, and what that is worth.

An estimate for every draw and year from the books of the year, scaled by outages that were put into the traced years of
a few draws (`riskcalc.bridging`). What the estimate rests on:

- An outage comes at any time of the year with the same chance, by day or in the dark half of the day.
- Stored energy at its start lies anywhere in the day's usual swing around the year's mean, and may be used down to the
  cells' floor: the reserve is kept for this.
- The load is the mean of the demand within reach, no more than the inverter's rating. Nobody saves during the outage;
  somebody who does bridges more.
- The sun gives its monthly mean, all of it in the light half of the day. An outage that starts in the light sees the
  share 1 - d/24 of its d hours lit, one that starts in the dark d/24, both 1/2 from twelve hours on.

Seasons of the stored energy, its pairing with the load and peaks of the load are what it misses. They make it too
hopeful, by a third in the small scenario of the tests; the scale puts that right on average over the draws.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.dispatch import Flow
from riskcalc.hardware import kit_figures
from riskcalc.scenario import Scenario
from riskcalc.scenario.outages import bridges
from riskcalc.simulation import Simulation

Floats = NDArray[np.float64]
Values = Mapping[str, Floats]

#: Places in the day's swing of stored energy at which an outage is tried: midpoints of five equal parts.
PLACES = (0.1, 0.3, 0.5, 0.7, 0.9)


@dataclass(frozen=True)
class Bridged:
    """Hours without supply in a year, hours of them bridged and energy served meanwhile, (years, draws) each."""

    hours: Floats
    hours_bridged: Floats
    kwh_served: Floats


def bridged_outages(scenario: Scenario, simulation: Simulation, values: Values) -> Bridged | None:
    """Return what the kit bridges, None if the scenario says nothing about outages."""
    if scenario.outages is None:
        return None
    years, draws = simulation.working.shape
    length = values["outages.hours_each"]
    per_year = values["outages.per_year"]
    hours = np.broadcast_to(per_year * length, (years, draws))
    nothing = np.zeros((years, draws))
    kit = scenario.kit
    if kit is None or not bridges(scenario.outages, kit.coupling):
        return Bridged(hours, nothing, nothing)
    figures = kit_figures(scenario, values, draws=draws)
    each, load_w = nothing.copy(), nothing.copy()
    for year in range(years):
        each[year], load_w[year] = _hours_of_one(figures, simulation, length, year=year)
    hours_bridged = per_year * np.minimum(each * scale(simulation, each[0]), length) * simulation.working
    return Bridged(hours, hours_bridged, hours_bridged * load_w / 1000.0)


def scale(simulation: Simulation, estimated_hours: Floats) -> float:
    """Return hours carried in the traced draws over those estimated for them; 1 where there are none."""
    sampled = simulation.sampled_outages
    if sampled is None:
        return 1.0
    estimated = float(estimated_hours[sampled.draws].sum())
    return float(sampled.hours.sum()) / estimated if estimated > 0.0 else 1.0


def hours_carried(
    length_hours: Floats, *, stored_wh: Floats, drawn_w: Floats, solar_w: Floats, starts_lit: bool
) -> Floats:
    """Return how long an outage is bridged, hours.

    Parameters
    ----------
    length_hours
        Length of the outage.
    stored_wh
        Energy that the cells can still give, at the inverter's input.
    drawn_w
        Power the inverter takes for the load, its own draw included.
    solar_w
        Mean solar power over day and night, at the inverter's input.
    starts_lit
        Whether it starts in the light half of the day.

    Notes
    -----
    min(d, stored / (drawn - sun)), all of d where the sun covers the load. Limits: no sun gives stored / drawn, no
    stored energy and no sun give 0.
    """
    lit_share = np.maximum(0.5, 1.0 - length_hours / 24.0)
    sun = 2.0 * solar_w * (lit_share if starts_lit else 1.0 - lit_share)
    short_w = drawn_w - sun
    return np.where(
        short_w > 0.0, np.minimum(length_hours, stored_wh / np.where(short_w > 0.0, short_w, 1.0)), length_hours
    )


def _hours_of_one(
    figures: Mapping[str, Floats | float], simulation: Simulation, length: Floats, *, year: int
) -> tuple[Floats, Floats]:
    """Return hours bridged of one outage, mean over the year, and the mean load meanwhile in watts, (draws,) each."""
    draws = len(length)
    capacity = np.broadcast_to(np.asarray(figures.get("capacity_wh", 0.0)), (draws,)) * simulation.capacity_share[year]
    floor = np.broadcast_to(np.asarray(figures.get("floor_wh", 0.0)), (draws,)) * simulation.capacity_share[year]
    hours_of_month = 24.0 * MONTH_LENGTHS
    first = simulation.first_year_monthly_kwh
    mean, swing = simulation.mean_stored_share[year], simulation.mean_daily_swing[year]
    bridged, load_hours = np.zeros(draws), np.zeros(draws)
    for month, hours in enumerate(hours_of_month):
        weight = hours / hours_of_month.sum()
        load = 1000.0 * first[Flow.DEMAND_REACHABLE, month] / hours * _ratio(simulation, Flow.DEMAND_REACHABLE, year)
        load = np.minimum(load, figures["inverter_rating_w"])
        sun = 1000.0 * first[Flow.PV_AVAILABLE, month] / hours * _ratio(simulation, Flow.PV_AVAILABLE, year)
        sun = sun * figures["solar_efficiency"]
        drawn = figures["idle_w"] + figures["loss_linear"] * load + figures["loss_quadratic"] * load**2
        for place in PLACES:
            share = np.clip(mean + swing * (place - 0.5), 0.0, 1.0)
            stored = np.maximum(share * capacity - floor, 0.0) * figures.get("discharge_efficiency", 1.0)
            for lit in (True, False):
                part = weight / (2 * len(PLACES))
                hours_now = hours_carried(length, stored_wh=stored, drawn_w=drawn, solar_w=sun, starts_lit=lit)
                bridged += part * hours_now
                load_hours += part * hours_now * load
    return bridged, load_hours / np.where(bridged > 0.0, bridged, 1.0)


def _ratio(simulation: Simulation, flow: Flow, year: int) -> Floats:
    """Return a year's energy over the first year's, 0 where there was none, (draws,)."""
    first, now = simulation.yearly_kwh[flow, 0], simulation.yearly_kwh[flow, year]
    return np.where(first > 0.0, now / np.where(first > 0.0, first, 1.0), 0.0)
