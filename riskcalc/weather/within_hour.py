"""Sun within the hour: clouds that come and go by five minutes, from hourly light, each hour keeping its energy.

Direct light of a step is a share of that of a clear sky. Within an hour the shares follow a beta law whose mean is the
hour's share and whose width depends on the mean and on how much the neighbouring hours differ; a hidden normal series
with memory decides their order. Diffuse light follows the direct light in part and has a hidden series of its own.

References
----------
Skartveit & Olseth, The probability density and autocorrelation of short-term global and beam irradiance, Solar Energy 49
(1992) 477-487, for the approach: a law of the hour's values given the hour's mean and its neighbours, and lag-one memory.
The figures are our own, fitted to every other day of 2020 at Golden, Colorado, by the minute (Andreas & Stoffel, NREL Solar
Radiation Research Laboratory Baseline Measurement System, 1981, doi 10.5439/1052221). The days between, and global light of
June 1994 at Ilorin, Nigeria, were kept back: tests/studies/sun_within_the_hour.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from riskcalc.types import Floats
from riskcalc.weather.pool import WeatherPool
from riskcalc.weather.solar import HOURS, SunPath, relative_airmass, sun_path
from riskcalc.weather.threads import YEARS, in_parts

Singles = NDArray[np.float32]

#: Steps of an hour that have a sun of their own.
STEPS = 12
#: Brightest direct light over that of a clear sky.
BRIGHTEST = 1.05
#: Variance of the shares over f (BRIGHTEST - f), f the hour's share and d the root mean square of its differences from the
#: hours before and after: (a d / (d + b) + c) (1 - e f^g) as (a, b, c, e, g). The spread is that of minutes, 1.45 times that
#: of five minutes, so that dark and bright minutes within a step are not lost.
VARIANCE = (1.06, 0.27, 0.096, 0.95, 2.6)
#: Difference between neighbouring hours where an hour has no neighbour with the sun up.
USUAL_DIFFERENCE = 0.15
#: Memory from one five minutes to the next of the hidden series of direct and of diffuse light.
DIRECT_MEMORY, DIFFUSE_MEMORY = 0.8, 0.85
#: Logarithm of diffuse light over the hour's: (constant + slope f) (share - f), and the standard deviation of the rest,
#: constant + slope f^2.
DIFFUSE_ON_DIRECT, DIFFUSE_SPREAD = (0.45, -1.3), (0.25, -0.13)
#: Bounds of that logarithm.
DIFFUSE_BOUNDS = (-1.5, 0.9)
#: Diffuse light within the hour goes with the cosine of the zenith angle to this power.
DIFFUSE_HEIGHT = 0.8
#: Cosine of the zenith angle below which direct light that is missing is behind a skyline (4.6 degrees), not clouds.
LEAST_COSINE = 0.08

_HIDDEN = np.linspace(-4.0, 4.0, 81)
_SHARES = np.linspace(0.0, 1.0, 65)
_DIFFERENCES = np.linspace(0.0, 0.6, 25)


@dataclass(frozen=True)
class FineSky:
    """Light, air and wind by the step; every series has shape (K, 8760 x STEPS), float32; units as in WeatherPool."""

    ghi: Singles
    dni: Singles
    dhi: Singles
    temp_air: Singles
    wind_speed: Singles


def fine_sky(pool: WeatherPool, *, seed: int) -> tuple[FineSky, SunPath]:
    """Return every year of the pool by the step, and the sun of the steps; the same seed gives the same clouds.

    Direct light on the horizontal and diffuse light keep their sum over every hour. Air and wind are those of the hour.
    Limiting cases: no direct light stays none; a clear hour among clear hours stays as smooth as the sun moves.
    """
    place = pool.latitude_deg, pool.longitude_deg, pool.altitude_m, pool.utc_offset_hours
    coarse, sun = sun_path(*place), sun_path(*place, steps_per_hour=STEPS)
    hours = np.flatnonzero((sun.lit_share > 0.0).reshape(HOURS, STEPS).any(axis=1) | (coarse.lit_share > 0.0))
    moving = _MovingSun.of(sun, hours)
    dni, dhi = (np.zeros((pool.years, HOURS, STEPS), dtype=np.float32) for _ in range(2))
    dhi[:] = (pool.dhi[:, :, None]).astype(np.float32)  # what arrives with the sun down stays where it is
    _shares()  # worked out once, not in two threads at once

    def fill(years: slice) -> None:
        for year in range(years.start, years.stop):
            rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=(year,))))
            beam = pool.dni[year, hours] * coarse.cos_zenith[hours]
            dni[year, hours], dhi[year, hours] = _year(beam, pool.dhi[year, hours], moving, rng)

    in_parts(fill, pool.years, YEARS)
    flat_dni, flat_dhi = (series.reshape(pool.years, -1) for series in (dni, dhi))
    ghi = flat_dni * sun.cos_zenith.astype(np.float32) + flat_dhi
    air, wind = (np.repeat(series.astype(np.float32), STEPS, axis=1) for series in (pool.temp_air, pool.wind_speed))
    return FineSky(ghi=ghi, dni=flat_dni, dhi=flat_dhi, temp_air=air, wind_speed=wind), sun


@dataclass(frozen=True)
class _MovingSun:
    """Sun of the lit hours by the step, shape (L, STEPS): its cosine over the step, the beam of a clear sky, lit or not.

    `up` (L,) tells whether the sun is well up in the whole hour, `follows` (L,) whether the hour before is in the list.
    `possible` (L,) is the mean beam of a clear sky on the horizontal, `weight` each step's share of it, `height` how
    diffuse light goes with the sun's height. All of it is the same in every year.
    """

    cosine: Floats
    clear: Floats
    up: NDArray[np.bool_]
    follows: NDArray[np.bool_]
    possible: Floats
    weight: Floats
    height: Floats

    @classmethod
    def of(cls, sun: SunPath, hours: NDArray[np.int64]) -> _MovingSun:
        lit = (sun.lit_share > 0.0).reshape(HOURS, STEPS)[hours]
        cosine = sun.cos_zenith.reshape(HOURS, STEPS)[hours]
        clear = clear_beam_w(sun).reshape(HOURS, STEPS)[hours] * lit
        possible = (cosine * clear).mean(axis=1)
        return cls(
            cosine=cosine,
            clear=clear,
            up=np.asarray((cosine > LEAST_COSINE).all(axis=1)),
            follows=np.diff(hours, prepend=-2) == 1,
            possible=possible,
            weight=cosine * clear / np.maximum(possible, 1e-6)[:, None] / STEPS,
            height=cosine**DIFFUSE_HEIGHT,
        )


def clear_beam_w(sun: SunPath) -> Floats:
    """Return the direct light of a clear sky, normal to the sun [W/m2]: S ((1 - a) 0.7^(m^0.678) + a), a = 0.14 per km.

    References
    ----------
    Meinel & Meinel, Applied Solar Energy (1976), with their term for height.
    """
    height = 0.14 * max(sun.altitude_m, 0.0) / 1000.0
    through = 0.7 ** (relative_airmass(sun.zenith_deg) ** 0.678)
    return sun.extraterrestrial_w * ((1.0 - height) * through + height)


def _year(beam: Floats, dhi: Floats, sun: _MovingSun, rng: np.random.Generator) -> tuple[Singles, Singles]:
    """Direct and diffuse light of one year's lit hours by the step, (L, STEPS), from beam on the horizontal and diffuse."""
    share = np.where(sun.possible > 1e-6, beam / np.maximum(sun.possible, 1e-6), 0.0)
    hidden = _within(rng, len(share), DIRECT_MEMORY)
    shares = _table_values(share, _difference(share, sun), hidden)
    # Sampled shares miss the hour's mean by a little: they are drawn towards nothing or towards the brightest.
    mean, wanted = (shares * sun.weight).sum(axis=1), np.minimum(share, BRIGHTEST)
    down = wanted / np.maximum(mean, 1e-9)
    up = (BRIGHTEST - wanted) / np.maximum(BRIGHTEST - mean, 1e-9)
    drawn = np.where((mean >= wanted)[:, None], shares * down[:, None], BRIGHTEST - (BRIGHTEST - shares) * up[:, None])
    shares = np.where((sun.up & (share < BRIGHTEST))[:, None], drawn, share[:, None])
    edge = np.flatnonzero(~sun.up & (share > 0.0))
    shares[edge] = _behind_skyline(share, sun, edge)
    capped = np.clip(share, 0.0, 1.0)[:, None]
    follows = (DIFFUSE_ON_DIRECT[0] + DIFFUSE_ON_DIRECT[1] * capped) * (shares - share[:, None])
    own = (DIFFUSE_SPREAD[0] + DIFFUSE_SPREAD[1] * capped**2) * _within(rng, len(share), DIFFUSE_MEMORY)
    diffuse = sun.height * np.exp(np.clip(follows + own, *DIFFUSE_BOUNDS))
    diffuse = np.where(sun.cosine.any(axis=1, keepdims=True), diffuse, 1.0)
    diffuse *= (dhi / diffuse.mean(axis=1))[:, None]
    return (shares * sun.clear).astype(np.float32), diffuse.astype(np.float32)


def _behind_skyline(share: Floats, sun: _MovingSun, hours: NDArray[np.int64]) -> Floats:
    """Shares (hours, STEPS) of hours with a low sun: those of the next hour with a high sun until a skyline hides it.

    Where an hour at the edge of the day has less direct light than its neighbour's share would give, hills or houses stand
    in the way oftener than clouds that come with the low sun: the light falls in the steps with the highest sun.
    """
    before = np.where(sun.follows & np.roll(sun.up, 1), np.roll(share, 1), 0.0)
    after = np.where(np.roll(sun.follows, -1) & np.roll(sun.up, -1), np.roll(share, -1), 0.0)
    level = np.maximum(np.maximum(before, after), share)[hours, None]
    share, weight = share[hours], sun.weight[hours]
    highest_first = np.argsort(-sun.cosine[hours], axis=1, kind="stable")
    sorted_weight = np.take_along_axis(weight, highest_first, axis=1)
    reached = np.cumsum(sorted_weight, axis=1)
    lit = (share / np.maximum(level[:, 0], 1e-9))[:, None]  # share of the hour's clear light that arrives at this level
    part = np.clip((lit - (reached - sorted_weight)) / np.maximum(sorted_weight, 1e-12), 0.0, 1.0)
    found = np.zeros_like(weight)
    np.put_along_axis(found, highest_first, part * level, axis=1)
    return found


def _difference(share: Floats, sun: _MovingSun) -> Floats:
    """Root mean square of the differences of an hour's share from those before and after, where the sun is well up."""
    step = np.diff(share, prepend=0.0) ** 2
    before = sun.follows & sun.up & np.roll(sun.up, 1)
    after = np.roll(before, -1)
    count = before.astype(np.float64) + after
    total = np.where(before, step, 0.0) + np.where(after, np.roll(step, -1), 0.0)
    return np.where(count > 0.0, np.sqrt(total / np.maximum(count, 1.0)), USUAL_DIFFERENCE)


def _within(rng: np.random.Generator, hours: int, memory: float) -> Floats:
    """Return normal series with memory less its mean of each hour, of variance 1 within the hour, shape (hours, STEPS)."""
    from scipy.signal import lfilter

    noise = rng.standard_normal(hours * STEPS)
    noise[1:] *= np.sqrt(1.0 - memory**2)
    series = lfilter([1.0], [1.0, -memory], noise).reshape(hours, STEPS)
    apart = np.abs(np.arange(STEPS)[:, None] - np.arange(STEPS))
    left = 1.0 - (memory**apart).mean()
    return (series - series.mean(axis=1, keepdims=True)) / np.sqrt(left)


def _table_values(share: Floats, difference: Floats, hidden: Floats) -> Floats:
    """Shares (hours, STEPS) at the quantiles of the hidden values, by the nearest law of the table."""
    table = _shares()
    row = np.rint(np.clip(share, 0.0, 1.0) * (len(_SHARES) - 1)).astype(np.int64)
    column = np.rint(np.clip(difference / _DIFFERENCES[-1], 0.0, 1.0) * (len(_DIFFERENCES) - 1)).astype(np.int64)
    start = ((row * len(_DIFFERENCES) + column) * len(_HIDDEN))[:, None]
    position = np.clip((hidden - _HIDDEN[0]) / (_HIDDEN[1] - _HIDDEN[0]), 0.0, len(_HIDDEN) - 1.001)
    below = position.astype(np.int64)
    left, right = table[start + below], table[start + below + 1]
    return left + (position - below) * (right - left)


@cache
def _shares() -> Floats:
    """Share of direct light by the hour's share, the difference of its neighbours and the hidden value, flat."""
    from scipy.special import betaincinv, ndtr

    a, b, c, e, g = VARIANCE
    f, d = _SHARES[:, None, None], _DIFFERENCES[None, :, None]
    variance = np.clip((a * d / (d + b) + c) * (1.0 - e * f**g), 0.002, 0.9)
    mean, concentration = np.clip(f / BRIGHTEST, 0.001, 0.999), 1.0 / variance - 1.0
    value = BRIGHTEST * betaincinv(mean * concentration, (1.0 - mean) * concentration, ndtr(_HIDDEN))
    return np.ascontiguousarray(value).ravel()
