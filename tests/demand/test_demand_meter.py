"""Reading a home's own meter file."""

import csv
import runpy
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from riskcalc.clock import DAYS, local_clock, wall_minute_of_step
from riskcalc.demand.gaps import WholeDays, _copy_from_like_days, donors, whole_days
from riskcalc.demand.meter import read_meter
from riskcalc.demand.meter_cells import MeterFormat
from riskcalc.demand.meter_file import read_meter_days
from riskcalc.errors import InputError

reachable_w = runpy.run_path(str(Path(__file__).with_name("pool_watts.py")))["reachable_w"]

UTC = local_clock("Etc/UTC")
PARIS = local_clock("Europe/Paris", slot_minutes=30)
WEEK = Path(__file__).parents[2] / "scenarios" / "data" / "demand_one_home_week_minute.csv"


def _write(path: Path, header: str, rows) -> Path:
    path.write_text("\n".join([header, *(f"{time},{value}" for time, value in rows)]) + "\n", encoding="utf-8")
    return path


def _half_hours(start: datetime, count: int):
    return [start + timedelta(minutes=30 * index) for index in range(count)]


def _year_file(path: Path, watts, *, year: int = 2023) -> Path:
    """Half-hourly file of a year, `watts(time)` at each start."""
    times = _half_hours(datetime(year, 1, 1), 365 * 48)
    return _write(path, "time,power_w", [(f"{time:%Y-%m-%d %H:%M}", watts(time)) for time in times])


GOOD = ["2023-03-01 00:00,100", "2023-03-01 00:30,200", "2023-03-01 01:00,300", "2023-03-01 01:30,400"]


@pytest.mark.parametrize(
    ("text", "where", "given", "accepted"),
    [
        ("", "line 1", "an empty file", "a table with times"),
        ("time,power_w,energy_kwh\n2023-03-01 00:00,1,1", "line 2", "power_w, energy_kwh", "home.demand.columns"),
        ("time,power_w\n" + GOOD[0], "line 2", "1 rows", "at least two rows"),
        ("time,power_w\n" + "\n".join([*GOOD[:2], "2023-03-01 01:00,-5"]), "line 4, power_w", "'-5'", "0 or more"),
        ("time,power_w\n" + "\n".join([*GOOD[:2], "2023-03-01 01:00,NaN"]), "line 4, power_w", "'NaN'", "empty field"),
        ("time,power_w\n" + "\n".join([*GOOD[:2], "2023-03-01 01:00,inf"]), "line 4, power_w", "'inf'", "a number"),
        ("time,power_w\n" + "\n".join([*GOOD[:2], '2023-03-01 01:00,"1,5,5"']), "line 4, power_w", "'1,5,5'", "a number"),
        ("time,power_w\n" + "\n".join([*GOOD[:2], "yesterday,1"]), "line 4, time", "'yesterday'", "local time such as"),
        ("time,power_w\n" + "\n".join([*GOOD[:2], "2023-02-30 01:00,1"]), "line 4, time", "'2023-02-30", "local time"),
        ("time,power_w\n" + "\n".join([*GOOD[:2], GOOD[1]]), "line 4, time", "'2023-03-01 00:30'", "each time once"),
        ("time,power_w\n" + "\n".join([GOOD[1], GOOD[2], GOOD[0]]), "line 4, time", "00:00'", "rows in order of time"),
        ("time,power_w\n2023-03-01 00:00,1\n2023-03-01 00:07,1\n2023-03-01 00:14,1", "line 3, time",
         "rows every 7 minutes", "1, 5, 15, 30, 60"),
        ("time,power_w\n2023-03-01 00:10,1\n2023-03-01 00:40,1\n2023-03-01 01:10,1", "line 2, time",
         "00:10'", "whole multiples of 30 minutes"),
        ("time,power_w\n2023-03-01T00:00Z,1\n2023-03-01T00:30,1\n2023-03-01T01:00Z,1", "line 3, time",
         "'2023-03-01T00:30'", "offsets on every row or on none"),
    ],
)  # fmt: skip
def test_faults_are_named_with_their_line(tmp_path, text, where, given, accepted):
    """Each fault of a file is refused with the file, the line, what stands there and what is accepted."""
    path = tmp_path / "meter.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as error:
        read_meter_days(path, zone="Europe/London")
    problem = error.value.problems[0]
    assert problem.file == str(path)
    assert problem.key == where
    assert given in problem.given
    assert accepted in problem.accepted


def test_several_faulty_values_come_together(tmp_path):
    """Text and negative values are both reported, with how many rows have them."""
    rows = [*GOOD[:2], "2023-03-01 01:00,NaN", "2023-03-01 01:30,-1", "2023-03-01 02:00,-2"]
    path = tmp_path / "meter.csv"
    path.write_text("time,power_w\n" + "\n".join(rows), encoding="utf-8")
    with pytest.raises(InputError) as error:
        read_meter_days(path, zone="Europe/London")
    assert len(error.value.problems) == 2
    assert "2 rows have this fault" in error.value.problems[1].hint


def test_missing_and_unreadable_files_are_named(tmp_path):
    """No file, and a file that is no text, are input errors."""
    with pytest.raises(InputError, match="no such file"):
        read_meter_days(tmp_path / "nowhere.csv", zone="Europe/London")
    path = tmp_path / "picture.csv"
    path.write_bytes(b"\x89PNG\x00\x00\x01")
    with pytest.raises(InputError, match="not a text file"):
        read_meter_days(path, zone="Europe/London")


def test_interval_can_be_required(tmp_path):
    """A half-hourly file given as a minute file is refused."""
    path = tmp_path / "meter.csv"
    path.write_text("time,power_w\n" + "\n".join(GOOD), encoding="utf-8")
    with pytest.raises(InputError, match="rows every 1 minutes"):
        read_meter(path, clock=UTC, years=1, seed=1, kind="minute")
    with pytest.raises(InputError, match='"minute" or "half_hour"'):
        read_meter(path, clock=UTC, years=1, seed=1, kind="hourly")


def test_energy_and_power_columns_agree(tmp_path):
    """0.25 kWh in half an hour is 500 W."""
    times = _half_hours(datetime(2023, 3, 1), 4)
    power = _write(tmp_path / "power.csv", "time,power_w", [(f"{t:%Y-%m-%d %H:%M}", 500) for t in times])
    energy = _write(tmp_path / "energy.csv", "time,energy_kwh", [(f"{t:%Y-%m-%d %H:%M}", 0.25) for t in times])
    one, other = (read_meter_days(path, zone="Etc/UTC").power_w for path in (power, energy))
    assert one[0, :4] == pytest.approx([500.0] * 4)
    assert other[0, :4] == pytest.approx([500.0] * 4)


def test_end_labels_are_moved_to_the_start(tmp_path):
    """A reading labelled 00:30 at its end belongs to the first half-hour of the day."""
    path = tmp_path / "meter.csv"
    path.write_text("time,power_w\n2023-03-01 00:30,1\n2023-03-01 01:00,2\n2023-03-01 01:30,3\n", encoding="utf-8")
    assert read_meter_days(path, zone="Etc/UTC", wanted=MeterFormat(label="end")).power_w[0, :3] == pytest.approx(
        [1.0, 2.0, 3.0]
    )
    assert np.isnan(read_meter_days(path, zone="Etc/UTC").power_w[0, 0])


def test_offsets_are_converted_to_the_wall_clock(tmp_path):
    """22:30 UTC on 30 June is 00:30 of 1 July in Paris."""
    path = tmp_path / "meter.csv"
    path.write_text("time,power_w\n2023-06-30T22:30Z,7\n2023-06-30T23:00Z,8\n", encoding="utf-8")
    days = read_meter_days(path, zone="Europe/Paris")
    assert days.first_day.isoformat() == "2023-07-01"
    assert days.power_w[0, 1:3] == pytest.approx([7.0, 8.0])


def test_the_hour_that_autumn_repeats_is_averaged(tmp_path):
    """Local file through 29 October 2023 in Paris: 02:00 and 02:30 stand twice; with offsets the same days result."""
    utc = _half_hours(datetime(2023, 10, 28, 22), 50)
    watts = np.arange(50) * 10.0
    offset_file = _write(
        tmp_path / "a.csv", "time,power_w", zip((f"{t:%Y-%m-%dT%H:%MZ}" for t in utc), watts, strict=True)
    )
    shift = [timedelta(hours=2 if t < datetime(2023, 10, 29, 1) else 1) for t in utc]
    local = [f"{t + s:%Y-%m-%d %H:%M}" for t, s in zip(utc, shift, strict=True)]
    local_file = _write(tmp_path / "b.csv", "time,power_w", zip(local, watts, strict=True))
    assert local.count("2023-10-29 02:00") == 2
    for path in (offset_file, local_file):
        days = read_meter_days(path, zone="Europe/Paris")
        assert days.power_w.shape == (1, 48)
        # 02:00 is read as intervals 4 and 6 of the file: 40 W and 60 W.
        assert days.power_w[0, 3:7] == pytest.approx([30.0, 50.0, 60.0, 80.0])


def test_the_hour_that_spring_skips_is_no_gap(tmp_path):
    """26 March 2023 in Paris has no 02:00: it is marked, filled from a like day, and not reported as missing."""
    first = datetime(2023, 3, 1)
    rows = [
        (f"{t:%Y-%m-%d %H:%M}", 100 + t.day)
        for t in _half_hours(first, 31 * 48)
        if not (t.date().isoformat() == "2023-03-26" and t.hour == 2)
    ]
    days = read_meter_days(_write(tmp_path / "m.csv", "time,power_w", rows), zone="Europe/Paris")
    assert days.skipped.sum() == 2
    assert days.skipped[25, 4:6].all()
    whole = whole_days(days)
    assert whole.notes == ()
    # The nearest other Sunday is the 19th.
    assert whole.power_w[25, 4] == pytest.approx(119.0)


def test_gaps_are_filled_and_reported(tmp_path):
    """Three minutes are bridged on the line, two hours copied from a like day, a day that lacks 7 h left out."""
    start = datetime(2023, 5, 1)
    watts = np.repeat(np.arange(14.0) * 100.0, 1440)
    text = [f"{w:.0f}" for w in watts]
    text[600:603] = [""] * 3
    text[599], text[603] = "100", "500"
    text[2 * 1440 + 60 : 2 * 1440 + 180] = [""] * 120
    text[4 * 1440 : 4 * 1440 + 420] = [""] * 420
    times = (f"{start + timedelta(minutes=i):%Y-%m-%d %H:%M}" for i in range(watts.size))
    days = read_meter_days(_write(tmp_path / "m.csv", "time,power_w", zip(times, text, strict=True)), zone="Etc/UTC")
    whole = whole_days(days)
    assert whole.power_w[0, 600:603] == pytest.approx([200.0, 300.0, 400.0])
    # 3 May is a Wednesday; 2 and 4 May are equally near, the earlier is taken.
    assert whole.power_w[2, 60:180] == pytest.approx(np.full(120, 100.0))
    assert len(whole.power_w) == 13
    assert whole.notes[0].startswith("0.05 h in gaps up to 5 minutes")
    assert whole.notes[1].startswith("2.00 h in longer gaps")
    assert whole.notes[2].startswith("1 of 14 days left out")


@pytest.mark.parametrize("rows_left_out", [True, False])
def test_a_gap_of_weeks_leaves_its_days_out(tmp_path, rows_left_out):
    """20 days without readings, as empty fields or as missing rows, are left out and said."""
    times = _half_hours(datetime(2023, 1, 1), 60 * 48)
    gap = range(20 * 48, 40 * 48)
    rows = [
        (f"{t:%Y-%m-%d %H:%M}", "" if index in gap else 100)
        for index, t in enumerate(times)
        if not (rows_left_out and index in gap)
    ]
    whole = whole_days(read_meter_days(_write(tmp_path / "m.csv", "time,power_w", rows), zone="Etc/UTC"))
    assert len(whole.power_w) == 40
    assert whole.notes[-1].startswith("20 of 60 days left out")


def test_a_file_of_a_week_cannot_make_a_year():
    """The shipped week: refused with how many days there are and how many are needed."""
    with pytest.raises(InputError, match="7 whole days"):
        read_meter(WEEK, clock=PARIS, years=2, seed=1)


def test_pool_years_keep_month_and_kind_of_day(tmp_path):
    """A file whose watts say month and kind of day gives every pool day the watts of its own month and kind."""

    def watts(time):
        return 100 * time.month + max(time.weekday() - 4, 0)

    pool = read_meter(_year_file(tmp_path / "m.csv", watts), clock=UTC, years=3, seed=2, step_minutes=30)
    expected = 100 * (UTC.month + 1) + np.maximum(UTC.weekday - 4, 0)
    hourly = reachable_w(pool)[:, 0].reshape(3, 8760, 2).mean(axis=2)
    assert hourly == pytest.approx(np.broadcast_to(expected, hourly.shape), abs=0.01)


def test_every_day_of_the_file_is_used_alike(tmp_path):
    """Days are dealt like cards: over 4 pool years each January workday comes equally often, to within one."""
    path = _year_file(tmp_path / "m.csv", lambda time: time.timetuple().tm_yday)
    pool = read_meter(path, clock=UTC, years=4, seed=3, step_minutes=60)
    first_hour = np.round(reachable_w(pool)[:, 0].reshape(4, DAYS, 24)[:, :31, 0]).astype(int)
    workday = (UTC.weekday.reshape(DAYS, 24)[:31, 0]) < 5
    counts = np.bincount(first_hour[:, workday].ravel(), minlength=32)
    workdays_2023 = [d for d in range(1, 32) if datetime(2023, 1, d).weekday() < 5]
    assert set(counts[workdays_2023]) <= {4, 5}
    assert counts.sum() == counts[workdays_2023].sum()


def test_pool_follows_the_wall_clock(tmp_path):
    """A load at 07:00-07:30 local time lies there in winter and summer on the clock's own axis."""
    path = _year_file(tmp_path / "m.csv", lambda time: 1000 if (time.hour, time.minute) == (7, 0) else 0)
    pool = read_meter(path, clock=PARIS, years=1, seed=4, step_minutes=30)
    wall = wall_minute_of_step(PARIS, step_minutes=30) % 1440
    assert reachable_w(pool)[0, 0, wall == 420] == pytest.approx(1000.0, rel=1e-5)
    assert reachable_w(pool)[0, 0, wall != 420].max() == 0.0


def test_reachable_share_splits_the_energy(tmp_path):
    """At a share of 0.3 three tenths can be reached; the sum is the file's year: 0.5 kW x 8760 h."""
    path = _year_file(tmp_path / "m.csv", lambda _: 500)
    pool = read_meter(path, clock=PARIS, years=2, seed=5, step_minutes=5, reachable_share=0.3)
    assert pool.reachable_day_kwh.sum() / 2.0 == pytest.approx(0.3 * 4380.0, rel=1e-5)
    assert pool.mean_kwh([0.5], [0.5])[0, 0] == pytest.approx(4380.0, rel=1e-5)
    with pytest.raises(InputError, match="reachable_share"):
        read_meter(path, clock=PARIS, years=1, seed=1, reachable_share=1.2)


def test_leap_day_is_one_more_february_day(tmp_path):
    """A file of 2024 has 29 February among its days; pool years have 365 days and may use it in February."""
    times = _half_hours(datetime(2024, 1, 1), 366 * 48)
    rows = [(f"{t:%Y-%m-%d %H:%M}", 9000 if (t.month, t.day) == (2, 29) else 100) for t in times]
    pool = read_meter(_write(tmp_path / "m.csv", "time,power_w", rows), clock=UTC, years=8, seed=6, step_minutes=60)
    days = np.unique(np.nonzero(reachable_w(pool)[:, 0].reshape(8, DAYS, 24)[:, :, 12] > 5000.0)[1])
    assert days.size > 0
    assert days.min() >= 31
    assert days.max() < 59


def test_a_whole_year_of_minutes_is_read(tmp_path):
    """The real week laid end to end makes 527,040 minutes, 184 of them lost: read, filled, reported, resampled."""
    with WEEK.open(encoding="utf-8") as file:
        week = np.array([int(row["power_w"]) for row in csv.DictReader(file)])
    # 2 June 2008 was a Monday; 1 January 2008 a Tuesday.
    watts = np.resize(np.roll(week, -1440), 366 * 1440)
    text = watts.astype(str).astype(object)
    text[100_000:100_180] = ""
    text[200_000:200_020:5] = ""
    times = np.datetime_as_string(np.datetime64("2008-01-01T00:00") + np.arange(watts.size), unit="m")
    path = _write(tmp_path / "year.csv", "time,power_w", zip(np.char.replace(times, "T", " "), text, strict=True))
    pool = read_meter(path, clock=PARIS, years=2, seed=7, kind="minute")
    assert reachable_w(pool).shape == (2, 1, 525_600)
    assert pool.notes[0].startswith("0.07 h")
    assert pool.notes[1].startswith("3.00 h")
    assert pool.mean_kwh([0.0], [0.0])[0, 0] == pytest.approx(week.mean() * 8.76, rel=0.02)
    assert reachable_w(pool).max() == week.max()
    again = read_meter(path, clock=PARIS, years=2, seed=7, kind="minute")
    assert np.array_equal(reachable_w(pool), reachable_w(again))


def _few_days(month, day_w, date=None):
    """Return whole workdays of hours in these months (0 to 11), each at one power."""
    count = len(month)
    power = np.repeat(np.asarray(day_w, float)[:, None], 24, axis=1)
    return WholeDays(power, np.arange(count), np.asarray(month), np.zeros(count, int), ())


def test_a_month_of_too_few_days_is_made_from_others():
    """One day of March does not stand for March: February does, and March counts as made."""
    month = np.repeat([0, 1, 2], [20, 20, 1])
    found = donors(_few_days(month, np.arange(41.0)), "m.csv", swing=np.ones(12))
    assert found.factor.shape == (12, 3)
    assert found.made == tuple(range(2, 12))
    assert found.rows[1][0].tolist() == list(range(20, 40))
    assert found.rows[2][0].tolist() == list(range(20, 40))


def test_a_hole_is_filled_from_a_day_that_was_read_throughout_it():
    """The day before lacks the second hour of the hole, so the one before that fills both."""
    power = np.array([[1.0, 2.0, 3.0], [4.0, 5.0, np.nan], [7.0, np.nan, np.nan]])
    _copy_from_like_days(power, np.array([2]), np.zeros(3, int), np.zeros(3, int))
    assert power[2].tolist() == [7.0, 2.0, 3.0]


def test_nothing_may_be_in_reach(tmp_path):
    """A share of 0 is a home whose sockets feed nothing of what the meter counts."""
    path = _year_file(tmp_path / "m.csv", lambda _: 500)
    pool = read_meter(path, clock=UTC, years=1, seed=1, step_minutes=60, reachable_share=0.0)
    assert pool.reachable_day_kwh.sum() == 0.0
    assert pool.wired_day_kwh.sum() == pytest.approx(4380.0, rel=1e-5)
