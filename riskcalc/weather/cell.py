"""How warm the cells are under the light: a linear law with heat loss by mounting."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

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
