"""The prices of a scenario over its horizon: every import rate, export and everything else, in each draw."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.money.cashflow import price_level
from riskcalc.money.price_file import FilePath, read_price_file
from riskcalc.money.prices import correlated_normals, price_path
from riskcalc.scenario import Scenario
from riskcalc.uncertainty.distributions import mean
from riskcalc.uncertainty.sampling import PathNoise

Floats = NDArray[np.float64]
Values = Mapping[str, Floats]


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
    return max(scenario.tariff.rates, key=lambda name: mean(scenario.tariff.rates[name].import_price_per_kwh))


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
