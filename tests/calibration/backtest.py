"""Hide years of a weather record, foretell their solar yield from the others, and count how often the intervals hold.

    python tests/calibration/backtest.py FILE --zone UTC --label start --latitude 51.1 --longitude 7.2 --altitude 177

FILE is an hourly CSV of several real years as `riskcalc` reads it. Three ways of foretelling are compared:

- years shown: the quantiles of the years that are shown, as a pool of real years gives them;
- generated: years generated from the monthly means of the shown years;
- generated + mean: the same with the error that a mean of so few years has, as `site.resource_factor` would carry it.

Coverage is the share of hidden years inside the interval; for 50, 80 and 90 % it should be about that. Of n shown years
the whole range misses a new one with chance 2 / (n + 1), so few real years cannot give a wide enough interval.
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from riskcalc.weather.array import array_power_w
from riskcalc.weather.csv_years import read_csv_years
from riskcalc.weather.generator import climate_of, generated_years, usual_spread_of
from riskcalc.weather.module import Module
from riskcalc.weather.pool import HOUR_SERIES, WeatherPool
from riskcalc.weather.solar import sun_path

Floats = NDArray[np.float64]
LEVELS = (0.5, 0.8, 0.9)
GENERATED = 64
#: An invented module of common size; only its temperature behaviour matters, yields are compared with yields.
MODULE = Module(
    power_w=430.0,
    voc_v=38.9,
    isc_a=13.9,
    vmp_v=32.6,
    imp_a=13.2,
    cells_in_series=54,
    gamma_pmax_per_k=-0.0030,
    beta_voc_per_k=-0.0025,
    alpha_isc_per_k=0.00045,
)


@dataclass(frozen=True)
class Coverage:
    """Share of hidden years inside the interval of one level, how many there were, and the interval's mean width."""

    method: str
    level: float
    share: float
    count: int
    width: float


def yearly_yield_kwh(pool: WeatherPool, *, tilt_deg: float, azimuth_deg: float) -> Floats:
    """Return the yield of one module in each year, (years,) [kWh]."""
    sun = sun_path(pool.latitude_deg, pool.longitude_deg, pool.altitude_m, pool.utc_offset_hours)
    power = array_power_w(pool, sun, module=MODULE, modules_in_series=1, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    return power.sum(axis=1, dtype=np.float64) / 1000.0


def some_years(pool: WeatherPool, years: Sequence[int]) -> WeatherPool:
    """Return the pool of these years only."""
    return replace(pool, **{name: getattr(pool, name)[list(years)] for name in HOUR_SERIES})


def generated_yield_kwh(shown: WeatherPool, *, seed: int, spread: float | None, **plane: float) -> Floats:
    """Return the yield of each of GENERATED years made from the monthly means of the shown ones, (GENERATED,) [kWh]."""
    made = generated_years(climate_of(shown), years=GENERATED, seed=seed, yearly_spread=spread)
    return yearly_yield_kwh(made, **plane)


def chance_of_wilder(truth: Floats, possible: Floats, *, samples: int = 20_000) -> float:
    """Return the chance that as many years drawn from the possible ones differ at least as much as the true ones."""
    drawn = np.random.default_rng(0).choice(possible / possible.mean(), size=(samples, len(truth)))
    return float((drawn.std(axis=1) >= truth.std() / truth.mean()).mean())


def foretold(
    shown: WeatherPool, shown_kwh: Floats, *, seed: int, spread: float | None, tilt_deg: float, azimuth_deg: float
) -> dict[str, Floats]:
    """Return what each way of foretelling holds possible for the yield of a year, (draws,) [kWh]."""
    generated = generated_yield_kwh(shown, seed=seed, spread=spread, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    mean_error = np.random.default_rng(seed).normal(size=(256, 1)) * (generated.std() / generated.mean())
    mean_error /= np.sqrt(shown.years)
    return {
        "years shown": shown_kwh,
        "generated": generated,
        "generated + mean": (generated * (1.0 + mean_error)).ravel(),
    }


def splits(years: int, hidden: int, *, most: int = 80) -> Iterator[tuple[list[int], list[int]]]:
    """Yield (shown, hidden) years: every way to hide so many, or an even choice of `most` of them."""
    ways = list(itertools.combinations(range(years), hidden))
    chosen = sorted({round(place) for place in np.linspace(0, len(ways) - 1, min(most, len(ways)))})
    for place in chosen:
        yield [year for year in range(years) if year not in ways[place]], list(ways[place])


def backtest(
    pool: WeatherPool,
    *,
    hidden: int = 1,
    spread: float | None = None,
    tilt_deg: float = 35.0,
    azimuth_deg: float = 180.0,
) -> list[Coverage]:
    """Return the coverage of each method and level, hiding `hidden` years at a time."""
    truth = yearly_yield_kwh(pool, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg)
    inside: dict[tuple[str, float], list[bool]] = {}
    widths: dict[tuple[str, float], list[float]] = {}
    for seed, (shown, away) in enumerate(splits(pool.years, hidden)):
        plane = {"tilt_deg": tilt_deg, "azimuth_deg": azimuth_deg}
        possible = foretold(some_years(pool, shown), truth[shown], seed=seed, spread=spread, **plane)
        for method, drawn in possible.items():
            for level in LEVELS:
                low, high = np.quantile(drawn, [0.5 - level / 2, 0.5 + level / 2])
                inside.setdefault((method, level), []).extend(low <= truth[year] <= high for year in away)
                widths.setdefault((method, level), []).append((high - low) / np.median(drawn))
    return [
        Coverage(method, level, float(np.mean(held)), len(held), float(np.mean(widths[method, level])))
        for (method, level), held in inside.items()
    ]


def main(words: Sequence[str]) -> None:
    """Read the record named on the command line and print the table of coverages."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("file", type=Path)
    parser.add_argument("--zone", default="UTC")
    parser.add_argument("--label", default="start", choices=("start", "middle", "end"))
    parser.add_argument("--site-zone", default=None)
    for name, default in (
        ("latitude", None),
        ("longitude", None),
        ("altitude", 0.0),
        ("tilt", 35.0),
        ("azimuth", 180.0),
    ):
        parser.add_argument(f"--{name}", type=float, default=default, required=default is None)
    parser.add_argument("--spread", type=float, help="of the generator; its own unless given")
    given = parser.parse_args(words)
    pool = read_csv_years(
        given.file,
        zone=given.zone,
        label=given.label,
        latitude_deg=given.latitude,
        longitude_deg=given.longitude,
        altitude_m=given.altitude,
        site_zone=given.site_zone,
    )
    truth = yearly_yield_kwh(pool, tilt_deg=given.tilt, azimuth_deg=given.azimuth)
    print(f"{pool.years} years; yield of each over their mean: {', '.join(f'{y:.3f}' for y in truth / truth.mean())}")
    light = pool.annual_ghi_kwh()
    made = generated_yield_kwh(pool, seed=0, spread=given.spread, tilt_deg=given.tilt, azimuth_deg=given.azimuth)
    spread = usual_spread_of(climate_of(pool)) if given.spread is None else given.spread
    print(f"standard deviation over mean: light {light.std(ddof=1) / light.mean():.3f}, generated {spread:.2g}; yield")
    print(
        f"{truth.std(ddof=1) / truth.mean():.3f}, generated {made.std() / made.mean():.3f}; chance of years this wild"
    )
    print(f"or wilder among those generated: {chance_of_wilder(truth, made):.3f}")
    for hidden in sorted({1, pool.years // 2}):
        print(f"\nhidden at a time: {hidden}\nmethod              level  coverage  of hidden years  mean width")
        for row in backtest(pool, hidden=hidden, spread=given.spread, tilt_deg=given.tilt, azimuth_deg=given.azimuth):
            print(f"{row.method:<18} {row.level:6.0%} {row.share:9.0%} {row.count:16d} {row.width:11.1%}")


if __name__ == "__main__":
    main(sys.argv[1:])
