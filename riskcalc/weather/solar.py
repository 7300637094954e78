"""Where the sun stands: one position for every hour of the standard-time year. The border to pvlib."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import CALENDAR_YEAR
from riskcalc.weather.threads import in_parts

HOURS = 8760

#: Mean total solar irradiance [W/m2] (ASTM E490-00a gives 1366.1, Kopp & Lean 2011 give 1361).
SOLAR_CONSTANT_W_M2 = 1361.0

#: Centre of the sun this far below the horizon when refraction lifts it to the horizon [deg].
RISE_ELEVATION_DEG = -0.5667

#: No sun rises or sets faster than the Earth turns: in half a step by half of this times the step.
_FASTEST_DEG_PER_S = 360.0 / 86_164.0

#: Instants worked out together: their sums stay in the processor's own memory.
_INSTANTS = 1 << 14


@dataclass(frozen=True)
class SunPath:
    """Sun of one place for every hour of the year, or its parts; arrays have shape (8760 x steps,) and are read-only.

    The position is that of the middle of the step, or of the middle of its sunlit part where the sun rises or sets
    within it, because a mean over the step holds light of that part only.

    `zenith_deg` is apparent (refracted), `azimuth_deg` counts from north through east, `lit_share` is the share of
    the step with the sun above the horizon, `extraterrestrial_w` is normal to the sun [W/m2], `airmass` is relative,
    `solar_time_hours` the apparent solar time; `lit` (N,) holds the indices of steps with any sun.
    """

    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    utc_offset_hours: float
    zenith_deg: NDArray[np.float64]
    azimuth_deg: NDArray[np.float64]
    cos_zenith: NDArray[np.float64]
    lit_share: NDArray[np.float64]
    extraterrestrial_w: NDArray[np.float64]
    airmass: NDArray[np.float64]
    solar_time_hours: NDArray[np.float64]
    lit: NDArray[np.int64]

    @property
    def steps_per_hour(self) -> int:
        """Number of steps in an hour."""
        return len(self.zenith_deg) // HOURS

    @property
    def extraterrestrial_horizontal_w(self) -> NDArray[np.float64]:
        """Mean extraterrestrial irradiance on the horizontal over each whole step [W/m2]."""
        return self.extraterrestrial_w * self.cos_zenith * self.lit_share


def sun_position(
    unix_seconds: NDArray[np.float64],
    *,
    latitude_deg: float,
    longitude_deg: float,
    altitude_m: float = 0.0,
    pressure_pa: float = 101325.0,
    temp_air_c: float = 12.0,
    delta_t_s: float = 69.0,
    refraction_deg: float = 0.5667,
) -> dict[str, NDArray[np.float64]]:
    """Return the sun's position at instants of time [s since 1970 UTC], each entry of their shape.

    Keys: `zenith_deg` and `elevation_deg` (geometric), `apparent_zenith_deg` (refracted), `azimuth_deg` (north 0,
    east 90), `equation_of_time_min`.

    References
    ----------
    Reda & Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302 (2008).
    """
    from pvlib import spa

    instants = np.asarray(unix_seconds, dtype=np.float64)
    flat = instants.ravel()
    found = np.empty((6, len(flat)))

    def fill(part: slice) -> None:
        found[:, part] = spa.solar_position_numpy(
            flat[part],
            latitude_deg,
            longitude_deg,
            altitude_m,
            pressure_pa / 100.0,
            temp_air_c,
            delta_t_s,
            refraction_deg,
            None,
        )

    in_parts(fill, len(flat), _INSTANTS)
    apparent_zenith, zenith, _, elevation, azimuth, equation_of_time = found.reshape(6, *instants.shape)
    return {
        "zenith_deg": zenith,
        "apparent_zenith_deg": apparent_zenith,
        "elevation_deg": elevation,
        "azimuth_deg": azimuth,
        "equation_of_time_min": equation_of_time,
    }


@lru_cache(maxsize=8)
def sun_path(
    latitude_deg: float,
    longitude_deg: float,
    altitude_m: float = 0.0,
    utc_offset_hours: float = 0.0,
    year: int = CALENDAR_YEAR,
    steps_per_hour: int = 1,
) -> SunPath:
    """Return the sun of one place for the 8760 hours of its standard-time year, computed once per place.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        North and east positive [deg].
    altitude_m : float
        Height above the sea [m].
    utc_offset_hours : float
        Standard time, east positive [h].
    year : int
        Calendar year of the ephemeris; one without 29 February.
    steps_per_hour : int
        Equal parts of each hour that have a sun of their own.
    """
    place = {
        "latitude_deg": latitude_deg,
        "longitude_deg": longitude_deg,
        "altitude_m": altitude_m,
        "pressure_pa": 101325.0 * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588,
    }
    start = np.datetime64(f"{year}-01-01", "s").astype(np.float64) - 3600.0 * utc_offset_hours
    steps, step_s = HOURS * steps_per_hour, 3600.0 / steps_per_hour
    begins = start + step_s * np.arange(steps)
    sun = sun_position(begins + 0.5 * step_s, **place)
    middle = sun["elevation_deg"] - RISE_ELEVATION_DEG
    # Elsewhere the sun is up, or down, at both ends of the step as in its middle. Twice the distance, to be sure.
    near = np.flatnonzero(np.abs(middle) < _FASTEST_DEG_PER_S * step_s)
    ends = sun_position(begins[near] + np.array([[0.0], [step_s]]), **place)["elevation_deg"] - RISE_ELEVATION_DEG
    first, last = middle.copy(), middle.copy()
    first[near], last[near] = ends
    centre, lit_share = _lit_part(first, middle, last)
    partly = (lit_share > 0.0) & (lit_share < 1.0)
    moved = sun_position(start + step_s * (np.arange(steps) + centre)[partly], **place)
    for name, values in moved.items():
        sun[name][partly] = values
    zenith = sun["apparent_zenith_deg"]
    lit_share[zenith >= 90.0] = 0.0
    cos_zenith = np.where(lit_share > 0.0, np.cos(np.radians(zenith)), 0.0)
    hours_of_day = ((np.arange(steps) + np.where(partly, centre, 0.5)) / steps_per_hour) % 24.0
    solar_time = hours_of_day + longitude_deg / 15.0 - utc_offset_hours + sun["equation_of_time_min"] / 60.0
    return SunPath(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        altitude_m=altitude_m,
        utc_offset_hours=utc_offset_hours,
        zenith_deg=_frozen(zenith),
        azimuth_deg=_frozen(sun["azimuth_deg"]),
        cos_zenith=_frozen(cos_zenith),
        lit_share=_frozen(lit_share),
        extraterrestrial_w=_frozen(extraterrestrial_normal(np.arange(steps) // (24 * steps_per_hour) + 1)),
        airmass=_frozen(relative_airmass(zenith)),
        solar_time_hours=_frozen(solar_time % 24.0),
        lit=_frozen(np.flatnonzero(lit_share > 0.0)),
    )


def extraterrestrial_normal(day_of_year: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return the irradiance outside the atmosphere, normal to the sun [W/m2], for days 1..365.

    References
    ----------
    Spencer, Fourier series representation of the position of the sun, Search 2 (1971) 172.
    """
    angle = 2.0 * np.pi * (day_of_year - 1) / 365.0
    distance_factor = (
        1.00011
        + 0.034221 * np.cos(angle)
        + 0.00128 * np.sin(angle)
        + 0.000719 * np.cos(2.0 * angle)
        + 0.000077 * np.sin(2.0 * angle)
    )
    return SOLAR_CONSTANT_W_M2 * distance_factor


def relative_airmass(apparent_zenith_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the optical air mass relative to the zenith; 1 for the sun overhead, about 38 on the horizon, and below.

    References
    ----------
    Kasten & Young, Revised optical air mass tables and approximation formula, Applied Optics 28 (1989) 4735.
    """
    zenith = np.minimum(apparent_zenith_deg, 90.0)
    return 1.0 / (np.cos(np.radians(zenith)) + 0.50572 * (96.07995 - zenith) ** -1.6364)


def _lit_part(
    first: NDArray[np.float64], middle: NDArray[np.float64], last: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Centre [share of the step] and length of the sunlit part; the sun's height is taken as straight in each half."""
    begin = np.where(first > 0.0, 0.0, np.where(middle > 0.0, _zero(first, middle), 0.5 + _zero(middle, last)))
    end = np.where(last > 0.0, 1.0, np.where(middle > 0.0, 0.5 + _zero(middle, last), _zero(first, middle)))
    ever = (first > 0.0) | (middle > 0.0) | (last > 0.0)
    share = np.where(ever, np.clip(end - begin, 0.0, 1.0), 0.0)
    return (begin + end) / 2.0, share


def _zero(left: NDArray[np.float64], right: NDArray[np.float64]) -> NDArray[np.float64]:
    change = np.where(right == left, 1.0, right - left)
    return 0.5 * np.clip(-left / change, 0.0, 1.0)


def _frozen(values: NDArray) -> NDArray:
    values.flags.writeable = False
    return values
