"""Foretold intervals of a year's light hold on 67 real years, and the spread of British years is that of the record."""

import numpy as np
import pytest
from scipy.stats import chi2
from sunshine import (
    LATITUDE_DEG,
    coverage,
    generated_over_mean,
    light_of_record,
    sky_of_days,
    spread,
    sunshine_hours,
)

from riskcalc.clock import MONTH_LENGTHS, MONTH_OF_DAY
from riskcalc.weather.climates import climate
from riskcalc.weather.generator import generated_years


@pytest.fixture(scope="module")
def record():
    """Return the light of each year by its sunshine, (67,) [kWh/m2]."""
    return light_of_record().sum(axis=1)


@pytest.mark.published
def test_light_by_sunshine_agrees_with_the_climate_of_the_region(record_property):
    """Oxford by its sunshine against the table of the Thames region: the year within 3 %, summer months within 10 %.

    The formula was fitted in Scotland and the region's middle lies 60 km away, so no better can be asked.
    """
    monthly = light_of_record().mean(axis=0)
    table = climate("thames").ghi_w_m2 * 24 * MONTH_LENGTHS / 1000.0
    what = "light of a year at Oxford by its sunshine kWh/m2"
    record_property("published", (what, "SAP 2012, table U3, Thames", float(table.sum()), float(monthly.sum())))
    assert monthly.sum() == pytest.approx(table.sum(), rel=0.03)
    assert monthly[3:9] == pytest.approx(table[3:9], rel=0.10)


@pytest.mark.published
def test_sky_outside_the_atmosphere(record_property):
    """Allen et al., FAO 56 (1998), examples 8 and 9: on 3 September at 20 degrees south 32.2 MJ/m2 and 11.7 hours."""
    outside, daylight = sky_of_days(-20.0)
    day_mj, hours = outside[245] * 3.6, daylight[245]
    record_property("published", ("light outside the atmosphere MJ/m2", "FAO 56, example 8", 32.2, day_mj))
    record_property("published", ("hours of daylight", "FAO 56, example 9", 11.7, hours))
    assert day_mj == pytest.approx(32.2, abs=0.05)
    assert hours == pytest.approx(11.7, abs=0.05)


@pytest.mark.published
def test_seasons_spread_as_those_of_the_record(record_property):
    """Standard deviation of a season's light over its mean: within 0.035 of the record by sunshine.

    Generated winters vary more than those of the record, summers a little less. In winter the hours of sunshine say least:
    most of the light comes through cloud, thick or thin, which they do not tell.
    """
    made = generated_years(climate("thames"), years=200, seed=5).monthly_means() * MONTH_LENGTHS
    for name, months in (("dark", (10, 11, 0, 1)), ("middling", (2, 3, 8, 9)), ("light", (4, 5, 6, 7))):
        real, found = (spread(table[:, months].sum(axis=1)) for table in (light_of_record(), made))
        what = f"spread of the light of the {name} months"
        record_property("published", (what, "67 years of sunshine at Oxford", real, found))
        assert found == pytest.approx(real, abs=0.035)


def test_the_record_is_whole():
    """67 years of twelve months, none dark, none with more sunshine than daylight."""
    hours = sunshine_hours()
    assert hours.shape == (67, 12)
    assert (hours > 0).all()
    assert (hours < np.bincount(MONTH_OF_DAY, sky_of_days(LATITUDE_DEG)[1])).all()


def test_the_spread_of_british_years_is_not_refused_by_the_record(record):
    """0.055 lies within the 95 % interval of the record's spread (chi-square of 66 degrees of freedom), 0.04 does not."""
    freedom = len(record) - 1
    low, high = (spread(record) * np.sqrt(freedom / chi2.ppf(level, freedom)) for level in (0.975, 0.025))
    assert low < climate("thames").yearly_spread < high
    assert not low < 0.04 < high


@pytest.mark.parametrize("shown", [8, 33])
def test_intervals_hold_what_they_say(record, shown):
    """Coverage of 50, 80 and 90 % within what 67 independent years can tell (twice sqrt(p (1 - p) / 67))."""
    for level, share in coverage(record, generated_over_mean(None), shown=shown).items():
        assert share == pytest.approx(level, abs=2 * np.sqrt(level * (1 - level) / len(record))), level


def test_a_spread_that_is_wrong_is_noticed(record):
    """Years that vary half or twice as much do not hold what they say."""
    assert coverage(record, generated_over_mean(0.0275), shown=33)[0.8] < 0.8 - 2 * 0.049
    assert coverage(record, generated_over_mean(0.11), shown=33)[0.5] > 0.5 + 2 * 0.061


def test_one_half_foretells_the_other(record):
    """The spread of the years before 1986 foretells those from 1986 on, and the other way round."""
    early, late = record[:33], record[33:]
    for known, new in ((early, late), (late, early)):
        possible = generated_over_mean(spread(known))
        for level in (0.5, 0.8, 0.9):
            low, high = np.quantile(possible, [0.5 - level / 2, 0.5 + level / 2])
            share = float(((low <= new / new.mean()) & (new / new.mean() <= high)).mean())
            assert share == pytest.approx(level, abs=2 * np.sqrt(level * (1 - level) / len(new))), level
