"""Demand against measurements.

    python tests/studies/demand_calibration.py --fit
    python tests/studies/demand_calibration.py --measured FILE [--out reports/evidence/demand.md]

The first fits the weekday calibration of the activity profiles, after a change of profiles or table, to the mean of two
published shapes of a winter weekday, each divided by its mean: UK profile class 1 and the winter workday of BDEW H0. Only
these 24 hourly factors are fitted. The second writes the statistics of a measured home, minute by minute (a table of time
and power_w), beside those of made homes.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "demand"))

from daily_statistics import (
    ORDINARY,
    day_statistics,
    homes_of_one_use,
    made_years,
    minute_statistics,
    sun_statistics,
)
from demand_homes import BRITISH_WINTER, WEEKDAY, any_home, bdew_h0, mean_home_w, profile_class_1
from test_rhythm import ALWAYS_ON, LIKE

from riskcalc.demand import habits
from riskcalc.demand.meter_file import read_meter_days

TABLE = Path(habits.__file__).parents[1] / "tables" / "activity_calibration.csv"
ROUNDS, HOMES, SEED = 8, 150, 77
#: The factor may not hide a profile that is badly wrong.
BOUNDS = (0.5, 2.0)


def fit() -> None:
    """Fit by repeated proportional correction of the part of the day's use that follows activity."""
    target = sum(shape / shape.mean() for shape in (profile_class_1(), bdew_h0()["winter", "workday"])) / 2.0
    factor = np.ones(24)
    for _ in range(ROUNDS):
        _write(factor)
        shape = mean_home_w(HOMES, seed=SEED)[BRITISH_WINTER & (WEEKDAY < 5)].mean(axis=0)
        shape /= shape.mean()
        difference = np.sqrt(((shape - target) ** 2).mean())
        print(f"correlation {np.corrcoef(shape, target)[0, 1]:.4f}, rms difference {difference:.4f} of the mean")
        steady = 0.85 * shape[4:9].mean()
        wanted = np.clip((target - steady) / np.maximum(shape - steady, 0.03), 0.5, 2.0)
        hourly = np.array([wanted[[2 * hour - 1, 2 * hour, (2 * hour + 1) % 48]].mean() for hour in range(24)])
        # Between 01:00 and 05:00 hardly anything follows activity.
        hourly[1:6] = 1.0
        factor = np.clip(factor * hourly**0.7, *BOUNDS)
        factor /= factor[6:].mean()
    _write(factor)


def _write(factor: np.ndarray) -> None:
    rows = [f"{hour},{value:.2f}" for hour, value in enumerate(factor)]
    TABLE.write_text("\n".join(["hour,weekday_factor", *rows, ""]), encoding="utf-8")
    for cached in (habits.weekday_calibration, habits.activity_share):
        cached.cache_clear()


MADE_YEARS = 4


def table(measured: Path) -> str:
    """Return the statistics of a measured home beside those of two made ones, as a table in Markdown."""
    power_w = read_meter_days(measured, zone="Europe/Paris").power_w
    homes = {
        "made, a home like it": made_years(LIKE, years=MADE_YEARS, occupants=4, annual_use_kwh=9400.0),
        "made, 3,500 kWh without electric heating": made_years(ORDINARY, years=MADE_YEARS),
    }
    columns = {"measured": _statistics(np.delete(power_w, 59, axis=0)[:365])}
    for name, years in homes.items():
        rows = [_statistics(year) for year in years]
        columns[name] = {key: float(np.mean([row[key] for row in rows])) for key in rows[0]}
    lines = [f"| | {' | '.join(columns)} |", "|---|" + "---:|" * len(columns)]
    lines += [
        f"| {key} | " + " | ".join(f"{found[key]:.3g}" for found in columns.values()) + " |"
        for key in columns["measured"]
    ]
    street = mean_home_w(100, seed=11)
    lines += [
        "",
        f"Highest half hour of the year of 100 made homes together: {np.nanmax(street) / 1000.0:.2f} kW a home.",
        "",
        shapes(),
    ]
    return "\n".join(lines)


#: Homes drawn at random; factors by which use from 17:00 to 03:00 is made likelier than by day.
RANDOM_HOMES, TILTS = 40, (1 / 1.8, 1.0, 1.8)


def shapes() -> str:
    """Return how homes of one use differ in direct use, and what more use in the evening does to it, as lines of a list."""
    generator = np.random.default_rng(SEED)
    homes = homes_of_one_use([any_home(generator) for _ in range(RANDOM_HOMES)], seed=SEED, always_on=ALWAYS_ON)
    direct, fall = (100.0 * homes[name] for name in ("direct use", "fall of direct use from 60- to 1-minute steps"))
    low, middle, high = np.quantile(direct, (0.05, 0.5, 0.95))
    four = np.array([np.ptp(generator.choice(direct, 4, replace=False)) for _ in range(2000)])
    half, whole = (homes[f"points by {size} kWh per kWp"].mean() for size in ("0.5", "1"))
    lines = [
        f"- {RANDOM_HOMES} homes at random (appliances, people, days at home, always-on use), all of 3,500 kWh: direct use"
        f" {low:.1f}, {middle:.1f} and {high:.1f} % at 5, 50 and 95 % of homes. Four of them range over {np.median(four):.1f}"
        f" points in the middle case, over 7 or more in {100 * (four >= 7.0).mean():.0f} % of cases.",
        f"- From 60- to 1-minute steps their direct use falls by {fall.mean():.1f} % on average, by"
        f" {np.quantile(fall, 0.1):.1f} to {np.quantile(fall, 0.9):.1f} % in eight of ten. A battery adds {half:.1f} and"
        f" {whole:.1f} points by 0.5 and 1 kWh per kWp.",
    ]
    usual = habits.activity_share()
    hour = (np.arange(habits.BINS) + 0.5) * habits.BIN_MINUTES / 60.0
    late = (hour >= 17.0) | (hour < 3.0)
    told = []
    try:
        for tilt in TILTS:
            share = usual * np.where(late, tilt**0.5, tilt**-0.5)
            habits.activity_share = lambda share=share: share / share.sum(axis=2, keepdims=True)  # type: ignore[assignment]
            years = made_years(ORDINARY, years=3, home_share=0.4)
            evening = np.mean([(day[:, :180].sum() + day[:, 1020:].sum()) / day.sum() for day in years])
            used = np.mean([sun_statistics(day)["direct use"] for day in years])
            told.append(f"{100 * used:.1f} % with {100 * evening:.0f} % of the year's use from 17:00 to 03:00")
    finally:
        habits.activity_share = lambda: usual  # type: ignore[assignment]
    return "\n".join(
        [
            *lines,
            f"- The home without electric heating, more or less used in the evening: direct use {', '.join(told)}.",
        ]
    )


def _statistics(day_w: np.ndarray) -> dict[str, float]:
    return day_statistics(day_w) | minute_statistics(day_w) | sun_statistics(day_w)


HEAD = """# Made demand beside a measured home

Written by `tests/studies/demand_calibration.py --measured FILE`. Measured: one home of four near Paris, 2008, with electric
heating and hot water (Hebrail and Berard, "Individual household electric power consumption", UCI, CC BY 4.0). Made: mean of
four years. Spreads are relative to the month's mean. Sun: one year of a built-in climate, 1 kWp for each MWh, hourly.

What is not reached: direct use falls more from 60- to 1-minute steps than at the measured home. Electric heating of 1,000 W for
an hour instead of 1,500 W for 45 minutes brings the fall to 5.7 % and most other figures nearer too. But then a half-hour meter's
minutes are restored worse (the share served below 1,200 to 2,400 W is off by 1.6 to 2.2 % of demand, now by 1.2 % at most), so we
left it. Without electric heating loads are short, as the published cycles say: kettle, oven, hob and dishwasher make most of the
fall. Three load profiles of a published study, with sun by the minute too, lose 8 % on average from hourly to minute steps
(Renewable Energy and Environmental Sustainability 8, 2023, 5).

Futures of one household differ: days at home and what is always on are drawn. Direct use of the second home then spreads over
more than four points between one future in ten and nine in ten (`tests/demand/test_demand_pool.py`). Four measured homes range
over seven, 30 to 37 %. Of made homes whose appliances and people differ too, nine in ten lie within seven or eight points
(below), so four of them seldom range so far: made homes are still somewhat too alike.

How much use falls into the evening has no input of its own; it follows the days at home. We measured what one would do (below):
a point of the year's use moved from day to evening takes 0.3 points off direct use. Drawn with a standard deviation of 4 points,
it would spread direct use by 2.2 points instead of 1.9. For that, each future would have to switch a second copy of all that can
move, which gives the kernel more runs, or scale the evening, which changes the watts of every kettle by a quarter. We do neither.

"""


def main() -> None:
    """Fit, or write the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--fit", action="store_true")
    parser.add_argument("--measured", type=Path)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    if given.fit:
        fit()
    if given.measured:
        text = HEAD + table(given.measured) + "\n"
        print(text)
        if given.out:
            given.out.parent.mkdir(parents=True, exist_ok=True)
            given.out.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
