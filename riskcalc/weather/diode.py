"""The single-diode equation of a module from its datasheet, and its power over light and cell temperature as a table."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from riskcalc.errors import InputError, Problem
from riskcalc.weather.module import KELVIN, LOW_LIGHT_W_M2, STANDARD_CELL_C, STANDARD_W_M2, Module, check_module

#: Boltzmann constant over elementary charge [V/K] (exact since the SI of 2019).
BOLTZMANN_V_PER_K = 1.380649e-23 / 1.602176634e-19


@dataclass(frozen=True)
class Diode:
    """Parameters of the single-diode equation at 1000 W/m2 and 25 degC.

    I = light_a - saturation_a (exp((V + I series_ohm) / thermal_v) - 1) - (V + I series_ohm) shunt_s;
    `gap_v` is the effective band gap that gives the datasheet's temperature coefficient of open-circuit voltage.
    """

    light_a: float
    saturation_a: float
    series_ohm: float
    shunt_s: float
    thermal_v: float
    gap_v: float


@lru_cache(maxsize=64)
def diode(module: Module) -> Diode:
    """Return the single-diode parameters that reproduce the datasheet.

    Open-circuit voltage, short-circuit current, the maximum power point and its being a maximum are met exactly;
    the one freedom left (the ideality of the diode) is spent on the efficiency at 200 W/m2. Where no ideality
    reaches that ratio, the nearest is taken.

    References
    ----------
    De Soto, Klein & Beckman, Solar Energy 80 (2006) 78-88, for the equation and its scaling with light and
    temperature. Closing it by the low-light ratio and by an effective band gap is this project's own choice.
    """
    check_module(module)
    ideality = np.linspace(0.5, 2.2, 341)
    thermal = ideality * module.cells_in_series * BOLTZMANN_V_PER_K * (STANDARD_CELL_C + KELVIN)
    series = _series_resistance(module, thermal)
    light, saturation, shunt = _linear_parameters(module, thermal, series)
    usable = np.isfinite(series) & (saturation > 0.0) & (shunt >= 0.0)
    if not usable.any():
        raise InputError(
            Problem("scenario", "kit.module", str(module), "datasheet values that a silicon module can have")
        )
    share = LOW_LIGHT_W_M2 / STANDARD_W_M2
    dim = Curve(share * light, saturation, np.nan_to_num(series), share * shunt, thermal)
    with np.errstate(all="ignore"):  # idealities that fit no curve are left out below
        power, _ = maximum_power(dim)
    distance = np.abs(power / (share * module.vmp_v * module.imp_a) - module.low_light_ratio)
    best = int(np.argmin(np.where(usable, distance, np.inf)))
    return Diode(
        light_a=float(light[best]),
        saturation_a=float(saturation[best]),
        series_ohm=float(series[best]),
        shunt_s=float(shunt[best]),
        thermal_v=float(thermal[best]),
        gap_v=_band_gap(module, float(light[best]), float(thermal[best]), float(shunt[best])),
    )


def _band_gap(module: Module, light: float, thermal: float, shunt: float) -> float:
    """Gap whose saturation current at 26 degC makes the open-circuit voltage fall by beta_voc (differential)."""
    step = 1.0
    warm, cold = STANDARD_CELL_C + KELVIN + step, STANDARD_CELL_C + KELVIN
    voc = module.voc_v * (1.0 + module.beta_voc_per_k * step)
    thermal_warm = thermal * warm / cold
    light_warm = light * (1.0 + module.alpha_isc_per_k * step)
    saturation_warm = (light_warm - voc * shunt) / np.expm1(voc / thermal_warm)
    saturation = (light - module.voc_v * shunt) / np.expm1(module.voc_v / thermal)
    growth = np.log(saturation_warm / saturation) - 3.0 * np.log(warm / cold)
    return float(growth * BOLTZMANN_V_PER_K / (1.0 / cold - 1.0 / warm))


def _linear_parameters(
    module: Module, thermal: NDArray[np.float64], series: NDArray[np.float64]
) -> tuple[NDArray[np.float64], ...]:
    """Light current, saturation current and shunt from the three points of the curve, which are linear in them."""
    points = ((module.isc_a, 0.0), (0.0, module.voc_v), (module.imp_a, module.vmp_v))
    inner = [voltage + current * series for current, voltage in points]
    rise = [np.expm1(value / thermal) for value in inner]
    # subtracting the first equation removes the light current; two equations in saturation and shunt remain
    a1, b1, c1 = rise[1] - rise[0], inner[1] - inner[0], points[0][0] - points[1][0]
    a2, b2, c2 = rise[2] - rise[0], inner[2] - inner[0], points[0][0] - points[2][0]
    det = a1 * b2 - a2 * b1
    saturation = (c1 * b2 - c2 * b1) / det
    shunt = (a1 * c2 - a2 * c1) / det
    light = points[0][0] + saturation * rise[0] + inner[0] * shunt
    return light, saturation, shunt


def _series_resistance(module: Module, thermal: NDArray[np.float64]) -> NDArray[np.float64]:
    """Series resistance for which the datasheet's point is the maximum of power; NaN where none does."""

    def slope(series: NDArray[np.float64]) -> NDArray[np.float64]:
        _, saturation, shunt = _linear_parameters(module, thermal, series)
        inner = module.vmp_v + module.imp_a * series
        conductance = saturation / thermal * np.exp(inner / thermal) + shunt
        return module.imp_a - module.vmp_v * conductance / (1.0 + conductance * series)

    low = np.zeros_like(thermal)
    high = np.full_like(thermal, 0.999 * (module.voc_v - module.vmp_v) / module.imp_a)
    at_low, at_high = slope(low), slope(high)
    found = at_low * at_high < 0.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        same = np.sign(slope(middle)) == np.sign(at_low)
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return np.where(found, 0.5 * (low + high), np.nan)


@dataclass(frozen=True)
class Curve:
    """Current-voltage curves at given light and temperature; the entries broadcast against each other.

    The voltage across the diode itself is the variable: current and terminal voltage are explicit in it.
    """

    light_a: NDArray[np.float64]
    saturation_a: NDArray[np.float64]
    series_ohm: NDArray[np.float64] | float
    shunt_s: NDArray[np.float64]
    thermal_v: NDArray[np.float64]

    def current(self, inner_v: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the current at the terminals [A]."""
        return self.light_a - self.saturation_a * np.expm1(inner_v / self.thermal_v) - inner_v * self.shunt_s

    def voltage(self, inner_v: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the voltage at the terminals [V]."""
        return inner_v - self.current(inner_v) * self.series_ohm

    def power(self, inner_v: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the power at the terminals [W]."""
        return self.current(inner_v) * self.voltage(inner_v)

    def highest_inner_v(self) -> NDArray[np.float64]:
        """Return a voltage no diode of these curves exceeds: open circuit without shunt [V]."""
        return self.thermal_v * np.log1p(self.light_a / self.saturation_a)


def curves(fit: Diode, module: Module, irradiance: NDArray[np.float64], cell_c: NDArray[np.float64]) -> Curve:
    """Return the curves at each irradiance [W/m2] and cell temperature [degC].

    Light current and shunt conductance go with irradiance, saturation current with T^3 exp(-gap / kT).
    """
    share, cell_c = np.broadcast_arrays(np.asarray(irradiance) / STANDARD_W_M2, np.asarray(cell_c))
    kelvin, standard = cell_c + KELVIN, STANDARD_CELL_C + KELVIN
    growth = 3.0 * np.log(kelvin / standard) + fit.gap_v / BOLTZMANN_V_PER_K * (1.0 / standard - 1.0 / kelvin)
    return Curve(
        light_a=fit.light_a * share * (1.0 + module.alpha_isc_per_k * (cell_c - STANDARD_CELL_C)),
        saturation_a=fit.saturation_a * np.exp(growth),
        series_ohm=fit.series_ohm,
        shunt_s=fit.shunt_s * share,
        thermal_v=fit.thermal_v * kelvin / standard,
    )


def maximum_power(curve: Curve) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the greatest power [W] of each curve and its voltage [V], by golden section."""
    high = curve.highest_inner_v()
    low = np.zeros_like(high)
    golden = (np.sqrt(5.0) - 1.0) / 2.0
    for _ in range(60):
        left, right = high - golden * (high - low), low + golden * (high - low)
        better = curve.power(left) > curve.power(right)
        high, low = np.where(better, right, high), np.where(better, low, left)
    best = 0.5 * (low + high)
    return curve.power(best), curve.voltage(best)


def power_at_voltage(curve: Curve, voltage_v: float) -> NDArray[np.float64]:
    """Return the power when the terminals are held at a voltage [W]; nothing beyond open circuit."""
    low, high = np.zeros_like(curve.thermal_v), curve.highest_inner_v()
    for _ in range(60):
        middle = 0.5 * (low + high)
        short = curve.voltage(middle) < voltage_v
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.maximum(curve.current(0.5 * (low + high)) * voltage_v, 0.0)


def power_at_current(curve: Curve, current_a: float) -> NDArray[np.float64]:
    """Return the power at the voltage where the current is no more than this [W]."""
    low, high = np.zeros_like(curve.thermal_v), curve.highest_inner_v()
    for _ in range(60):
        middle = 0.5 * (low + high)
        over = curve.current(middle) > current_a
        low, high = np.where(over, middle, low), np.where(over, high, middle)
    return np.maximum(curve.power(high), 0.0)


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
    surface, place = power_surface(module), GridPlace.of(irradiance, cell_c)
    return place.read(surface.power_w), place.read(surface.voltage_v)


@dataclass(frozen=True)
class GridPlace:
    """Where light and cell temperature lie on GRID_W_M2 x GRID_CELL_C: the corner below, and how far beyond it, 0 to 1."""

    corner: NDArray[np.intp]
    row: NDArray[np.floating]
    column: NDArray[np.floating]

    @classmethod
    def of(cls, irradiance: NDArray[np.floating], cell_c: NDArray[np.floating]) -> GridPlace:
        """Return the place of each pair; beyond the grid that at its edge."""
        rows, columns = len(GRID_W_M2), len(GRID_CELL_C)
        row_step, column_step = GRID_W_M2[1] - GRID_W_M2[0], GRID_CELL_C[1] - GRID_CELL_C[0]
        kind = np.result_type(irradiance, np.float32)
        row = (irradiance * kind.type(1.0 / row_step)).astype(kind, copy=False)
        column = ((cell_c - kind.type(GRID_CELL_C[0])) * kind.type(1.0 / column_step)).astype(kind, copy=False)
        row, column = np.clip(row, 0.0, rows - 1.001), np.clip(column, 0.0, columns - 1.001)
        above, left = np.floor(row), np.floor(column)
        row, column = row - above, column - left
        above *= kind.type(columns)  # whole numbers, exact in either kind
        above += left
        return cls(above.astype(np.intp), row, column)

    def read(self, table: NDArray[np.floating]) -> NDArray[np.floating]:
        """Return the bilinear value of a table on the grid at each place, of the kind of the light."""
        flat = np.ascontiguousarray(table, dtype=self.row.dtype).ravel()
        lower = self._along(flat)
        upper = self._along(flat[table.shape[1] :])
        upper -= lower
        upper *= self.row
        upper += lower
        return upper

    def _along(self, flat: NDArray[np.floating]) -> NDArray[np.floating]:
        start = flat.take(self.corner)
        rise = flat[1:].take(self.corner)
        rise -= start
        rise *= self.column
        start += rise
        return start
