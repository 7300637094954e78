"""Weather years drawn from a climate's monthly means: the sky first, then beam and diffuse, then air and wind.

Clear summer days are warm, clear winter days cold, dull ones windy. The figures of air and wind were read off eight real
years at 51 N 7 E (annual range of monthly means 16.4 K) and are scaled by the annual range of the climate at hand, so
that an island has calmer temperatures than the middle of a continent.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from riskcalc.clock import DAYS, MONTH_LENGTHS, MONTH_OF_DAY
from riskcalc.types import Floats
from riskcalc.weather.clearness import (
    DAY_MEMORY,
    HOUR_MEMORY,
    clear_sky_w,
    daily_clearness,
    hourly_clearness,
    normal_series,
)
from riskcalc.weather.climates import Climate
from riskcalc.weather.pool import HOUR_SERIES, HOURS, LEAST_YEARS, MONTH_OF_HOUR, WeatherPool
from riskcalc.weather.solar import SunPath, sun_path
from riskcalc.weather.split import beam_and_diffuse

#: Standard deviation of a year's light over its long-term mean by the clearness k of the climate (light on the horizontal
#: over that outside the atmosphere): a exp(-b (k - c)), as (a, b, c), where nothing is known of the place. The cloudy North
#: West of Europe has 0.065 (k 0.36: between 0.055 in 67 years at Oxford and 0.081 in eight at 51 N 7 E), dry and continental
#: places 0.023 to 0.035 (k 0.55 to 0.7, records of 8 to 36 years; Gueymard & Wilcox, Assessment of spatial and temporal
#: variability in the US solar resource, Solar Energy 85 (2011) 1068-1084, figures from memory). It gives 0.047 at k 0.47, where
#: Toronto has 0.039 (Thevenard & Pelland, Solar Energy 91 (2013), abstract).
SPREAD_BY_CLEARNESS = (0.065, 3.0, 0.36)
#: Degrees of freedom of the law where the spread is not known: places of one clearness differ. A place that has either of
#: 0.6 and 1.27 times the spread with even chances gives years of kurtosis 4.2; Student's law of 9 degrees has it too.
YEARLY_DEGREES = 9.0
#: Steepness in the hidden series of a sky that is clearer before noon, tried first and at most; years it is found with.
FIRST_TILT, MOST_TILT, TILT_YEARS = 0.5, 2.0, 8


def generated_years(climate: Climate, *, years: int, seed: int, yearly_spread: float | None = None) -> WeatherPool:
    """Return a pool of weather years drawn from a climate; the same seed gives the same years.

    Parameters
    ----------
    climate : Climate
        Monthly means and place.
    years : int
        Number of years K.
    seed : int
        Seed of the random numbers (PCG64 behind a SeedSequence).
    yearly_spread : float, optional
        Standard deviation of the annual light over its mean; that of the climate unless given. The K annual sums are
        spread evenly over the quantiles of their law, so that a small pool shows the whole spread; one year is the mean
        year. The law is normal for a spread that is known; where none is, it is `usual_spread_of` with longer tails.

    Notes
    -----
    Daily clearness: a mixture of clear days and a broad beta law, driven by an autoregressive normal series; one shift
    per month makes the pool's monthly means those of the climate, one per year makes the annual sums. Hourly clearness:
    beta law about the day's mean, by the same device. See `clearness` for what each figure was read off.
    """
    if years < 1:
        raise ValueError(f"years: {years}; accepted: 1 or more")
    known = climate.yearly_spread if yearly_spread is None else yearly_spread
    sun = sun_path(climate.latitude_deg, climate.longitude_deg, climate.altitude_m, climate.utc_offset_hours)
    spread, degrees = (usual_spread_of(climate), YEARLY_DEGREES) if known is None else (known, np.inf)
    if not 0.0 <= spread <= 0.3:
        raise ValueError(f"yearly_spread: {spread}; accepted: 0 to 0.3")
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed)))
    clear_sky = clear_sky_w(sun, climate.temp_air_c)
    hidden = normal_series(rng, (years, DAYS), memory=DAY_MEMORY)
    wanted = 1.0 + spread * _even_deviates(years, rng, degrees=degrees)
    clearness = daily_clearness(climate.ghi_w_m2, clear_sky, sun, hidden, wanted)
    hours = normal_series(rng, (years, len(sun.lit)), memory=HOUR_MEMORY)
    if climate.morning_share is not None:
        hours = hours + _tilt(climate.morning_share, sun, clearness, clear_sky, hours)
    ghi = np.zeros((years, HOURS))
    ghi[:, sun.lit] = hourly_clearness(clearness, clear_sky, sun.lit, hours) * clear_sky[sun.lit]
    dni, dhi = beam_and_diffuse(ghi, sun)
    daily_kwh = ghi.reshape(years, DAYS, 24).sum(axis=2) / 1000.0
    return WeatherPool(
        ghi=ghi,
        dni=dni,
        dhi=dhi,
        temp_air=air_temperature(climate.temp_air_c, hidden, daily_kwh, rng),
        wind_speed=wind_speed(climate.wind_speed_m_s, climate.temp_air_c, hidden, rng),
        latitude_deg=climate.latitude_deg,
        longitude_deg=climate.longitude_deg,
        altitude_m=climate.altitude_m,
        utc_offset_hours=climate.utc_offset_hours,
        source=f"{_years(years)} generated from the monthly means of {climate.name}: {climate.source}",
        notes=(f"generated weather: annual light spread {spread:.2g} of its mean, long-term means those of the table",),
        real_years=0,
    )


def _years(count: int) -> str:
    return "1 year" if count == 1 else f"{count} years"


def climate_of(pool: WeatherPool, *, yearly_spread: float | None = None) -> Climate:
    """Return the climate of real years: their monthly means, and how much of each month's light falls before noon."""
    sun = sun_path(pool.latitude_deg, pool.longitude_deg, pool.altitude_m, pool.utc_offset_hours)
    return Climate(
        key="",
        name="the file",
        latitude_deg=pool.latitude_deg,
        longitude_deg=pool.longitude_deg,
        altitude_m=pool.altitude_m,
        utc_offset_hours=pool.utc_offset_hours,
        zone="",
        ghi_w_m2=pool.monthly_means("ghi").mean(axis=0),
        temp_air_c=pool.monthly_means("temp_air").mean(axis=0),
        wind_speed_m_s=pool.monthly_means("wind_speed").mean(axis=0),
        source=pool.source,
        yearly_spread=yearly_spread,
        morning_share=morning_share(pool.ghi, sun),
    )


def pool_of_years(pool: WeatherPool, *, years: int, seed: int, yearly_spread: float | None = None) -> WeatherPool:
    """Return a pool of `years` years: real years repeated whole, or, where they are few, generated ones beside them.

    Fewer than LEAST_YEARS real years do not show how good or bad a year can be: the generator adds years from their monthly
    means, with the usual spread of such a climate unless `yearly_spread` is given. The real years stay among them.
    """
    if pool.real_years >= LEAST_YEARS or years <= pool.years:
        return pool.resampled(years)
    made = generated_years(climate_of(pool, yearly_spread=yearly_spread), years=years - pool.years, seed=seed)
    few = "1 real year does" if pool.real_years == 1 else f"{pool.real_years} real years do"
    added = "is" if made.years == 1 else "are"
    note = (
        f"{few} not show how good or bad a year can be: {_years(made.years)} generated from the same monthly means "
        f"{added} added"
    )
    series: dict[str, Any] = {name: np.concatenate([getattr(pool, name), getattr(made, name)]) for name in HOUR_SERIES}
    return replace(pool, notes=(*pool.notes, note, *made.notes), **series)


def morning_share(ghi: np.ndarray, sun: SunPath) -> np.ndarray:
    """Return the share of each month's light that falls before noon of the sun, shape (12,), all years of ghi together."""
    before = np.clip(12.5 - sun.solar_time_hours, 0.0, 1.0)
    light = ghi.sum(axis=0)
    total = np.bincount(MONTH_OF_HOUR, light)
    return np.where(total > 0.0, np.bincount(MONTH_OF_HOUR, light * before) / np.maximum(total, 1e-9), 0.5)


def usual_spread_of(climate: Climate) -> float:
    """Return the usual standard deviation of a year's light over its mean, by the clearness of the climate."""
    sun = sun_path(climate.latitude_deg, climate.longitude_deg, climate.altitude_m, climate.utc_offset_hours)
    outside = np.bincount(MONTH_OF_HOUR, sun.extraterrestrial_horizontal_w)
    clearness = float((climate.ghi_w_m2 * MONTH_LENGTHS * 24.0).sum() / outside.sum())
    level, slope, middle = SPREAD_BY_CLEARNESS
    return float(np.clip(level * np.exp(-slope * (clearness - middle)), 0.02, 0.075))


def _tilt(
    wanted: np.ndarray, sun: SunPath, clearness: np.ndarray, clear_sky: np.ndarray, hidden: np.ndarray
) -> np.ndarray:
    """Return what to add to the hidden series of hours, (N,), so that each month has its share of light before noon.

    A straight line through noon, per month as steep as it must be: clear and dull days stay what they are, broken days
    are clearer on one side. Found by two secant steps on a few years; light before noon is nearly straight in steepness.
    """
    line = np.clip((12.0 - sun.solar_time_hours[sun.lit]) / 4.0, -1.5, 1.5)
    month, few = MONTH_OF_HOUR[sun.lit], min(TILT_YEARS, len(hidden))

    def shares(steepness: np.ndarray) -> np.ndarray:
        ghi = np.zeros((few, HOURS))
        tilted = hidden[:few] + steepness[month] * line
        ghi[:, sun.lit] = hourly_clearness(clearness[:few], clear_sky, sun.lit, tilted) * clear_sky[sun.lit]
        return morning_share(ghi, sun)

    last, steepness = np.zeros(12), np.full(12, FIRST_TILT)
    before, now = shares(last), shares(steepness)
    for _ in range(2):
        slope = (now - before) / np.where(steepness == last, 1.0, steepness - last)
        new = np.clip(steepness + (wanted - now) / np.maximum(slope, 0.01), -MOST_TILT, MOST_TILT)
        last, before, steepness = steepness, now, new
        now = shares(steepness)
    return steepness[month] * line


def _even_deviates(count: int, rng: np.random.Generator, *, degrees: float) -> np.ndarray:
    """Return deviates at evenly spread quantiles of Student's law, shuffled: mean 0, standard deviation 1 (0 if single)."""
    from scipy.special import ndtri, stdtrit

    levels = (rng.permutation(count) + 0.5) / count
    values = ndtri(levels) if np.isinf(degrees) else stdtrit(degrees, levels)
    return values / values.std() if count > 1 else np.zeros(1)


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
