"""Weather that no place on earth has is refused; weather that looks wrong is asked about; the shipped weather is neither."""

from __future__ import annotations

from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from riskcalc.errors import InputError
from riskcalc.weather.climates import climate
from riskcalc.weather.doubts import (
    check_possible,
    check_sun_agrees,
    distance_km,
    place_questions,
    usual_mean_c,
    weather_questions,
    yearly_clearness,
)
from riskcalc.weather.files import read_csv_years, read_tmy3
from riskcalc.weather.generator import generated_years
from riskcalc.weather.pool import WeatherPool
from riskcalc.weather.solar import sun_path

NEW_YORK = Path(__file__).parents[2] / "scenarios" / "data" / "weather_new_york_hourly.csv"
PVLIB_DATA = Path(find_spec("pvlib").origin).parent / "data"


@pytest.fixture(scope="module")
def new_york() -> WeatherPool:
    """The shipped typical year."""
    place = {"latitude_deg": 40.7, "longitude_deg": -74.0, "altitude_m": 10.0}
    return read_csv_years(NEW_YORK, zone="America/New_York", label="middle", **place)


def asked(pool: WeatherPool) -> set[str]:
    """Keys of the questions about a pool."""
    return {question.key for question in weather_questions(pool)}


def test_more_light_than_outside_the_atmosphere_is_refused(tmp_path: Path) -> None:
    """A file with 1.3 times the light outside the atmosphere, or with 0.9 of it all year, is refused by its clearness."""
    sun = sun_path(51.5, -0.1, 0.0, 0.0)
    for factor, percent in ((1.3, "130"), (0.9, "90")):
        light = factor * sun.extraterrestrial_horizontal_w
        lines = [f"{np.datetime64('2021-01-01T00') + hour}:00Z,{light[hour]:.2f},10,3" for hour in range(8760)]
        path = tmp_path / "bright.csv"
        path.write_text("time,ghi,temp_air,wind_speed\n" + "\n".join(lines), encoding="utf-8")
        with pytest.raises(InputError, match=rf"ghi\n.* {percent} % of the light outside[^\n]*\n.*20 to 85 %"):
            read_csv_years(path, zone="UTC", label="start", latitude_deg=51.5, longitude_deg=-0.1)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"temp_air": 50.0}, r"temp_air\n  given:    50\.0 on average.*\n.*Celsius, -58 to 37.*\n.*Fahrenheit"),
        ({"temp_air": -60.0}, r"temp_air\n  given:    -60\.0 on average"),
        ({"wind_speed": 60.0}, r"wind_speed\n  given:    60\.0 on average.*\n.*at most 20"),
    ],
)
def test_what_no_place_has_is_refused(new_york: WeatherPool, change: dict[str, float], message: str) -> None:
    """Fifty degrees or sixty below all year, and wind of 60 m/s, are refused with what is accepted."""
    wrong = replace(new_york, **{name: np.full((1, 8760), value) for name, value in change.items()})
    with pytest.raises(InputError, match=message):
        check_possible(wrong, file="year.csv")


def test_fahrenheit_of_a_temperate_place_is_refused(new_york: WeatherPool) -> None:
    """New York in Fahrenheit is warmer than any place on earth, though not one hour is above the highest on record."""
    wrong = replace(new_york, temp_air=np.minimum(new_york.temp_air * 1.8 + 32.0, 60.0))
    with pytest.raises(InputError, match="this looks like Fahrenheit"):
        check_possible(wrong, file="year.csv")


def test_beam_stronger_than_the_sun_is_refused(new_york: WeatherPool) -> None:
    """Beam above that outside the atmosphere in more than a hundredth of the hours is refused."""
    with pytest.raises(InputError, match=r"dni\n.*above what is possible"):
        check_possible(replace(new_york, dni=new_york.dni * 1.8), file="year.csv")


def test_what_is_unlikely_is_asked(new_york: WeatherPool) -> None:
    """Light of the Atacama in New York, a year without seasons, a warm north and a storm all year are questions."""
    sun = sun_path(40.7, -74.0, 10.0, -5.0)
    bright = replace(new_york, ghi=new_york.ghi * 0.81 / yearly_clearness(new_york.ghi, sun))
    assert "ghi" in asked(bright)
    assert asked(replace(new_york, temp_air=np.full((1, 8760), 12.0))) == {"temp_air"}
    assert asked(replace(new_york, temp_air=new_york.temp_air + 12.0)) == {"temp_air"}
    assert asked(replace(new_york, wind_speed=new_york.wind_speed * 4.0)) == {"wind_speed"}


def test_shipped_weather_is_not_asked_about(new_york: WeatherPool) -> None:
    """Files and climates from Shetland to Miami, of mountains, deserts and sea, raise no question."""
    pools = [new_york, *(read_tmy3(PVLIB_DATA / name) for name in ("723170TYA.CSV", "703165TY.csv"))]
    keys = ("shetland", "miami", "tucson", "denver", "sand_point", "garmisch_partenkirchen", "piedmont")
    pools += [generated_years(climate(key), years=4, seed=1) for key in keys]
    for pool in pools:
        check_possible(pool, file="shipped")
        check_sun_agrees(
            pool.ghi, sun_path(pool.latitude_deg, pool.longitude_deg, pool.altitude_m, pool.utc_offset_hours), file=""
        )
        assert weather_questions(pool) == (), pool.source


def test_another_place_than_that_of_the_weather_is_asked_or_refused(new_york: WeatherPool) -> None:
    """Philadelphia with the weather of New York is asked about, Los Angeles and swapped coordinates are refused."""
    assert place_questions(new_york, latitude_deg=40.7, longitude_deg=-74.0, altitude_m=30.0) == ()
    (where,) = place_questions(new_york, latitude_deg=39.95, longitude_deg=-75.17)
    assert where.key == "site.latitude_deg"
    assert "km from its weather" in where.given
    (height,) = place_questions(new_york, altitude_m=900.0)
    assert height.key == "site.altitude_m"
    assert "6 K" in height.effect
    for latitude, longitude in ((34.05, -118.24), (-74.0, 40.7), (40.7, 74.0)):
        with pytest.raises(InputError, match=r"site\.latitude_deg\n.*km from its weather"):
            place_questions(new_york, latitude_deg=latitude, longitude_deg=longitude)


def test_distances_on_the_sphere() -> None:
    """A quarter of a great circle, a degree along the equator, and two places on both sides of the date line."""
    assert distance_km(0.0, 0.0, 90.0, 0.0) == pytest.approx(6371.0 * np.pi / 2)
    assert distance_km(0.0, 10.0, 0.0, 11.0) == pytest.approx(6371.0 * np.pi / 180)
    assert distance_km(0.0, 179.5, 0.0, -179.5) == pytest.approx(6371.0 * np.pi / 180)


def test_usual_temperatures_hold_the_built_in_climates() -> None:
    """Every built-in climate lies within the usual range of its latitude and height, south and north alike."""
    for key in ("shetland", "miami", "tucson", "denver", "chicago", "garmisch_partenkirchen", "south_west_england"):
        place = climate(key)
        low, high = usual_mean_c(place.latitude_deg, place.altitude_m)
        assert low < place.temp_air_c.mean() < high, key
    assert usual_mean_c(-35.0, 0.0) == usual_mean_c(35.0, 0.0)
