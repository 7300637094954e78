"""The light on a plane piece by piece: the slow twin of what the modules see."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray

from riskcalc.weather.plane import Horizon, plane_geometry
from riskcalc.weather.pool import WeatherPool
from riskcalc.weather.solar import HOURS, SunPath


@dataclass(frozen=True)
class PlaneIrradiance:
    """Light on a plane by origin, each of shape (K, 8760) [W/m2]."""

    beam: NDArray[np.float64]
    circumsolar: NDArray[np.float64]
    sky: NDArray[np.float64]
    ground: NDArray[np.float64]

    @property
    def total(self) -> NDArray[np.float64]:
        """All of it, shape (K, 8760) [W/m2]."""
        return self.beam + self.circumsolar + self.sky + self.ground


def _plane_irradiance(
    pool: WeatherPool,
    sun: SunPath,
    *,
    tilt_deg: float,
    azimuth_deg: float,
    albedo: float = 0.2,
    horizon: Horizon | None = None,
    reflection: bool = True,
) -> PlaneIrradiance:
    """Return the light on one plane by origin, shape (K, 8760) [W/m2]; parameters as in `plane_geometry`.

    Limiting case: tilt 0 without reflection and horizon gives back dni cos(zenith) + dhi.
    """
    geometry = plane_geometry(
        sun, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg, albedo=albedo, horizon=horizon, reflection=reflection
    )
    dni, dhi, ghi = (series[:, sun.lit] for series in (pool.dni, pool.dhi, pool.ghi))
    anisotropy = dni / sun.extraterrestrial_w[sun.lit]
    pieces = (
        dni * geometry.beam,
        dhi * anisotropy * geometry.circumsolar,
        dhi * (1.0 - anisotropy) * geometry.sky,
        ghi * geometry.ground,
    )
    whole = []
    for piece in pieces:
        year = np.zeros((pool.years, HOURS))
        year[:, sun.lit] = piece
        whole.append(year)
    return PlaneIrradiance(*whole)


@pytest.fixture
def plane_irradiance() -> Callable[..., PlaneIrradiance]:
    """Return the slow twin of `effective_irradiance`."""
    return _plane_irradiance
