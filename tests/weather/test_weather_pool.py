"""The pool of weather years: shape, freezing, repeating and turning."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from riskcalc.weather.pool import WeatherPool


def tiny_pool(years: int = 2) -> WeatherPool:
    """Pool whose light is the number of the hour plus 10,000 times the year; no physics."""
    hours = np.arange(8760.0)[None, :] + 10_000.0 * np.arange(years)[:, None]
    series = dict.fromkeys(("ghi", "dni", "dhi", "temp_air", "wind_speed"), hours)
    place = {"latitude_deg": 50.0, "longitude_deg": 8.0, "altitude_m": 100.0, "utc_offset_hours": 1.0}
    return WeatherPool(**series, **place, source="made up", real_years=years)


def test_resampling_repeats_whole_years_in_turn() -> None:
    """Five years out of two are 0 1 0 1 0, whole, and a note says that only two stand behind them."""
    pool = tiny_pool(2).resampled(5)
    assert (pool.ghi[:, 0] // 10_000).tolist() == [0, 1, 0, 1, 0]
    assert (np.diff(pool.ghi, axis=1) == 1.0).all()
    assert pool.real_years == 2
    assert any("2 distinct weather years" in note for note in pool.notes)


def test_resampling_to_fewer_years_keeps_the_first() -> None:
    """One year out of two is the first, and no note is needed."""
    pool = tiny_pool(2).resampled(1)
    assert pool.years == 1
    assert pool.ghi[0, 5] == 5.0
    assert pool.notes == ()
    with pytest.raises(ValueError, match="1 or more"):
        pool.resampled(0)


def test_turning_to_another_standard_time_keeps_every_hour() -> None:
    """Two hours further east, the hour 00:00 of the old clock stands at 02:00, and the last hours come round."""
    pool = tiny_pool(1).rotated(3.0)
    assert pool.ghi[0, 2] == 0.0
    assert pool.ghi[0, 0] == 8758.0
    assert pool.utc_offset_hours == 3.0
    assert sorted(pool.ghi[0]) == list(range(8760))
    assert tiny_pool(1).rotated(1.0).notes == ()
    with pytest.raises(ValueError, match="whole hours"):
        tiny_pool(1).rotated(5.5)


def test_months_are_calendar_months() -> None:
    """January holds hours 0 to 743, February 744 to 1415 (hand-counted), so their means are 371.5 and 1079.5."""
    means = tiny_pool(1).monthly_means("ghi")
    assert means[0, :2].tolist() == [371.5, 1079.5]
    assert tiny_pool(1).annual_ghi_kwh()[0] == pytest.approx(8759 * 8760 / 2 / 1000)


def test_lowest_temperature_is_taken_with_care() -> None:
    """The cautious low lies 5 K below the pool's lowest hour."""
    pool = tiny_pool(1)
    assert (pool.lowest_temp_c, pool.cautious_low_c, pool.highest_temp_c) == (0.0, -5.0, 8759.0)


def test_impossible_weather_is_refused() -> None:
    """Wrong length, NaN and negative light are refused by name; the arrays cannot be written."""
    pool = tiny_pool(1)
    with pytest.raises(ValueError, match="ghi: shape"):
        replace(pool, ghi=np.zeros((1, 8784)))
    with pytest.raises(ValueError, match="dhi: shape"):
        replace(pool, dhi=np.zeros((2, 8760)))
    with pytest.raises(ValueError, match="wind_speed: 8760 values are not finite"):
        replace(pool, wind_speed=np.full((1, 8760), np.nan))
    with pytest.raises(ValueError, match="dni: 8760 values are negative"):
        replace(pool, dni=np.full((1, 8760), -1.0))
    with pytest.raises(ValueError, match="read-only"):
        pool.ghi[0, 0] = 1.0
