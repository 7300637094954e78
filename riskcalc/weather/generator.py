"""Weather years drawn from a climate's monthly means: the sky first, then beam and diffuse, then air and wind."""

from __future__ import annotations

import numpy as np

from riskcalc.clock import DAYS
from riskcalc.weather.air import air_temperature, wind_speed
from riskcalc.weather.clearness import (
    DAY_MEMORY,
    HOUR_MEMORY,
    clear_sky_w,
    daily_clearness,
    hourly_clearness,
    normal_series,
)
from riskcalc.weather.climates import Climate
from riskcalc.weather.pool import HOURS, WeatherPool
from riskcalc.weather.solar import sun_path
from riskcalc.weather.split import beam_and_diffuse

#: Standard deviation of a year's light on the horizontal over its long-term mean, and degrees of freedom of the law,
#: where nothing is known of the place. Places differ and short records do not tell: 0.039 in Toronto (Thevenard &
#: Pelland, Estimating the uncertainty in long-term photovoltaic yield predictions, Solar Energy 91 (2013), abstract:
#: 3.9 % for year-to-year climate variability), 0.081 in eight real years at 51 N 7 E (95 % interval 0.054 to
#: 0.165; 2003 was exceptional). A place that has either of the two spreads with even chances gives years of spread
#: 0.064 and kurtosis 4.2; Student's law of 9 degrees of freedom has this kurtosis. Rounded to half a per cent.
YEARLY_SPREAD, YEARLY_DEGREES = 0.065, 9.0


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
        year. The law is normal for a spread that is known; where none is, it is YEARLY_SPREAD with longer tails.

    Notes
    -----
    Daily clearness: a mixture of clear days and a broad beta law, driven by an autoregressive normal series; one shift
    per month makes the pool's monthly means those of the climate, one per year makes the annual sums. Hourly clearness:
    beta law about the day's mean, by the same device. See `clearness` for what each figure was read off.
    """
    if years < 1:
        raise ValueError(f"years: {years}; accepted: 1 or more")
    known = climate.yearly_spread if yearly_spread is None else yearly_spread
    spread, degrees = (YEARLY_SPREAD, YEARLY_DEGREES) if known is None else (known, np.inf)
    if not 0.0 <= spread <= 0.3:
        raise ValueError(f"yearly_spread: {spread}; accepted: 0 to 0.3")
    rng = np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed)))
    sun = sun_path(climate.latitude_deg, climate.longitude_deg, climate.altitude_m, climate.utc_offset_hours)
    clear_sky = clear_sky_w(sun, climate.temp_air_c)
    hidden = normal_series(rng, (years, DAYS), memory=DAY_MEMORY)
    wanted = 1.0 + spread * _even_deviates(years, rng, degrees=degrees)
    clearness = daily_clearness(climate.ghi_w_m2, clear_sky, sun, hidden, wanted)
    hours = normal_series(rng, (years, len(sun.lit)), memory=HOUR_MEMORY)
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
        source=f"{years} years generated from the monthly means of {climate.name}: {climate.source}",
        notes=(f"generated weather: annual light spread {spread:g} of its mean, long-term means those of the table",),
        real_years=0,
    )


def _even_deviates(count: int, rng: np.random.Generator, *, degrees: float) -> np.ndarray:
    """Return deviates at evenly spread quantiles of Student's law, shuffled: mean 0, standard deviation 1 (0 if single)."""
    from scipy.special import ndtri, stdtrit

    levels = (rng.permutation(count) + 0.5) / count
    values = ndtri(levels) if np.isinf(degrees) else stdtrit(degrees, levels)
    return values / values.std() if count > 1 else np.zeros(1)
