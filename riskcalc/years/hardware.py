"""What each draw makes of a home: the kit as the figures that dispatch works with, and what people do with their demand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.coupling import Coupling
from riskcalc.demand.pool import CAR_SCALE, HOUSEHOLD_SCALE, DemandPool
from riskcalc.dispatch import inverter_curve, param_rows
from riskcalc.errors import one_problem
from riskcalc.scenario import Scenario
from riskcalc.types import Floats, Values

_NO_LIMIT = np.inf


def coupling_of(scenario: Scenario) -> Coupling:
    """Return how the kit meets the loads; doing nothing is a kit without parts on the sockets."""
    return Coupling.SOCKETS if scenario.kit is None else scenario.kit.coupling


def kit_figures(scenario: Scenario, values: Values, *, draws: int) -> dict[str, Floats | float]:
    """Return the figures of a new kit under the names of `dispatch.Param`; empty when nothing is bought.

    Raises
    ------
    InputError
        If idle draw and efficiencies of the inverter contradict each other in some draw.
    """
    kit = scenario.kit
    if kit is None:
        return {}
    inverter, on_grid = kit.inverter, kit.coupling.traits.on_grid
    try:
        linear, quadratic = inverter_curve(
            np.full(draws, inverter.rating_w),
            idle_w=values["kit.inverter.idle_w"],
            efficiency_half_load=values["kit.inverter.efficiency_half_load"],
            efficiency_full_load=values["kit.inverter.efficiency_full_load"],
        )
    except ValueError as error:
        accepted = "an idle draw and efficiencies that can belong to one inverter, over their whole distributions"
        raise one_problem(scenario.file, "kit.inverter", str(error), accepted) from error
    figures: dict[str, Floats | float] = {
        "solar_efficiency": values["kit.solar_efficiency"],
        "inverter_rating_w": inverter.rating_w,
        "idle_w": values["kit.inverter.idle_w"],
        "standby_w": values["kit.inverter.standby_w"] if on_grid else 0.0,
        "loss_linear": linear,
        "loss_quadratic": quadratic,
        "export_limit_w": _export_limit(scenario),
    }
    if kit.battery is not None:
        capacity_wh = 1000.0 * values["kit.battery.capacity_kwh"] * (1 + kit.battery.extra_batteries)
        figures |= {
            "capacity_wh": capacity_wh,
            "floor_wh": values["kit.battery.floor_share"] * capacity_wh,
            "charge_w": values["kit.battery.charge_w"],
            "discharge_w": values["kit.battery.discharge_w"],
            "charge_efficiency": values["kit.battery.charge_efficiency"],
            "discharge_efficiency": values["kit.battery.discharge_efficiency"],
        }
    if kit.charger is not None and kit.battery is not None:
        figures |= {
            "charger_w": kit.charger.power_w,
            "charger_efficiency": values["kit.charger.efficiency"],
            "socket_limit_w": kit.charger.socket_limit_w or _NO_LIMIT,
        }
    return figures


def year_params(
    new: Mapping[str, Floats | float], *, habits: Values, capacity_share: Floats, working: NDArray[np.bool_]
) -> Floats:
    """Return `params` of one year: the new kit's figures, worn by `capacity_share`, all zero where it no longer works.

    `habits` holds household_scale, car_scale, base_scale, small_scale, home_share and moved_share, each (draws,).
    """
    figures = {name: np.broadcast_to(np.asarray(value, float), capacity_share.shape) for name, value in new.items()}
    for name in ("capacity_wh", "floor_wh"):
        if name in figures:
            figures[name] = figures[name] * capacity_share
    # A kit that has failed carries nothing, draws nothing and takes no charge; its efficiencies no longer matter.
    for name in ("capacity_wh", "inverter_rating_w", "idle_w", "standby_w", "charger_w", "export_limit_w"):
        if name in figures:
            figures[name] = np.where(working, figures[name], 0.0)
    return param_rows(len(capacity_share), **figures, **habits)


def _export_limit(scenario: Scenario) -> float:
    kit = scenario.kit
    if kit is None or not kit.coupling.traits.may_export:
        return 0.0
    return _NO_LIMIT if kit.inverter.export_limit_w is None else kit.inverter.export_limit_w


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
    """Return household, car, base and small scale, home_share and moved_share of every draw by name, each (draws,)."""
    home_share, moved_share = values["home.weekday_home_share"], values["home.moved_share"]
    annual_kwh = values["home.annual_use_kwh"]
    if "meter_rest" in demand.basis:
        reached = values["home.demand.reachable_share"]
        scale = annual_kwh / demand.mean_kwh(home_share, moved_share)[0]
        return _habits((scale * reached, scale * (1.0 - reached), scale, scale), home_share, moved_share)
    scale, base, small = demand.household_scales(
        annual_kwh, home_share, moved_share, values["home.always_on_factor"], values["home.lamps_and_screens_factor"]
    )
    is_car = demand.scale_row == CAR_SCALE
    if not is_car.any():
        return _habits((scale, np.zeros(draws), base, small), home_share, moved_share)
    car_kwh = demand.mean_kwh(home_share, moved_share)[is_car].sum(axis=0)
    # A use so small that no year of the pool charges at all has nothing to scale.
    wanted_kwh = np.broadcast_to(values["home.car_kwh_per_year"], car_kwh.shape)
    car_scale = np.divide(wanted_kwh, car_kwh, out=np.zeros(car_kwh.shape), where=car_kwh > 0.0)
    return _habits((scale, car_scale, base, small), home_share, moved_share)


def _habits(scales: tuple[Floats, ...], home_share: Floats, moved_share: Floats) -> dict[str, Floats]:
    named = dict(zip(("household_scale", "car_scale", "base_scale", "small_scale"), scales, strict=True))
    return named | {"home_share": home_share, "moved_share": moved_share}
