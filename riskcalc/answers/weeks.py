"""A summer and a winter week of one future, in half hours on the wall clock; in the tropics one of July and of January."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from riskcalc.clock import CALENDAR_YEAR, MINUTES_PER_DAY, LocalClock
from riskcalc.types import Floats

HALF_HOUR, DAYS_SHOWN = 30, 7

#: Middle of January and of July, where winter and summer weeks are taken from (swapped south of the equator).
_MID_JANUARY, _MID_JULY = 13, 193

#: Between the tropics, where the sun stands overhead twice a year, no half of the year is summer.
TROPIC_DEG = 23.44


@dataclass(frozen=True)
class Week:
    """First day in words, and each traced column as means over 336 half hours (`battery_stored_wh`: at their end)."""

    season: str
    first_day: str
    columns: Mapping[str, Floats]


@dataclass(frozen=True)
class Stretch:
    """Which slots of the standard-time year a week covers: from `first_slot` on, over new year if need be."""

    season: str
    first_day: str
    first_slot: int
    slots: int


def week_stretches(clock: LocalClock, *, latitude_deg: float) -> tuple[Stretch, ...]:
    """Return where a summer and a winter week lie, Monday to Sunday; in the tropics they are named by their months."""
    if abs(latitude_deg) < TROPIC_DEG:
        return _stretch("July", _MID_JULY, clock), _stretch("January", _MID_JANUARY, clock)
    northern = latitude_deg >= 0.0
    days = {"summer": _MID_JULY if northern else _MID_JANUARY, "winter": _MID_JANUARY if northern else _MID_JULY}
    return tuple(_stretch(season, day, clock) for season, day in days.items())


def _stretch(season: str, day: int, clock: LocalClock) -> Stretch:
    first = date(CALENDAR_YEAR, 1, 1) + timedelta(days=day)
    first += timedelta(days=-first.weekday() % 7)
    day = (first - date(CALENDAR_YEAR, 1, 1)).days
    slots_per_day = MINUTES_PER_DAY // clock.slot_minutes
    # Standard time of the day's wall-clock midnight.
    shift = int(clock.shift_minutes[day * slots_per_day])
    start = (day * MINUTES_PER_DAY - shift) // clock.slot_minutes % clock.slots
    return Stretch(season, f"{first:%A} {first.day} {first:%B}", start, DAYS_SHOWN * slots_per_day)
