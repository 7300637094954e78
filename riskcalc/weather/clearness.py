"""How clear the sky is: daily clearness with memory and yearly luck, and hours that scatter about their day.

Clearness here is global light over that of a clear sky. Days follow a mixture of clear days and of a broad beta law,
so that their distribution has two humps where the climate is dull; hours follow a beta law about their day. Both are
driven by hidden normal series that remember the day (or the hour) before, so that mean, spread and memory can be set
apart.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_LENGTHS, MONTH_OF_DAY
from riskcalc.types import Floats
from riskcalc.weather.solar import SunPath

#: Clear-sky light as a share of the air-mass profile: CLEAR_SHARE - CLEAR_SHARE_PER_K x monthly air temperature (warm
#: air holds more water). Own fit to the brightest days of three typical years of US databases (New York, Greensboro,
#: Sand Point), whose share ran from 0.72 (26 degC) to 0.88 (0 degC).
CLEAR_SHARE, CLEAR_SHARE_PER_K = 0.85, 0.0035

#: The law of days, read off the same years and eight real years at 51 N 7 E: share of clear days CLEAR_DAYS x mean^3,
#: their mean and concentration, and the range of days.
CLEAR_DAYS, CLEAR_DAY, CLEAR_DAY_CONCENTRATION = 0.75, 0.95, 76.0
DARKEST_DAY, BRIGHTEST_DAY = 0.07, 1.05
#: Concentration of all other days: this much, and so much more per cosine of the zenith angle at noon; dull and fair
#: days differ more under the low sun of winter.
OTHER_CONCENTRATION, OTHER_CONCENTRATION_PER_COSINE = 2.3, 2.3

#: Day-to-day memory of the hidden series; lag-1 of daily clearness within a month was 0.32 to 0.39 by season there.
DAY_MEMORY = 0.42
#: Hour-to-hour memory; lag-1 of the departure from the day's mean was 0.3 to 0.6.
HOUR_MEMORY = 0.62
#: Range of hours over a clear sky (clouds also reflect), and the concentration of hours about a broken day.
DARKEST_HOUR, BRIGHTEST_HOUR, BROKEN_DAY_CONCENTRATION = 0.03, 1.06, 4.0

HIDDEN = np.linspace(-5.0, 5.0, 161)
LEVELS = np.linspace(0.08, 0.95, 88)


def clear_sky_w(sun: SunPath, monthly_temp_c: Floats) -> Floats:
    """Return clear-sky global horizontal irradiance for each hour, shape (8760,) [W/m2].

    Extraterrestrial light times the share a sky of constant clearness lets through at each air mass.

    References
    ----------
    Perez, Ineichen, Seals & Zelenka, Making full use of the clearness index for parameterizing hourly insolation
    conditions, Solar Energy 45 (1990) 111-114 (dependence of the clearness index on air mass).
    """
    profile = 1.031 * np.exp(-1.4 / (0.9 + 9.4 / sun.airmass)) + 0.1
    share = CLEAR_SHARE - CLEAR_SHARE_PER_K * np.clip(monthly_temp_c, -10.0, 30.0)
    return np.repeat(_through_mid_months(share), 24) * sun.extraterrestrial_horizontal_w * profile


def daily_clearness(monthly_ghi_w: Floats, clear_sky: Floats, sun: SunPath, hidden: Floats, yearly: Floats) -> Floats:
    """Return daily clearness (K, 365) whose pool means are the climate's.

    Parameters
    ----------
    monthly_ghi_w : ndarray (12,)
        Long-term 24-hour mean of each month [W/m2].
    clear_sky : ndarray (8760,)
        Clear-sky irradiance [W/m2].
    hidden : ndarray (K, 365)
        Standard normal series with memory.
    yearly : ndarray (K,)
        Wanted energy of each year over the long-term mean; its mean is 1.

    Notes
    -----
    The hidden series is shifted, by the same amount for all days of a month and for all days of a year, until the
    pool's months and the single years have the light that is wanted.
    """
    clear = clear_sky.reshape(DAYS, 24).sum(axis=1)
    wanted = monthly_ghi_w * 24.0 * MONTH_LENGTHS
    noon = sun.cos_zenith.reshape(DAYS, 24).max(axis=1)
    noon = np.bincount(MONTH_OF_DAY, noon) / MONTH_LENGTHS
    possible = np.bincount(MONTH_OF_DAY, clear)  # nothing in the months of polar night
    by_month = day_law(np.divide(wanted, possible, out=np.full(12, 0.5), where=possible > 0.0), noon)
    table = np.stack([_through_mid_months(column) for column in by_month.T], axis=1)
    shifted = hidden.copy()
    for turn in range(8):
        shifted += _shift(shifted, table, clear, wanted * len(hidden), by_month=True)[MONTH_OF_DAY]
        if turn < 7:
            shifted += _shift(shifted, table, clear, yearly * wanted.sum(), by_month=False)[:, None]
    return _read(table, shifted)


def hourly_clearness(day_clearness: Floats, clear_sky: Floats, lit: NDArray[np.int64], hidden: Floats) -> Floats:
    """Return clearness at the lit hours (K, N) whose light-weighted mean over each day is that day's clearness.

    `hidden` (K, N) is a standard normal series with memory; each day's part is shifted until the day's sum is right.
    """
    day, clear = lit // 24, clear_sky[lit]
    starts = np.minimum(np.searchsorted(day, np.arange(DAYS)), len(lit) - 1)
    wanted = day_clearness * np.bincount(day, clear, minlength=DAYS)
    row, share = _row_and_share(day_clearness)
    row_at, row_share = (row * len(HIDDEN)).astype(np.int32)[:, day], share.astype(np.float32)[:, day]
    table = hour_table().astype(np.float32).ravel()
    position = _position(hidden).astype(np.float32)
    per_unit, light = np.float32(1.0 / (HIDDEN[1] - HIDDEN[0])), clear.astype(np.float32)
    low = np.full(day_clearness.shape, -4.0, dtype=np.float32)
    high = -low
    for _ in range(13):
        middle = np.float32(0.5) * (low + high)
        value = _bilinear(table, row_at, row_share, position + per_unit * middle[:, day])
        value *= light
        short = np.add.reduceat(value, starts, axis=1) < wanted
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    shift = np.float32(0.5) * (low + high)
    clearness = np.asarray(_bilinear(table, row_at, row_share, position + per_unit * shift[:, day]), dtype=np.float64)
    sums = np.add.reduceat(clearness * clear, starts, axis=1)
    return clearness * (wanted / np.maximum(sums, 1e-9))[:, day]


def normal_series(rng: np.random.Generator, shape: tuple[int, int], *, memory: float) -> Floats:
    """Return standard normal series along the last axis whose lag-1 correlation is `memory` (autoregression)."""
    from scipy.signal import lfilter

    noise = rng.standard_normal(shape)
    noise[:, 1:] *= np.sqrt(1.0 - memory**2)
    return lfilter([1.0], [1.0, -memory], noise, axis=-1)


def day_law(mean: Floats, noon_cosine: Floats) -> Floats:
    """Return daily clearness for each month's long-term mean (rows) and each hidden value in HIDDEN (columns)."""
    from scipy.special import betainc, ndtr

    mean = np.clip(mean, LEVELS[0], LEVELS[-1])[:, None]
    clear_share = CLEAR_DAYS * mean**3
    other = (mean - clear_share * CLEAR_DAY) / (1.0 - clear_share)
    other = (other - DARKEST_DAY) / (1.0 - DARKEST_DAY)
    concentration = OTHER_CONCENTRATION + OTHER_CONCENTRATION_PER_COSINE * noon_cosine[:, None]
    grid = np.linspace(0.0, BRIGHTEST_DAY, 841)
    clear_a = CLEAR_DAY / BRIGHTEST_DAY * CLEAR_DAY_CONCENTRATION
    of_clear = betainc(clear_a, CLEAR_DAY_CONCENTRATION - clear_a, grid / BRIGHTEST_DAY)
    of_other = betainc(
        other * concentration,
        (1.0 - other) * concentration,
        np.clip((grid - DARKEST_DAY) / (1.0 - DARKEST_DAY), 0.0, 1.0),
    )
    below = clear_share * of_clear + (1.0 - clear_share) * of_other
    return np.stack([np.interp(ndtr(HIDDEN), row, grid) for row in below])


@cache
def hour_table() -> Floats:
    """Return hourly clearness for each mean of the day in LEVELS (rows) and hidden value in HIDDEN (columns).

    The concentration, 4 for broken days and 44 at either end, gives the standard deviations read off the typical
    years: 0.23 in the middle, 0.08 at the ends.
    """
    from scipy.special import betaincinv, ndtr

    width = BRIGHTEST_HOUR - DARKEST_HOUR
    mean = (LEVELS[:, None] - DARKEST_HOUR) / width
    concentration = BROKEN_DAY_CONCENTRATION + 40.0 * (2.0 * mean - 1.0) ** 4
    share = betaincinv(mean * concentration, (1.0 - mean) * concentration, ndtr(HIDDEN)[None, :])
    return DARKEST_HOUR + width * share


def _through_mid_months(monthly: Floats) -> Floats:
    """Daily values on straight lines through the middles of the months, closed over the new year."""
    middles = np.cumsum(MONTH_LENGTHS) - MONTH_LENGTHS / 2.0
    return np.interp(np.arange(DAYS) + 0.5, middles, monthly, period=float(DAYS))


def _row_and_share(mean: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Row of LEVELS below each mean and how far towards the next; beyond the ends, the outermost rows."""
    level = np.clip((mean - LEVELS[0]) / (LEVELS[1] - LEVELS[0]), 0.0, len(LEVELS) - 1.001)
    row = level.astype(np.int64)
    return row, level - row


def _position(hidden: Floats) -> Floats:
    return (hidden - HIDDEN[0]) / (HIDDEN[1] - HIDDEN[0])


def _read(table: Floats, hidden: Floats) -> Floats:
    """Values of a table with one row per day, at the hidden values (K, 365)."""
    position = np.clip(_position(hidden), 0.0, len(HIDDEN) - 1.001)
    column = position.astype(np.int64)
    days = np.arange(DAYS)
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


def _shift(hidden: Floats, table: Floats, clear: Floats, wanted: Floats, *, by_month: bool) -> Floats:
    """Shift of the hidden series, one per month or per year, that brings the sums of light to what is wanted."""
    low, high = np.full(len(wanted), -3.0), np.full(len(wanted), 3.0)
    for _ in range(16):
        middle = 0.5 * (low + high)
        light = _read(table, hidden + (middle[MONTH_OF_DAY] if by_month else middle[:, None])) * clear
        sums = np.bincount(MONTH_OF_DAY, light.sum(axis=0)) if by_month else light.sum(axis=1)
        short = sums < wanted
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return 0.5 * (low + high)
