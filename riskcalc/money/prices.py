"""Electricity prices over the years of the horizon: trend, persistence, rare jumps; every rate, export, everything else.

Independent yearly shocks understate the risk: in all three histories shipped with riskcalc a year of rising prices tends
to be followed by another (lag-1 correlation of log growth 0.28 to 0.56). Normal spread is not enough either: the steepest year
of each history lies more than three standard deviations above its mean. So rare jumps come on top, compared with
the histories: 5 of 110 years rose by 15 % or more (the defaults give 2.7 %), with a median of 19 % and logarithms that differ by
0.11; one of six changes of that size was a fall, and 1 of 110 years fell by a tenth (the defaults give 1.0 %). Of the
British rise of 2022 half was gone three years later, beside the mean growth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from riskcalc.money.flows import price_level
from riskcalc.money.price_file import FilePath, read_price_file
from riskcalc.scenario import Scenario
from riskcalc.types import Floats, Values
from riskcalc.uncertainty.sampling import PathNoise

#: Years over which the share of a jump that does not last fades away, in even parts (judgement, see above).
FADE_YEARS = 3


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
    jump_fall_share: ArrayLike = 0.0,
    jump_fade_share: ArrayLike = 0.0,
) -> Floats:
    """Return the nominal price of each year as a multiple of the first year's, shape (years, draws).

    Parameters
    ----------
    years
        Length of the horizon.
    trend
        Mean growth of prices, jumps included, decimal per year (0.02 = 2 %), scalar or (draws,).
    persistence
        Share of a year's departure from the trend that carries over into the next, in (-1, 1).
    spread
        Standard deviation of the yearly shock to log growth.
    jump_chance
        Chance of a jump in a year, 0 to 1.
    jump_mean, jump_spread
        Median size of a rise by jump, decimal (0.2 = +20 %), and the standard deviation of its logarithm; a fall has the
        logarithm of a rise with its sign turned.
    normals, jump_uniforms, jump_normals
        Standard normal and uniform numbers, shape (years, draws); row 0 is not used.
    jump_fall_share
        Share of the jumps that are falls.
    jump_fade_share
        Share of a jump that is gone after `FADE_YEARS`.

    Notes
    -----
    Log growth g from year y - 1 to y, with departure d[0] = 0 and jumps J less their mean, so that they add nothing to
    the trend::

        d[y] = persistence d[y-1] + spread normal[y]
        J[y] = s - m if jump_uniform[y] < jump_chance, else -m;  s = +-(log(1+jump_mean) + jump_spread jump_normal[y])
        m    = jump_chance (1 - 2 jump_fall_share) log(1+jump_mean)
        g[y] = log(1+trend) + d[y] + J[y] - jump_fade_share (J[y-1] + J[y-2] + J[y-3]) / 3
        multiplier[y] = exp(g[1] + ... + g[y]),   multiplier[0] = 1

    Mean log growth is log(1+trend) in every year. The lowest part of the uniform, below jump_chance x
    jump_fall_share, makes the falls. A path starts on its trend, so its spread is a little smaller at first than in the
    long run. Limiting case: no spread and no jumps give (1 + trend)**y.
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
    chance, falls = np.asarray(jump_chance), np.asarray(jump_fall_share)
    median = np.log1p(np.asarray(jump_mean, dtype=np.float64))
    size = median + np.asarray(jump_spread) * jump_normals
    size = np.where(jump_uniforms < chance * falls, -size, size)
    jump = np.where(jump_uniforms < chance, size, 0.0) - chance * (1.0 - 2.0 * falls) * median
    faded = np.asarray(jump_fade_share) / FADE_YEARS
    shock = np.asarray(spread) * normals
    log_price = np.zeros((years, draws))
    departure = np.zeros(draws)
    for year in range(1, years):
        departure = persistence * departure + shock[year]
        growth = log_trend + departure + jump[year]
        for past in range(max(1, year - FADE_YEARS), year):
            growth = growth - faded * jump[past]
        log_price[year] = log_price[year - 1] + growth
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
class PricePaths:
    """Prices of each year over the first year's, nominal, (years, draws) each.

    `rates` has one for every import rate, in the order of the tariff; `main` is that of the dearest rate, which
    standing charge and blocks follow too. `level` is the general price level.
    """

    rates: tuple[Floats, ...]
    main: Floats
    export: Floats
    level: Floats


def paths_of(scenario: Scenario, values: Values, noise: PathNoise) -> PricePaths:
    """Return the paths of a scenario's draws.

    Notes
    -----
    Drawn paths share trend, persistence, spread and jumps. The dearest rate follows the main one; the other rates
    follow a path of their own whose yearly shocks correlate with it by `rate_correlation`, and so does export by
    `export_correlation`. Yearly inflation is its mean plus `inflation_spread` times a shock that correlates by
    `inflation_correlation`. A fixed path (`import_path`, `growth_path`, `path_file`) takes the place of all drawn ones
    but inflation, unless the file has that as well.
    """
    fixed = fixed_path(scenario)
    names = list(scenario.tariff.rates)
    level = _level(scenario, values, noise, fixed)
    if fixed is not None:
        draws = noise.growth_normals.shape[1]
        main = np.repeat(fixed.import_path[:, None], draws, axis=1)
        export = main if fixed.export_path is None else np.repeat(fixed.export_path[:, None], draws, axis=1)
        return PricePaths((main,) * len(names), main, export, level)
    prices, common = scenario.prices, _common(scenario, values, noise)
    main = price_path(normals=noise.growth_normals, **common)
    export = price_path(
        normals=correlated_normals(noise.growth_normals, noise.export_normals, correlation=prices.export_correlation),
        **common,
    )
    others = main
    if prices.rate_correlation < 1.0 and len(names) > 1:
        others = price_path(normals=_beside(noise, noise.rate_normals, prices.rate_correlation), **common)
    dearest = dearest_rate(scenario)
    return PricePaths(tuple(main if name == dearest else others for name in names), main, export, level)


def dearest_rate(scenario: Scenario) -> str:
    """Return the name of the import rate with the highest mean price, the first of equals."""
    return max(scenario.tariff.rates, key=lambda name: scenario.tariff.rates[name].import_price_per_kwh.expected())


def fixed_path(scenario: Scenario) -> FilePath | None:
    """Return the path that the scenario gives outright, None where prices are drawn."""
    prices, years = scenario.prices, scenario.study.horizon_years
    if prices.import_path is not None:
        return FilePath(np.array(prices.import_path[:years]), None, None)
    if prices.growth_path is not None:
        growth = np.array(prices.growth_path[: years - 1])
        return FilePath(np.concatenate([[1.0], np.cumprod(1.0 + growth)]), None, None)
    if prices.path_file is not None:
        return read_price_file(scenario.data_path("prices.path_file"), years=years)
    return None


def _common(scenario: Scenario, values: Values, noise: PathNoise) -> dict[str, Any]:
    return {
        "years": scenario.study.horizon_years,
        "trend": values["prices.trend_per_year"],
        "persistence": values["prices.persistence"],
        "spread": values["prices.spread"],
        "jump_chance": values["prices.jump_chance_per_year"],
        "jump_mean": values["prices.jump_mean"],
        "jump_spread": values["prices.jump_spread"],
        "jump_fall_share": values["prices.jump_fall_share"],
        "jump_fade_share": values["prices.jump_fade_share"],
        "jump_uniforms": noise.jump_uniforms,
        "jump_normals": noise.jump_normals,
    }


def _beside(noise: PathNoise, normals: Floats | None, correlation: float) -> Floats:
    """Return shocks that correlate with those of growth; growth itself where no others were drawn."""
    if normals is None:
        return noise.growth_normals
    return correlated_normals(noise.growth_normals, normals, correlation=correlation)


def _level(scenario: Scenario, values: Values, noise: PathNoise, fixed: FilePath | None) -> Floats:
    years, draws = noise.growth_normals.shape
    if fixed is not None and fixed.inflation_per_year is not None:
        return price_level(np.repeat(fixed.inflation_per_year[:, None], draws, axis=1), years=years)
    inflation, spread = values["prices.inflation_per_year"], values["prices.inflation_spread"]
    if not spread.any():
        return price_level(inflation, years=years)
    shocks = _beside(noise, noise.inflation_normals, scenario.prices.inflation_correlation)
    # Money does not lose half of its worth in a year here; the cut lies many spreads out.
    return price_level(np.maximum(inflation + spread * shocks, -0.5), years=years)
