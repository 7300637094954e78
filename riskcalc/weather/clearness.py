"""How clear the sky is: daily clearness with persistence and yearly luck, and hours that scatter about their day.

Clearness here is global light over that of a clear sky. Both scales are beta-distributed and driven by hidden normal
series that remember yesterday (or the last hour), so that a month's mean, its spread and its shape can be set apart:
a beta law of small concentration has two humps, overcast and clear, as hourly clearness has.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_LENGTHS, MONTH_OF_DAY
from riskcalc.solar import SunPath

Floats = NDArray[np.float64]

#: Clear-sky light as a share of the air-mass profile below. Set so that the brightest days of three typical years of
#: the US National Solar Radiation Database come out near 1 (0.70 to 0.88 of the profile, by season).
CLEAR_SHARE = 0.80
BRIGHTEST_DAY, BRIGHTEST_HOUR = 1.03, 1.12

#: Day-to-day memory of the hidden series; lag-1 correlation of daily clearness was 0.33 to 0.48 by month in eight
#: real years at 51 N 7 E and 0.0 to 0.65 in typical years (which are stitched from months).
DAY_MEMORY = 0.48
#: Hour-to-hour memory; lag-1 of the departure from the day's mean was 0.3 to 0.6 in the same data.
HOUR_MEMORY = 0.62

HIDDEN = np.linspace(-5.0, 5.0, 161)


def clear_sky_w(sun: SunPath) -> Floats:
    """Return clear-sky global horizontal irradiance for each hour, shape (8760,) [W/m2].

    Extraterrestrial light times the share a sky of constant clearness lets through at each air mass.

    References
    ----------
    Perez, Ineichen, Seals & Zelenka, Making full use of the clearness index for parameterizing hourly insolation
    conditions, Solar Energy 45 (1990) 111-114 (dependence of the clearness index on air mass).
    """
    profile = 1.031 * np.exp(-1.4 / (0.9 + 9.4 / sun.airmass)) + 0.1
    return CLEAR_SHARE * sun.extraterrestrial_horizontal_w * profile


def day_concentration(sun: SunPath) -> Floats:
    """Return the concentration of the daily beta law, shape (365,): low (two humps) under low sun, high in summer.

    1.2 + 3 cos(zenith at noon), read off eight real years at 51 N 7 E: 2.0 in winter to 4.0 in summer.
    """
    return 1.2 + 3.0 * sun.cos_zenith.reshape(DAYS, 24).max(axis=1)


def hour_concentration(mean: Floats) -> Floats:
    """Return the concentration of hourly clearness about a day of this mean (0..1): 5 if broken, 45 at the ends.

    Read off a typical year (New York) and two of pvlib's: standard deviation 0.23 in the middle, 0.08 at either end.
    """
    return 4.8 + 40.0 * (2.0 * mean - 1.0) ** 4


def daily_clearness(monthly_ghi_w: Floats, sun: SunPath, hidden: Floats, yearly: Floats) -> tuple[Floats, Floats]:
    """Return daily clearness (K, 365) whose pool means are the table's, and the hidden series shifted to get there.

    Parameters
    ----------
    monthly_ghi_w : ndarray (12,)
        Long-term 24-hour mean of each month [W/m2].
    hidden : ndarray (K, 365)
        Standard normal series with memory.
    yearly : ndarray (K,)
        Wanted energy of each year over the long-term mean; its mean is 1.
    """
    from scipy.special import betaincinv, ndtr

    clear = clear_sky_w(sun).reshape(DAYS, 24).sum(axis=1)
    wanted = monthly_ghi_w * 24.0 * MONTH_LENGTHS
    of_clear = np.clip(wanted / np.bincount(MONTH_OF_DAY, clear), 0.03, 0.97 * BRIGHTEST_DAY)
    mean = np.clip(_through_mid_months(of_clear) / BRIGHTEST_DAY, 0.03, 0.97)
    concentration = day_concentration(sun)
    table = BRIGHTEST_DAY * betaincinv(
        (mean * concentration)[:, None], ((1.0 - mean) * concentration)[:, None], ndtr(HIDDEN)[None, :]
    )
    shifted = hidden.copy()
    days = np.arange(DAYS)
    for _ in range(8):
        by_month = _shift(shifted, table, days, clear, wanted * len(hidden), axis="month")
        shifted += by_month[MONTH_OF_DAY]
        by_year = _shift(shifted, table, days, clear, yearly * wanted.sum(), axis="year")
        shifted += by_year[:, None]
    by_month = _shift(shifted, table, days, clear, wanted * len(hidden), axis="month")
    shifted += by_month[MONTH_OF_DAY]
    return _read(table, days, shifted), shifted


def hourly_clearness(day_clearness: Floats, sun: SunPath, hidden: Floats) -> Floats:
    """Return clearness at the lit hours (K, N) whose light-weighted mean over each day is that day's clearness.

    `hidden` (K, N) is a standard normal series with memory; each day's part is shifted until the day's sum is right.
    """
    from scipy.special import betaincinv, ndtr

    levels = np.linspace(0.01, 0.99, 99)
    concentration = hour_concentration(levels)
    table = BRIGHTEST_HOUR * betaincinv(
        (levels * concentration)[:, None], ((1.0 - levels) * concentration)[:, None], ndtr(HIDDEN)[None, :]
    )
    day_of_hour = sun.lit // 24
    clear = clear_sky_w(sun)[sun.lit]
    starts = np.searchsorted(day_of_hour, np.arange(DAYS))
    starts = np.minimum(starts, len(sun.lit) - 1)
    dayless = np.bincount(day_of_hour, minlength=DAYS) == 0
    wanted = day_clearness * np.bincount(day_of_hour, clear, minlength=DAYS)
    level = np.clip((day_clearness / BRIGHTEST_HOUR - 0.01) / (0.98 / 98.0), 0.0, 97.999)
    row = level.astype(np.int32)
    share = (level - row).astype(np.float32)
    table32 = np.ascontiguousarray(table, dtype=np.float32).ravel()
    row_at = (row * len(HIDDEN))[:, day_of_hour]
    row_share = share[:, day_of_hour]
    position = _position(hidden).astype(np.float32)
    clear32 = clear.astype(np.float32)
    per_unit = np.float32(1.0 / (HIDDEN[1] - HIDDEN[0]))
    low = np.full(day_clearness.shape, -4.0, dtype=np.float32)
    high = -low
    for _ in range(13):
        middle = np.float32(0.5) * (low + high)
        value = _bilinear(table32, row_at, row_share, position + per_unit * middle[:, day_of_hour])
        value *= clear32
        short = np.add.reduceat(value, starts, axis=1) < wanted
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    shift = np.where(dayless, 0.0, 0.5 * (low + high)).astype(np.float32)
    value = _bilinear(table32, row_at, row_share, position + per_unit * shift[:, day_of_hour]).astype(np.float64)
    sums = np.add.reduceat(value * clear, starts, axis=1)
    value *= (wanted / np.maximum(sums, 1e-9))[:, day_of_hour]
    return value


def normal_series(rng: np.random.Generator, shape: tuple[int, int], *, memory: float) -> Floats:
    """Return standard normal series along the last axis whose lag-1 correlation is `memory` (autoregression)."""
    from scipy.signal import lfilter

    noise = rng.standard_normal(shape)
    noise[:, 1:] *= np.sqrt(1.0 - memory**2)
    return lfilter([1.0], [1.0, -memory], noise, axis=-1)


def _through_mid_months(monthly: Floats) -> Floats:
    """Daily values on straight lines through the middles of the months, closed over the new year."""
    middles = np.cumsum(MONTH_LENGTHS) - MONTH_LENGTHS / 2.0
    return np.interp(np.arange(DAYS) + 0.5, middles, monthly, period=float(DAYS))


def _position(hidden: Floats) -> Floats:
    return (hidden - HIDDEN[0]) / (HIDDEN[1] - HIDDEN[0])


def _read(table: Floats, days: NDArray[np.int64], hidden: Floats) -> Floats:
    position = np.clip(_position(hidden), 0.0, len(HIDDEN) - 1.001)
    column = position.astype(np.int64)
    left, right = table[days, column], table[days, column + 1]
    return left + (position - column) * (right - left)


def _bilinear(
    table: NDArray[np.float32], row_at: NDArray[np.int32], row_share: NDArray[np.float32], position: NDArray[np.float32]
) -> NDArray[np.float32]:
    position = np.clip(position, np.float32(0.0), np.float32(len(HIDDEN) - 1.001))
    column = position.astype(np.int32)
    position -= column
    at = row_at + column
    lower = table[at]
    lower += position * (table[at + 1] - lower)
    at += len(HIDDEN)
    upper = table[at]
    upper += position * (table[at + 1] - upper)
    upper -= lower
    upper *= row_share
    upper += lower
    return upper


def _shift(
    hidden: Floats, table: Floats, days: NDArray[np.int64], clear: Floats, wanted: Floats, *, axis: str
) -> Floats:
    """Shift of the hidden series, one per month or per year, that brings the light sums to what is wanted."""
    low, high = np.full(len(wanted), -3.0), np.full(len(wanted), 3.0)
    for _ in range(16):
        middle = 0.5 * (low + high)
        moved = middle[MONTH_OF_DAY] if axis == "month" else middle[:, None]
        light = _read(table, days, hidden + moved) * clear
        sums = np.bincount(MONTH_OF_DAY, light.sum(axis=0)) if axis == "month" else light.sum(axis=1)
        short = sums < wanted
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return 0.5 * (low + high)
