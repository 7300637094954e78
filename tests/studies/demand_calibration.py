"""Fit the weekday calibration of the activity profiles; run by hand after a change of profiles or table.

    python tests/studies/demand_calibration.py

Target: the mean of two published shapes of a winter weekday, each divided by its mean: UK profile class 1 and the
winter workday
of BDEW H0. Only these 24 hourly factors are fitted; weekends, other seasons, the yearly swing and every statistic
below the
half-hour are not, and are what the tests check.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "demand"))

from demand_homes import BRITISH_WINTER, WEEKDAY, bdew_h0, mean_home_w, profile_class_1

from riskcalc.demand import habits

TABLE = Path(habits.__file__).parents[1] / "tables" / "activity_calibration.csv"
ROUNDS, HOMES, SEED = 8, 150, 77
#: The factor may not hide a profile that is badly wrong.
BOUNDS = (0.5, 2.0)


def main() -> None:
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


if __name__ == "__main__":
    main()
