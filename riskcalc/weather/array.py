"""Direct-current power of one array: light on its plane, cells, modules, limits of its input; and uncertain angles.

The power of a plane is a smooth function of its two angles. It is worked out on a few angles (nodes) spread over what the
angles may be, and each draw gets its own weights on the nodes on either side: linear interpolation, which never leaves
the range of its nodes, so power stays at or above zero. A fixed angle has one node of weight 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.types import Floats
from riskcalc.weather.diode import GridPlace, power_surface
from riskcalc.weather.module import Module, cell_temperature
from riskcalc.weather.plane import Horizon, effective_irradiance, plane_geometry
from riskcalc.weather.pool import MONTH_OF_HOUR, WeatherPool
from riskcalc.weather.solar import SunPath
from riskcalc.weather.threads import YEARS, in_parts
from riskcalc.weather.within_hour import FineSky

Sky = WeatherPool | FineSky


def array_power_w(
    sky: Sky,
    sun: SunPath,
    *,
    module: Module,
    modules_in_series: int,
    strings_in_parallel: int = 1,
    tilt_deg: float,
    azimuth_deg: float,
    mounting: str = "open",
    horizon: Horizon | None = None,
    monthly_shading: Sequence[float] | NDArray[np.float64] | None = None,
    albedo: float = 0.2,
    voltage_window: tuple[float, float] | None = None,
    max_current_a: float | None = None,
    together: int = 1,
) -> NDArray[np.float32]:
    """Return the power at the array's terminals in every step of the sky, float32, shape (K, 8760 x steps / together) [W].

    Before soiling, wiring, mismatch and decline of the modules, which are per draw.

    Parameters
    ----------
    sky, sun : WeatherPool or FineSky, SunPath
        Weather and sun in the same steps.
    monthly_shading : 12 numbers, optional
        Share of all light lost in each month, on top of the horizon.
    voltage_window : (lowest, highest), optional
        Range in which the input tracks the maximum power point [V]. A string that would run below it gives
        nothing; one that would run above it is held at the highest voltage, where its curve gives less power.
    max_current_a : float, optional
        Most current the input takes from the whole array [A]; the strings then run at a higher voltage on their
        curve, where the current is that.
    together : int
        So many steps are returned as one, their mean; a divisor of those in a year.
    """
    if modules_in_series < 1 or strings_in_parallel < 1:
        raise ValueError("modules_in_series and strings_in_parallel: accepted: 1 or more")
    shading = None if monthly_shading is None else np.asarray(monthly_shading, dtype=np.float64)
    if shading is not None and (shading.shape != (12,) or not ((shading >= 0.0) & (shading <= 1.0)).all()):
        raise ValueError("monthly_shading: accepted: 12 shares from 0 to 1")
    geometry = plane_geometry(sun, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg, albedo=albedo, horizon=horizon)
    surface = power_surface(
        module,
        highest_voltage_v=None if voltage_window is None else voltage_window[1] / modules_in_series,
        highest_current_a=None if max_current_a is None else max_current_a / strings_in_parallel,
    )
    power_table = surface.power_w * (modules_in_series * strings_in_parallel)
    whole = np.zeros((len(sky.dni), len(sun.zenith_deg) // together), dtype=np.float32)

    def fill(years: slice) -> None:
        lit = lit_weather(sky, sun, years)
        light = effective_irradiance(lit["dni"], lit["dhi"], lit["ghi"], lit["inverse_extraterrestrial"], geometry)
        if shading is not None:
            light *= (1.0 - shading[MONTH_OF_HOUR[sun.lit // sun.steps_per_hour]]).astype(np.float32)
        cell_c = cell_temperature(light, lit["temp_air"], lit["wind_speed"], mounting=mounting)
        place = GridPlace.of(light, cell_c)
        power = place.read(power_table)
        if voltage_window is not None:
            power[place.read(surface.voltage_v) < np.float32(voltage_window[0] / modules_in_series)] = 0.0
        if together == 1:
            whole[years, sun.lit] = power
            return
        fine = np.zeros((len(power), len(sun.zenith_deg)), dtype=np.float32)
        fine[:, sun.lit] = power
        whole[years] = fine.reshape(len(power), -1, together).mean(axis=2)

    in_parts(fill, len(whole), YEARS)
    return whole


def combined_loss(*shares: float) -> float:
    """Return the share lost when each loss takes its share of what the others leave: 1 - product of (1 - share).

    Limiting case: one loss alone is itself; none is 0.

    References
    ----------
    Dobos, NREL/TP-6A20-62641 (2014), for the rule and for usual shares: soiling 0.02, shading 0.03, mismatch 0.02,
    wiring 0.02, connections 0.005, light-induced decline 0.015, nameplate 0.01, availability 0.03.
    """
    kept = 1.0
    for share in shares:
        kept *= 1.0 - share
    return 1.0 - kept


def lit_weather(sky: Sky, sun: SunPath, years: slice) -> dict[str, Any]:
    """Return the series of some years at the lit steps, float32, shape (K, N), and 1 / extraterrestrial, shape (N,)."""
    lit: dict[str, Any] = {
        name: np.take(getattr(sky, name)[years], sun.lit, axis=1).astype(np.float32, copy=False)
        for name in ("dni", "dhi", "ghi", "temp_air", "wind_speed")
    }
    lit["inverse_extraterrestrial"] = (1.0 / sun.extraterrestrial_w[sun.lit]).astype(np.float32)
    return lit


#: Widest gap between nodes. Light on a plane changes with the cosine of the angle, whose chord over 10 degrees is at most
#: (10 pi / 180)^2 / 8 = 0.4 % low at its middle (tests/weather/test_orientation.py measures what is left of it in a year).
WIDEST_GAP_DEG = 10.0

#: Most nodes of one angle; an angle that is hardly known gets wider gaps, and then 1 % is lost, not 0.4 %.
MOST_NODES = 11


def angle_nodes(angles_deg: Floats) -> Floats:
    """Return the angles at which a plane is worked out to serve all of these, rising, (nodes,); one if all agree."""
    low, high = float(angles_deg.min()), float(angles_deg.max())
    if low == high:
        return np.array([low])
    return np.linspace(low, high, min(MOST_NODES, 1 + int(np.ceil((high - low) / WIDEST_GAP_DEG))))


def node_weights(angles_deg: Floats, nodes_deg: Floats) -> Floats:
    """Return the weight of each node for each draw, shape (nodes, draws): between 0 and 1, summing to 1 in a draw.

    An angle beyond the last node (one draw in a thousand million of an endless tail) counts as that node's.
    """
    if len(nodes_deg) == 1:
        return np.ones((1, len(angles_deg)))
    gap = nodes_deg[1] - nodes_deg[0]
    inside = np.clip(angles_deg, nodes_deg[0], nodes_deg[-1])
    return np.maximum(0.0, 1.0 - np.abs(inside - nodes_deg[:, None]) / gap)


def pair_weights(tilt_weights: Floats, azimuth_weights: Floats) -> Floats:
    """Return the weight of each (tilt, azimuth) pair of nodes, tilt outermost, shape (tilts * azimuths, draws)."""
    pairs = tilt_weights[:, None, :] * azimuth_weights[None, :, :]
    return pairs.reshape(-1, pairs.shape[-1])
