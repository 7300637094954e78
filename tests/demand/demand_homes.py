"""Many homes at once, to hold the appliance model against published profiles of many homes."""

from __future__ import annotations

import csv
from importlib.resources import files
from pathlib import Path

import numpy as np

from riskcalc.clock import DAYS, local_clock
from riskcalc.demand.appliances import CAR, appliance_table
from riskcalc.demand.events import appliance_years

CLOCK = local_clock("Europe/London", slot_minutes=30)
DAY = np.arange(DAYS)
WEEKDAY = np.zeros(DAYS, dtype=int)
WEEKDAY[CLOCK.day] = CLOCK.weekday
#: Seasons of the BDEW profiles: summer 15 May - 14 Sep, winter 1 Nov - 20 Mar, transition between.
SEASON = np.where((DAY >= 134) & (DAY <= 256), "summer", np.where((DAY <= 78) | (DAY >= 304), "winter", "transition"))
#: British winter of profile class 1: from the clock change in October to the one in March.
BRITISH_WINTER = (DAY < 88) | (DAY >= 298)
DAY_TYPES = {"workday": WEEKDAY < 5, "saturday": WEEKDAY == 5, "sunday": WEEKDAY == 6}


def any_home(generator: np.random.Generator) -> tuple[list[str], int, float]:
    """Appliances, people and share of weekdays at home of a home drawn at random.

    It owns each appliance with the table's ownership; 1, 2, 3, 4 people in 30, 34, 16, 20 % of homes (Census 2001, from
    memory); somebody at home on a beta(1.2, 1) share of the weekdays (mean 0.55; common practice, no source).
    """
    owned = [key for key, row in appliance_table().items() if key != CAR and generator.random() < row.ownership]
    return owned, int(generator.choice([1, 2, 3, 4], p=[0.30, 0.34, 0.16, 0.20])), float(generator.beta(1.2, 1.0))


def mean_home_w(count: int, *, seed: int) -> np.ndarray:
    """Mean power of `count` homes at random by local day and half-hour [W], shape (365, 48)."""
    generator = np.random.default_rng(seed)
    total = np.zeros(CLOCK.slots)
    for number in range(count):
        owned, occupants, share = any_home(generator)
        pool = appliance_years(
            dict.fromkeys(owned, "elsewhere"), clock=CLOCK, years=1, seed=seed * 1000 + number, occupants=occupants,
            step_minutes=30, home_share=0.55, threads=1,
        )  # fmt: skip
        at_home = pool.day_rank[0, 0] < share
        for name, watts in zip(pool.basis, pool.wired_w[0], strict=True):
            switched_on = dict.fromkeys(("home_day", "home_small"), at_home)
            switched_on |= dict.fromkeys(("away_day", "away_small"), ~at_home)
            switched_on["movable_moved"] = np.zeros(DAYS, dtype=bool)
            total += watts * switched_on.get(name, np.ones(DAYS, dtype=bool))[CLOCK.day]
    by_day = np.full((DAYS, 48), np.nan)
    by_day[CLOCK.day, CLOCK.minute // 30] = total / count
    return by_day


def bdew_h0() -> dict[tuple[str, str], np.ndarray]:
    """BDEW standard profile H0 as in `demandlib`: half-hour means by (season, day type), shape (48,), any unit."""
    text = files("demandlib").joinpath("bdew", "bdew_data", "selp_series.csv").read_text(encoding="utf-8")
    number_of = {"workday": "1", "saturday": "6", "sunday": "7"}
    rows = list(csv.DictReader(text.splitlines()))
    return {
        (season, day_type): np.array(
            [float(row["h0"]) for row in rows if row["period"] == season and row["weekday"] == number]
        ).reshape(48, 2).mean(axis=1)
        for season in ("winter", "transition", "summer")
        for day_type, number in number_of.items()
    }  # fmt: skip


def profile_class_1() -> np.ndarray:
    """UK profile class 1, winter weekday [kW], shape (48,); source in the file."""
    text = Path(__file__).parents[1].joinpath("data", "demand_profile_class_1.csv").read_text(encoding="utf-8")
    rows = [line for line in text.splitlines() if not line.startswith("#")]
    return np.array([float(row["kw"]) for row in csv.DictReader(rows)])
