"""A run from a weather file works everywhere: south, tropics, polar night, beyond the date line, in zones of 45 minutes."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from riskcalc.answers.trace import week_stretches
from riskcalc.clock import MONTH_LENGTHS, local_clock
from riskcalc.errors import InputError
from riskcalc.scenario import Scenario, read_scenario
from riskcalc.weather.climates import far_line, nearest_climates
from riskcalc.weather.pool import MONTH_OF_HOUR
from riskcalc.weather.solar import sun_path
from riskcalc.years.pools import pools, weather_years
from riskcalc.years.schedule import hold_back_slots, slot_plan

NEW_YORK = Path(__file__).parents[2] / "scenarios/data/weather_new_york_hourly.csv"
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
    assert "Without a network here, run that on any computer that has one" in far_line(-33.9, 151.2)


@pytest.fixture(scope="module")
def mirrored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write New York's hours half a year later at the same latitude in the south: real light, real clouds, southern sun.

    No measured file of the south with open terms was at hand. The orbit is not mirrored: the sun of January is 7 % stronger
    than that of July, and clocks run up to a quarter of an hour off the sun.
    """
    rows = NEW_YORK.read_text(encoding="utf-8").splitlines()
    cells = [row.split(",") for row in rows[1:]]
    later = np.roll(np.arange(8760), 182 * 24)
    times = [row[0] for row in cells]
    body = [",".join([times[hour], *cells[later[hour]][1:]]) for hour in range(8760)]
    path = tmp_path_factory.mktemp("south") / "south.csv"
    head = "# latitude_deg: -40.78\n# longitude_deg: -73.97\n# altitude_m: 40\n# zone: Etc/GMT+5\n# label: middle\n"
    path.write_text(head + rows[0] + "\n" + "\n".join(body) + "\n", encoding="utf-8")
    return path


def test_real_light_in_the_south_does_what_it_does_in_the_north(mirrored: Path, small_file: Path) -> None:
    """A roof that faces north there gives what one that faces south gives in New York, month by month half a year on."""
    clock = local_clock("America/New_York", slot_minutes=30)
    there = local_clock("America/Lima", slot_minutes=30)
    text = small_file.read_text(encoding="utf-8")
    south = mirrored.with_name("south.toml")
    south.write_text(text.replace(THAMES, '{ source = "csv", file = "south.csv" }'), encoding="utf-8")
    mirrored.with_name("north.csv").write_text(NEW_YORK.read_text(encoding="utf-8"), encoding="utf-8")
    north_weather = '{ source = "csv", file = "north.csv", zone = "America/New_York", label = "middle" }'
    north = mirrored.with_name("north.toml")
    north.write_text(text.replace(THAMES, north_weather), encoding="utf-8")
    roof = ("home.surfaces.balcony.tilt_deg=35", "study.pool_years=1")

    def monthly(file: Path, zone: str, azimuth: int, *place: str) -> np.ndarray:
        changes = (f'site.zone="{zone}"', f"home.surfaces.balcony.azimuth_deg={azimuth}", *roof, *place)
        made = pools(read_scenario(file, changes), there if file == south else clock)
        day = made.solar_w[0, 0].reshape(365, -1).sum(axis=1, dtype=np.float64)
        return np.bincount(MONTH_OF_HOUR[::24], day) / MONTH_LENGTHS

    at_home = ("site.latitude_deg=40.78", "site.longitude_deg=-73.97", "site.altitude_m=40")
    here = monthly(north, "America/New_York", 180, *at_home)
    facing_north, facing_south = (monthly(south, "America/Lima", azimuth) for azimuth in (0, 180))
    assert facing_north.sum() == pytest.approx(here.sum(), rel=0.03)
    assert np.roll(facing_north, 6) == pytest.approx(here, rel=0.10)
    assert facing_south.sum() < 0.8 * facing_north.sum()
    summer, winter = week_stretches(there, latitude_deg=-40.78)
    assert "January" in summer.first_day
    assert "July" in winter.first_day
    assert facing_north[0] > 1.3 * facing_north[6]


def test_a_typical_year_of_the_tropics_has_no_summer_week(tmp_path: Path, small_file: Path) -> None:
    """Miami lies north of the tropic and has a summer; at Honolulu's latitude weeks are named by month."""
    clock = local_clock("America/New_York", slot_minutes=30)
    assert [week.season for week in week_stretches(clock, latitude_deg=25.8)] == ["summer", "winter"]
    assert [week.season for week in week_stretches(clock, latitude_deg=21.3)] == ["July", "January"]
    text = small_file.read_text(encoding="utf-8").replace(THAMES, '{ source = "climate", region = "miami" }')
    (tmp_path / "miami.toml").write_text(text, encoding="utf-8")
    pool = weather_years(read_scenario(tmp_path / "miami.toml", ('site.zone="America/New_York"', "study.pool_years=6")))
    months = pool.monthly_means().mean(axis=0)
    assert months.max() < 2.2 * months.min()
