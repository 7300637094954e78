"""A second opinion on tilted planes: the published rule that turns monthly horizontal light into inclined light.

The model itself works by the hour (`plane`); this rule serves as an outside check and as a figure for the report.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.weather.climates import Climate, table_rows

#: Column of the table of constants by angle from due south [deg].
ORIENTATIONS = {0: "S", 45: "SE_SW", 90: "E_W", 135: "NE_NW", 180: "N"}

#: Yield of modules of one kilowatt under one kWh/m2 on their plane, all losses included, of the same procedure.
PERFORMANCE_FACTOR = 0.8


def inclined_irradiance(climate: Climate, *, tilt_deg: float, azimuth_deg: float) -> NDArray[np.float64]:
    """Return the 24-hour mean on a plane by month, shape (12,) [W/m2], by the published rule for UK latitudes.

    A cos^2(phi - delta) + B cos(phi - delta) + C times the horizontal, with A, B and C cubic in sin(tilt / 2).
    Limiting case: tilt 0 gives the horizontal exactly.

    Parameters
    ----------
    azimuth_deg : float
        A multiple of 45 (0 north, 90 east, 180 south) [deg].

    Raises
    ------
    ValueError
        If the azimuth is not a multiple of 45 degrees.

    References
    ----------
    The Government's Standard Assessment Procedure for Energy Rating of Dwellings, 2012 edition, section U3.2, table U5.
    """
    from_south = round(abs((azimuth_deg - 180.0 + 180.0) % 360.0 - 180.0), 6)
    if from_south not in ORIENTATIONS:
        raise ValueError(f"azimuth_deg: {azimuth_deg:g}; accepted: multiples of 45")
    k = _constants()[ORIENTATIONS[int(from_south)]]
    s = np.sin(np.radians(tilt_deg) / 2.0)
    powers = np.array([s**3, s**2, s])
    a, b, less = (powers * k.reshape(3, 3)).sum(axis=1)
    cosine = np.cos(np.radians(climate.latitude_deg - _declination()))
    return climate.ghi_w_m2 * (a * cosine**2 + b * cosine + less + 1.0)


def annual_inclined_kwh(climate: Climate, *, tilt_deg: float, azimuth_deg: float) -> float:
    """Return the year's energy on a plane [kWh/m2], section U3.3: 0.024 x days x monthly mean, summed."""
    monthly = inclined_irradiance(climate, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    return float(0.024 * (MONTH_LENGTHS * monthly).sum())


def rule_of_yield_kwh(inclined_kwh_m2: float, *, rated_kw: float, shading_factor: float = 1.0) -> float:
    """Return the year's alternating-current yield by the same procedure's Appendix M: 0.8 x kWp x S x Z [kWh].

    Parameters
    ----------
    inclined_kwh_m2 : float
        Year's energy on the plane S [kWh/m2].
    rated_kw : float
        Rated power of the modules [kW].
    shading_factor : float
        Z of Appendix M: 1 with little or no shade, 0.8 modest, 0.65 significant, 0.5 heavy.
    """
    return PERFORMANCE_FACTOR * rated_kw * inclined_kwh_m2 * shading_factor


@cache
def _constants() -> dict[str, NDArray[np.float64]]:
    rows = table_rows("inclined_surface_constants.csv")
    return {name: np.array([float(row[name]) for row in rows]) for name in ORIENTATIONS.values()}


@cache
def _declination() -> NDArray[np.float64]:
    return np.array([float(value) for value in table_rows("solar_declination.csv")[0].values()])
