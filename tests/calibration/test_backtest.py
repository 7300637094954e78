"""The back-test harness counts rightly, and tells calibrated weather from weather that is too sure of itself."""

import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from backtest import LEVELS, backtest, chance_of_wilder, climate_of, some_years, splits, yearly_yield_kwh
from scipy.special import chdtrc

from riskcalc.weather.climates import climate
from riskcalc.weather.generator import generated_years


def record(*, years, spread, seed):
    """Return a weather record whose years are independent: each is taken from a pool of its own."""
    pools = [
        generated_years(climate("thames"), years=8, seed=1000 * seed + year, yearly_spread=spread)
        for year in range(years)
    ]
    names = ("ghi", "dni", "dhi", "temp_air", "wind_speed")
    return replace(
        pools[0], **{name: np.stack([getattr(pool, name)[3] for pool in pools]) for name in names}, real_years=years
    )


def fewest(count, level, *, chance=1e-3):
    """Return the fewest of `count` independent years inside an interval of that level, but for this chance."""
    total = 0.0
    for inside in range(count + 1):
        total += math.comb(count, inside) * level**inside * (1 - level) ** (count - inside)
        if total > chance:
            return inside
    return count


def test_ways_to_hide():
    """Eight years can be hidden one at a time in eight ways, two at a time in twenty-eight, each year as often."""
    assert len(list(splits(8, 1))) == 8
    pairs = list(splits(8, 2))
    assert len(pairs) == 28
    assert np.bincount([year for _, away in pairs for year in away]).tolist() == [7] * 8
    assert all(not set(shown) & set(away) for shown, away in pairs)
    assert len(list(splits(12, 6, most=30))) == 30


def test_the_climate_of_years_has_their_means():
    """Monthly means of the shown years are those generated from."""
    pool = record(years=3, spread=0.05, seed=2)
    shown = some_years(pool, [0, 2])
    assert climate_of(shown).ghi_w_m2 == pytest.approx(pool.monthly_means("ghi")[[0, 2]].mean(axis=0))
    assert len(yearly_yield_kwh(shown, tilt_deg=35, azimuth_deg=180)) == 2


@pytest.mark.slow
def test_intervals_hold_for_weather_of_the_same_kind_and_fail_for_wilder():
    """Twenty years of the generator's own kind: coverage of 50, 80 and 90 % not below what chance allows (1 in 1000).

    Twelve years that differ three times as much fall outside the 90 % interval far too often: the harness notices.
    """
    calm = backtest(record(years=20, spread=0.05, seed=1), hidden=1, spread=0.05)
    for row in calm:
        if row.method == "generated + mean":
            assert row.share * row.count >= fewest(row.count, row.level), row
    assert {row.level for row in calm} == set(LEVELS)
    wild = backtest(record(years=12, spread=0.15, seed=1), hidden=1, spread=0.05)
    worst = next(row for row in wild if row.method == "generated + mean" and row.level == 0.9)
    assert worst.share * worst.count < fewest(worst.count, worst.level)


def test_years_as_wild_as_ours_are_common_and_twice_as_wild_rare():
    """Eight normal years of our own spread are wilder than ours about every second time, of twice the spread hardly ever.

    Of eight the standard deviation lies above the law's in 43 of 100 samples (chi-square of 7 degrees above 8 / 1, as
    the deviation here is over n), and above twice of it in less than 1 in 1000.
    """
    possible = 1.0 + 0.05 * np.random.default_rng(3).normal(size=4000)
    even = np.tile([-1.0, 1.0], 4)
    assert chance_of_wilder(1.0 + 0.05 * even, possible) == pytest.approx(chdtrc(7, 8), abs=0.03)
    assert chance_of_wilder(1.0 + 0.10 * even, possible) < 0.001


@pytest.mark.slow
def test_the_harness_reads_a_record(tmp_path):
    """From an hourly CSV of three years to the table of coverages, as the command line prints it."""
    pool = record(years=3, spread=0.05, seed=5)
    hours = np.concatenate(
        [
            np.arange(f"{year}-01-01T00:00", f"{year + 1}-01-01T00:00", dtype="datetime64[h]")
            for year in (2021, 2022, 2023)
        ]
    )
    rows = zip(hours.astype(str), pool.ghi.ravel(), pool.temp_air.ravel(), pool.wind_speed.ravel(), strict=True)
    lines = [f"{hour}:00+00:00,{ghi:.1f},{temp:.1f},{wind:.1f}" for hour, ghi, temp, wind in rows]
    (tmp_path / "record.csv").write_text("time,ghi,temp_air,wind_speed\n" + "\n".join(lines), encoding="utf-8")
    words = ["--latitude", pool.latitude_deg, "--longitude", pool.longitude_deg, "--zone", "UTC", "--label", "start"]
    done = subprocess.run(
        [sys.executable, Path(__file__).with_name("backtest.py"), tmp_path / "record.csv", *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "3 years; yield of each over their mean" in done.stdout
    assert done.stdout.count("generated + mean") == 3
