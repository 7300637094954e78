"""Rates of the tariff on the wall clock."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskcalc.clock import local_clock
from riskcalc.errors import InputError
from riskcalc.tariff import WEEKDAY_NAMES, rate_of_slot, slot_minutes, slots_in_windows, window_minutes


@dataclass(frozen=True)
class RateRule:
    """When one rate holds. Nothing given = all the time that no other rate claims."""

    windows: Sequence[str] | None = None
    days: str | Sequence[str] | None = "all"
    months: Sequence[int] | None = None


LONDON = local_clock("Europe/London", slot_minutes=30)
UTC_5 = local_clock("UTC", slot_minutes=5)


def test_night_rate_follows_the_wall_clock():
    """Seven night hours every day on the wall clock; six on the day that loses an hour, eight when it is repeated."""
    rate = rate_of_slot({"night": RateRule(["00:30-07:30"]), "day": RateRule()}, LONDON)
    slots_of_day = np.bincount(LONDON.day[rate == 0], minlength=365)
    assert sorted(slots_of_day.tolist()) == [12] + 363 * [14] + [16]
    assert slots_of_day[88] == 12  # 30 March 2025: clocks go forward at 01:00
    assert slots_of_day[298] == 16  # 26 October 2025: back at 02:00


def test_summer_night_comes_an_hour_earlier_in_standard_time():
    """A 00:30-07:30 night rate of 1 July holds from 23:30 to 06:30 of standard time."""
    rate = rate_of_slot({"night": RateRule(["00:30-07:30"]), "day": RateRule()}, LONDON)
    first_of_july = 181 * 48
    night = np.flatnonzero(rate[first_of_july - 2 : first_of_july + 46] == 0) - 2
    assert night.tolist() == list(range(-1, 13))


def test_window_over_midnight_belongs_to_the_day_it_starts_on():
    """Friday 22:00-06:00 reaches into Saturday; the night from Sunday to Monday is not a weekday night."""
    inside = slots_in_windows(["22:00-06:00"], UTC_5, days="weekdays")
    hours_of_weekday = np.bincount(UTC_5.weekday[inside], minlength=7) / 12
    days_of_weekday = np.bincount(UTC_5.weekday, minlength=7) / 288
    expected = [2, 8, 8, 8, 8, 6, 0] * days_of_weekday
    # Hand-computed; 2025 begins on a Wednesday, so the year has 53 of those; its first morning follows a Tuesday.
    assert hours_of_weekday.tolist() == expected.tolist()


def test_months_of_a_wrapping_window():
    """The night of 31 January runs into February, the one of 31 December into the year's first morning."""
    january = slots_in_windows(["22:00-06:00"], UTC_5, months=[1])
    assert january[31 * 288 : 31 * 288 + 72].all()
    assert not january[31 * 288 + 72 : 32 * 288].any()
    assert not january[:72].any()
    december = slots_in_windows(["22:00-06:00"], UTC_5, months=[12])
    assert december[:72].all()


@settings(max_examples=40, deadline=None)
@given(
    start=st.integers(0, 287),
    length=st.integers(1, 287),
    days=st.lists(st.sampled_from(WEEKDAY_NAMES), min_size=1, unique=True),
    months=st.lists(st.integers(1, 12), min_size=1, unique=True),
    slots=st.lists(st.integers(0, 365 * 288 - 1), min_size=30, max_size=30),
)
def test_windows_agree_with_a_plain_reading(start, length, days, months, slots):
    """Slot by slot with if and else, the same answer: a UTC clock, any window, days and months."""
    end = (start + length) % 288
    window = f"{start // 12:02d}:{5 * (start % 12):02d}-{end // 12:02d}:{5 * (end % 12):02d}"
    inside = slots_in_windows([window], UTC_5, days=days, months=months)
    lengths = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
    month_of_day = [month for month, n in enumerate(lengths, start=1) for _ in range(n)]
    for slot in slots:
        day, tick = divmod(slot, 288)
        expected = False
        for start_day in (day, day - 1):
            offset = (day - start_day) * 288 + tick - start
            day_name = WEEKDAY_NAMES[(2 + start_day) % 7]  # 1 January 2025 is a Wednesday
            if 0 <= offset < length and day_name in days and month_of_day[start_day % 365] in months:
                expected = True
        assert inside[slot] == expected


def test_index_follows_the_order_of_the_rates():
    """Three rates with seasons: the index is the place in the mapping, the rest holds what is left."""
    rates = {
        "rest": RateRule(),
        "peak": RateRule(["16:00-19:00"], "weekdays", [11, 12, 1, 2]),
        "weekend": RateRule(days="weekends"),
    }
    rate = rate_of_slot(rates, UTC_5)
    winter_weekdays = sum(1 for day in range(365) if (day < 59 or day >= 304) and (2 + day) % 7 < 5)
    assert (rate == 1).sum() == winter_weekdays * 36
    assert (rate == 2).sum() == 104 * 288
    assert (rate == 0).sum() == 365 * 288 - winter_weekdays * 36 - 104 * 288


def test_seasons_without_a_remaining_rate_may_cover_the_year():
    """Summer and winter rates that meet without a gap need no rate for the rest."""
    rates = {"summer": RateRule(months=[4, 5, 6, 7, 8, 9]), "winter": RateRule(months=[10, 11, 12, 1, 2, 3])}
    assert np.bincount(rate_of_slot(rates, UTC_5)).tolist() == [183 * 288, 182 * 288]


@pytest.mark.parametrize(
    ("windows", "zone", "expected"),
    [
        ([], None, 60),
        (["00:00-07:00", "23:00-24:00"], None, 60),
        (["00:30-07:30"], None, 30),
        (["00:30-07:30", "16:15-19:00"], None, 15),
        (["00:05-07:00"], None, 5),
        (["01:00-07:00"], "Europe/London", 60),
        (["01:00-07:00"], "Australia/Lord_Howe", 30),
        (["01:00-07:00"], "Asia/Kolkata", 60),
    ],
)
def test_slot_is_the_longest_that_fits(windows, zone, expected):
    """Every window edge, and the shift of summer time, lies on a slot edge."""
    assert slot_minutes(windows, zone=zone) == expected


@pytest.mark.parametrize(
    "window", ["7-9", "07:00", "25:00-07:00", "07:60-08:00", "07:02-08:00", "07:00-24:05", "07:00-07:00", 7]
)
def test_windows_that_cannot_be_read(window):
    """Each broken window is refused with what was given and what is accepted."""
    with pytest.raises(InputError, match="accepted: a window of the day") as caught:
        window_minutes(window, key="tariff.rates.night.windows", file="home.toml")
    problem = caught.value.problems[0]
    assert (problem.file, problem.key, problem.given) == ("home.toml", "tariff.rates.night.windows", repr(window))


def test_edges_of_the_day():
    """24:00 and 00:00 both end a window at midnight; a whole day is written 00:00-24:00."""
    assert window_minutes("22:00-24:00") == window_minutes("22:00-00:00") == (1320, 1440)
    assert window_minutes("00:00-24:00") == (0, 1440)
    assert window_minutes("23:00-07:00") == (1380, 1860)


def test_overlap_names_both_rates_and_a_time():
    """Two rates that claim the same half hour are refused."""
    rates = {"night": RateRule(["00:00-07:00"]), "boost": RateRule(["06:30-08:00"], "weekends"), "day": RateRule()}
    with pytest.raises(InputError, match=r"boost\n  given:    overlaps night, first at 06:30 on a saturday in month 1"):
        rate_of_slot(rates, LONDON)


def test_gap_two_rests_and_no_rate_are_refused():
    """Time without a price, two rates for the rest, and no rate at all."""
    with pytest.raises(InputError, match=r"no rate at 07:00 on a wednesday in month 1"):
        rate_of_slot({"night": RateRule(["00:00-07:00"])}, LONDON)
    with pytest.raises(InputError, match="no times in day, night"):
        rate_of_slot({"day": RateRule(), "night": RateRule()}, LONDON)
    with pytest.raises(InputError, match="at least one rate"):
        rate_of_slot({}, LONDON)


def test_every_problem_is_reported_at_once():
    """An unknown day and an unknown month in two rates give two problems, each with its key."""
    rates = {"a": RateRule(["00:00-07:00"], "mondays"), "b": RateRule(["08:00-09:00"], months=[13]), "c": RateRule()}
    with pytest.raises(InputError) as caught:
        rate_of_slot(rates, LONDON)
    assert [(p.key, p.given) for p in caught.value.problems] == [
        ("tariff.rates.a.days", "'mondays'"),
        ("tariff.rates.b.months", "13"),
    ]
