"""Generated weather is calibrated: a year of one pool lies evenly among the years of another.

A pool's years are made to share the climate's mean and to spread evenly, so ranks within one pool are even by
construction; what is tested is that pools of different seeds agree, for the year, its seasons, months and days.
False alarms: each histogram is refused at a chance of 1 in 1000 under uniform ranks.
"""

import numpy as np
import pytest
from ranks import chance_of_worse, place_among, rank_histogram

from riskcalc.clock import MONTH_OF_DAY
from riskcalc.weather.climates import climate
from riskcalc.weather.generator import generated_years

FALSE_ALARM = 1e-3
POOLS, YEARS = 24, 16


@pytest.fixture(scope="module")
def daily_kwh():
    """Return light on the horizontal by day of `POOLS` pools, (pools, years, days) [kWh/m2]."""
    pools = [generated_years(climate("thames"), years=YEARS, seed=seed) for seed in range(POOLS)]
    return np.stack([pool.ghi.reshape(YEARS, 365, 24).sum(axis=2) / 1000.0 for pool in pools])


def measures(daily):
    """Return name -> figure of each year, (pools, years)."""
    month = MONTH_OF_DAY
    return {
        "year": daily.sum(axis=2),
        "winter half": daily[:, :, (month < 3) | (month > 8)].sum(axis=2),
        "June": daily[:, :, month == 5].sum(axis=2),
        "December": daily[:, :, month == 11].sum(axis=2),
        "brightest day": daily.max(axis=2),
        "dull days": (daily < 1.0).sum(axis=2) + 1e-6 * daily.sum(axis=2),
        "darkest fortnight": np.apply_along_axis(lambda year: np.convolve(year, np.ones(14), "valid").min(), 2, daily),
    }


@pytest.mark.slow
@pytest.mark.parametrize(
    "name", ["year", "winter half", "June", "December", "brightest day", "dull days", "darkest fortnight"]
)
def test_years_of_one_pool_lie_evenly_among_those_of_others(daily_kwh, name):
    """One year of each pool among all years of the 23 others, for each of 16 years: 384 ranks in 8 bins."""
    table = measures(daily_kwh)[name]
    places = [
        place_among(table[pool, year], np.delete(table, pool, axis=0)) for pool in range(POOLS) for year in range(YEARS)
    ]
    counts = rank_histogram(places, bins=8)
    assert chance_of_worse(counts) > FALSE_ALARM, counts


@pytest.mark.slow
def test_another_climate_or_spread_would_be_noticed(daily_kwh):
    """Years with half the spread, or with 3 % more light, do not lie evenly among ours."""
    ours = daily_kwh.sum(axis=2)
    calm = generated_years(climate("thames"), years=128, seed=900, yearly_spread=0.02).annual_ghi_kwh()
    for truths in (calm, 1.03 * ours[:8].ravel()):
        counts = rank_histogram([place_among(truth, ours) for truth in truths], bins=8)
        assert chance_of_worse(counts) < FALSE_ALARM
