"""Air temperature and wind that go with the sky: clear summer days are warm, clear winter days cold, dull ones windy.

The figures were read off eight real years at 51 N 7 E (annual range of monthly means 16.4 K) and are scaled by the
annual range of the climate at hand, so that an island has calmer temperatures than the middle of a continent.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_OF_DAY
from riskcalc.weather.clearness import normal_series

Floats = NDArray[np.float64]

REFERENCE_RANGE_K = 16.4
TEMPERATURE_MEMORY = 0.82
#: Largest difference between afternoon and sunrise [K]; common practice, no source.
LARGEST_SWING_K = 14.0
WIND_DAY_MEMORY, WIND_HOUR_MEMORY = 0.45, 0.72
WIND_HOUR_SIGMA = 0.38
#: Correlation of the day's wind with its clearness, on the hidden series.
WIND_CLEARNESS = -0.2


def air_temperature(
    monthly_c: Floats, hidden_clearness: Floats, daily_ghi_kwh: Floats, rng: np.random.Generator
) -> Floats:
    """Return hourly air temperature (K, 8760) [degC] whose pool means by month are the table's.

    Parameters
    ----------
    monthly_c : ndarray (12,)
        Long-term monthly means [degC].
    hidden_clearness : ndarray (K, 365)
        Standard normal series behind daily clearness.
    daily_ghi_kwh : ndarray (K, 365)
        Energy of each day on the horizontal; it widens the day's swing [kWh/m2].
    """
    scale = np.clip(np.ptp(monthly_c) / REFERENCE_RANGE_K, 0.5, 1.2)
    season = _season(monthly_c)
    own = (3.2 - 0.9 * season) * normal_series(rng, hidden_clearness.shape, memory=TEMPERATURE_MEMORY)
    daily = scale * (own + 1.75 * season * hidden_clearness)
    swing = np.minimum(min(scale, 1.0) * (2.8 + (2.1 - 0.6 * season) * daily_ghi_kwh), LARGEST_SWING_K)
    shape = _day_shape()
    hourly = _between_days(daily) + (swing[:, :, None] * shape).reshape(len(swing), -1)
    return hourly + _correction(hourly, monthly_c, ratio=False)


def wind_speed(monthly_m_s: Floats, monthly_c: Floats, hidden_clearness: Floats, rng: np.random.Generator) -> Floats:
    """Return hourly wind speed (K, 8760) [m/s] whose pool means by month are the table's.

    Weibull law of shape 2 (Justus et al., Journal of Applied Meteorology 17 (1978) 350-353, for most sites), driven by
    hidden normal series by the day and by the hour, times a daily course that peaks in the afternoon.
    """
    from scipy.special import log_ndtr

    season = _season(monthly_c)
    years = len(hidden_clearness)
    own = normal_series(rng, hidden_clearness.shape, memory=WIND_DAY_MEMORY)
    daily = WIND_CLEARNESS * hidden_clearness + np.sqrt(1.0 - WIND_CLEARNESS**2) * own
    by_day = (0.40 - 0.06 * season) * daily
    by_hour = normal_series(rng, (years, DAYS * 24), memory=WIND_HOUR_MEMORY)
    spread = np.sqrt((0.40 - 0.06 * season) ** 2 + WIND_HOUR_SIGMA**2)
    hidden = np.repeat(by_day / spread, 24, axis=1) + np.repeat(WIND_HOUR_SIGMA / spread, 24) * by_hour
    swing = 1.0 + (0.2 + 0.1 * season)[:, None] * np.cos(2.0 * np.pi * (np.arange(24) + 0.5 - 14.5) / 24.0)
    speed = np.sqrt(-log_ndtr(-hidden)) * swing.ravel()
    return speed * _correction(speed, monthly_m_s, ratio=True)


def _season(monthly_c: Floats) -> Floats:
    """-1 in the coldest month to +1 in the warmest, by day, shape (365,); follows the hemisphere by itself."""
    middle, half = (monthly_c.max() + monthly_c.min()) / 2.0, max(np.ptp(monthly_c) / 2.0, 1e-9)
    return ((monthly_c - middle) / half)[MONTH_OF_DAY]


def _day_shape() -> Floats:
    """Swing over 24 hours, from -1/2 near sunrise (5 h) to +1/2 in the afternoon (14.5 h), with zero mean."""
    hour = np.arange(24) + 0.5
    rising = (hour >= 5.0) & (hour < 14.5)
    since_peak = np.where(hour >= 14.5, hour - 14.5, hour + 9.5)
    shape = np.where(rising, -np.cos(np.pi * (hour - 5.0) / 9.5), np.cos(np.pi * since_peak / 14.5)) / 2.0
    return shape - shape.mean()


def _between_days(daily: Floats) -> Floats:
    """Hourly values on straight lines through the noons of the days."""
    years = len(daily)
    padded = np.concatenate([daily[:, :1], daily, daily[:, -1:]], axis=1)
    hour = np.arange(DAYS * 24) + 0.5 + 12.0
    day = (hour // 24.0).astype(np.int64)
    share = hour / 24.0 - day
    return (padded[:, day] * (1.0 - share) + padded[:, day + 1] * share).reshape(years, -1)


def _correction(hourly: Floats, monthly: Floats, *, ratio: bool) -> Floats:
    """Return what brings the pool's monthly means to the table's, by hour of the year, shape (8760,)."""
    by_day = hourly.mean(axis=0).reshape(DAYS, 24).mean(axis=1)
    means = np.bincount(MONTH_OF_DAY, by_day) / np.bincount(MONTH_OF_DAY)
    change = monthly / means if ratio else monthly - means
    return np.repeat(change[MONTH_OF_DAY], 24)
