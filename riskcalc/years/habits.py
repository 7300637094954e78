"""What people do, per draw: how much they use, how often they are at home, what they move."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from riskcalc.demand.pool import CAR_SCALE, HOUSEHOLD_SCALE, DemandPool
from riskcalc.types import Floats, Values


def split_meter(metered: DemandPool) -> DemandPool:
    """Return a metered pool as two streams, the part within reach and the rest, so that each draw can split it its own way.

    A whole-home meter cannot say which load is plugged in where, so both parts have the meter's shape; the first is scaled
    by the household scale, the second by the other scale.
    """
    slots = metered.wired_w.shape[2]
    by_slot = np.stack([metered.minutes_w(year).reshape(1, slots, -1).mean(axis=2) for year in range(metered.years)])
    return replace(
        metered,
        run_w=np.concatenate([metered.run_w, np.zeros_like(metered.run_w)], axis=1),
        wired_w=np.concatenate([metered.wired_w, by_slot.astype(np.float32)], axis=1),
        basis=("meter_reached", "meter_rest"),
        rank_row=np.array([-1, -1]),
        rank_below=np.array([True, True]),
        scale_row=np.array([HOUSEHOLD_SCALE, CAR_SCALE]),
    )


def habit_figures(demand: DemandPool, values: Values, *, draws: int) -> dict[str, Floats]:
    """Return household_scale, car_scale, base_scale, home_share and moved_share of every draw, each (draws,)."""
    home_share, moved_share = values["home.weekday_home_share"], values["home.moved_share"]
    annual_kwh = values["home.annual_use_kwh"]
    if "meter_rest" in demand.basis:
        reached = values["home.demand.reachable_share"]
        scale = annual_kwh / demand.mean_kwh(home_share, moved_share)[0]
        return _habits((scale * reached, scale * (1.0 - reached), scale), home_share, moved_share)
    scale, base = demand.household_scales(annual_kwh, home_share, moved_share, values["home.always_on_factor"])
    is_car = demand.scale_row == CAR_SCALE
    if not is_car.any():
        return _habits((scale, np.zeros(draws), base), home_share, moved_share)
    car_kwh = demand.mean_kwh(home_share, moved_share)[is_car].sum(axis=0)
    # A use so small that no year of the pool charges at all has nothing to scale.
    wanted_kwh = np.broadcast_to(values["home.car_kwh_per_year"], car_kwh.shape)
    car_scale = np.divide(wanted_kwh, car_kwh, out=np.zeros(car_kwh.shape), where=car_kwh > 0.0)
    return _habits((scale, car_scale, base), home_share, moved_share)


def _habits(scales: tuple[Floats, Floats, Floats], home_share: Floats, moved_share: Floats) -> dict[str, Floats]:
    named = dict(zip(("household_scale", "car_scale", "base_scale"), scales, strict=True))
    return named | {"home_share": home_share, "moved_share": moved_share}
