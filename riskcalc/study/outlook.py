"""What a household may expect of a day: how much it will use, and how much sun a forecast promises."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_OF_DAY, LocalClock
from riskcalc.dispatch import ChargeByNeed, DispatchInputs, UsualDay
from riskcalc.types import Floats

KINDS = 2 * 12


@dataclass(frozen=True)
class Outlook:
    """What is known beforehand: the kind of every day, (365,), the forecast of its light, (K, 365), the usual day of each kind.

    The 24 kinds are months, weekday before weekend.
    """

    kind: NDArray[np.int64]
    light: Floats
    usual: UsualDay

    def rule(
        self, planned_day: NDArray[np.int64], *, need_share: float, sun_share: float, offset_share: Floats
    ) -> ChargeByNeed:
        """Return the rule for slots whose charging is for these days; `offset_share` by month, (12,)."""
        return ChargeByNeed(
            kind=self.kind[planned_day],
            light=self.light[:, planned_day],
            usual=self.usual,
            need_share=need_share,
            sun_share=sun_share,
            offset_share=np.repeat(offset_share, 2),
        )


def outlook(inputs: DispatchInputs, clock: LocalClock, *, serving: NDArray[np.bool_], light: Floats | None) -> Outlook:
    """Return what is to be expected of every kind of day.

    Parameters
    ----------
    inputs
        Pools of sun and demand.
    clock
        Wall clock of the plan's slots.
    serving
        Slots in which the cells may serve loads, (slots,).
    light
        Forecast of each day of each pool year, (K, 365), mean 0 and spread 1 within a month; None without forecasts.
    """
    weekend = np.zeros(DAYS, dtype=bool)
    weekend[clock.day] = clock.weekday >= 5
    kind = 2 * MONTH_OF_DAY[:DAYS] + weekend
    days = np.bincount(kind, minlength=KINDS) * inputs.years
    hours = clock.slot_minutes / 60.0
    bases = inputs.bases
    certain, by_rank = np.zeros((bases, KINDS)), np.zeros((bases, KINDS))
    for year in range(inputs.years):
        means = inputs.slot_mean_w(year)
        for basis in range(bases):
            used = np.bincount(clock.day[serving], means[basis][serving], minlength=DAYS) * hours
            row, below = int(inputs.rank_row[basis]), bool(inputs.rank_below[basis])
            ranked = inputs.day_rank[year, max(row, 0)] >= 0.0 if row >= 0 else np.zeros(DAYS, dtype=bool)
            always = ~ranked & (below or row < 0)
            certain[basis] += np.bincount(kind, used * always, minlength=KINDS)
            by_rank[basis] += np.bincount(kind, used * ranked, minlength=KINDS)
    told = np.zeros((inputs.years, DAYS)) if light is None else light
    sun, per_light = _sun(inputs, told)
    return Outlook(kind, told, UsualDay(certain / days, by_rank / days, sun, per_light))


def _sun(inputs: DispatchInputs, light: Floats) -> tuple[Floats, Floats]:
    """Return mean energy of a day by plane and kind and its regression on the forecast's light, (P, 24) each [Wh].

    slope = sum of (light x energy) / sum of light^2 over the days of the month: the light has mean 0 within it.
    """
    by_day = inputs.solar_w.reshape(inputs.years, inputs.solar_w.shape[1], DAYS, -1)
    day_wh = by_day.sum(axis=3, dtype=np.float64) * (inputs.sun_minutes / 60.0)
    mean, slope = np.zeros((day_wh.shape[1], 12)), np.zeros((day_wh.shape[1], 12))
    for month in range(12):
        days = MONTH_OF_DAY[:DAYS] == month
        energy, told = day_wh[:, :, days], light[:, days]
        mean[:, month] = energy.mean(axis=(0, 2))
        spread = float((told**2).sum())
        if spread > 0.0:
            slope[:, month] = (told[:, None, :] * energy).sum(axis=(0, 2)) / spread
    return np.repeat(mean, 2, axis=1), np.repeat(slope, 2, axis=1)


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
