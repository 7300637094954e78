"""How long a kit carries its loads while the supply is out.

An estimate for every draw and year from the books of the year (`estimated_hours`), scaled by outages that are put into
the traced first year of a few draws, step by step (`hours_in_year`). What the estimate rests on:

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

import numpy as np

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.dispatch import DispatchOutcome, Flow, Param
from riskcalc.types import Floats

#: Draws whose year is traced (at least), and outages put into each; more moves the share bridged by less than a hundredth.
SAMPLED_DRAWS, STARTS = 8, 400


#: Columns of `dispatch.trace_year` that decide what an outage meets.
COLUMNS = ("reachable_demand_w", "pv_available_w", "battery_stored_wh")
#: Places in the day's swing of stored energy at which an outage is tried: midpoints of five equal parts.
PLACES = (0.1, 0.3, 0.5, 0.7, 0.9)


def hours_in_year(
    steps: Mapping[str, Floats], params: Floats, *, step_minutes: int, length_hours: float, starts: int = STARTS
) -> float:
    """Return the mean hours carried of an outage of this length, over starts spread evenly over a traced year.

    Parameters
    ----------
    steps
        `COLUMNS` of `dispatch.trace_year`.
    params
        The draw's figures, rows named by `dispatch.Param`, (len(Param),).

    Notes
    -----
    A step is carried when its load is within the inverter's rating and sun and cells, down to the floor of the cells,
    last for it; else nothing is drawn in it and the sun charges. Energy starts at what was stored when the supply
    failed. Overloads trip the inverter for their step only. Power limits of the cells are left out: outages
    are bridged at a fraction of them.
    """
    hours = step_minutes / 60.0
    load = steps["reachable_demand_w"]
    drawn = params[Param.IDLE_W] + params[Param.LOSS_LINEAR] * load + params[Param.LOSS_QUADRATIC] * load**2
    sun = steps["pv_available_w"] * params[Param.SOLAR_EFFICIENCY]
    possible = load <= params[Param.INVERTER_RATING_W]
    capacity, floor = params[Param.CAPACITY_WH], params[Param.FLOOR_WH]
    give, take = params[Param.DISCHARGE_EFFICIENCY], params[Param.CHARGE_EFFICIENCY]
    count = max(1, round(length_hours / hours))
    first = np.linspace(0, len(load), starts, endpoint=False).astype(np.int64)
    energy = steps["battery_stored_wh"][first - 1]
    carried = np.zeros(starts)
    for step in range(count):
        at = (first + step) % len(load)
        from_cells = np.maximum(drawn[at] - sun[at], 0.0) * hours / give
        met = possible[at] & (energy - from_cells >= floor - 1e-9)
        spare = np.where(met, np.maximum(sun[at] - drawn[at], 0.0), sun[at]) * hours * take
        energy = np.minimum(energy + spare - np.where(met, from_cells, 0.0), np.maximum(capacity, energy))
        carried += met
    return float(carried.mean() * hours * length_hours / (count * hours))


def estimated_hours(outcome: DispatchOutcome, params: Floats, *, length_hours: Floats) -> tuple[Floats, Floats]:
    """Return hours carried of one outage, mean over the year, and the mean load meanwhile in watts, (draws,) each.

    `params` are those of the year, rows named by `dispatch.Param`, (len(Param), draws).
    """
    capacity, floor = params[Param.CAPACITY_WH], params[Param.FLOOR_WH]
    hours_of_month = 24.0 * MONTH_LENGTHS
    monthly = outcome.monthly_kwh
    carried, load_hours = np.zeros(len(length_hours)), np.zeros(len(length_hours))
    for month, hours in enumerate(hours_of_month):
        weight = hours / hours_of_month.sum() / (2 * len(PLACES))
        load = 1000.0 * monthly[Flow.DEMAND_REACHABLE, month] / hours
        load = np.minimum(load, params[Param.INVERTER_RATING_W])
        sun = 1000.0 * monthly[Flow.PV_AVAILABLE, month] / hours * params[Param.SOLAR_EFFICIENCY]
        drawn = params[Param.IDLE_W] + params[Param.LOSS_LINEAR] * load + params[Param.LOSS_QUADRATIC] * load**2
        for place in PLACES:
            share = np.clip(outcome.mean_stored_share + outcome.mean_daily_swing * (place - 0.5), 0.0, 1.0)
            stored = np.maximum(share * capacity - floor, 0.0) * params[Param.DISCHARGE_EFFICIENCY]
            for lit in (True, False):
                now = hours_carried(length_hours, stored_wh=stored, drawn_w=drawn, solar_w=sun, starts_lit=lit)
                now = np.where(params[Param.INVERTER_RATING_W] > 0.0, now, 0.0)
                carried += weight * now
                load_hours += weight * now * load
    return carried, load_hours / np.where(carried > 0.0, carried, 1.0)


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
