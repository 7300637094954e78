"""One household assessed with many seeds: stated standard errors beside the spread that the seeds show.

python tests/calibration/seeds.py --seeds 120 --set study.draws=1024 --set study.pool_years=32
"""

from __future__ import annotations

import argparse
import os
import runpy
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment
from riskcalc.uncertainty import summary

SMALL = runpy.run_path(str(Path(__file__).parents[1] / "conftest.py"))["SMALL"]
UNSURE = (
    'site.resource_factor={ distribution = "normal", mean = 1, sd = 0.1, minimum = 0.5 }',
    'home.annual_use_kwh={ distribution = "triangular", low = 1500, mode = 2000, high = 3000 }',
    'home.surfaces.balcony.shading={ distribution = "uniform", low = 0, high = 0.3 }',
    'purchase.price={ distribution = "uniform", low = 200, high = 500 }',
    'tariff.rates.night.windows=["00:00-07:00"]',
    "prices.spread=0.04",
    "prices.jump_chance_per_year=0.05",
    "study.horizon_years=5",
    "study.step_minutes=60",
    "study.draws=256",
    "study.pool_years=16",
)


def figures_of_seeds(
    seeds: Iterable[int], folder: Path, changes: tuple[str, ...] = ()
) -> dict[str, NDArray[np.float64]]:
    """Return figure -> (value of each seed, stated error of each seed), shape (2, seeds)."""
    path = folder / "small.toml"
    path.write_text(SMALL, encoding="utf-8")
    rows = [figures(path, (*UNSURE, *changes, f"study.seed={seed}")) for seed in seeds]
    return {name: np.array([(row[name].value, row[name].standard_error) for row in rows]).T for name in rows[0]}


def figures(path: Path, changes: tuple[str, ...]) -> Mapping[str, summary.Estimate]:
    """Return the figures of one assessment that are compared."""
    found = assessment(read_scenario(path, changes))
    scrambles, money = found.design.scrambles, found.valuation
    worth = summary.worth_figures(money.net_present_value, scrambles=scrambles)
    return {f"worth {name}": figure for name, figure in worth.items()} | {
        "never": summary.estimate(money.payback_years, summary.share_never, scrambles=scrambles),
        "within 3 years": summary.estimate(
            money.payback_years, lambda years: summary.share_within(years, 3), scrambles=scrambles
        ),
        "saving": summary.estimate(money.saving[0], summary.mean, scrambles=scrambles),
    }


def stated_over_observed(values_and_errors: NDArray[np.float64]) -> float:
    """Return the root mean square of the stated errors over the standard deviation of the values."""
    values, errors = values_and_errors
    return float(np.sqrt((errors**2).mean()) / values.std(ddof=1))


def error_of_ratio(values_and_errors: NDArray[np.float64]) -> float:
    """Return the standard error of that ratio, by leaving out one seed at a time (jackknife)."""
    count = values_and_errors.shape[1]
    without = [stated_over_observed(np.delete(values_and_errors, seed, axis=1)) for seed in range(count)]
    return float(np.sqrt((count - 1) * np.var(without)))


def main() -> None:
    """Print every figure's ratio with its own standard error."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", type=int, default=120)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--set", action="append", default=[], help="changes of the household")
    asked = parser.parse_args()
    os.environ["RISKCALC_CACHE"] = "off"
    with tempfile.TemporaryDirectory() as folder:
        found = figures_of_seeds(range(asked.first, asked.first + asked.seeds), Path(folder), tuple(asked.set))
    for name, pairs in found.items():
        ratio, error = stated_over_observed(pairs), error_of_ratio(pairs)
        print(f"{name:<30} stated over observed {ratio:5.2f} +- {error:4.2f}   observed {pairs[0].std(ddof=1):.4g}")


if __name__ == "__main__":
    main()
