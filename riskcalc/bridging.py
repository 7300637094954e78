"""How long a kit carries its loads while the supply is out: in one draw's year, step by step.

Outages are put into the traced first year of a few draws, at starts spread evenly over the year. `riskcalc.outages`
scales its estimate for every draw by what is found here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import Param

Floats = NDArray[np.float64]

#: Draws whose year is traced, and outages put into each; more moves the share bridged by less than a hundredth.
SAMPLED_DRAWS, STARTS = 8, 400


@dataclass(frozen=True)
class SampledOutages:
    """Hours carried of one outage, mean over the year, in a few draws: `draws` says which, `hours` how long, (n,)."""

    draws: NDArray[np.int64]
    hours: Floats


def sampled_draws(draws: int) -> NDArray[np.int64]:
    """Return the draws that are traced, spread evenly over all."""
    return np.unique(np.linspace(0, draws - 1, min(SAMPLED_DRAWS, draws)).astype(np.int64))


def hours_in_year(
    steps: Mapping[str, Floats], params: Floats, *, step_minutes: int, length_hours: float, starts: int = STARTS
) -> float:
    """Return the mean hours carried of an outage of this length, over starts spread evenly over a traced year.

    Parameters
    ----------
    steps
        Columns of `dispatch.trace_year`.
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
