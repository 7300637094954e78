"""The terms of dispatch: what it books, and what it must know of the kit."""

from __future__ import annotations

from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray


class Flow(IntEnum):
    """Rows of `monthly_kwh`: what flowed in a month, in kWh.

    Grid figures and figures "to load" are AC at the sockets; solar figures are at the unit's solar input;
    battery figures are at the cells. GRID_IMPORT holds GRID_TO_LOAD, DEMAND_WIRED, GRID_TO_BATTERY and standby.
    Every step closes: PV_USED + GRID_IMPORT + BATTERY_DISCHARGE + UNMET
    = DEMAND_REACHABLE + DEMAND_WIRED + GRID_EXPORT + BATTERY_CHARGE + LOSSES.
    """

    DEMAND_REACHABLE = 0
    DEMAND_WIRED = 1
    PV_AVAILABLE = 2
    PV_USED = 3
    PV_TO_LOAD = 4
    BATTERY_TO_LOAD = 5
    GRID_TO_LOAD = 6
    GRID_TO_BATTERY = 7
    GRID_IMPORT = 8
    GRID_EXPORT = 9
    BATTERY_CHARGE = 10
    BATTERY_DISCHARGE = 11
    LOSSES = 12
    UNMET = 13


class Billed(IntEnum):
    """First axis of `billed_kwh`: what is billed at each rate, in kWh times the slot's rate weight."""

    DEMAND = 0
    IMPORT = 1
    EXPORT = 2


FLOW_NAMES = tuple(flow.name.lower() for flow in Flow)


class Param(IntEnum):
    """Rows of `params`, float64 of shape (len(Param), draws)."""

    CAPACITY_WH = 0
    """Energy the cells can hold between empty and full as they are now; 0 = no battery [Wh]."""
    FLOOR_WH = 1
    """Stored energy below which the cells are not discharged: reserve or minimum charge [Wh]."""
    CHARGE_W = 2
    """Most power into the cells [W]."""
    DISCHARGE_W = 3
    """Most power out of the cells [W]."""
    CHARGE_EFFICIENCY = 4
    """DC bus -> cells."""
    DISCHARGE_EFFICIENCY = 5
    """Cells -> DC bus."""
    SOLAR_EFFICIENCY = 6
    """Solar input terminals -> DC bus."""
    INVERTER_RATING_W = 7
    """Most AC power the inverter delivers [W]."""
    IDLE_W = 8
    """DC power the inverter draws for itself while it is on [W]."""
    STANDBY_W = 9
    """AC power drawn from the grid while the inverter is off [W]; ignored off grid."""
    LOSS_LINEAR = 10
    """a of bus power = idle + a L + b L^2 for an AC load L; 1 or more, a little less after a fit."""
    LOSS_QUADRATIC = 11
    """b of bus power = idle + a L + b L^2 [1/W]; at least 0."""
    CHARGER_W = 12
    """Most AC power the grid charger takes [W]."""
    CHARGER_EFFICIENCY = 13
    """AC -> DC bus."""
    SOCKET_LIMIT_W = 14
    """Most AC power the supply may carry for charger, standby and bypassed load together [W]; inf = no limit."""
    EXPORT_LIMIT_W = 15
    """Most AC power fed into the grid [W]; 0 = no export, inf = no limit but the rating."""
    HOUSEHOLD_SCALE = 16
    """Factor on every demand basis with `scale_row` 0."""
    CAR_SCALE = 17
    """Factor on every demand basis with `scale_row` 1."""
    BASE_SCALE = 18
    """Factor on every demand basis with `scale_row` 2."""
    SMALL_SCALE = 19
    """Factor on every demand basis with `scale_row` 3."""
    HOME_SHARE = 20
    """Share of days with the "at home" pattern."""
    MOVED_SHARE = 21
    """Share of days on which movable use is moved."""


_DEFAULTS: dict[str, float] = {
    "charge_efficiency": 1.0,
    "discharge_efficiency": 1.0,
    "solar_efficiency": 1.0,
    "loss_linear": 1.0,
    "charger_efficiency": 1.0,
    "socket_limit_w": np.inf,
    "household_scale": 1.0,
    "car_scale": 1.0,
    "base_scale": 1.0,
    "small_scale": 1.0,
}
_EFFICIENCIES = ("charge_efficiency", "discharge_efficiency", "solar_efficiency", "charger_efficiency")
_MAY_BE_INFINITE = ("socket_limit_w", "export_limit_w")
_LARGEST = 1e9
#: Least a of the loss curve that two measured efficiencies may give; an inverter proper has 1 or more.
LEAST_LINEAR = 0.9


def param_rows(draws: int, **figures: ArrayLike) -> NDArray[np.float64]:
    """Return `params` (len(Param), draws) from figures named like the members of `Param` in lower case.

    Each figure is a number or an array (draws,). What is left out is neutral: no battery, no inverter, no
    charger, efficiencies of 1, demand unscaled, no limit on the socket.

    Raises
    ------
    ValueError
        For an unknown name, a figure that is not finite (the two limits may be inf) or negative, an efficiency
        outside (0, 1], or `loss_linear` below 0.9.
    """
    rows = np.zeros((len(Param), draws))
    known = {param.name.lower(): param for param in Param}
    for name in figures:
        if name not in known:
            raise ValueError(f"params: unknown figure {name!r}; accepted: {', '.join(known)}")
    for name, param in known.items():
        rows[param] = figures.get(name, _DEFAULTS.get(name, 0.0))
    check_params(rows)
    return rows


def check_params(params: NDArray[np.float64]) -> None:
    """Raise ValueError, naming the figure, if any row of `params` is outside what the dispatch equations allow."""
    if params.ndim != 2 or params.shape[0] != len(Param):
        raise ValueError(f"params: shape {params.shape}; accepted: ({len(Param)}, draws)")
    for param in Param:
        name, row = param.name.lower(), params[param]
        largest = np.inf if name in _MAY_BE_INFINITE else _LARGEST
        # A comparison with NaN is false, so NaN is refused as well.
        if not np.all((row >= 0.0) & (row <= largest)):
            raise ValueError(f"params: {name}: {_worst(row)}; accepted: 0 to {largest:g}")
        if name in _EFFICIENCIES and not np.all((row > 0.0) & (row <= 1.0)):
            raise ValueError(f"params: {name}: {_worst(row)}; accepted: more than 0, at most 1")
    if not np.all(params[Param.LOSS_LINEAR] >= LEAST_LINEAR):
        raise ValueError(f"params: loss_linear: {params[Param.LOSS_LINEAR].min()}; accepted: {LEAST_LINEAR} or more")


#: Figures that are all zero where there is no kit, or where it has failed or been sold.
_OF_A_KIT_AT_WORK = (Param.CAPACITY_WH, Param.INVERTER_RATING_W, Param.IDLE_W, Param.STANDBY_W)


def is_absent(params: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return the draws without a kit at work, (draws,): no load is carried, nothing stored, nothing drawn or refused."""
    return np.asarray((params[list(_OF_A_KIT_AT_WORK)] == 0.0).all(axis=0))


def _worst(row: NDArray[np.float64]) -> str:
    return f"{np.min(row):g} to {np.max(row):g}"


def inverter_curve(
    rating_w: ArrayLike, *, idle_w: ArrayLike, efficiency_half_load: ArrayLike, efficiency_full_load: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return (a, b) of the inverter's loss curve from two efficiencies of its datasheet.

    Parameters
    ----------
    rating_w, idle_w : array_like
        AC rating and own draw while on [W].
    efficiency_half_load, efficiency_full_load : array_like
        AC power out / DC power in at half and at full rating.

    Returns
    -------
    tuple of ndarray
        a [-] and b [1/W] of bus power D(L) = idle + a L + b L^2.

    Raises
    ------
    ValueError
        If b < 0 (the curve would bend the wrong way: full load better than half load by more than the idle draw
        explains), if the curve gives out more than it takes in at some load, or if a < 0.9; names the figures.

    Notes
    -----
    The quadratic form is that of Schmidt & Sauer (1996), "Wechselrichter-Wirkungsgrade", Sonnenenergie 4 (cited from
    memory): a constant, a share proportional to power (semiconductor drops), one to its square (resistance).
    With P = rating, D(P/2) = (P/2) / eta_half and D(P) = P / eta_full give
    b = 2 (D(P) - 2 D(P/2) + idle) / P^2 and a = (D(P) - idle) / P - b P.
    The best efficiency, at L = sqrt(idle / b), is 1 / (a + 2 sqrt(idle b)): the test that no load gets more than is
    put in. Measured pairs with a steep fall to full load give a slightly below 1, which that test lets pass.
    Limiting case: both efficiencies 1 and no idle draw give a = 1, b = 0.
    """
    rating, idle, half, full = (
        np.asarray(value, dtype=np.float64) for value in (rating_w, idle_w, efficiency_half_load, efficiency_full_load)
    )
    rating, idle, half, full = np.broadcast_arrays(rating, idle, half, full)
    if np.any(rating <= 0.0) or np.any(half <= 0.0) or np.any(full <= 0.0):
        raise ValueError("inverter: rating_w and both efficiencies must be more than 0")
    power_in_half = 0.5 * rating / half
    power_in_full = rating / full
    quadratic = 2.0 * (power_in_full - 2.0 * power_in_half + idle) / rating**2
    linear = (power_in_full - idle) / rating - quadratic * rating
    # Rounding may leave the limiting case a hair below its bound.
    quadratic = np.where(np.abs(quadratic * rating) < 1e-12, 0.0, quadratic)
    linear = np.where(np.abs(linear - 1.0) < 1e-12, 1.0, linear)
    quadratic_or_none = np.maximum(quadratic, 0.0)
    for wrong, why in (
        (quadratic < 0.0, "full load is more efficient than the idle draw allows for beside the half-load figure"),
        (
            (linear < LEAST_LINEAR) | ((linear < 1.0) & (linear + 2.0 * np.sqrt(idle * quadratic_or_none) < 1.0)),
            "at part load the inverter would give out more than it takes in",
        ),
    ):
        if np.any(wrong):
            at = int(np.argmax(wrong.ravel()))
            raise ValueError(
                f"inverter: idle_w {idle.ravel()[at]:g}, efficiency_half_load {half.ravel()[at]:g} and "
                f"efficiency_full_load {full.ravel()[at]:g} at rating_w {rating.ravel()[at]:g} "
                f"contradict each other: {why}"
            )
    return linear, quadratic
