"""A run from a weather file works everywhere: south, tropics, polar night, beyond the date line, in zones of 45 minutes."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from riskcalc.answers.weeks import week_stretches
from riskcalc.clock import local_clock
from riskcalc.errors import InputError
from riskcalc.scenario import Scenario, read_scenario
from riskcalc.weather.climates import far_line, nearest_climates
from riskcalc.weather.pool import MONTH_OF_HOUR
from riskcalc.weather.solar import sun_path
from riskcalc.years.pools import pools, weather_years
from riskcalc.years.schedule import hold_back_slots, slot_plan

PVLIB_DATA = Path(find_spec("pvlib").origin).parent / "data"


THAMES = '{ source = "climate", region = "thames" }'


@pytest.fixture
def read_at(tmp_path: Path, small_file: Path) -> Callable[..., Scenario]:
    """Return a function that reads the small scenario with one made-up year in UTC of a place, or with another weather."""

    def read(latitude: float, longitude: float, zone: str, *changes: str) -> Scenario:
        sun = sun_path(latitude, longitude, 0.0, 0.0)
        light = 0.5 * sun.extraterrestrial_horizontal_w
        season = np.cos(2.0 * np.pi * (np.arange(8760) / 8760.0 - 0.55)) * np.sign(latitude)
        warm = 26.0 - 0.35 * abs(latitude) + 0.2 * abs(latitude) * season
        start = np.datetime64("2021-01-01T00", "h")
        rows = [f"{start + hour}:00Z,{light[hour]:.2f},{warm[hour]:.2f},3.0" for hour in range(8760)]
        head = f"# latitude_deg: {latitude}\n# longitude_deg: {longitude}\n# zone: UTC\n# label: start\n"
        (tmp_path / "there.csv").write_text(head + "time,ghi,temp_air,wind_speed\n" + "\n".join(rows), encoding="utf-8")
        text = small_file.read_text(encoding="utf-8").replace(THAMES, '{ source = "csv", file = "there.csv" }')
        (tmp_path / "there.toml").write_text(text, encoding="utf-8")
        return read_scenario(tmp_path / "there.toml", (f'site.zone="{zone}"', "study.pool_years=3", *changes))

    return read


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "offset"),
    [
        (-33.9, 151.2, "Australia/Sydney", 10.0),
        (-36.8, 174.8, "Pacific/Auckland", 12.0),
        (-43.9, -176.5, "Pacific/Chatham", 12.75),
        (27.7, 85.3, "Asia/Kathmandu", 5.75),
        (1.3, 103.8, "Asia/Singapore", 8.0),
        (69.6, 18.9, "Europe/Oslo", 1.0),
        (-21.1, -175.2, "Pacific/Tongatapu", 13.0),
    ],
)
def test_pools_of_any_place(
    read_at: Callable[..., Scenario],
    latitude: float,
    longitude: float,
    zone: str,
    offset: float,
) -> None:
    """The sun of the array is that of the place: its season by hemisphere, its noon near 12, no light in polar night."""
    facing = 0 if latitude < 0.0 else 180
    scenario = read_at(latitude, longitude, zone, f"home.surfaces.balcony.azimuth_deg={facing}")
    weather = weather_years(scenario)
    assert (weather.years, weather.utc_offset_hours) == (3, offset)
    clock = local_clock(zone, slot_minutes=30)
    made = pools(scenario, clock)
    steps = made.solar_w.shape[2] // 8760
    power = made.solar_w[:, 0].mean(axis=0).reshape(8760, steps).mean(axis=1)
    light = weather.ghi.mean(axis=0)
    months = np.bincount(MONTH_OF_HOUR, light)
    assert power.sum() > 0.0
    bright = (10, 11, 0, 1) if latitude < 0 else (3, 4, 5, 6, 7)
    assert int(np.argmax(months)) in bright or abs(latitude) < 23.5
    noon = np.average(np.arange(24) + 0.5, weights=light.reshape(365, 24).sum(axis=0))
    assert noon == pytest.approx(12.0 + (offset - longitude / 15.0 + 12.0) % 24.0 - 12.0, abs=0.5)
    if latitude > 66.0:
        assert light.reshape(365, 24)[:8].max() < 5.0
        assert power.reshape(365, 24)[:8].max() < 1.0
    summer, winter = week_stretches(clock, latitude_deg=latitude)
    named = ("summer", "winter") if abs(latitude) > 23.44 else ("July", "January")
    assert (summer.season, winter.season) == named
    slots = light.repeat(2)
    if abs(latitude) > 23.5:
        assert np.take(slots, np.arange(336) + summer.first_slot, mode="wrap").sum() > 1.3 * (
            np.take(slots, np.arange(336) + winter.first_slot, mode="wrap").sum()
        )


def test_arrays_that_face_the_equator_gain_most_in_the_south(read_at: Callable[..., Scenario]) -> None:
    """In Sydney a balcony that faces north gets at least half as much again as one that faces south."""
    clock = local_clock("Australia/Sydney", slot_minutes=30)
    sums = []
    for azimuth in (0, 180):
        facing = f"home.surfaces.balcony.azimuth_deg={azimuth}"
        made = pools(read_at(-33.9, 151.2, "Australia/Sydney", facing), clock)
        sums.append(made.solar_w.sum(dtype=np.float64))
    assert sums[0] > 1.5 * sums[1]


def test_real_files_of_the_subtropics_and_the_subarctic_fill_a_pool(tmp_path: Path, small_file: Path) -> None:
    """Typical years of North Carolina and Alaska stand in a pool beside years generated from them."""
    for name, zone, low, high in (
        ("723170TYA.CSV", "America/New_York", 1450.0, 1700.0),
        ("703165TY.csv", "America/Anchorage", 680.0, 980.0),
    ):
        weather = f'{{ source = "tmy3", file = "pvlib:{name}" }}'
        file = tmp_path / "real.toml"
        file.write_text(small_file.read_text(encoding="utf-8").replace(THAMES, weather), encoding="utf-8")
        pool = weather_years(read_scenario(file, (f'site.zone="{zone}"', "study.pool_years=6")))
        annual = pool.annual_ghi_kwh()
        assert (pool.years, pool.real_years) == (6, 1)
        assert low < annual.min() < annual.max() < high
        assert annual.std() > 0.02 * annual.mean()


def test_a_zone_of_another_continent_is_refused(read_at: Callable[..., Scenario]) -> None:
    """Weather of Sydney on the clock of London is refused."""
    with pytest.raises(InputError, match=r"site\.zone\n.*Europe/London"):
        weather_years(read_at(-33.9, 151.2, "Europe/London"))


def test_slots_of_a_year_that_begins_in_summer_time(read_at: Callable[..., Scenario]) -> None:
    """In Sydney the last hour of the standard-time year lies on 1 January of the wall clock: plans and prices hold it."""
    scenario = read_at(-33.9, 151.2, "Australia/Sydney")
    clock = local_clock("Australia/Sydney", slot_minutes=30)
    plan = slot_plan(scenario, clock)
    assert plan.day[-1] == 0
    assert len(plan.day) == 365 * 48
    assert not hold_back_slots(scenario, plan.rate).any()  # the one cheaper rate is that of charging


def test_nearest_climates_of_a_place() -> None:
    """Oxford has the Thames region next to it; Sydney is told how far the nearest is, and the command."""
    (first, away), *_ = nearest_climates(51.75, -1.25)
    assert first.key in ("thames", "southern_england", "severn", "midlands")
    assert away < 100.0
    assert "`riskcalc weather -33.9 151.2` fetches" in far_line(-33.9, 151.2)
    assert "km away: too far" in far_line(-33.9, 151.2)
