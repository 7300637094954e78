"""What a household that sets the charger in the evening knows of tomorrow's sun."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_OF_DAY
from riskcalc.types import Floats

#: What a forecast says of a day, within its month: an equal third of the days each.
KINDS_OF_DAY = ("dull", "mixed", "bright")

# What skill to give: the best day-ahead forecasts err half as much as persistence (Perez et al., Solar Energy 94 (2013)
# 305-326, abstract). Persistence of days with correlation r errs by 2 (1 - r) of their variance, so that half its root mean
# square leaves 1 - skill^2 = (1 - r) / 2; with r = 0.36 to 0.39 that is a skill of 0.83.


def forecast_light(day_sun: Floats, *, skill: float, seed: int) -> Floats:
    """Return what was forecast of each day's light, in standard deviations from the mean of its month, (K, 365).

    Parameters
    ----------
    day_sun
        Light of each day of each pool year, (K, 365).
    skill
        Correlation, within a month, of what is forecast with what comes: 1 knows it, 0 knows the season only.
    seed
        Of the errors of the forecasts.

    Notes
    -----
    forecast = skill z + sqrt(1 - skill^2) e, with z the light of the day in standard deviations from the mean of its month
    and e standard normal.
    """
    errors = np.random.default_rng(seed).standard_normal(day_sun.shape)
    said = np.zeros(day_sun.shape)
    for month in range(12):
        days = np.flatnonzero(MONTH_OF_DAY[:DAYS] == month)
        light = day_sun[:, days]
        spread = float(light.std())
        standard = (light - light.mean()) / spread if spread > 0.0 else np.zeros_like(light)
        said[:, days] = skill * standard + np.sqrt(1.0 - skill**2) * errors[:, days]
    return said


def kinds_of(light: Floats) -> NDArray[np.int64]:
    """Return the kind of each forecast, an index into `KINDS_OF_DAY`, (K, 365).

    The thirds are those of the forecasts of the month over all pool years.
    """
    kinds = np.zeros(light.shape, dtype=np.int64)
    for month in range(12):
        days = np.flatnonzero(MONTH_OF_DAY[:DAYS] == month)
        said = light[:, days]
        thirds = np.quantile(said, np.arange(1, len(KINDS_OF_DAY)) / len(KINDS_OF_DAY))
        kinds[:, days] = np.searchsorted(thirds, said)
    return kinds
