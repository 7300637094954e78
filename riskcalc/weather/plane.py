"""Light on a tilted plane: Hay-Davies sky, reflection at the glass, ground, and a horizon that stands in the way."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.weather.solar import SunPath

#: Refractive index of glass, its absorption [1/m] and thickness [m] (De Soto, Klein & Beckman 2006).
GLASS_INDEX = 1.526
GLASS_EXTINCTION_PER_M = 4.0
GLASS_THICKNESS_M = 0.002

#: Below this the ratio of plane to horizontal beam is no longer trusted (sun 1 degree above the horizon).
LEAST_COS_ZENITH = 0.01745

Horizon = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class PlaneGeometry:
    """What turns sunlight of the lit hours into light on one plane; the vectors have shape (N,) = lit hours.

    light = dni * beam + dhi * ((1 - a) * sky + a * circumsolar) + ghi * ground, with a = dni / extraterrestrial.
    """

    beam: NDArray[np.float64]
    circumsolar: NDArray[np.float64]
    sky: float
    ground: float


def plane_geometry(
    sun: SunPath,
    *,
    tilt_deg: float,
    azimuth_deg: float,
    albedo: float = 0.2,
    horizon: Horizon | None = None,
    reflection: bool = True,
) -> PlaneGeometry:
    """Return the geometry of one plane for the lit hours of the year.

    Parameters
    ----------
    sun : SunPath
    tilt_deg : float
        0 lies flat, 90 is vertical [deg].
    azimuth_deg : float
        The way the plane faces: 0 north, 90 east, 180 south [deg].
    albedo : float
        Share of light the ground throws back.
    horizon : sequence of (azimuth, elevation), optional
        Corners of the skyline [deg], joined by straight lines all round. Beam and circumsolar light from behind it
        are lost, diffuse light is dimmed by the part of the sky it hides (taken as equally bright), and nothing
        is added for light that the skyline itself reflects.
    reflection : bool
        Whether light reflected by the module's glass is taken off (effective) or not (incident).

    References
    ----------
    Hay & Davies, Proc. First Canadian Solar Radiation Data Workshop (1980) 59-72; Duffie & Beckman, Solar Engineering
    of Thermal Processes (2013), 1.6 (angle of incidence), 2.16; Brandemuehl & Beckman, Solar Energy 24 (1980)
    511-513 (equivalent angles of diffuse light).
    """
    zenith, azimuth = sun.zenith_deg[sun.lit], sun.azimuth_deg[sun.lit]
    cos_incidence = np.maximum(cos_of_incidence(zenith, azimuth, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg), 0.0)
    beam = cos_incidence.copy()
    sky = (1.0 + np.cos(np.radians(tilt_deg))) / 2.0
    ground = albedo * (1.0 - np.cos(np.radians(tilt_deg))) / 2.0
    if reflection:
        beam *= transmitted_share(cos_incidence)
        sky *= float(transmitted_share(np.cos(np.radians(59.7 - 0.1388 * tilt_deg + 0.001497 * tilt_deg**2))))
        ground *= float(transmitted_share(np.cos(np.radians(90.0 - 0.5788 * tilt_deg + 0.002693 * tilt_deg**2))))
    if horizon is not None:
        beam *= 90.0 - zenith >= horizon_elevation(azimuth, horizon)
        sky *= sky_share_above(horizon, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    ratio = beam / np.maximum(sun.cos_zenith[sun.lit], LEAST_COS_ZENITH)
    return PlaneGeometry(beam=beam, circumsolar=ratio, sky=sky, ground=ground)


def effective_irradiance(
    dni: NDArray[np.floating],
    dhi: NDArray[np.floating],
    ghi: NDArray[np.floating],
    inverse_extraterrestrial: NDArray[np.floating],
    geometry: PlaneGeometry,
) -> NDArray[np.floating]:
    """Return the sum of all light on the plane, shape (K, N) [W/m2]."""
    kind = dni.dtype
    light = dni * inverse_extraterrestrial
    light *= geometry.circumsolar.astype(kind) - kind.type(geometry.sky)
    light += kind.type(geometry.sky)
    light *= dhi
    light += dni * geometry.beam.astype(kind)
    light += ghi * kind.type(geometry.ground)
    return light


def cos_of_incidence(
    zenith_deg: NDArray[np.float64], sun_azimuth_deg: NDArray[np.float64], *, tilt_deg: float, azimuth_deg: float
) -> NDArray[np.float64]:
    """Return the cosine of the angle between the sun and the plane's normal; negative when the sun is behind it."""
    zenith, tilt = np.radians(zenith_deg), np.radians(tilt_deg)
    turn = np.radians(sun_azimuth_deg - azimuth_deg)
    return np.cos(zenith) * np.cos(tilt) + np.sin(zenith) * np.sin(tilt) * np.cos(turn)


def transmitted_share(cos_incidence: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Return the light that passes the glass relative to normal incidence: 1 at 0 degrees, 0 at 90 degrees.

    Unpolarised light on one air-glass surface (Fresnel) and absorption in the glass (Bouguer).

    References
    ----------
    De Soto, Klein & Beckman, Solar Energy 80 (2006) 78-88, equations 15 and 16.
    """
    cos_in = np.clip(np.asarray(cos_incidence, dtype=np.float64), 1e-6, 1.0)
    sin_out_squared = (1.0 - cos_in**2) / GLASS_INDEX**2
    cos_out = np.sqrt(1.0 - sin_out_squared)
    across = ((cos_in - GLASS_INDEX * cos_out) / (cos_in + GLASS_INDEX * cos_out)) ** 2
    along = ((GLASS_INDEX * cos_in - cos_out) / (GLASS_INDEX * cos_in + cos_out)) ** 2
    depth = GLASS_EXTINCTION_PER_M * GLASS_THICKNESS_M
    passed = np.exp(-depth / cos_out) * (1.0 - 0.5 * (across + along))
    at_normal = np.exp(-depth) * (1.0 - ((GLASS_INDEX - 1.0) / (GLASS_INDEX + 1.0)) ** 2)
    return np.where(np.asarray(cos_incidence) > 0.0, passed / at_normal, 0.0)


def horizon_elevation(azimuth_deg: NDArray[np.float64], horizon: Horizon) -> NDArray[np.float64]:
    """Return the skyline's height at each azimuth [deg], on straight lines between its corners, closed all round.

    Raises
    ------
    ValueError
        If the skyline is empty or a height is outside 0..90.
    """
    corners = np.array(sorted(horizon), dtype=np.float64).reshape(-1, 2)
    if len(corners) == 0 or not ((corners[:, 1] >= 0.0) & (corners[:, 1] <= 90.0)).all():
        raise ValueError("horizon: accepted: pairs (azimuth, elevation) with elevation from 0 to 90")
    return np.interp(azimuth_deg, corners[:, 0], corners[:, 1], period=360.0)


def sky_share_above(horizon: Horizon, *, tilt_deg: float, azimuth_deg: float) -> float:
    """Return how much of an evenly bright sky's light on the plane comes from above the skyline (1 = none hidden)."""
    azimuth = np.arange(0.5, 360.0)
    elevation = np.arange(0.5, 90.0)[:, None]
    cos_in = cos_of_incidence(90.0 - elevation, azimuth[None, :], tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    light = np.maximum(cos_in, 0.0) * np.cos(np.radians(elevation))
    seen = elevation >= horizon_elevation(azimuth, horizon)
    return float((light * seen).sum() / light.sum())
