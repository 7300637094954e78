"""Price histories shipped with riskcalc: what they say about yearly growth, and the model fitted to them."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.types import Floats

TABLES = Path(__file__).parents[1] / "tables"

#: Histories shipped with riskcalc; provenance and licence in tables/SOURCES_prices.md.
HISTORIES = {
    "eia_residential": "eia_residential_price_1990_2021.csv",
    "bls_city_average": "bls_city_average_price_1979_2021.csv",
    "ons_electricity": "ons_electricity_1988_2025.csv",
}
#: Logarithms of growth that differ by no more than this are the same, computed in another order.
ROUNDING = 1e-12


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
    if len(growth) < 3 or np.ptp(growth) <= ROUNDING:
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
    if np.ptp(before) <= ROUNDING or np.ptp(after) <= ROUNDING:
        return None
    one, other = before - before.mean(), after - after.mean()
    return float((one * other).sum() / np.sqrt((one**2).sum() * (other**2).sum()))


@dataclass(frozen=True)
class PathParameters:
    """Parameters of `price_path` without jumps, in its units."""

    trend: float
    persistence: float
    spread: float


def read_price_history(name: str) -> tuple[NDArray[np.int64], Floats]:
    """Return years and yearly nominal prices (per kWh, or an index of them) of a shipped history, both shape (years,).

    Raises
    ------
    ValueError
        If the name is not in `HISTORIES`.
    """
    if name not in HISTORIES:
        raise ValueError(f"price history: {name!r}; accepted: {', '.join(sorted(HISTORIES))}")
    with (TABLES / HISTORIES[name]).open(encoding="utf-8", newline="") as lines:
        rows = list(csv.reader(lines))[1:]
    return np.array([int(row[0]) for row in rows]), np.array([float(row[1]) for row in rows])


#: A change of the price by more than this in a year counts as a jump, not as the usual spread (judgement).
JUMP = 0.15


def calibrated(name: str) -> PathParameters:
    """Return trend, persistence and spread of a shipped history, its jumps left to the model's own.

    Trend is the mean growth of all years, since jumps are made not to add to it; persistence and spread come from the years
    without a change of more than `JUMP` and from pairs of such years.
    """
    growth = np.diff(np.log(read_price_history(name)[1]))
    calm = np.abs(growth) <= np.log1p(JUMP)
    pairs = calm[1:] & calm[:-1]
    lag1 = _lag1(growth[:-1][pairs], growth[1:][pairs]) or 0.0
    spread = float(growth[calm].std(ddof=1)) * float(np.sqrt(1.0 - lag1**2))
    return PathParameters(trend=float(np.expm1(growth.mean())), persistence=lag1, spread=spread)
