"""A long record: the light of 67 years at Oxford by their hours of sunshine, and how often foretold intervals hold it.

    python tests/calibration/sunshine.py

Record: monthly hours of bright sunshine, 1953 to 2019 (`tests/data/sunshine_oxford_1953_2019.csv`), Met Office historic
station data, Crown copyright, Open Government Licence; values marked there as estimated are used as they stand.

Light of a month: H = H_0 (a + b n / N), a = 0.1894, b = 0.624, fitted to ten years of daily records at Eskdalemuir,
Scotland (The empirical relation between sunshine and radiation and its use in estimating evaporation in North East
England, Journal of Climatology 1 (1981), abstract). H_0 outside the atmosphere and day length N: Allen et al., FAO
Irrigation and Drainage Paper 56 (1998), equations 21 to 25 and 34. What the hours of sunshine do not tell, thin or thick
cloud, is missing from these years, so they vary a little less than real ones.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MONTH_OF_DAY
from riskcalc.weather.climates import climate
from riskcalc.weather.generator import generated_years

Floats = NDArray[np.float64]
RECORD = Path(__file__).parents[1] / "data" / "sunshine_oxford_1953_2019.csv"
LATITUDE_DEG = 51.76
OVERCAST, BRIGHT = 0.1894, 0.624
LEVELS = (0.5, 0.8, 0.9)
GENERATED, DEALS = 256, 200


def sunshine_hours() -> Floats:
    """Return the hours of bright sunshine by year and month, (67, 12)."""
    rows = list(csv.reader(RECORD.read_text(encoding="utf-8").splitlines()))[1:]
    return np.array([[float(cell) for cell in row[1:]] for row in rows])


def sky_of_days(latitude_deg: float) -> tuple[Floats, Floats]:
    """Return the light outside the atmosphere [kWh/m2] and the hours of daylight of each day of the year, (365,) each."""
    day = np.arange(1, 366)
    latitude, declination = np.radians(latitude_deg), 0.409 * np.sin(2 * np.pi * day / 365 - 1.39)
    distance = 1 + 0.033 * np.cos(2 * np.pi * day / 365)
    sunset = np.arccos(-np.tan(latitude) * np.tan(declination))
    above = sunset * np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    light_mj = 24 * 60 / np.pi * 0.0820 * distance * above
    return light_mj / 3.6, 24 / np.pi * sunset


def light_of_record() -> Floats:
    """Return the light on the horizontal by year and month, (67, 12) [kWh/m2]."""
    outside, daylight = (np.bincount(MONTH_OF_DAY, of_day) for of_day in sky_of_days(LATITUDE_DEG))
    return outside * (OVERCAST + BRIGHT * sunshine_hours() / daylight)


def generated_over_mean(spread: float | None) -> Floats:
    """Return the light of years generated for the region of Oxford, over their mean, (GENERATED,)."""
    years = generated_years(climate("thames"), years=GENERATED, seed=1, yearly_spread=spread).annual_ghi_kwh()
    return years / years.mean()


def coverage(record: Floats, possible: Floats, *, shown: int) -> dict[float, float]:
    """Return level -> share of hidden years inside the interval foretold from `shown` years picked by chance.

    The interval is the quantiles of the possible years about the mean of the shown ones, with the error of that mean.
    """
    chance, inside = np.random.default_rng(0), {level: [] for level in LEVELS}
    foretold = (possible + possible.std() / np.sqrt(shown) * chance.normal(size=(64, 1))).ravel()
    for known, hidden in _deals(len(record), shown, chance):
        over_mean = record[hidden] / record[known].mean()
        for level in LEVELS:
            low, high = np.quantile(foretold, [0.5 - level / 2, 0.5 + level / 2])
            inside[level].append(float(((low <= over_mean) & (over_mean <= high)).mean()))
    return {level: float(np.mean(shares)) for level, shares in inside.items()}


def _deals(
    years: int, shown: int, chance: np.random.Generator
) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    for _ in range(DEALS):
        order = chance.permutation(years)
        yield order[:shown], order[shown:]


def spread(years: Floats) -> float:
    """Return the standard deviation of years over their mean."""
    return float(years.std(ddof=1) / years.mean())


def main() -> None:
    """Print the spread of the record, of stretches of it, and the coverage of the generator's intervals."""
    record = light_of_record().sum(axis=1)
    stretches = [spread(record[first : first + 8]) for first in range(len(record) - 7)]
    print(f"{len(record)} years, mean {record.mean():.0f} kWh/m2, spread {spread(record):.3f}")
    print(f"any eight years in a row: spread {min(stretches):.3f} to {max(stretches):.3f}")
    for name, asked in (("climate's own", None), ("0.04", 0.04), ("0.065", 0.065), ("0.08", 0.08)):
        for shown in (8, 33):
            held = coverage(record, generated_over_mean(asked), shown=shown)
            print(
                f"spread {name:<14} {shown:2d} years shown: " + ", ".join(f"{k:.0%} {v:.0%}" for k, v in held.items())
            )


if __name__ == "__main__":
    main()
