"""When a home does things: activity by time of day, hours at home and awake, seasons, darkness.

An event happens if the activity's profile proposes a time and somebody is at home and awake at that time. The
profiles
are our own shapes; what they are calibrated to is written in the sources of the tables.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MINUTES_PER_DAY
from riskcalc.ordered import product

#: Resolution of the activity profiles; starts are spread evenly within a bin.
BIN_MINUTES = 5
BINS = MINUTES_PER_DAY // BIN_MINUTES

#: Day patterns: somebody at home on a weekday, everybody out on a weekday, weekend.
HOME, AWAY, WEEKEND = 0, 1, 2
PATTERNS = 3

#: Minutes of the day of: first up, leaving, coming back (after an outing: its length), last to bed. Mean, spread
#: from day to day,
#: spread from one pool year to the next (early and late households). Common practice, no source.
_WINDOWS = {
    HOME: ((430.0, 35.0, 45.0), (800.0, 110.0, 30.0), (120.0, 40.0, 20.0), (1370.0, 40.0, 55.0)),
    AWAY: ((405.0, 30.0, 40.0), (505.0, 35.0, 40.0), (1010.0, 60.0, 75.0), (1370.0, 40.0, 55.0)),
    WEEKEND: ((480.0, 50.0, 45.0), (800.0, 150.0, 30.0), (150.0, 60.0, 20.0), (1395.0, 50.0, 55.0)),
}
#: Share of the days at home with an outing. Common practice, no source.
OUTING_CHANCE = 0.5
#: The day of a household turns in the small hours; what happens before counts as late evening.
DAY_TURN = 180

#: Activities that do not follow the household's common rhythm, so that the weekday calibration leaves them alone.
UNCALIBRATED = ("lighting", "heating", "heating_rooms", "cooling", "hot_water", "car", "workshop")

#: Yearly swing of an activity, +share at mid-winter and -share at mid-summer. Common practice, no source; lighting
#: follows
#: darkness instead, heating the heating season.
WINTER_SWING = {
    "television": 0.15,
    "screen": 0.10,
    "cooking": 0.15,
    "hot_drinks": 0.12,
    "laundry": 0.08,
    "drying": 0.35,
    "thermostat": -0.08,
}
#: Share of lamps wanted in full daylight, and the sun's height [deg] at which no more are switched on.
DAYLIGHT_LAMPS = 0.08
BRIGHT_ELEVATION_DEG = 12.0
_DARK_ELEVATION_DEG = -2.0


#: How much the busyness of days spreads (of its logarithm) and how much of it stays to the next day; the same within the
#: day, by half hour; chance of an evening out and the share of the day's use that goes with it; days away in a year.
BUSY_SPREAD, BUSY_MEMORY = 0.10, 0.80
SESSION_SPREAD, SESSION_MEMORY, MOST_SESSION = 0.8, 0.9, 4.0
SESSIONS = 48
#: Steps after which nothing is remembered: 0.9 to the power of 100 is 0.00003.
_LONGEST_MEMORY = 100
NIGHTS_OUT, EVENING_SHARE, EVENING_FIRST = 0.06, 0.5, 36
LONG_HOLIDAY_DAYS, SHORT_HOLIDAY_DAYS, WEEKENDS_AWAY = 9.0, 4.0, 3.0


@cache
def activity_names() -> tuple[str, ...]:
    """Return the activities that have a profile."""
    return tuple(dict.fromkeys(row["activity"] for row in _profile_rows()))


@cache
def activity_share() -> NDArray[np.float64]:
    """Share of an activity's starts by bin of the day, shape (activities, 2, bins): weekday, weekend; sums to 1."""
    share = np.zeros((len(activity_names()), 2, BINS))
    busy = np.ones((2, BINS))
    busy[0] = weekday_calibration()
    hours = (np.arange(BINS) + 0.5) * BIN_MINUTES / 60.0
    for row in _profile_rows():
        centre, width, weight = (float(row[name]) for name in ("centre_hour", "width_hours", "weight"))
        away = (hours - centre + 12.0) % 24.0 - 12.0
        bump = np.exp(-0.5 * (away / width) ** 2)
        day_type = ("weekday", "weekend").index(row["day_type"])
        factor = 1.0 if row["activity"] in UNCALIBRATED else busy[day_type]
        share[activity_names().index(row["activity"]), day_type] += factor * weight * bump / bump.sum()
    return share / share.sum(axis=2, keepdims=True)


@cache
def weekday_calibration() -> NDArray[np.float64]:
    """Factor on all weekday profiles by time of day, shape (bins,), mean near 1.

    Hourly values of the table `activity_calibration.csv`, joined by straight lines round the clock: what makes the
    mean of many homes
    follow published weekday profiles. See the table's sources for what it was fitted to.
    """
    text = files("riskcalc").joinpath("tables", "activity_calibration.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(text.splitlines()))
    hour = np.array([float(row["hour"]) for row in rows])
    factor = np.array([float(row["weekday_factor"]) for row in rows])
    return np.interp((np.arange(BINS) + 0.5) * BIN_MINUTES / 60.0, hour, factor, period=24.0)


def season(activity: str, *, southern: bool = False) -> NDArray[np.float64]:
    """Factor on the activity's frequency by day of the year, mean 1, shape (365,)."""
    winter = np.cos(2.0 * np.pi * (np.arange(DAYS) - 15.0) / DAYS) * (-1.0 if southern else 1.0)
    swing = WINTER_SWING.get(activity, 0.0)
    if activity.startswith("heating"):
        # Heating runs in the colder half of the year and follows the cold.
        winter = np.maximum(winter + 0.25, 0.0)
        return winter / winter.mean()
    if activity == "cooling":
        summer = np.maximum(-winter - 0.25, 0.0)
        return summer / summer.mean()
    return 1.0 + swing * (winter - winter.mean())


def rhythm(
    generator: np.random.Generator, *, southern: bool = False
) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """Draw how busy a home is on each day of a year, mean 1, and when within the day it is busy, shapes (365,) and (365, 48).

    The first multiplies how often things are used: 0 while everybody is away on holiday or over a weekend, else a
    lognormal number that remembers the day before, so that quiet and busy days come in runs. The second is the relative
    chance of a start in each half hour, at most 1: what is done comes in sessions that all appliances share. See the
    table's sources for what the constants were calibrated to.
    """
    busy = np.exp(BUSY_SPREAD * _remembering(generator, DAYS, BUSY_MEMORY))
    chance = _remembering(generator, DAYS * SESSIONS, SESSION_MEMORY).reshape(DAYS, SESSIONS)
    session = np.minimum(np.exp(SESSION_SPREAD * chance), MOST_SESSION) / MOST_SESSION
    out = generator.random(DAYS) < NIGHTS_OUT
    busy[out] *= 1.0 - EVENING_SHARE
    session[out, EVENING_FIRST:] *= 0.05
    busy[_away(generator, southern=southern)] = 0.0
    return busy / busy.mean(), session.astype(np.float32)


def _remembering(generator: np.random.Generator, count: int, memory: float) -> NDArray[np.float64]:
    """Return standard normal numbers, each with this correlation with the one before."""
    weight = memory ** np.arange(_LONGEST_MEMORY) * np.sqrt(1.0 - memory**2)
    noise = generator.standard_normal(count + _LONGEST_MEMORY - 1)
    return product(np.lib.stride_tricks.sliding_window_view(noise, _LONGEST_MEMORY), weight[::-1])


def _away(generator: np.random.Generator, *, southern: bool) -> NDArray[np.bool_]:
    """Draw the days of a year on which everybody is away: a long holiday in summer, a short one, some weekends."""
    away = np.zeros(DAYS, dtype=bool)
    middle = 15 if southern else 197
    long_first = int(generator.normal(middle, 25.0))
    lengths = generator.poisson(LONG_HOLIDAY_DAYS), generator.poisson(SHORT_HOLIDAY_DAYS)
    for first, length in zip((long_first, int(generator.integers(DAYS))), lengths, strict=True):
        away[(first + np.arange(length)) % DAYS] = True
    for first in generator.integers(DAYS, size=generator.poisson(WEEKENDS_AWAY)):
        away[(first + np.arange(2)) % DAYS] = True
    return away


def windows(generator: np.random.Generator, *, years: int, occupants: float) -> NDArray[np.float64]:
    """Draw first up, leaving, coming back, last to bed in minutes of the day, shape (years, 365, patterns, 4).

    More people are up earlier and later: the extremes of up to three independent people are taken. Without an outing,
    leaving equals coming back. Bed after midnight counts on: 1500 is one o'clock.
    """
    people = min(max(round(occupants), 1), 3)
    normal = generator.standard_normal((years, DAYS, PATTERNS, 4, people))
    household = generator.standard_normal((years, 1, 4))
    outing = generator.random((years, DAYS, PATTERNS)) < OUTING_CHANCE
    out = np.empty((years, DAYS, PATTERNS, 4))
    for pattern, rows in _WINDOWS.items():
        mean, day_sd, year_sd = np.array(rows).T
        first, last = normal[:, :, pattern].min(axis=3), normal[:, :, pattern].max(axis=3)
        extreme = np.stack([first[:, :, 0], last[:, :, 1], first[:, :, 2], last[:, :, 3]], axis=-1)
        up, leave, back, bed = np.moveaxis(mean + day_sd * extreme + year_sd * household, -1, 0)
        if pattern != AWAY:
            back = leave + np.where(outing[:, :, pattern], np.maximum(back, 20.0), 0.0)
        up = np.maximum(up, DAY_TURN)
        bed = np.minimum(bed, MINUTES_PER_DAY + DAY_TURN - 1.0)
        leave = np.clip(leave, up + 20.0, bed - 60.0)
        back = np.clip(back, leave, bed - 40.0)
        out[:, :, pattern] = np.stack([up, leave, back, bed], axis=-1)
    return out


def presence(day_windows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of a year's days on which somebody is at home and awake, from `windows`, shape (years, patterns, bins)."""
    centre = (np.arange(BINS) + 0.5) * BIN_MINUTES
    centre = np.where(centre < DAY_TURN, centre + MINUTES_PER_DAY, centre)
    shares = []
    for year in day_windows:
        up, out, back, bed = (year[:, :, index, None] for index in range(4))
        awake = (centre >= up) & (centre < bed) & ~((centre >= out) & (centre < back))
        shares.append(awake.mean(axis=0))
    return np.stack(shares)


def darkness(
    *, latitude_deg: float, shift_minutes_of_day: NDArray[np.int64], solar_lag_minutes: float = 0.0
) -> NDArray[np.float32]:
    """Share of lamps wanted, 1 in the dark to DAYLIGHT_LAMPS in full daylight, shape (365, bins), by wall clock.

    Parameters
    ----------
    latitude_deg
        North positive [deg].
    shift_minutes_of_day
        What summer time adds on each local day [min], shape (365,).
    solar_lag_minutes
        Standard time at mean solar noon less 12:00 [min].

    Notes
    -----
    sin(elevation) = sin(lat) sin(dec) + cos(lat) cos(dec) cos(hour angle), dec = -23.44 deg cos(2 pi (n + 10)/365)
    (first
    term of the usual series). Good to a few minutes, enough for lamps.
    """
    day = np.arange(DAYS)[:, None]
    minute = (np.arange(BINS) + 0.5)[None, :] * BIN_MINUTES - shift_minutes_of_day[:, None] - solar_lag_minutes
    declination = np.deg2rad(-23.44 * np.cos(2.0 * np.pi * (day + 11.0) / DAYS))
    latitude = np.deg2rad(latitude_deg)
    hour_angle = np.deg2rad((minute - 720.0) / 4.0)
    sine = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    elevation = np.rad2deg(np.arcsin(np.clip(sine, -1.0, 1.0)))
    light = np.clip((elevation - _DARK_ELEVATION_DEG) / (BRIGHT_ELEVATION_DEG - _DARK_ELEVATION_DEG), 0.0, 1.0)
    return (1.0 - (1.0 - DAYLIGHT_LAMPS) * light).astype(np.float32)


@cache
def _profile_rows() -> tuple[dict[str, str], ...]:
    text = files("riskcalc").joinpath("tables", "activity_profiles.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))
