"""Charging in the cheapest hours of the day: which slots those are, and what a price series makes of it."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.answers.trace import traced_year
from riskcalc.errors import InputError
from riskcalc.study.model import assessment
from riskcalc.years.schedule import cheapest_of_day


def test_the_cheapest_slots_by_hand():
    """Two days of four six-hour slots, twelve hours asked: the two cheapest of each, ties to the earlier, none refused."""
    price = np.array([0.3, 0.1, 0.2, 0.1, 0.5, 0.5, 0.5, 0.4])
    day = np.repeat([0, 1], 4)
    every = np.ones(8, dtype=bool)
    found = cheapest_of_day(price, day, every, hours=12, slot_minutes=360)
    assert np.flatnonzero(found).tolist() == [1, 3, 4, 7]
    allowed = np.array([1, 0, 1, 1, 0, 0, 0, 1], dtype=bool)
    assert np.flatnonzero(cheapest_of_day(price, day, allowed, hours=12, slot_minutes=360)).tolist() == [2, 3, 7]
    assert np.array_equal(cheapest_of_day(price, day, allowed, hours=24, slot_minutes=360), allowed)


@given(st.integers(0, 2**32 - 1), st.integers(1, 23))
def test_nothing_left_out_is_cheaper_than_what_is_taken(seed, hours):
    """Any prices and days in any order: so many slots a day, and none of those left out is cheaper."""
    rng = np.random.default_rng(seed)
    price, day = rng.normal(size=24 * 5).round(1), rng.permutation(np.repeat(np.arange(5), 24))
    found = cheapest_of_day(price, day, np.ones(120, dtype=bool), hours=hours, slot_minutes=60)
    for one in range(5):
        taken, left = price[found & (day == one)], price[~found & (day == one)]
        assert len(taken) == hours
        assert taken.max() <= left.min()


def prices_of(path, price_at):
    """Write a year of half-hourly prices, `price_at` being told the half hour of the UTC day."""
    moment, rows = datetime(2022, 12, 31, 22, 0, tzinfo=UTC), ["time,price_per_kwh"]
    while moment < datetime(2024, 1, 1, 2, 0, tzinfo=UTC):
        half_hour = moment.hour * 2 + moment.minute // 30
        rows.append(f"{moment.isoformat()},{price_at(half_hour)}")
        moment += timedelta(minutes=30)
    path.write_text("\n".join(rows), encoding="utf-8")
    return f'tariff.series={{file="{path}"}}'


def by_series(read_small, tmp_path, *changes):
    """Return the small scenario under one rate and prices that are low from 11:00 to 13:00 and lowest at 03:00."""
    series = prices_of(tmp_path / "p.csv", lambda half: 0.05 if half in (6, 7) else 0.1 if 22 <= half < 26 else 0.4)
    return assessment(read_small(series, 'dispatch.charge_at=["day", "night"]', "study.horizon_years=1", *changes))


def test_the_battery_is_filled_in_the_cheapest_hours_only(read_small, tmp_path):
    """Three hours: in winter time charging falls into 03:00-04:00 and 11:00-13:00 and nowhere else; then it serves."""
    found = by_series(read_small, tmp_path, "dispatch.cheapest_hours_per_day=3")
    columns = traced_year(found.scenario, draw=0, year=1)
    per_day = len(columns["grid_to_battery_w"]) // 365
    january = columns["grid_to_battery_w"].reshape(365, per_day)[:31].sum(axis=0)
    hours = np.unique(np.flatnonzero(january > 0.0) * 24 // per_day)
    assert set(hours.tolist()) <= {3, 11, 12}
    assert 3 in hours
    served = columns["battery_to_load_w"].reshape(365, per_day)[:31].sum(axis=0)
    assert served[np.arange(per_day) * 24 // per_day == 18].sum() > 0.0


def test_choosing_the_hours_beats_charging_at_any(read_small, tmp_path):
    """All hours of both rates: the unit is filled at any price and serves nothing; three cheap hours save money."""
    always = by_series(read_small, tmp_path).valuation.saving[0]
    chosen = by_series(read_small, tmp_path, "dispatch.cheapest_hours_per_day=3").valuation.saving[0]
    assert np.all(chosen > always)


def test_all_hours_change_nothing(read_small):
    """Limiting case: 24 hours, the default, and 8, the longest night of the rate that alone is charged at."""
    plain, all_day, night = (
        assessment(read_small(*changes)).valuation.net_present_value
        for changes in ((), ("dispatch.cheapest_hours_per_day=24",), ("dispatch.cheapest_hours_per_day=8",))
    )
    assert np.array_equal(plain, all_day)
    assert np.array_equal(plain, night)


def test_hours_without_a_rate_to_charge_at_are_refused(read_small):
    """Cheapest hours of nothing would never charge: said with the key."""
    with pytest.raises(InputError) as caught:
        read_small("dispatch.charge_at=[]", "dispatch.cheapest_hours_per_day=4")
    assert [problem.key for problem in caught.value.problems] == ["dispatch.cheapest_hours_per_day"]
