"""Electricity prices over the years of the horizon: trend, persistence, rare jumps.

Independent yearly shocks understate the risk: in both histories shipped with riskcalc a year of rising prices tends to
be followed by another (lag-1 correlation of log growth 0.29 and 0.56). Nor is normal spread enough: the steepest year
of each history lies more than three standard deviations above its mean, and neither holds a step like Great Britain's
in 2022 (price cap of a typical dual-fuel household: +54 % in April; House of Commons Library, briefing 9491). So rare
jumps are added on top of what the histories support; their chance and size are a judgement, not a calibration.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

TABLES = Path(__file__).parents[1] / "tables"

#: Histories shipped with riskcalc; provenance and licence in tables/SOURCES_prices.md.
HISTORIES = {
    "eia_residential": "eia_residential_price_1990_2021.csv",
    "bls_city_average": "bls_city_average_price_1979_2021.csv",
}


def price_path(
    *,
    years: int,
    trend: ArrayLike,
    persistence: ArrayLike,
    spread: ArrayLike,
    jump_chance: ArrayLike,
    jump_mean: ArrayLike,
    jump_spread: ArrayLike,
    normals: Floats,
    jump_uniforms: Floats,
    jump_normals: Floats,
) -> Floats:
    """Return the nominal price of each year as a multiple of the first year's, shape (years, draws).

    Parameters
    ----------
    years
        Length of the horizon.
    trend
        Growth of prices in a year without shocks, decimal per year (0.02 = 2 %), scalar or (draws,).
    persistence
        Share of a year's departure from the trend that carries over into the next, in (-1, 1).
    spread
        Standard deviation of the yearly shock to log growth.
    jump_chance
        Chance of a jump in a year, 0 to 1.
    jump_mean, jump_spread
        Median rise of a jump, decimal (0.2 = +20 %), and the standard deviation of its logarithm.
    normals, jump_uniforms, jump_normals
        Standard normal and uniform numbers, shape (years, draws); row 0 is not used.

    Notes
    -----
    Log growth g from year y - 1 to y, with g[0] = log(1 + trend)::

        g[y] = log(1+trend) + persistence (g[y-1] - log(1+trend)) + spread normal[y] + jump[y]
        jump[y] = log(1+jump_mean) + jump_spread jump_normal[y]   if jump_uniform[y] < jump_chance, else 0
        multiplier[y] = exp(g[1] + ... + g[y]),   multiplier[0] = 1

    A jump passes through the persistence like any shock, so in the end it moves the log price by jump / (1 -
    persistence). Mean log growth tends to log(1+trend) + jump_chance log(1+jump_mean) / (1 - persistence): jumps with
    a positive median add to the trend. A path starts on its trend, so its spread is a little smaller at first than in
    the long run. Limiting case: no spread and no jumps give (1 + trend)**y.
    """
    normals, jump_uniforms, jump_normals = (np.asarray(a) for a in (normals, jump_uniforms, jump_normals))
    for name, values in (("normals", normals), ("jump_uniforms", jump_uniforms), ("jump_normals", jump_normals)):
        if values.ndim != 2 or values.shape[0] != years:
            raise ValueError(f"{name}: shape {values.shape}; accepted: ({years}, draws)")
    draws = normals.shape[1]
    persistence = np.asarray(persistence, dtype=np.float64)
    if (np.abs(persistence) >= 1).any():
        raise ValueError("persistence: must lie between -1 and 1, else the price has no trend")
    log_trend = np.log1p(np.asarray(trend, dtype=np.float64))
    jump_size = np.log1p(np.asarray(jump_mean, dtype=np.float64)) + np.asarray(jump_spread) * jump_normals
    shock = np.asarray(spread) * normals + np.where(jump_uniforms < np.asarray(jump_chance), jump_size, 0.0)
    log_price = np.zeros((years, draws))
    departure = np.zeros(draws)
    for year in range(1, years):
        departure = persistence * departure + shock[year]
        log_price[year] = log_price[year - 1] + log_trend + departure
    return np.exp(log_price)


def correlated_normals(first: ArrayLike, second: ArrayLike, *, correlation: ArrayLike) -> Floats:
    """Return standard normals that correlate with `first`, made from `first` and the independent `second`.

    Notes
    -----
    correlation first + sqrt(1 - correlation^2) second. Limits: 1 gives `first`, 0 gives `second`, -1 gives -`first`.
    For an export or night price: use these as `normals` and keep the import path's jumps, if a crisis lifts both.
    """
    correlation = np.asarray(correlation, dtype=np.float64)
    if (np.abs(correlation) > 1).any():
        raise ValueError("correlation: must lie between -1 and 1")
    return correlation * np.asarray(first) + np.sqrt(1.0 - correlation**2) * np.asarray(second)


@dataclass(frozen=True)
class GrowthStatistics:
    """What a price history says about yearly log growth."""

    years: int
    mean: float
    sd: float
    lag1: float | None
    smallest: float
    largest: float


def growth_statistics(yearly_price: ArrayLike) -> GrowthStatistics:
    """Return mean, standard deviation (n - 1), lag-1 correlation and range of the log growth of a yearly series.

    Notes
    -----
    lag-1 is the correlation of each year's growth with the next year's. In a short series it is biased low by
    about (1 + 3 lag1) / n (Kendall 1954, from memory), so a calibrated persistence errs on the calm side.
    """
    price = np.asarray(yearly_price, dtype=np.float64)
    if price.ndim != 1 or len(price) < 4 or not (price > 0).all():
        raise ValueError("yearly_price: at least four positive yearly prices needed")
    growth = np.diff(np.log(price))
    return GrowthStatistics(
        years=len(growth),
        mean=float(growth.mean()),
        sd=float(growth.std(ddof=1)),
        lag1=_lag1(growth[:-1], growth[1:]),
        smallest=float(growth.min()),
        largest=float(growth.max()),
    )


def drawn_growth(path: Floats) -> GrowthStatistics | None:
    """Return the same of drawn paths (years, draws) taken together; None for fewer than four years or paths all alike.

    The lag-1 correlation is over all pairs of neighbouring years in all draws, so it holds what draws differ in (their
    trends) too: a little above the persistence of a single path.
    """
    growth = np.diff(np.log(path), axis=0)
    if len(growth) < 3 or np.ptp(growth) == 0.0:
        return None
    return GrowthStatistics(
        years=len(growth),
        mean=float(growth.mean()),
        sd=float(growth.std(ddof=1)),
        lag1=_lag1(growth[:-1].ravel(), growth[1:].ravel()),
        smallest=float(growth.min()),
        largest=float(growth.max()),
    )


def _lag1(before: Floats, after: Floats) -> float | None:
    """Return the correlation of neighbouring years; None where one of the two does not vary."""
    if np.ptp(before) == 0.0 or np.ptp(after) == 0.0:
        return None
    return float(np.corrcoef(before, after)[0, 1])


@dataclass(frozen=True)
class PathParameters:
    """Parameters of `price_path` without jumps, in its units."""

    trend: float
    persistence: float
    spread: float


def path_parameters(statistics: GrowthStatistics) -> PathParameters:
    """Return the trend, persistence and spread whose long-run log growth has these statistics.

    Notes
    -----
    A first-order autoregression has mean log(1 + trend), lag-1 correlation = persistence and variance
    spread^2 / (1 - persistence^2) (Box & Jenkins 1976, ch. 3, from memory). Jumps are not fitted: the histories
    hold none.
    """
    lag1 = statistics.lag1 or 0.0
    return PathParameters(
        trend=float(np.expm1(statistics.mean)),
        persistence=lag1,
        spread=float(statistics.sd * np.sqrt(1.0 - lag1**2)),
    )


def read_price_history(name: str) -> tuple[NDArray[np.int64], Floats]:
    """Return years and yearly nominal prices (per kWh) of a shipped history, both shape (years,).

    Raises
    ------
    ValueError
        If the name is not in `HISTORIES`.
    """
    if name not in HISTORIES:
        raise ValueError(f"price history: {name!r}; accepted: {', '.join(sorted(HISTORIES))}")
    with (TABLES / HISTORIES[name]).open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    return (
        np.array([int(row["year"]) for row in rows]),
        np.array([float(row["price_usd_per_kwh"]) for row in rows]),
    )
