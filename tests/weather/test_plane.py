"""Light on a tilted plane against pvlib's transposition, and limits worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from riskcalc.weather.climates import climate
from riskcalc.weather.generator import generated_years
from riskcalc.weather.plane import (
    cos_of_incidence,
    effective_irradiance,
    horizon_elevation,
    plane_geometry,
    sky_share_above,
    transmitted_share,
)
from riskcalc.weather.pool import WeatherPool
from riskcalc.weather.solar import SunPath, sun_path


@pytest.fixture(scope="module")
def sky() -> tuple[WeatherPool, SunPath]:
    """Two generated years near London and their sun."""
    place = climate("thames")
    return generated_years(place, years=2, seed=4), sun_path(place.latitude_deg, place.longitude_deg, place.altitude_m)


@pytest.mark.parametrize(("tilt_deg", "azimuth_deg"), [(35.0, 180.0), (90.0, 110.0), (10.0, 300.0), (60.0, 0.0)])
def test_incident_light_is_hay_and_davies(
    sky: tuple[WeatherPool, SunPath], plane_irradiance: Callable[..., Any], tilt_deg: float, azimuth_deg: float
) -> None:
    """Every hour agrees with pvlib's Hay-Davies total for the same sun, to 1e-9 W/m2."""
    from pvlib import irradiance

    pool, sun = sky
    light = plane_irradiance(pool, sun, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg, albedo=0.25, reflection=False)
    theirs = irradiance.get_total_irradiance(
        tilt_deg,
        azimuth_deg,
        sun.zenith_deg[sun.lit],
        sun.azimuth_deg[sun.lit],
        pool.dni[1, sun.lit],
        pool.ghi[1, sun.lit],
        pool.dhi[1, sun.lit],
        dni_extra=sun.extraterrestrial_w[sun.lit],
        albedo=0.25,
        model="haydavies",
    )
    assert np.abs(light.total[1, sun.lit] - theirs["poa_global"]).max() < 1e-9


def test_flat_plane_without_glass_gives_back_the_horizontal(
    sky: tuple[WeatherPool, SunPath], plane_irradiance: Callable[..., Any]
) -> None:
    """Tilt 0 is dni cos(zenith) + dhi; only circumsolar light of a sun within a degree of the horizon is cut."""
    pool, sun = sky
    light = plane_irradiance(pool, sun, tilt_deg=0.0, azimuth_deg=123.0, reflection=False)
    high = sun.lit[sun.cos_zenith[sun.lit] > 0.02]
    assert np.abs(light.total[:, high] - pool.ghi[:, high]).max() < 1e-9


def test_fast_sum_is_the_sum_of_the_pieces(
    sky: tuple[WeatherPool, SunPath], plane_irradiance: Callable[..., Any]
) -> None:
    """The fast twin used by the array agrees with the piecewise one, with glass and skyline, in float64 and float32."""
    pool, sun = sky
    view = {
        "tilt_deg": 70.0,
        "azimuth_deg": 200.0,
        "albedo": 0.2,
        "horizon": [(90.0, 10.0), (180.0, 25.0), (270.0, 5.0)],
    }
    slow = plane_irradiance(pool, sun, **view).total[:, sun.lit]
    geometry = plane_geometry(sun, **view)
    for kind, within in ((np.float64, 1e-9), (np.float32, 1e-2)):
        series = [values[:, sun.lit].astype(kind) for values in (pool.dni, pool.dhi, pool.ghi)]
        fast = effective_irradiance(*series, (1.0 / sun.extraterrestrial_w[sun.lit]).astype(kind), geometry)
        assert fast.dtype == kind
        assert np.abs(fast - slow).max() < within


def test_glass_passes_light_as_pvlibs_physical_model() -> None:
    """The share passed at 0 to 89 degrees agrees with pvlib's physical model (De Soto et al. 2006) to 1e-6."""
    from pvlib import iam

    angle = np.arange(0.0, 90.0, 1.0)
    theirs = iam.physical(angle, n=1.526, K=4.0, L=0.002)
    assert np.abs(transmitted_share(np.cos(np.radians(angle))) - theirs).max() < 1e-6
    assert transmitted_share(1.0) == pytest.approx(1.0, abs=1e-12)
    assert transmitted_share(-0.2) == 0.0


def test_angle_of_incidence_by_hand() -> None:
    """Sun in the south at zenith angle 50: a south plane of tilt 50 sees it straight, a vertical one at 40 degrees."""
    assert cos_of_incidence(np.array(50.0), np.array(180.0), tilt_deg=50.0, azimuth_deg=180.0) == pytest.approx(1.0)
    vertical = cos_of_incidence(np.array(50.0), np.array(180.0), tilt_deg=90.0, azimuth_deg=180.0)
    assert vertical == pytest.approx(np.cos(np.radians(40.0)))
    assert cos_of_incidence(np.array(50.0), np.array(180.0), tilt_deg=90.0, azimuth_deg=0.0) < 0.0


def test_skyline_is_closed_over_north() -> None:
    """Between the last corner (350) and the first (10) the skyline runs straight through north."""
    heights = horizon_elevation(np.array([0.0, 350.0, 355.0, 10.0, 180.0]), [(10.0, 4.0), (350.0, 8.0), (180.0, 20.0)])
    assert heights == pytest.approx([6.0, 8.0, 7.0, 4.0, 20.0])


def test_the_sun_on_the_skyline_is_seen() -> None:
    """An even skyline as high as the sun of one hour hides it only where it is lower than that."""
    sun = sun_path(51.5, 0.0, 0.0)
    heights = 90.0 - sun.zenith_deg[sun.lit]
    place = 2000
    even = [(0.0, float(heights[place])), (180.0, float(heights[place]))]
    beam = plane_geometry(sun, tilt_deg=0.0, azimuth_deg=0.0, albedo=0.0, horizon=even).beam
    np.testing.assert_array_equal(beam > 0.0, heights >= heights[place])


def test_sky_hidden_by_an_even_skyline() -> None:
    """A skyline of even height h leaves cos^2(h) of an even sky to a flat plane (analytic), and none of it at 90."""
    for height in (0.0, 15.0, 30.0):
        share = sky_share_above([(0.0, height)], tilt_deg=0.0, azimuth_deg=0.0)
        assert share == pytest.approx(np.cos(np.radians(height)) ** 2, abs=2e-3)
    assert sky_share_above([(0.0, 90.0)], tilt_deg=30.0, azimuth_deg=180.0) == 0.0


def test_skyline_takes_the_beam_and_dims_the_sky(
    sky: tuple[WeatherPool, SunPath], plane_irradiance: Callable[..., Any]
) -> None:
    """A wall of 60 degrees to the south takes all beam below it from a south plane, and ground light is left alone."""
    pool, sun = sky
    wall = [(0.0, 0.0), (90.0, 0.0), (91.0, 60.0), (269.0, 60.0), (270.0, 0.0)]
    open_view = plane_irradiance(pool, sun, tilt_deg=90.0, azimuth_deg=180.0)
    walled = plane_irradiance(pool, sun, tilt_deg=90.0, azimuth_deg=180.0, horizon=wall)
    behind = sun.lit[(sun.azimuth_deg[sun.lit] > 95.0) & (sun.azimuth_deg[sun.lit] < 265.0)]
    behind = behind[90.0 - sun.zenith_deg[behind] < 55.0]
    assert open_view.beam[:, behind].sum() > 0.0
    assert walled.beam[:, behind].sum() == 0.0
    assert walled.circumsolar[:, behind].sum() == 0.0
    assert 0.0 < walled.sky.sum() < 0.4 * open_view.sky.sum()
    assert walled.ground.sum() == open_view.ground.sum()


def test_bad_skyline_is_refused() -> None:
    """A height beyond 90 degrees is no skyline."""
    with pytest.raises(ValueError, match="elevation from 0 to 90"):
        horizon_elevation(np.array([0.0]), [(0.0, 95.0)])
