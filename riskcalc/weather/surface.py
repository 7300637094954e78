"""A module's power over light and cell temperature as a table, and fast reading from it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from riskcalc.weather.diode import curves, diode, maximum_power, power_at_current, power_at_voltage
from riskcalc.weather.module import STANDARD_CELL_C, STANDARD_W_M2, Module

GRID_W_M2 = np.arange(0.0, 1510.0, 10.0)
GRID_CELL_C = np.arange(-45.0, 116.0, 5.0)


@dataclass(frozen=True)
class PowerSurface:
    """Power [W] of one module and its voltage at maximum power [V], on GRID_W_M2 (rows) x GRID_CELL_C (columns)."""

    power_w: NDArray[np.float64]
    voltage_v: NDArray[np.float64]


@lru_cache(maxsize=64)
def power_surface(
    module: Module, *, highest_voltage_v: float | None = None, highest_current_a: float | None = None
) -> PowerSurface:
    """Return the surface of one module, held below a voltage and a current if these are given.

    The single-diode power is tilted by the small rest that brings its slope at 1000 W/m2 and 25 degC to gamma_pmax,
    and scaled by the rounding between power and vmp x imp; the voltage stays that of maximum power without limits.
    Limiting cases: 1000 W/m2 and 25 degC give the rated power; no light gives nothing.
    """
    fit = diode(module)
    curve = curves(fit, module, GRID_W_M2[:, None], GRID_CELL_C[None, :])
    power, voltage = maximum_power(curve)
    current = power / np.maximum(voltage, 1e-9)
    if highest_current_a is not None:
        power = np.where(current > highest_current_a, power_at_current(curve, highest_current_a), power)
    if highest_voltage_v is not None:
        held = power_at_voltage(curve, highest_voltage_v)
        if highest_current_a is not None:
            held = np.minimum(held, highest_current_a * highest_voltage_v)
        power = np.where(voltage > highest_voltage_v, np.minimum(held, power), power)
    step = 1.0
    around, _ = maximum_power(
        curves(fit, module, np.array(STANDARD_W_M2), STANDARD_CELL_C + np.array([-step, 0.0, step]))
    )
    own_gamma = (around[2] - around[0]) / (2.0 * step * around[1])
    rounding = module.power_w / (module.vmp_v * module.imp_a)
    power = power * rounding * (1.0 + (module.gamma_pmax_per_k - own_gamma) * (GRID_CELL_C - STANDARD_CELL_C))
    power.flags.writeable = False
    voltage.flags.writeable = False
    return PowerSurface(power_w=power, voltage_v=voltage)


def operating_point(
    module: Module, irradiance: NDArray[np.floating], cell_c: NDArray[np.floating]
) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
    """Return maximum power [W] and its voltage [V] of one module, read from its surface; any shape."""
    surface = power_surface(module)
    return (
        interpolated(surface.power_w, irradiance, cell_c),
        interpolated(surface.voltage_v, irradiance, cell_c),
    )


def interpolated(
    table: NDArray[np.floating], irradiance: NDArray[np.floating], cell_c: NDArray[np.floating]
) -> NDArray[np.floating]:
    """Return the bilinear value of a table on GRID_W_M2 x GRID_CELL_C; the value at the edge beyond the grid."""
    rows, columns = table.shape
    row_step, column_step = GRID_W_M2[1] - GRID_W_M2[0], GRID_CELL_C[1] - GRID_CELL_C[0]
    kind = np.result_type(irradiance, np.float32)
    row = np.clip(irradiance * kind.type(1.0 / row_step), 0.0, rows - 1.001).astype(kind, copy=False)
    column = np.clip((cell_c - kind.type(GRID_CELL_C[0])) * kind.type(1.0 / column_step), 0.0, columns - 1.001)
    column = column.astype(kind, copy=False)
    row_index, column_index = row.astype(np.int32), column.astype(np.int32)
    row -= row_index
    column -= column_index
    at = row_index * columns + column_index
    flat = np.ascontiguousarray(table, dtype=kind).ravel()
    lower = flat[at]
    lower += column * (flat[at + 1] - lower)
    at += columns
    upper = flat[at]
    upper += column * (flat[at + 1] - upper)
    upper -= lower
    upper *= row
    upper += lower
    return upper
