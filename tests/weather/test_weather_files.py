"""Weather files: the same sky whatever the label, zone or step, and a plain refusal of every kind of damage."""

from __future__ import annotations

import gzip
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from riskcalc.clock import DAYS
from riskcalc.errors import InputError
from riskcalc.weather.files import read_csv_years, read_epw, read_tmy3
from riskcalc.weather.pool import WeatherPool
from riskcalc.weather.solar import sun_path

NEW_YORK = Path(__file__).parents[2] / "scenarios" / "data" / "weather_new_york_hourly.csv"
PVLIB_DATA = Path(find_spec("pvlib").origin).parent / "data"
LONDON = {"latitude_deg": 51.5, "longitude_deg": -0.1}
HEADER = "time,ghi,temp_air,wind_speed"


def made_up_light(latitude_deg: float, longitude_deg: float, utc_offset_hours: float) -> np.ndarray:
    """Half of the light outside the atmosphere, for the 8760 hours of standard time [W/m2]."""
    return 0.5 * sun_path(latitude_deg, longitude_deg, 0.0, utc_offset_hours).extraterrestrial_horizontal_w


def lines_of(
    first: str,
    hours: int,
    light: np.ndarray,
    *,
    stamp: Callable[[np.datetime64], str] = lambda time: f"{time}Z",
    minutes: int = 60,
) -> list[str]:
    """Lines of a file from an instant on; temperature is the number of the hour over 1000, wind 3 m/s."""
    start = np.datetime64(first, "m")
    return [
        f"{stamp(start + row * minutes)},{light[row % len(light)]:.4f},{(row % 8760) / 1000:.3f},3.0"
        for row in range(hours)
    ]


def written(path: Path, lines: list[str], header: str = HEADER) -> Path:
    """Write a file of these lines and return its path."""
    path.write_text("\n".join([header, *lines]) + "\n", encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def light() -> np.ndarray:
    """Light of London's standard-time year."""
    return made_up_light(51.5, -0.1, 0.0)


@pytest.fixture
def good_lines(light: np.ndarray) -> list[str]:
    """One whole year in UTC, hour beginning."""
    return lines_of("2021-01-01T00:00", 8760, light)


def test_plain_year_is_read_as_written(tmp_path: Path, good_lines: list[str], light: np.ndarray) -> None:
    """A year of hours in UTC comes back hour by hour, split into beam and diffuse, with notes on both."""
    pool = read_csv_years(written(tmp_path / "year.csv", good_lines), zone="UTC", label="start", **LONDON)
    assert (pool.years, pool.real_years) == (1, 1)
    assert np.abs(pool.ghi[0] - light).max() < 1e-4
    assert np.abs(pool.temp_air[0] - np.round(np.arange(8760) / 1000, 3)).max() < 1e-9
    assert any("split into beam and diffuse" in note for note in pool.notes)
    assert any("one real year only" in note for note in pool.notes)
    assert pool.source == "hourly weather file year.csv"


@pytest.mark.parametrize(("label", "first"), [("start", "00:00"), ("middle", "00:30"), ("end", "01:00")])
def test_label_says_what_part_of_the_hour_a_time_stands_for(
    tmp_path: Path, light: np.ndarray, label: str, first: str
) -> None:
    """The same hours stamped at their beginning, middle or end make the same pool."""
    file = written(tmp_path / "year.csv", lines_of(f"2021-01-01T{first}", 8760, light))
    pool = read_csv_years(file, zone="UTC", label=label, **LONDON)
    assert np.abs(pool.ghi[0] - light).max() < 1e-4


def test_year_in_utc_is_turned_to_the_sites_standard_time(tmp_path: Path) -> None:
    """A UTC year read for New York lies five hours earlier; the five hours pushed out come back at the other end."""
    place = {"latitude_deg": 40.7, "longitude_deg": -74.0}
    local = made_up_light(40.7, -74.0, -5.0)
    file = written(tmp_path / "year.csv", lines_of("2021-01-01T00:00", 8760, np.roll(local, 5)))
    pool = read_csv_years(file, zone="UTC", label="start", site_zone="America/New_York", **place)
    assert pool.utc_offset_hours == -5.0
    assert np.abs(pool.ghi[0] - local).max() < 1e-4
    assert any("5 hours moved to the other end" in note for note in pool.notes)


def test_times_of_the_wall_clock_are_put_on_standard_time(tmp_path: Path, light: np.ndarray) -> None:
    """Times on London's wall clock (no offset) come back on standard time; the double hour is sorted out."""
    from zoneinfo import ZoneInfo

    zone = ZoneInfo("Europe/London")

    def wall(time: np.datetime64) -> str:
        from datetime import UTC

        moment = time.astype("datetime64[s]").item().replace(tzinfo=UTC).astimezone(zone)
        return moment.strftime("%Y-%m-%dT%H:%M")

    file = written(tmp_path / "year.csv", lines_of("2021-01-01T00:00", 8760, light, stamp=wall))
    pool = read_csv_years(file, zone="Europe/London", label="start", **LONDON)
    assert np.abs(pool.ghi[0] - light).max() < 1e-4


def test_several_years_leave_out_leap_day_and_parts(tmp_path: Path, light: np.ndarray) -> None:
    """Two whole years after a part of one: the part and 29 February are left out and said to be."""
    hours = np.arange(np.datetime64("2019-12-20T00", "h"), np.datetime64("2022-01-01T00", "h"))
    day = (hours - hours.astype("datetime64[Y]").astype("datetime64[h]")).astype(int)
    leap = hours.astype("datetime64[Y]").astype(int) % 4 == 2  # 2020
    in_year = np.where(leap & (day >= 59 * 24), np.maximum(day - 24, 59 * 24 - 24), day)
    lines = [
        f"{hour}:00Z,{light[index % 8760]:.4f},{(20 if hour.astype('datetime64[Y]').astype(int) == 50 else 21)},3.0"
        for hour, index in zip(hours, in_year, strict=True)
    ]
    pool = read_csv_years(written(tmp_path / "years.csv", lines), zone="UTC", label="start", **LONDON)
    assert pool.years == pool.real_years == 2
    assert pool.temp_air[0].mean() == 20.0
    assert pool.temp_air[1].mean() == 21.0
    assert np.abs(pool.ghi - light).max() < 1e-4
    assert any("29 February left out (24 hours)" in note for note in pool.notes)


def test_part_of_a_year_at_the_end_is_left_out(tmp_path: Path, good_lines: list[str], light: np.ndarray) -> None:
    """A year and nine months make one year, and the nine months are named."""
    more = lines_of("2022-01-01T00:00", 6600, light)
    pool = read_csv_years(written(tmp_path / "more.csv", good_lines + more), zone="UTC", label="start", **LONDON)
    assert pool.years == 1
    assert any("years covered only in part left out: 2022" in note for note in pool.notes)


def test_short_gaps_are_filled_and_said_to_be(tmp_path: Path, good_lines: list[str], light: np.ndarray) -> None:
    """Three missing lines and an empty cell are filled on straight lines and counted."""
    noon = 24 * 180 + 11
    lines = good_lines[:noon] + good_lines[noon + 3 :]
    lines[50] = lines[50].rsplit(",", 1)[0] + ","
    pool = read_csv_years(written(tmp_path / "gap.csv", lines), zone="UTC", label="start", **LONDON)
    assert any("4 missing hours filled" in note for note in pool.notes)
    before, after = light[noon - 1], light[noon + 3]
    assert pool.ghi[0, noon : noon + 3] == pytest.approx(before + (after - before) * np.array([1, 2, 3]) / 4, abs=1e-3)
    assert pool.wind_speed[0, 50] == 3.0


def test_steps_of_half_an_hour_are_averaged(tmp_path: Path, light: np.ndarray) -> None:
    """Half-hours of light l - 1 and l + 1 make hours of light l."""
    halves = np.maximum(np.repeat(light, 2) + np.tile([-1.0, 1.0], 8760) * (np.repeat(light, 2) > 2.0), 0.0)
    file = written(tmp_path / "halves.csv", lines_of("2021-01-01T00:00", 17520, halves, minutes=30))
    pool = read_csv_years(file, zone="UTC", label="start", **LONDON)
    assert np.abs(pool.ghi[0] - light).max() < 1e-3
    assert any("30 minutes averaged" in note for note in pool.notes)


@pytest.mark.parametrize(
    ("zone", "offset", "latitude", "longitude"),
    [
        ("Asia/Kolkata", 5.5, 18.5, 73.9),
        ("Asia/Kathmandu", 5.75, 27.7, 85.3),
        ("Pacific/Chatham", 12.75, -43.9, -176.5),
    ],
)
def test_zones_of_part_of_an_hour_are_made_from_parts(
    tmp_path: Path, zone: str, offset: float, latitude: float, longitude: float
) -> None:
    """Hours in UTC for a site at UTC+5:30, +5:45 or +12:45 become means of two neighbours: the year's light stays."""
    utc_light = made_up_light(latitude, longitude, 0.0)
    file = written(tmp_path / "there.csv", lines_of("2021-01-01T00:00", 8760, utc_light))
    pool = read_csv_years(
        file, zone="UTC", label="start", site_zone=zone, latitude_deg=latitude, longitude_deg=longitude
    )
    assert pool.utc_offset_hours == offset
    assert pool.ghi.sum() == pytest.approx(utc_light.sum(), rel=2e-3)
    own = made_up_light(latitude, longitude, offset)
    assert np.abs(pool.ghi[0, 48:-48] - own[48:-48]).mean() < 0.02 * own.mean()
    assert any("each made from parts of two" in note for note in pool.notes)


def test_beam_or_diffuse_given_alone_gives_the_other(tmp_path: Path, light: np.ndarray) -> None:
    """Global less beam is diffuse; global less diffuse over the sun's height is beam."""
    sun = sun_path(51.5, -0.1, 0.0, 0.0)
    beam = np.where(sun.cos_zenith > 0.06, 0.6 * light / np.maximum(sun.cos_zenith, 0.06), 0.0)
    diffuse = light - beam * sun.cos_zenith
    for name, column, other, wanted in (("dni", beam, "dhi", diffuse), ("dhi", diffuse, "dni", beam)):
        lines = [f"{line},{value:.5f}" for line, value in zip(lines_of("2021-01-01", 8760, light), column, strict=True)]
        file = written(tmp_path / f"{name}.csv", lines, header=f"{HEADER},{name}")
        pool = read_csv_years(file, zone="UTC", label="start", **LONDON)
        assert np.abs(getattr(pool, other)[0] - wanted).max() < 0.02


def test_packed_files_are_read(tmp_path: Path, good_lines: list[str], light: np.ndarray) -> None:
    """A file packed with gzip reads as the plain one."""
    path = tmp_path / "year.csv.gz"
    with gzip.open(path, "wt", encoding="utf-8") as file:
        file.write("\n".join([HEADER, *good_lines]))
    pool = read_csv_years(path, zone="UTC", label="start", **LONDON)
    assert np.abs(pool.ghi[0] - light).max() < 1e-4


def damaged(lines: list[str], row: int, column: int, text: str) -> list[str]:
    """Return the lines with one cell replaced."""
    cells = lines[row].split(",")
    cells[column] = text
    return [*lines[:row], ",".join(cells), *lines[row + 1 :]]


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        (lambda rows: damaged(rows, 10, 1, "nan"), r"ghi\n  given:    'nan' in line 12\n.*a number, or an empty cell"),
        (lambda rows: damaged(rows, 10, 2, "warm"), r"temp_air\n  given:    'warm' in line 12"),
        (lambda rows: damaged(damaged(rows, 3, 1, "-2"), 7, 1, "-1"), r"ghi\n  given:    '-2' in line 5 and 1 more"),
        (lambda rows: damaged(rows, 9, 3, "-0.5"), r"wind_speed\n  given:    '-0.5' in line 11\n.*at least 0"),
        (lambda rows: damaged(rows, 20, 0, "yesterday"), r"time\n  given:    'yesterday' in line 22\n.*ISO 8601"),
        (lambda rows: damaged(rows, 20, 0, "2021-01-01T20:00"), r"line 22\n.*an offset on every time or on none"),
        (lambda rows: [*rows[:30], rows[29], *rows[30:]], r"the same time twice in line 32"),
        (lambda rows: [*rows[:40], rows[41], rows[40], *rows[42:]], r"goes back in line 43"),
        (lambda rows: rows[:5000] + rows[5004:], r"4 hours missing from 2021-07-28 08:00 on\n.*at most 3 hours"),
        (lambda rows: damaged(rows, 60, 0, "2021-01-03T12:20Z"), r"a time 20 minutes into the hour in line 62"),
        (lambda rows: rows[:3000], r"3000 lines\n.*at least one whole year"),
        (lambda rows: rows[6000:] + rows[:10], r"2770 lines\n.*at least one whole year"),
        (lambda rows: [row.replace("Z,", ":00Z,", 1) if i % 2 else row for i, row in enumerate(rows)], None),
    ],
)
def test_damage_is_named_with_its_line(
    tmp_path: Path, good_lines: list[str], damage: Callable[[list[str]], list[str]], message: str | None
) -> None:
    """Text, NaN, negatives, repeats, jumps back, long gaps and short files are refused by line; seconds are not."""
    file = written(tmp_path / "year.csv", damage(good_lines))
    if message is None:
        assert read_csv_years(file, zone="UTC", label="start", **LONDON).years == 1
        return
    with pytest.raises(InputError, match=message):
        read_csv_years(file, zone="UTC", label="start", **LONDON)


def test_every_damaged_column_is_reported_at_once(tmp_path: Path, good_lines: list[str]) -> None:
    """Three columns with faults give three problems."""
    lines = damaged(damaged(damaged(good_lines, 5, 1, "x"), 6, 2, "y"), 7, 3, "-1")
    with pytest.raises(InputError) as caught:
        read_csv_years(written(tmp_path / "bad.csv", lines), zone="UTC", label="start", **LONDON)
    assert [problem.key for problem in caught.value.problems] == ["ghi", "temp_air", "wind_speed"]


def test_missing_columns_and_files_are_named(tmp_path: Path, good_lines: list[str]) -> None:
    """A file without wind, a file that is not there and an unknown label or zone say what would be accepted."""
    file = written(tmp_path / "bad.csv", good_lines, header="time,ghi,temp_air,wind")
    with pytest.raises(InputError, match=r"wind_speed\n.*columns time, ghi, temp_air, wind\n"):
        read_csv_years(file, zone="UTC", label="start", **LONDON)
    with pytest.raises(InputError, match="no such file"):
        read_csv_years(tmp_path / "none.csv", zone="UTC", label="start", **LONDON)
    with pytest.raises(InputError, match="start, middle or end"):
        read_csv_years(file, zone="UTC", label="centre", **LONDON)
    good = written(tmp_path / "good.csv", good_lines)
    with pytest.raises(InputError, match="IANA"):
        read_csv_years(good, zone="Europe/Londinium", label="start", **LONDON)


def test_time_that_the_wall_clock_never_shows_is_refused(tmp_path: Path, light: np.ndarray) -> None:
    """Hours counted through without summer time do not exist on London's wall clock in spring."""
    lines = lines_of("2021-01-01T00:00", 8760, light, stamp=str)
    with pytest.raises(InputError, match=r"times that exist once in Europe/London"):
        read_csv_years(written(tmp_path / "wall.csv", lines), zone="Europe/London", label="start", **LONDON)


def test_light_at_the_wrong_hour_is_refused(tmp_path: Path, light: np.ndarray) -> None:
    """A file whose zone is wrong by hours, or whose unit is not W/m2, does not suit the sun."""
    late = written(tmp_path / "late.csv", lines_of("2021-01-01T00:00", 8760, np.roll(light, 5)))
    with pytest.raises(InputError, match=r"of the light arrives while the sun is down"):
        read_csv_years(late, zone="UTC", label="start", **LONDON)
    one_off = written(tmp_path / "one.csv", lines_of("2021-01-01T00:00", 8760, np.roll(light, 1)))
    with pytest.raises(InputError, match=r"the light is centred 1\.0 h too late|arrives while the sun is down"):
        read_csv_years(one_off, zone="UTC", label="start", **LONDON)
    bright = written(tmp_path / "kj.csv", lines_of("2021-01-01T00:00", 8760, 3.6 * light))
    with pytest.raises(InputError, match=r"irradiance in W/m2"):
        read_csv_years(bright, zone="UTC", label="start", **LONDON)
    dark = written(tmp_path / "dark.csv", lines_of("2021-01-01T00:00", 8760, 0.0 * light))
    with pytest.raises(InputError, match="no light in the whole file"):
        read_csv_years(dark, zone="UTC", label="start", **LONDON)


def closure_w_m2(pool: WeatherPool) -> float:
    """Mean distance between global light and beam x cos(zenith) + diffuse, over hours with the sun wholly up [W/m2]."""
    sun = sun_path(pool.latitude_deg, pool.longitude_deg, pool.altitude_m, pool.utc_offset_hours)
    up = sun.lit_share == 1.0
    return float(np.abs(pool.dni * sun.cos_zenith + pool.dhi - pool.ghi)[:, up].mean())


def test_typical_year_of_new_york_suits_the_sun() -> None:
    """The shipped year (National Solar Radiation Database) closes with our sun to 1 W/m2, and not one hour aside.

    Months come from years between 1998 and 2022; read an hour late the gap is more than tenfold.
    """
    place = {"latitude_deg": 40.7, "longitude_deg": -74.0, "altitude_m": 10.0}
    pool = read_csv_years(NEW_YORK, zone="America/New_York", label="middle", source="cited elsewhere", **place)
    assert (pool.years, pool.real_years, pool.utc_offset_hours) == (1, 1, -5.0)
    assert pool.source == "cited elsewhere"
    assert any("typical year put together" in note for note in pool.notes)
    assert closure_w_m2(pool) < 1.0
    assert closure_w_m2(pool.rotated(-4.0)) < 1.0
    late = WeatherPool(
        **{name: np.roll(getattr(pool, name), 1, axis=1) for name in ("ghi", "dni", "dhi", "temp_air", "wind_speed")},
        **place,
        utc_offset_hours=-5.0,
        source="late",
    )
    assert closure_w_m2(late) > 10.0
    assert pool.annual_ghi_kwh()[0] == pytest.approx(1519.5, abs=0.1)  # sum of the file's own column


@pytest.mark.parametrize(("file", "annual_kwh"), [("723170TYA.CSV", 1566.2), ("703165TY.csv", 829.2)])
def test_tmy3_stands_on_the_right_hours(file: str, annual_kwh: float) -> None:
    """TMY3 files shipped with pvlib close with our sun to 1.5 W/m2: stamps at the end of the hour are understood.

    The yearly sums are those of the files' own columns.
    """
    pool = read_tmy3(PVLIB_DATA / file)
    assert closure_w_m2(pool) < 1.5
    assert pool.annual_ghi_kwh()[0] == pytest.approx(annual_kwh, abs=0.1)
    assert pool.real_years == 1
    assert any("one typical year only" in note for note in pool.notes)
    assert "NREL/TP-581-43156" in pool.source


def epw_lines(light: np.ndarray, *, leap: bool = False) -> list[str]:
    """Make up an EPW file: eight header lines and 35 columns, hour 1 to 24."""
    header = ["LOCATION,Nowhere,-,GBR,made up,000000,51.5,-0.1,0.0,20.0"]
    header += ["DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0"]
    header += [
        "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0",
        "COMMENTS 1,",
        "COMMENTS 2,",
        "DATA PERIODS,1,1,Data,Friday,1/1,12/31",
    ]
    rows = []
    days = np.arange(np.datetime64("2021-01-01"), np.datetime64("2022-01-01"))
    for day, date in enumerate(days.tolist()):
        dates = [(date.month, date.day)]
        if leap and (date.month, date.day) == (2, 28):
            dates.append((2, 29))
        for month, day_of_month in dates:
            for hour in range(24):
                cells = ["0"] * 35
                cells[:5] = ["2020" if leap else "2021", str(month), str(day_of_month), str(hour + 1), "60"]
                cells[5], cells[6] = "?9", f"{day / 10:.1f}"
                cells[13], cells[14], cells[15] = f"{light[day * 24 + hour]:.2f}", "0", f"{light[day * 24 + hour]:.2f}"
                cells[21] = "4.0"
                rows.append(",".join(cells))
    return header + rows


@pytest.mark.parametrize("leap", [False, True])
def test_epw_stands_on_the_right_hours(tmp_path: Path, light: np.ndarray, leap: bool) -> None:
    """Hour 1 of an EPW file is the first hour of the day; a 29 February is left out."""
    path = tmp_path / "made_up.epw"
    path.write_text("\n".join(epw_lines(light, leap=leap)) + "\n", encoding="utf-8")
    pool = read_epw(path)
    assert (pool.latitude_deg, pool.longitude_deg, pool.altitude_m, pool.utc_offset_hours) == (51.5, -0.1, 20.0, 0.0)
    assert np.abs(pool.ghi[0] - light).max() < 0.006
    assert pool.temp_air[0].reshape(DAYS, 24)[:, 0] == pytest.approx(np.arange(DAYS) / 10.0)
    assert "Nowhere" in pool.source


def test_missing_values_of_epw_are_gaps(tmp_path: Path, light: np.ndarray) -> None:
    """Marks of missing values (9999, 99.9) are filled when short and refused when long."""
    lines = epw_lines(light)
    path = tmp_path / "gaps.epw"
    cells = lines[8 + 100].split(",")
    cells[6], cells[21] = "99.9", "999"
    path.write_text("\n".join([*lines[:108], ",".join(cells), *lines[109:]]) + "\n", encoding="utf-8")
    pool = read_epw(path)
    assert pool.temp_air[0, 100] == pytest.approx(0.4)
    assert any("1 missing hours filled" in note for note in pool.notes)
    for row in range(108, 113):
        cells = lines[row].split(",")
        cells[13] = "9999"
        lines[row] = ",".join(cells)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(InputError, match=r"ghi\n.*5 hours missing from 01-05 04:00 on"):
        read_epw(path)


def test_epw_with_old_names_of_places_is_read(tmp_path: Path, light: np.ndarray) -> None:
    """Figures are read whatever the encoding of the head: Latin-1, as in older files, UTF-8, with a mark or without."""
    text = "\n".join(epw_lines(light)).replace("Nowhere", "Nirgends-Süd") + "\n"
    pools = []
    for encoding in ("latin-1", "utf-8", "utf-8-sig"):
        path = tmp_path / "made_up.epw"
        path.write_text(text, encoding=encoding)
        pools.append(read_epw(path))
        assert "Nirgends-Süd" in pools[-1].source
    assert (pools[0].ghi == pools[1].ghi).all()
    assert (pools[1].ghi == pools[2].ghi).all()
    path.write_text(text, encoding="utf-16")
    with pytest.raises(InputError, match="accepted: an EPW weather file"):
        read_epw(path)


@pytest.mark.parametrize("column", [1, 2, 3])
def test_epw_without_dates_is_refused(tmp_path: Path, light: np.ndarray, column: int) -> None:
    """A month, day or hour that is no number is refused with its line, whether in one line or in all."""
    lines = epw_lines(light)
    for rows in ([108], range(8, len(lines))):
        damaged = list(lines)
        for row in rows:
            cells = lines[row].split(",")
            cells[column] = "nan"
            damaged[row] = ",".join(cells)
        path = tmp_path / "made_up.epw"
        path.write_text("\n".join(damaged) + "\n", encoding="utf-8-sig")
        with pytest.raises(InputError, match=f"in line {rows[0] + 1}\\b") as caught:
            read_epw(path)
        assert "year, month, day and hour" in str(caught.value)


@pytest.mark.parametrize("read", [read_tmy3, read_epw])
def test_other_files_are_not_mistaken(tmp_path: Path, read: Callable[[Path], WeatherPool]) -> None:
    """A plain CSV is refused as TMY3 and as EPW, by the name of the form."""
    path = written(tmp_path / "plain.csv", ["2021-01-01T00:00Z,0,1,2"])
    with pytest.raises(InputError, match=r"not an? (TMY3|EPW) file"):
        read(path)
