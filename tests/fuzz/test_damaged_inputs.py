"""Every input, damaged in every way we know: read or refused in words. The long run is `tests/fuzz/run.py`."""

import random
import warnings

import pytest
from extremes import KITS, whole_run
from inputs import ENTRIES, damaged, epw, meter_csv, tmy3, weather_csv
from run import by_rule

from riskcalc.demand.meter_file import read_meter_days
from riskcalc.errors import InputError
from riskcalc.weather.files import read_epw, read_tmy3


@pytest.mark.parametrize("name", ENTRIES)
def test_damage_is_read_or_refused(tmp_path, name):
    """Thirty seeded cases: no other exception, no problem without words."""
    count = by_rule(ENTRIES[name], 30, seed=7, folder=tmp_path)
    assert count.faults == []
    assert count.refused > 0


@pytest.mark.parametrize("name", ENTRIES)
def test_the_sound_example_is_read(tmp_path, name):
    """What is damaged is sound before: a reader that refuses everything would be noticed."""
    path = tmp_path / ENTRIES[name].file
    path.write_bytes(ENTRIES[name].example())
    ENTRIES[name].read(path)


def test_damage_comes_from_the_seed():
    """The same seed gives the same cases, so that a failure can be had again."""
    one, two = (damaged(weather_csv(), random.Random(3)) for _ in range(2))
    assert one == two != weather_csv()


def with_column(content, column, change):
    """Return a CSV file with one column changed, line by line."""
    lines = content.decode().splitlines()
    rows = [line.split(",") for line in lines[1:]]
    for row in rows:
        row[column] = f"{change(float(row[column])):.6g}"
    return "\n".join([lines[0], *(",".join(row) for row in rows)]) + "\n"


SLIPS = {
    "light in kW/m2": (1, lambda x: x / 1000, "this looks like kW/m2"),
    "light in J/cm2": (1, lambda x: x * 0.36, "J/cm2"),
    "light in kJ/m2": (1, lambda x: x * 3.6, "irradiance in W/m2"),
    "light in mW/m2": (1, lambda x: x * 1000, "irradiance in W/m2"),
    "light at the end of all numbers": (1, lambda _: 1e308, "at most 10000"),
    "air at the end of all numbers": (2, lambda _: 1e308, "this looks like kelvin"),
    "air in kelvin": (2, lambda x: x + 273.15, "this looks like kelvin"),
    "air in Fahrenheit": (2, lambda x: x * 1.8 + 32, "not Fahrenheit"),
    "wind in millimetres per second": (3, lambda x: 1000 * x + 1, "metres per second"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_weather_in_other_units_is_suspected(tmp_path, slip):
    """Weather in a neighbouring unit is refused, and what it looks like is said."""
    column, change, message = SLIPS[slip]
    path = tmp_path / "w.csv"
    path.write_text(with_column(weather_csv(), column, change), encoding="utf-8")
    with pytest.raises(InputError, match=message):
        ENTRIES["weather CSV"].read(path)


@pytest.mark.parametrize(
    ("header", "factor", "message"),
    [
        ("power_w", 0.001, "this looks like kilowatts"),
        ("power_w", 1000, "this looks like milliwatts"),
        ("energy_kwh", 0.5, "this looks like watt-hours"),
        ("energy_kwh", 0.5e-6, "this looks like megawatt-hours"),
    ],
)
def test_meter_readings_in_other_units_are_suspected(tmp_path, header, factor, message):
    """A home of a third of a watt or of three hundred kilowatts has another unit in its file."""
    text = with_column(meter_csv(), 1, lambda watts: watts * factor).replace("power_w", header)
    (tmp_path / "m.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=message):
        read_meter_days(tmp_path / "m.csv", zone="Europe/London")


def test_a_meter_that_only_has_gaps_is_refused(tmp_path):
    """No value in any row is said as such."""
    text = "\n".join(
        line if line.startswith("time") else line.split(",")[0] + "," for line in meter_csv().decode().split()
    )
    (tmp_path / "m.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match="no value in any row"):
        read_meter_days(tmp_path / "m.csv", zone="Europe/London")


def test_hours_of_a_typical_year_out_of_order_are_named(tmp_path):
    """An EPW file with two lines exchanged, one doubled, or text among its figures is refused with the line."""
    lines = epw().decode().splitlines()
    lines[100], lines[101] = lines[101], lines[100]
    (tmp_path / "w.epw").write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(InputError, match="in line 101"):
        read_epw(tmp_path / "w.epw")
    lines[100], lines[101] = lines[101], lines[100]
    lines[2000] = lines[1999]
    (tmp_path / "w.epw").write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(InputError, match="in line 2001"):
        read_epw(tmp_path / "w.epw")
    cells = epw().decode().splitlines()
    cells[500] = ",".join([*cells[500].split(",")[:13], "bright", *cells[500].split(",")[14:]])
    (tmp_path / "w.epw").write_text("\n".join(cells), encoding="utf-8")
    with pytest.raises(InputError, match=r"'bright' in hour 493 of the year, line 501"):
        read_epw(tmp_path / "w.epw")


@pytest.mark.filterwarnings("error")
def test_a_line_without_its_date_is_named(tmp_path):
    """A TMY3 file with a line that holds no date is refused with the line, without a warning."""
    lines = tmy3().decode().splitlines()
    lines[1000] = ",".join(["", *lines[1000].split(",")[1:]])
    (tmp_path / "w.csv").write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(InputError, match="no time in line 1001"):
        read_tmy3(tmp_path / "w.csv")


def test_a_place_off_the_earth_is_refused(tmp_path):
    """A latitude of 515 degrees in the head of a file is named with what is accepted."""
    (tmp_path / "w.epw").write_bytes(epw().replace(b",51.5,", b",515,"))
    with pytest.raises(InputError, match="head, latitude"):
        read_epw(tmp_path / "w.epw")


@pytest.mark.parametrize(
    "overrides",
    [
        # No year of the pool charges the car at all.
        ["home.car_kwh_per_year=1e-06"],
        # What breaks even with a falling price is looked for down to the smallest jump there may be.
        ['prices.jump_mean={ distribution = "uniform", low = 0.01, high = 0.99 }', "prices.jump_spread=1e-12"],
        # With one scramble left out all draws agree.
        ['tariff.rates.day.import_price_per_kwh={ distribution = "uniform", low = 0.5, high = 2 }'],
        [*KITS[1], "home.car_kwh_per_year=1e-06"],
    ],
    ids=["car", "jump", "agreed", "selling"],
)
def test_runs_at_extreme_figures_warn_of_nothing(tmp_path, overrides):
    """Whole runs that once divided by zero end in figures, without a warning."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        whole_run(tmp_path, overrides)


def test_a_price_that_jumps_to_nothing_is_refused(tmp_path):
    """A mean jump of -100 % would leave no price to go on from."""
    with pytest.raises(InputError, match=r"prices\.jump_mean"):
        whole_run(tmp_path, ["prices.jump_mean=-1"])
