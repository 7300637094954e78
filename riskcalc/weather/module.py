"""What a module is: its datasheet, checked against itself, and how warm its cells are under the light."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.errors import InputError, Problem

STANDARD_W_M2 = 1000.0
STANDARD_CELL_C = 25.0
LOW_LIGHT_W_M2 = 200.0
KELVIN = 273.15


@dataclass(frozen=True)
class Module:
    """One module as its datasheet states it, at 1000 W/m2 and cells at 25 degC.

    Coefficients are decimals per kelvin relative to the value at 25 degC (-0.0034 is -0.34 %/K).
    `low_light_ratio` is efficiency at 200 W/m2 over efficiency at 1000 W/m2.
    """

    power_w: float
    voc_v: float
    isc_a: float
    vmp_v: float
    imp_a: float
    cells_in_series: int
    gamma_pmax_per_k: float
    beta_voc_per_k: float
    alpha_isc_per_k: float
    low_light_ratio: float = 0.96


def check_module(module: Module) -> None:
    """Raise InputError with every way in which the datasheet contradicts itself."""
    problems = []

    def refuse(name: str, given: object, accepted: str, hint: str = "") -> None:
        problems.append(Problem("scenario", f"kit.module.{name}", str(given), accepted, hint))

    product = module.vmp_v * module.imp_a
    if abs(product / module.power_w - 1.0) > 0.03:
        refuse(
            "power_w",
            f"{module.power_w:g}",
            f"vmp_v x imp_a = {product:.4g} W within 3 %",
            "copy all three from the same column of the datasheet (1000 W/m2)",
        )
    if not module.vmp_v < module.voc_v:
        refuse("vmp_v", f"{module.vmp_v:g}", f"less than voc_v = {module.voc_v:g}")
    if not module.imp_a < module.isc_a:
        refuse("imp_a", f"{module.imp_a:g}", f"less than isc_a = {module.isc_a:g}")
    for name, low, high in (
        ("gamma_pmax_per_k", -0.007, 0.0),
        ("beta_voc_per_k", -0.006, 0.0),
        ("alpha_isc_per_k", -0.001, 0.003),
    ):
        value = getattr(module, name)
        if not low <= value <= high:
            hint = "decimals per kelvin: -0.34 %/K is -0.0034" if abs(value) > abs(low) else ""
            refuse(name, f"{value:g}", f"{low:g} to {high:g}", hint)
    per_cell = module.voc_v / module.cells_in_series
    if not 0.45 <= per_cell <= 0.8:
        refuse(
            "cells_in_series",
            module.cells_in_series,
            f"voc_v / cells_in_series from 0.45 to 0.8 V (crystalline silicon), here {per_cell:.3f} V",
            "half-cut modules count the cells in series, half of all cells",
        )
    if not 0.8 <= module.low_light_ratio <= 1.05:
        refuse("low_light_ratio", f"{module.low_light_ratio:g}", "0.8 to 1.05")
    if not problems:
        fill = product / (module.voc_v * module.isc_a)
        if not 0.6 <= fill <= 0.88:
            refuse("power_w", f"fill factor {fill:.3f}", "vmp x imp / (voc x isc) from 0.60 to 0.88")
    if problems:
        raise InputError(problems)


#: Wind at a module some 2 m above the ground over wind at 10 m: logarithmic profile, ln(2 / z) / ln(10 / z) with a
#: roughness length z of 0.25 m (hedges and scattered houses); common practice, no source.
WIND_AT_MODULE = 0.564

#: Free-standing modules, wind at the module: u0 [W/m2/K] and u1 [W s/m3/K] of Faiman (2008).
FREE_STANDING = (25.0, 6.84)

#: Heat loss u0, u1 by mounting, for wind at 10 m as weather data give it.
#: open: free-standing, wind brought down to the module.
#: roof: King, Boyson & Kratochvil, SAND2004-3535, "close mount, glass/glass" (a -2.98, b -0.0471, wind at 10 m), as a
#:   linear law that is equal to it at 1.4 and 5.4 m/s, the two winds of Driesse, Theristis & Stein, IEEE PVSC (2022).
#: rail: halfway between the two; common practice, no source.
HEAT_LOSS = {"open": (25.0, 6.84 * WIND_AT_MODULE), "roof": (19.50, 1.09), "rail": (22.25, 2.46)}


def cell_temperature(
    irradiance: NDArray[np.floating],
    temp_air: NDArray[np.floating],
    wind_speed: NDArray[np.floating],
    *,
    mounting: str = "open",
) -> NDArray[np.floating]:
    """Return the cell temperature [degC] for wind measured at 10 m [m/s]: air + irradiance / (u0 + u1 wind).

    Limiting case: no light, air temperature.

    Raises
    ------
    ValueError
        If the mounting is not a key of HEAT_LOSS.

    References
    ----------
    Faiman, Assessing the outdoor operating temperature of photovoltaic modules, Progress in Photovoltaics 16 (2008)
    307-315.
    """
    if mounting not in HEAT_LOSS:
        raise ValueError(f"mounting: {mounting!r}; accepted: {', '.join(HEAT_LOSS)}")
    return linear_temperature(irradiance, temp_air, wind_speed, heat_loss=HEAT_LOSS[mounting])


def linear_temperature(
    irradiance: NDArray[np.floating],
    temp_air: NDArray[np.floating],
    wind_speed: NDArray[np.floating],
    *,
    heat_loss: tuple[float, float],
) -> NDArray[np.floating]:
    """Return air + irradiance / (u0 + u1 wind) [degC] for given u0 [W/m2/K] and u1 [W s/m3/K] (Faiman 2008)."""
    constant, per_wind = heat_loss
    return temp_air + irradiance / (constant + per_wind * wind_speed)
