"""When a home does things: activity by time of day, hours at home and awake, seasons, darkness.

An event happens if the activity's profile proposes a time and somebody is at home and awake at that time. The profiles
are our own shapes; what they are calibrated to is written in the sources of the tables.
"""

from __future__ import annotations

import csv
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MINUTES_PER_DAY

#: Resolution of the activity profiles; starts are spread evenly within a bin.
BIN_MINUTES = 5
BINS = MINUTES_PER_DAY // BIN_MINUTES

#: Day patterns: somebody at home on a weekday, everybody out on a weekday, weekend.
HOME, AWAY, WEEKEND = 0, 1, 2
PATTERNS = 3

# Mean and standard deviation in minutes of the day of: first up, leaving, coming back, last to bed. Common practice, no
# source; the outing of a home day happens on OUTING_CHANCE of the days.
_WINDOWS = {
    HOME: ((425.0, 40.0), (800.0, 110.0), (120.0, 40.0), (1380.0, 45.0)),
    AWAY: ((405.0, 35.0), (500.0, 40.0), (1045.0, 65.0), (1380.0, 45.0)),
    WEEKEND: ((480.0, 55.0), (800.0, 150.0), (150.0, 60.0), (1400.0, 55.0)),
}
OUTING_CHANCE = 0.5

#: Yearly swing of an activity, +share at mid-winter and -share at mid-summer. Common practice, no source, except that
#: lighting follows darkness and heating the heating season.
WINTER_SWING = {
    "television": 0.10,
    "cooking": 0.10,
    "hot_drinks": 0.08,
    "laundry": 0.10,
    "thermostat": -0.08,
    "heating": 1.0,
    "heating_at_home": 1.0,
}
#: Share of lamps wanted in full daylight, and the sun's height [deg] at which no more are switched on.
DAYLIGHT_LAMPS = 0.12
BRIGHT_ELEVATION_DEG = 12.0
_DARK_ELEVATION_DEG = -2.0


@cache
def activity_names() -> tuple[str, ...]:
    """Return the activities that have a profile."""
    return tuple(dict.fromkeys(row["activity"] for row in _profile_rows()))


@cache
def activity_share() -> NDArray[np.float64]:
    """Share of an activity's starts in each bin of the day, shape (activities, 2, bins): weekday, weekend. Rows sum to 1."""
    share = np.zeros((len(activity_names()), 2, BINS))
    hours = (np.arange(BINS) + 0.5) * BIN_MINUTES / 60.0
    for row in _profile_rows():
        centre, width, weight = (float(row[name]) for name in ("centre_hour", "width_hours", "weight"))
        away = (hours - centre + 12.0) % 24.0 - 12.0
        bump = np.exp(-0.5 * (away / width) ** 2)
        day_type = ("weekday", "weekend").index(row["day_type"])
        share[activity_names().index(row["activity"]), day_type] += weight * bump / bump.sum()
    return share / share.sum(axis=2, keepdims=True)


def season(activity: str, *, southern: bool = False) -> NDArray[np.float64]:
    """Factor on the activity's frequency by day of the year, mean 1, shape (365,)."""
    winter = np.cos(2.0 * np.pi * (np.arange(DAYS) - 15.0) / DAYS) * (-1.0 if southern else 1.0)
    swing = WINTER_SWING.get(activity, 0.0)
    if activity.startswith("heating"):
        # Heating runs in the colder half of the year and follows the cold.
        winter = np.maximum(winter + 0.25, 0.0)
        return winter / winter.mean()
    return 1.0 + swing * (winter - winter.mean())


def windows(generator: np.random.Generator, *, years: int, occupants: int) -> NDArray[np.float64]:
    """Draw first up, leaving, coming back, last to bed in minutes of the day, shape (years, 365, patterns, 4).

    More people are up earlier and later: the extremes of up to three independent people are taken. Without an outing,
    leaving equals coming back. Bed after midnight is limited to the end of the day.
    """
    people = min(max(int(occupants), 1), 3)
    normal = generator.standard_normal((years, DAYS, PATTERNS, 4, people))
    out = np.empty((years, DAYS, PATTERNS, 4))
    outing = generator.random((years, DAYS, PATTERNS)) < OUTING_CHANCE
    for pattern, rows in _WINDOWS.items():
        (up, up_sd), (leave, leave_sd), (back, back_sd), (bed, bed_sd) = rows
        draw = normal[:, :, pattern]
        first_up = up + up_sd * draw[:, :, 0].min(axis=2)
        last_to_bed = np.minimum(bed + bed_sd * draw[:, :, 3].max(axis=2), MINUTES_PER_DAY - 1.0)
        last_out = leave + leave_sd * draw[:, :, 1].max(axis=2)
        if pattern == AWAY:
            first_back = back + back_sd * draw[:, :, 2].min(axis=2)
        else:
            length = np.maximum(back + back_sd * draw[:, :, 2, 0], 20.0)
            first_back = last_out + np.where(outing[:, :, pattern], length, 0.0)
        last_out = np.clip(last_out, first_up + 20.0, last_to_bed - 60.0)
        out[:, :, pattern] = np.stack(
            [first_up, last_out, np.clip(first_back, last_out, last_to_bed - 40.0), last_to_bed], axis=-1
        )
    return out


def presence(*, occupants: int) -> NDArray[np.float64]:
    """Share of days on which somebody is at home and awake, by pattern and bin, shape (patterns, bins)."""
    generator = np.random.default_rng(20100901)
    sample = windows(generator, years=6, occupants=occupants).reshape(-1, PATTERNS, 4)
    centre = (np.arange(BINS) + 0.5) * BIN_MINUTES
    up, out, back, bed = (sample[:, :, index, None] for index in range(4))
    awake = (centre >= up) & (centre < bed) & ~((centre >= out) & (centre < back))
    return awake.mean(axis=0)


def darkness(*, latitude_deg: float, shift_minutes_of_day: NDArray[np.int64], solar_lag_minutes: float = 0.0) -> NDArray[np.float32]:
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
    sin(elevation) = sin(lat) sin(dec) + cos(lat) cos(dec) cos(hour angle), dec = -23.44 deg cos(2 pi (n + 10)/365) (first
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
