"""Half-hourly prices from a file: reading, checking, the calendar, and the bill they make."""

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from riskcalc.answers.trace import traced_year
from riskcalc.clock import local_clock
from riskcalc.errors import InputError
from riskcalc.price_series import rate_weights, read_price_series
from riskcalc.study.model import assessment
from riskcalc.tariff import rate_of_slot

ZONE = "Europe/London"


def write(path, price, *, start=datetime(2023, 1, 1), days=365, minutes=30, skip=(), form="%Y-%m-%dT%H:%M+00:00"):
    """Write a file of prices in UTC; `price` is a function of the moment, `skip` rows are left out."""
    rows = ["time,price_per_kwh"]
    for index in range(days * 1440 // minutes):
        moment = start + timedelta(minutes=index * minutes)
        if index not in skip:
            rows.append(f"{moment.strftime(form)},{price(moment):.6g}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def by_half_hour(moment):
    """Return 0.1 at midnight rising to 0.335 at 23:30 UTC."""
    return 0.1 + 0.005 * (2 * moment.hour + moment.minute // 30)


def test_every_half_hour_lands_on_its_slot(tmp_path):
    """A price that names the half hour of the UTC day: London's standard time is UTC, so slot by slot it comes back."""
    series = read_price_series(write(tmp_path / "p.csv", by_half_hour), zone=ZONE)
    assert series.interval_minutes == 30
    assert series.price_per_kwh.reshape(365, 48) == pytest.approx(np.tile(0.1 + 0.005 * np.arange(48), (365, 1)))
    assert len(series.of_slots(15)) == 365 * 96


def test_days_of_the_week_keep_their_place(tmp_path):
    """A file of 2023 (1 January a Sunday) in which weekends cost double: weekends of the simulated year cost double."""
    path = write(tmp_path / "p.csv", lambda moment: 0.4 if moment.weekday() >= 5 else 0.2)
    series = read_price_series(path, zone=ZONE)
    clock = local_clock("UTC", slot_minutes=30)
    assert np.array_equal(series.price_per_kwh == 0.4, clock.weekday >= 5)


def test_a_leap_day_is_left_out_and_months_keep_their_place(tmp_path):
    """All of 2024 with a price for each month: every month of the simulated year holds its own, but 3 days at edges."""
    path = write(tmp_path / "p.csv", lambda moment: 0.1 * moment.month, start=datetime(2024, 1, 1), days=366)
    series = read_price_series(path, zone=ZONE).price_per_kwh.reshape(365, 48)
    month = local_clock("UTC", slot_minutes=30).month.reshape(365, 48) + 1
    assert (np.abs(series - 0.1 * month) < 1e-9).mean() > 1 - 12 * 3 / 365
    assert np.unique(np.round(series, 6)).size == 12


def test_wall_clock_times_are_read_on_the_wall_clock(tmp_path):
    """Without offsets 12:00 in July is 11:00 UTC, and the hour that autumn repeats is read twice."""
    rows, moment = ["time,price_per_kwh"], datetime(2022, 12, 31, 23, 0, tzinfo=UTC)
    from zoneinfo import ZoneInfo

    while moment < datetime(2024, 1, 1, tzinfo=UTC):
        local = moment.astimezone(ZoneInfo(ZONE))
        rows.append(f"{local.strftime('%Y-%m-%d %H:%M')},{1 + moment.hour}")
        moment += timedelta(minutes=60)
    path = tmp_path / "p.csv"
    path.write_text("\n".join(rows), encoding="utf-8")
    series = read_price_series(path, zone=ZONE)
    assert series.price_per_kwh.reshape(365, 24) == pytest.approx(np.tile(1.0 + np.arange(24), (365, 1)))
    assert series.notes == ()


def test_short_gaps_are_filled_and_told(tmp_path):
    """Four missing half hours between 0.1 and 0.1 are filled with 0.1, and the note says two hours."""
    path = write(tmp_path / "p.csv", lambda _: 0.1, skip=range(1000, 1004))
    series = read_price_series(path, zone=ZONE)
    assert series.price_per_kwh == pytest.approx(np.full(17520, 0.1))
    assert series.notes == ("2.0 missing hours of prices in p.csv filled on straight lines",)


@pytest.mark.parametrize(
    ("text", "key", "given"),
    [
        ("time;price_per_kwh\n", "line 1", "time;price_per_kwh"),
        ("time,price_per_kwh\n2023-01-01,0.1\nnoon,0.2\n", "line 3, time", "'noon'"),
        ("time,price_per_kwh\n2023-01-01,0.1\n2023-01-01 00:30,1.2 p\n", "line 3, price_per_kwh", "'1.2 p'"),
        ("time,price_per_kwh\n2023-01-01,nan\n2023-01-01 00:30,0.1\n", "line 2, price_per_kwh", "'nan'"),
        (
            "time,price_per_kwh\n2023-01-01,0.1\n2023-01-01 00:30+00:00,0.1\n",
            "line 3, time",
            "2023-01-01T00:30:00+00:00",
        ),
        ("time,price_per_kwh\n2023-01-01,0.1\n2023-01-01 00:20,0.1\n", "time", "rows every 20 minutes"),
        ("time,price_per_kwh\n2023-01-01,0.1\n2023-01-01 00:30,0.1\n", "time", "0.0 days"),
        pytest.param(
            'time,price_per_kwh\n2023-01-01,"' + "0" * 200_000 + '"\n',
            "line 2",
            "a cell of more than 131072 characters: is a quotation mark left open?",
            id="a cell without end",
        ),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line(tmp_path, text, key, given):
    """Header, time, price, offsets, rhythm and length: each fault names where it stands and what was found."""
    path = tmp_path / "p.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_price_series(path, zone=ZONE)
    problem = caught.value.problems[0]
    assert (problem.file, problem.key, problem.given) == (str(path), key, given)


def test_disorder_and_long_gaps_are_refused_with_their_line(tmp_path):
    """A row twice, a row before the one above, four hours missing: refused, with the line."""
    path = write(tmp_path / "p.csv", by_half_hour)
    rows = path.read_text(encoding="utf-8").splitlines()
    for changed, key, given in (
        ([*rows[:100], rows[99], *rows[100:]], "line 101, time", "the same time twice"),
        ([*rows[:100], rows[50], *rows[100:]], "line 101, time", "a time before the one above it"),
        ([*rows[:100], *rows[108:]], "line 100, time", "nothing for 4.0 hours after this line"),
    ):
        path.write_text("\n".join(changed), encoding="utf-8")
        with pytest.raises(InputError) as caught:
            read_price_series(path, zone=ZONE)
        assert (caught.value.problems[0].key, caught.value.problems[0].given) == (key, given)


def test_weights_have_mean_one_over_the_times_of_each_rate():
    """Shape and level are kept apart: the mean weight of a rate is 1; one whose mean is not positive is refused."""
    clock = local_clock(ZONE, slot_minutes=30)
    windows = {"day": None, "night": ["00:30-07:30"]}
    times = {name: SimpleNamespace(windows=hours, days="all", months=None) for name, hours in windows.items()}
    rate = rate_of_slot(times, clock)
    series = 0.2 + 0.1 * np.sin(np.arange(clock.slots))
    weights = rate_weights(series, rate, names=["day", "night"], file="p.csv")
    for index in (0, 1):
        assert weights[rate == index].mean() == pytest.approx(1.0, rel=1e-12)
    with pytest.raises(InputError):
        rate_weights(np.where(rate == 1, -0.01, 0.2), rate, names=["day", "night"], file="p.csv")


def small_with_series(read_small, tmp_path, price, *changes):
    """Return the assessment of the small scenario under a file of prices."""
    path = write(tmp_path / "p.csv", price)
    return assessment(read_small(f'tariff.series={{file="{path}"}}', *changes))


def test_a_level_series_is_the_rate_itself(read_small, tmp_path):
    """Limiting case: the same price all year gives the bill without a file, whatever that price is."""
    plain = assessment(read_small()).valuation
    level = small_with_series(read_small, tmp_path, lambda _: 0.77).valuation
    assert level.saving == pytest.approx(plain.saving, rel=1e-12)
    assert level.bill_without == pytest.approx(plain.bill_without, rel=1e-12)


def test_a_bill_by_half_hours_can_be_redone_from_the_trace(read_small, tmp_path):
    """Saving = sum over steps of (demand - import) x price of the step + export x one export price all day."""
    wired = ('kit.coupling="plug_in"', "kit.inverter.export_limit_w=400")
    found = small_with_series(read_small, tmp_path, by_half_hour, *wired)
    columns = traced_year(found.scenario, draw=0, year=1)
    assert columns["grid_export_w"].sum() > 0.0
    assert np.unique(columns["export_price"]).tolist() == [0.05]
    assert np.unique(np.round(columns["import_price"], 9)).size > 40
    kwh = found.scenario.study.step_minutes / 60_000.0
    saved = (columns["demand_w"] - columns["grid_import_w"]) * columns["import_price"]
    saved = saved + columns["grid_export_w"] * columns["export_price"]
    assert saved.sum() * kwh == pytest.approx(found.valuation.saving[0, 0], rel=1e-9)


def test_the_export_price_may_follow(read_small, tmp_path):
    """With export_follows the export price has the shape of the import price; the bill still matches the trace."""
    path = write(tmp_path / "p.csv", by_half_hour)
    series = f'tariff.series={{file="{path}", export_follows=true}}'
    wired = ('kit.coupling="plug_in"', "kit.inverter.export_limit_w=400")
    found = assessment(read_small(series, *wired))
    columns = traced_year(found.scenario, draw=0, year=1)
    assert np.unique(np.round(columns["export_price"] / columns["import_price"], 9)).size == 2, "one per rate"
    kwh = found.scenario.study.step_minutes / 60_000.0
    saved = (columns["demand_w"] - columns["grid_import_w"]) * columns["import_price"]
    saved = saved + columns["grid_export_w"] * columns["export_price"]
    assert saved.sum() * kwh == pytest.approx(found.valuation.saving[0, 0], rel=1e-9)
