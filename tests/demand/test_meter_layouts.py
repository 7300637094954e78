"""Meter files as utilities hand them out: one year, written in every usual layout, reads alike."""

import re
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskcalc.answers.check import check_figures
from riskcalc.answers.page_dict import page_dict, whole_result
from riskcalc.clock import local_clock
from riskcalc.demand.gaps import month_swing
from riskcalc.demand.meter import metered_year, read_meter
from riskcalc.demand.meter_cells import MeterFormat
from riskcalc.demand.meter_file import read_meter_days
from riskcalc.errors import InputError
from riskcalc.pages.page import assess_page
from riskcalc.pages.screen_check import check_lines
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment

PATH_OF_FLAT = Path(__file__).parents[1] / "data" / "flat.toml"
ZONE = "Europe/Berlin"
FIRST = date(2023, 1, 1)
DAYS = 40


def _kwh(step: int, days: int = DAYS) -> np.ndarray:
    """Return kWh by interval, each of them another, 250 W to 750 W on average."""
    count = days * 1440 // step
    return np.round((0.25 + 0.5 * ((np.arange(count) * 7919) % 997) / 997.0) * step / 60.0, 4)


def _rows(
    step: int, form: str, head: str, *, joint: str = ",", comma: bool = False, end: bool = False, days: int = DAYS
):
    lines = [head]
    for index, kwh in enumerate(_kwh(step, days)):
        time = datetime(2023, 1, 1) + timedelta(minutes=step * (index + end))
        value = f"{kwh:.4f}".replace(".", ",") if comma else f"{kwh:.4f}"
        lines.append(time.strftime(form) + joint + value)
    return "\n".join(lines) + "\n"


def _both_ends(step: int) -> str:
    lines = ["Von;Bis;Verbrauch (kWh)"]
    for index, kwh in enumerate(_kwh(step)):
        times = [datetime(2023, 1, 1) + timedelta(minutes=step * (index + more)) for more in (0, 1)]
        lines.append(";".join(f"{time:%d.%m.%Y %H:%M}" for time in times) + ";" + f"{kwh:.4f}".replace(".", ","))
    return "\n".join(lines)


def _day_lines(step: int, form: str, *, ends: bool = False, total: bool = False) -> str:
    count = 1440 // step
    clocks = [timedelta(minutes=step * (index + ends)) for index in range(count)]
    names = [
        f"{int(clock.total_seconds()) // 3600:02d}:{int(clock.total_seconds()) // 60 % 60:02d}" for clock in clocks
    ]
    lines = [",".join(["Meter", "Date", *names, *(["Total kWh"] if total else ["Units"])])]
    for day, kwh in enumerate(_kwh(step).reshape(-1, count)):
        last = f"{kwh.sum():.4f}" if total else "kWh"
        cells = [f"{value:.4f}" for value in kwh]
        lines.append(",".join(["12345678", (FIRST + timedelta(days=day)).strftime(form), *cells, last]))
    return "\n".join(lines)


def _two_registers(step: int) -> str:
    lines = ["Date;Time;Day rate kWh;Night rate kWh;Export kWh"]
    for index, kwh in enumerate(_kwh(step)):
        time = datetime(2023, 1, 1) + timedelta(minutes=step * index)
        night = time.hour < 7
        cells = (0.0, kwh) if night else (kwh, 0.0)
        lines.append(f"{time:%d/%m/%Y};{time:%H:%M};{cells[0]:.4f};{cells[1]:.4f};0.1")
    return "\n".join(lines)


def _register_rows(step: int) -> str:
    lines = ["Timestamp,Register,Value,Unit"]
    for index, kwh in enumerate(_kwh(step)):
        time = datetime(2023, 1, 1) + timedelta(minutes=step * index)
        night = time.hour < 7
        lines += [f"{time:%Y-%m-%d %H:%M},{name},{value:.4f},kWh" for name, value in (
            ("day", 0.0 if night else kwh), ("night", kwh if night else 0.0), ("export", 0.2))]  # fmt: skip
    return "\n".join(lines)


def _counter(step: int) -> str:
    reading = 12_345.678
    lines = ["time,Reading kWh"]
    for index, kwh in enumerate([*_kwh(step), 0.0]):
        lines.append(f"{datetime(2023, 1, 1) + timedelta(minutes=step * index):%Y-%m-%d %H:%M},{reading:.4f}")
        reading += kwh
    return "\n".join(lines)


def _newest_first(step: int) -> str:
    head, *rows = _rows(step, "%d/%m/%Y %H:%M", "Date,kWh").splitlines()
    return "\n".join([head, *rows[::-1]])


PREAMBLE = "Customer: A. Nybody\nMeter;4711\n\nPeriod;2023\n"
LAYOUTS = {
    "canonical": (30, lambda: _rows(30, "%Y-%m-%d %H:%M", "time,energy_kwh")),
    "iso with T": (15, lambda: _rows(15, "%Y-%m-%dT%H:%M:%S", "Timestamp,Consumption (kWh)")),
    "day first, slashes": (30, lambda: _rows(30, "%d/%m/%Y %H:%M", "Date and time,kWh")),
    "month first": (60, lambda: _rows(60, "%m/%d/%Y %H:%M", "Date,Usage kWh")),
    "twelve hours": (60, lambda: _rows(60, "%m/%d/%Y %I:%M %p", "Date,Usage kWh")),
    "month by name": (60, lambda: _rows(60, "%d-%b-%Y %H:%M", "Date,Usage kWh")),
    "two-figure year": (60, lambda: _rows(60, "%d.%m.%y %H:%M", "Zeit;kWh", joint=";", comma=True)),
    "semicolons and decimal commas": (15, lambda: _rows(15, "%d.%m.%Y %H:%M", "Datum;Wert (kWh)", joint=";", comma=True)),
    "quoted decimal commas": (60, lambda: _rows(60, "%d.%m.%Y %H:%M", "Datum,kWh", joint=',"', comma=True).replace(
        "\n", '"\n').replace('kWh"', "kWh")),
    "tabs": (60, lambda: _rows(60, "%Y-%m-%d %H:%M", "time\tkWh", joint="\t")),
    "date and clock apart": (30, lambda: _rows(30, "%d/%m/%Y,%H:%M", "Date,Time,kWh")),
    "preamble": (15, lambda: PREAMBLE + _rows(15, "%d.%m.%Y %H:%M", "Datum;kWh", joint=";", comma=True)),
    "total below": (60, lambda: _rows(60, "%Y-%m-%d %H:%M", "time,kWh") + "Total,480.1\n"),
    "minutes": (1, lambda: _rows(1, "%Y-%m-%d %H:%M", "time,kwh", days=30)),
    "five minutes": (5, lambda: _rows(5, "%Y-%m-%d %H:%M", "time,kwh")),
    "start and end": (15, lambda: _both_ends(15)),
    "end of interval": (30, lambda: _rows(30, "%Y-%m-%d %H:%M", "Interval end,kWh", end=True)),
    "end, unsaid": (15, lambda: _rows(15, "%d.%m.%Y %H:%M", "Zeit;kWh", joint=";", comma=True, end=True)),
    "day per line, 48": (30, lambda: _day_lines(30, "%d/%m/%Y")),
    "day per line, 96, ends": (15, lambda: _day_lines(15, "%Y-%m-%d", ends=True)),
    "day per line, 24, total": (60, lambda: _day_lines(60, "%Y%m%d", total=True)),
    "two registers": (30, lambda: _two_registers(30)),
    "registers in rows": (30, lambda: _register_rows(30)),
    "counter": (60, lambda: _counter(60)),
    "newest first": (30, lambda: _newest_first(30)),
}  # fmt: skip


@pytest.mark.parametrize("layout", LAYOUTS)
def test_every_layout_reads_alike(tmp_path, layout):
    """First day, step and each reading in W are what was written."""
    step, text = LAYOUTS[layout]
    path = tmp_path / "meter.csv"
    path.write_text(text(), encoding="utf-8")
    days = read_meter_days(path, zone=ZONE)
    assert days.first_day == FIRST
    assert days.interval_minutes == step
    written = _kwh(step, 30 if step == 1 else DAYS) * 60_000.0 / step
    assert days.power_w.ravel()[: written.size] == pytest.approx(written, abs=60_000.0 / step * 2e-4)
    assert days.understood["unit"].startswith("kWh")


@pytest.mark.parametrize("encoding", ["latin-1", "utf-16", "utf-8-sig"])
def test_every_encoding_is_read(tmp_path, encoding):
    """A name with an umlaut in the preamble, as portals write it."""
    path = tmp_path / "meter.csv"
    path.write_bytes(("Zähler;1\n" + LAYOUTS["semicolons and decimal commas"][1]()).encode(encoding))
    assert read_meter_days(path, zone=ZONE).power_w.shape == (DAYS, 96)


@pytest.mark.parametrize(
    ("text", "where", "given", "accepted"),
    [
        ("time,value\n2023-01-13 00:00,0.1\n2023-01-13 00:30,0.2\n", "line 2, value", "without a unit", "home.demand.unit"),
        ("time,power_w,energy_kwh\n2023-01-13 00:00,1,1\n2023-01-13 00:30,1,1\n", "line 2", "several columns",
         "home.demand.columns"),
        ("time,kWh\n01/02/2023 00:00,0.1\n01/02/2023 00:30,0.2\n", "line 2, time", "day or month first",
         'home.demand.dates = "day_first"'),
        ("time,id,kWh\n" + "".join(f"2023-01-13 {h:02d}:00,{r},0.1\n" for h in range(24) for r in "ab"), "line 2",
         "several registers in id: a, b", "home.demand.registers"),
        ("name,town\nsome,where\n", "line 1", "name,town", "a table with times"),
        ("time,kWh\n2023-01-13 00:00,1\n2023-01-13 00:30,1,2,3\n", "line 3", "4 cells", "2 cells"),
    ],
)  # fmt: skip
def test_two_readings_are_asked_about_and_named(tmp_path, text, where, given, accepted):
    """The message names the choices and the key that decides; none shows a parser's own words."""
    path = tmp_path / "meter.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_meter_days(path, zone=ZONE)
    problem = caught.value.problems[0]
    assert problem.key == where
    assert given in problem.given
    assert accepted in problem.accepted


def test_keys_decide_between_two_readings(tmp_path):
    """Unit, dates, columns and registers as the messages ask for them."""
    path = tmp_path / "meter.csv"
    path.write_text("time,a,b\n01/02/2023 00:00,1,2\n01/02/2023 00:30,3,4\n", encoding="utf-8")
    for dates, first in (("day_first", date(2023, 2, 1)), ("month_first", date(2023, 1, 2))):
        days = read_meter_days(path, zone=ZONE, wanted=MeterFormat(columns=("a", "b"), unit="kW", dates=dates))
        assert days.first_day == first
        assert days.power_w[0, :2] == pytest.approx([3000.0, 7000.0])


def test_a_file_that_keeps_standard_time_is_put_on_the_wall_clock(tmp_path):
    """Use at 07:00 in July that the file calls 06:00, since it has an hour that the wall clock leaves out in March."""
    zone = ZoneInfo(ZONE)
    lines = ["time,kWh"]
    start = datetime(2023, 3, 1, tzinfo=UTC)
    for index in range(150 * 24):
        moment = start + timedelta(hours=index)
        wall = moment.astimezone(zone)
        lines.append(f"{moment + timedelta(hours=1):%Y-%m-%d %H:%M},{2.0 if wall.hour == 7 else 0.1}")
    path = tmp_path / "meter.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    days = read_meter_days(path, zone=ZONE)
    assert "standard time" in days.understood["clock"]
    assert (np.nanargmax(days.power_w[1:-1], axis=1) == 7).all()


def _year_file(path, watts, *, first=datetime(2023, 1, 1), days=365):
    times = [first + timedelta(hours=index) for index in range(days * 24)]
    rows = [f"{time:%Y-%m-%d %H:%M},{watts(time)}" for time in times]
    path.write_text("\n".join(["time,W", *rows]), encoding="utf-8")
    return path


def test_the_year_is_that_of_the_file(tmp_path):
    """300 W all year are 2,628 kWh; a coming year may differ by a twentieth."""
    year = metered_year(_year_file(tmp_path / "m.csv", lambda _: 300), zone=ZONE)
    assert year.year_kwh == pytest.approx(2628.0)
    assert year.year_sd_kwh == pytest.approx(0.05 * 2628.0)
    assert year.understood["year"] == "2,628 kWh"
    assert year.donors.made == ()


def test_half_a_year_is_completed_and_said(tmp_path):
    """January to June of a home that follows the profile's swing give back the year within 2 %, its months named."""
    swing = month_swing(southern=False)
    path = _year_file(tmp_path / "m.csv", lambda time: 300.0 * swing[time.month - 1], days=181)
    year = metered_year(path, zone=ZONE)
    assert year.donors.made == (6, 7, 8, 9, 10, 11)
    assert year.year_kwh == pytest.approx(2628.0, rel=0.02)
    share = 0.5
    assert year.year_sd_kwh == pytest.approx(2628.0 * np.hypot(0.05, 0.15 * share), rel=0.05)
    assert "July" in year.notes[-1]
    pool = read_meter(path, clock=local_clock(ZONE), years=64, seed=3, step_minutes=60)
    by_year = pool.reachable_day_kwh[:, 0, 181:].sum(axis=1)
    assert np.std(np.log(by_year)) == pytest.approx(0.149, rel=0.3)


def test_the_swing_is_that_of_the_published_profile():
    """By hand from the printed coefficients: 1.257 on 16 January, 0.785 on 16 July; half a year later in the south."""
    north, south = month_swing(southern=False), month_swing(southern=True)
    assert north[0] / north[6] == pytest.approx(1.257 / 0.785, abs=0.03)
    assert south[6] == pytest.approx(north[0], abs=0.02)


def test_one_garbled_reading_is_refused_with_its_line(tmp_path):
    """65,535 kWh in an hour, what a counter of two bytes holds at most."""
    path = _year_file(tmp_path / "m.csv", lambda time: 65_535_000 if time == datetime(2023, 5, 3, 4) else 300)
    with pytest.raises(InputError) as caught:
        read_meter_days(path, zone=ZONE)
    problem = caught.value.problems[0]
    assert problem.key == f"line {2 + (31 + 28 + 31 + 30 + 2) * 24 + 4}, W"
    assert "65,535 kW" in problem.given


def test_an_unlikely_reading_is_asked_about(tmp_path):
    """60 kW for an hour: taken, and asked about with what is usual."""
    path = _year_file(tmp_path / "m.csv", lambda time: 60_000 if time == datetime(2023, 5, 3, 4) else 300)
    (key, given_value, usual, effect, source), *_ = metered_year(path, zone=ZONE).doubts(None)
    assert (key, usual) == ("home.demand.file", "at most 43 kW")
    assert given_value.startswith("60 kW over 60 minutes")
    assert effect
    assert source


def test_another_annual_use_than_the_files_is_said_and_beyond_measure_refused(tmp_path):
    """2,628 kWh beside 2,700: a note; beside 3,300: a question too; beside 35,000: refused."""
    path = _year_file(tmp_path / "m.csv", lambda _: 300)
    pool = read_meter(path, clock=local_clock(ZONE), years=1, seed=1, step_minutes=60, annual_use_kwh=2700.0)
    assert pool.notes[-1] == "the meter file's 2,628 kWh a year are scaled to 2,700 kWh"
    assert pool.doubts == ()
    same = read_meter(path, clock=local_clock(ZONE), years=1, seed=1, step_minutes=60, annual_use_kwh=2650.0)
    assert not any("scaled" in note for note in same.notes), "less than a hundredth"
    pool = read_meter(path, clock=local_clock(ZONE), years=1, seed=1, step_minutes=60, annual_use_kwh=3300.0)
    assert pool.questions[0].key == "home.annual_use_kwh"
    assert "1.26" in pool.questions[0].effect
    with pytest.raises(InputError, match=r"35,000 kWh a year beside a meter file of 2,628 kWh"):
        read_meter(path, clock=local_clock(ZONE), years=1, seed=1, step_minutes=60, annual_use_kwh=35_000.0)


def test_a_scenario_takes_its_annual_use_from_the_meter(tmp_path, monkeypatch):
    """Without home.annual_use_kwh it is normal around the file's year; what is given stays."""
    monkeypatch.chdir(tmp_path)
    _year_file(tmp_path / "m.csv", lambda _: 300)
    flat = (PATH_OF_FLAT).read_text(encoding="utf-8")
    kept = [line for line in flat.splitlines() if not line.startswith("annual_use_kwh")]
    text = "\n".join(kept) + '\n[home.demand]\nsource = "meter"\nfile = "m.csv"\nreachable_share = 0.4\n'
    (tmp_path / "home.toml").write_text(text, encoding="utf-8")
    use = read_scenario("home.toml").home.annual_use_kwh.written()
    assert use["mean"] == pytest.approx(2628.0)
    assert use["sd"] == pytest.approx(131.4)
    told = "\n".join(check_lines(check_figures(read_scenario("home.toml"))))
    assert "2023-01-01 to 2023-12-31, 365 days" in told
    assert "2,628 kWh" in told
    given_use = read_scenario("home.toml", ("home.annual_use_kwh=2700",)).home.annual_use_kwh
    assert given_use.written() == 2700.0


cells = st.text(alphabet="0123456789.,;:/-T \t\"'kWh\n", max_size=30)


@settings(deadline=None, max_examples=150)
@given(
    text=st.one_of(
        st.text(max_size=200),
        st.lists(cells, max_size=40).map("\n".join),
        st.tuples(st.sampled_from(sorted(set(LAYOUTS) - {"minutes"})), st.integers(0, 5000), cells),
    )
)
def test_any_text_is_read_or_refused(tmp_path_factory, text):
    """Noise, and layouts with a piece put in anywhere, end in readings or in an error with words, never in another one."""
    if isinstance(text, tuple):
        layout, place, piece = text
        whole = LAYOUTS[layout][1]()[:6000]
        text = whole[:place] + piece + whole[place:]
    path = tmp_path_factory.getbasetemp() / "fuzzed.csv"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    with suppress(InputError):
        assert read_meter_days(path, zone=ZONE).power_w.ndim == 2


def test_the_page_says_how_a_meter_was_understood(tmp_path: Path, small_file: Path) -> None:
    """Period, step, clock, unit, gaps and yearly sum, each in its line of the page; figures by hand.

    A year of half hours at 400 W is 3,504 kWh. Three readings of an hour and a half are missing, and filled.
    """
    start = datetime(2023, 1, 1)
    times = [start + timedelta(minutes=30 * step) for step in range(365 * 48)]
    rows = [f"{time:%Y-%m-%d %H:%M},0.2" for time in times if time not in times[1000:1003]]
    (tmp_path / "m.csv").write_text("time,energy_kwh\n" + "\n".join(rows) + "\n", encoding="utf-8")
    text = small_file.read_text(encoding="utf-8").replace("annual_use_kwh = 2000\n", "")
    text = re.sub(r"appliances = .*\n", 'demand = { source = "meter", file = "m.csv", reachable_share = 0.5 }\n', text)
    (tmp_path / "metered.toml").write_text(text, encoding="utf-8")
    changes = ("study.pool_years=4", "study.draws=16", "study.scrambles=4", "study.horizon_years=2")
    found = assessment(read_scenario(tmp_path / "metered.toml", changes))
    page = assess_page(page_dict(found, figures=whole_result(found), command="riskcalc assess metered.toml"))
    section = page[page.index("Meter file:") :]
    lines = re.findall(r"<li>(.*?)</li>", section[: section.index("</ul>")])
    said = {subject: words.strip() for subject, _, words in (line.partition(":") for line in lines)}
    assert said["Period"] == "2023-01-01 to 2023-12-31, 365 days."
    assert said["Step"] == "30 minutes."
    assert said["Clock"] == "standard time of Europe/London, no summer time."
    assert said["Unit"].startswith("kWh")
    assert said["Gaps"] == "1.5 h without a reading, 1.5 h of them filled."
    assert said["Year"] == "3,504 kWh."
