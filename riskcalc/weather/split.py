"""Splitting global light into beam and diffuse by a published law, where a file or a generator knows only the sum."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.weather.solar import HOURS, SunPath

#: Coefficients of the logistic law: constant, hourly clearness, solar time [h], elevation [deg], daily clearness,
#: persistence (Ridley, Boland & Lauret, Renewable Energy 35 (2010) 478-483, the model for all their sites; as other
#: published programs print them too). The year's beam of New York, which had no part in them, comes out at 0.613 for 0.608.
COEFFICIENTS = (-5.38, 6.63, 0.006, -0.007, 1.75, 1.31)

#: Sun lower than this: all light counts as diffuse, because a beam reckoned from it would be a quotient of two noises.
LEAST_COS_ZENITH = 0.05


def diffuse_fraction(ghi: NDArray[np.float64], sun: SunPath) -> NDArray[np.float64]:
    """Return the diffuse share of global irradiance at the lit hours, shape (K, N), from ghi (K, 8760) [W/m2].

    1 / (1 + exp(b0 + b1 kt + b2 time + b3 elevation + b4 Kt + b5 psi)): kt hourly and Kt daily clearness index, psi
    the mean of the neighbouring hours' kt (at sunrise and sunset the one neighbour). Limiting case: overcast, near 1.

    References
    ----------
    Ridley, Boland & Lauret, Modelling of diffuse solar fraction with multiple predictors, Renewable Energy 35 (2010)
    478-483.
    """
    outside = sun.extraterrestrial_horizontal_w
    years = ghi.shape[0]
    hourly = np.zeros((years, HOURS + 2))
    hourly[:, 1:-1][:, sun.lit] = np.clip(ghi[:, sun.lit] / outside[sun.lit], 0.0, 1.0)
    daily = ghi.reshape(years, -1, 24).sum(axis=2) / np.maximum(outside.reshape(-1, 24).sum(axis=1), 1e-9)
    lit = np.zeros(HOURS + 2)
    lit[1:-1][sun.lit] = 1.0
    neighbours = np.maximum(lit[sun.lit] + lit[sun.lit + 2], 1.0)
    persistence = (hourly[:, sun.lit] + hourly[:, sun.lit + 2]) / neighbours
    b0, b1, b2, b3, b4, b5 = COEFFICIENTS
    fixed = b0 + b2 * sun.solar_time_hours[sun.lit] + b3 * (90.0 - sun.zenith_deg[sun.lit])
    power = b1 * hourly[:, sun.lit + 1]
    power += fixed
    power += b4 * np.clip(daily, 0.0, 1.0)[:, sun.lit // 24]
    power += b5 * persistence
    return 1.0 / (1.0 + np.exp(power))


def beam_and_diffuse(ghi: NDArray[np.float64], sun: SunPath) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return direct normal and diffuse horizontal irradiance (K, 8760) [W/m2] with dni cos(zenith) + dhi = ghi.

    The beam is never stronger than 0.9 of what arrives outside the atmosphere in the lit part of the hour; the rest
    stays diffuse. Light while the sun is down or within 3 degrees of the horizon is diffuse.
    """
    fraction = diffuse_fraction(ghi, sun)
    cos_zenith = sun.cos_zenith[sun.lit]
    beam = ghi[:, sun.lit] * (1.0 - fraction)
    beam /= np.maximum(cos_zenith, LEAST_COS_ZENITH)
    beam *= cos_zenith > LEAST_COS_ZENITH
    np.minimum(beam, 0.9 * (sun.extraterrestrial_w * sun.lit_share)[sun.lit], out=beam)
    dni = np.zeros_like(ghi)
    dni[:, sun.lit] = beam
    dhi = np.maximum(ghi - dni * sun.cos_zenith, 0.0)
    return dni, dhi
