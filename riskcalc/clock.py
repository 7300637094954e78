"""The year as the meter on the wall sees it.

Sun and weather live on local *standard* time: 365 days, no summer time, no 29 February. People and tariffs live on
the wall clock. This module holds the one mapping between the two.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from riskcalc.errors import one_problem

DAYS = 365
MINUTES_PER_DAY = 1440
MINUTES_PER_YEAR = DAYS * MINUTES_PER_DAY
MONTH_LENGTHS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
MONTH_OF_DAY = np.repeat(np.arange(12), MONTH_LENGTHS)
SLOT_CHOICES = (60, 30, 15, 5)

#: Calendar used for weekdays and the dates of summer time in every simulated year; any year without 29 February serves.
CALENDAR_YEAR = 2025


@dataclass(frozen=True)
class LocalClock:
    """Wall-clock reading at the start of every slot of the standard-time year.

    All arrays have shape (slots,). `day` is the day of the year on the wall clock (0..364), `month` 0..11, `weekday` 0 = Monday,
    `minute` the minute of the day, `shift_minutes` what summer time adds. `utc_offset_minutes` is the standard offset.
    """

    zone: str
    slot_minutes: int
    utc_offset_minutes: int
    day: NDArray[np.int64]
    month: NDArray[np.int64]
    weekday: NDArray[np.int64]
    minute: NDArray[np.int64]
    shift_minutes: NDArray[np.int64]

    @property
    def slots(self) -> int:
        """Number of slots in the year."""
        return len(self.day)


def standard_offset_minutes(zone: str, year: int = CALENDAR_YEAR) -> int:
    """Return the zone's UTC offset outside summer time, in minutes (the smaller of the offsets used in the year).

    Raises
    ------
    InputError
        If the zone is not in the IANA database.
    """
    info = _zone_info(zone)
    offsets = [datetime(year, month, 1, tzinfo=UTC).astimezone(info).utcoffset() for month in range(1, 13)]
    return min(int(offset.total_seconds() // 60) for offset in offsets if offset is not None)


def local_clock(zone: str, *, slot_minutes: int = 60, year: int = CALENDAR_YEAR) -> LocalClock:
    """Return the wall clock of `zone` for each slot of the 365-day standard-time year.

    The last hours of the year may fall on the wall clock's next 1 January (summer time of the southern half of the
    globe); they are wrapped to its first day, so that every slot has a day between 0 and 364.
    """
    if slot_minutes not in SLOT_CHOICES:
        raise ValueError(f"slot_minutes: {slot_minutes}; accepted: {SLOT_CHOICES}")
    offset = standard_offset_minutes(zone, year)
    standard_minute = np.arange(0, MINUTES_PER_YEAR, slot_minutes)
    shift = _shift_of_half_hour(zone, year, offset)[standard_minute // 30]
    wall = (standard_minute + shift) % MINUTES_PER_YEAR
    day = wall // MINUTES_PER_DAY
    first_weekday = datetime(year, 1, 1, tzinfo=UTC).weekday()
    return LocalClock(
        zone=zone,
        slot_minutes=slot_minutes,
        utc_offset_minutes=offset,
        day=_frozen(day),
        month=_frozen(MONTH_OF_DAY[day]),
        weekday=_frozen((first_weekday + day) % 7),
        minute=_frozen(wall % MINUTES_PER_DAY),
        shift_minutes=_frozen(shift),
    )


def wall_minute_of_step(clock: LocalClock, *, step_minutes: int) -> NDArray[np.int64]:
    """Return for each step of the standard-time year the minute of the wall-clock year it starts at, shape (steps,).

    In spring one wall-clock hour is never met, in autumn one is met twice; elsewhere this is a shifted count.
    """
    standard_minute = np.arange(0, MINUTES_PER_YEAR, step_minutes)
    return (standard_minute + clock.shift_minutes[standard_minute // clock.slot_minutes]) % MINUTES_PER_YEAR


@lru_cache(maxsize=8)
def _shift_of_half_hour(zone: str, year: int, offset: int) -> NDArray[np.int64]:
    """Return what summer time adds at the start of each half hour of the standard-time year [minutes]."""
    info = _zone_info(zone)
    start = datetime(year, 1, 1, tzinfo=UTC) - timedelta(minutes=offset)

    def shift(half_hour: int) -> int:
        local = (start + timedelta(minutes=30 * half_hour)).astimezone(info)
        return int(local.utcoffset().total_seconds() // 60) - offset  # type: ignore[union-attr]

    # Zones change on whole or half UTC hours, at most once a day: only days that end otherwise than they began are asked
    # half hour by half hour.
    midnights = np.array([shift(48 * day) for day in range(DAYS + 1)])
    shifts = np.repeat(midnights[:-1], 48)
    for day in np.flatnonzero(np.diff(midnights)):
        shifts[48 * day : 48 * (day + 1)] = [shift(index) for index in range(48 * day, 48 * (day + 1))]
    return _frozen(shifts)


def _zone_info(zone: str) -> ZoneInfo:
    try:
        return ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        accepted = "a time zone of the IANA database, such as Europe/London"
        raise one_problem("scenario", "site.zone", zone, accepted) from error


def _frozen(values: NDArray[np.int64]) -> NDArray[np.int64]:
    values.flags.writeable = False
    return values
