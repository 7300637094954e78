"""Price paths, and the histories they are calibrated to."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.money.prices import (
    HISTORIES,
    correlated_normals,
    drawn_growth,
    growth_statistics,
    path_parameters,
    price_path,
    read_price_history,
)

EIA = "US EIA, Monthly Energy Review, Table 9.8, residential"
BLS = "US BLS, series APU000072610"
NO_JUMPS = {"jump_chance": 0.0, "jump_mean": 0.0, "jump_spread": 0.0}


def random_inputs(years, draws, seed=1):
    """Return the three arrays of random numbers a path needs."""
    rng = np.random.default_rng(seed)
    shape = (years, draws)
    return {
        "normals": rng.normal(size=shape),
        "jump_uniforms": rng.random(shape),
        "jump_normals": rng.normal(size=shape),
    }


@pytest.mark.published
@pytest.mark.parametrize(
    ("source", "history", "year", "printed", "half_digit"),
    [
        # Cents per kWh as the simple mean of the twelve printed months, so three decimals.
        (EIA, "eia_residential", 1990, 7.832, 0.0005),
        (EIA, "eia_residential", 2000, 8.227, 0.0005),
        (EIA, "eia_residential", 2005, 9.429, 0.0005),
        (EIA, "eia_residential", 2010, 11.548, 0.0005),
        (EIA, "eia_residential", 2015, 12.652, 0.0005),
        (EIA, "eia_residential", 2020, 13.157, 0.0005),
        (EIA, "eia_residential", 2021, 13.733, 0.0005),
        (BLS, "bls_city_average", 1979, 5.03, 0.005),
        (BLS, "bls_city_average", 1990, 8.37, 0.005),
        (BLS, "bls_city_average", 2000, 8.72, 0.005),
        (BLS, "bls_city_average", 2010, 12.77, 0.005),
        (BLS, "bls_city_average", 2021, 14.07, 0.005),
    ],
)
def test_shipped_histories_hold_the_printed_prices(source, history, year, printed, half_digit, record_property):
    """The shipped table has the source's price in that year, to half its last digit."""
    years, price = read_price_history(history)
    computed = 100.0 * float(price[years == year][0])
    record_property("published", (f"price {year}, c/kWh", source, printed, computed))
    assert computed == pytest.approx(printed, abs=half_digit)


@pytest.mark.published
@pytest.mark.parametrize(
    ("source", "history", "span", "mean", "sd", "lag1", "smallest", "largest"),
    [
        # Worked out from the printed yearly prices apart from this code (neither agency prints these); the tolerance is
        # half of the last digit kept, and 0.01 for the lag, which moves by that with the estimator's denominator.
        (EIA, "eia_residential", (1990, 2021), 0.0181, 0.0238, 0.29, -0.0229, 0.095),
        (BLS, "bls_city_average", (1979, 2021), 0.0245, 0.0455, 0.55, -0.083, 0.176),
    ],
)
def test_statistics_of_the_histories(source, history, span, mean, sd, lag1, smallest, largest, record_property):
    """Mean, spread, lag-1 and range of yearly log growth in each history."""
    years, price = read_price_history(history)
    assert (years[0], years[-1]) == span
    assert (np.diff(years) == 1).all()
    got = growth_statistics(price)
    for name, expected, computed, tolerance in (
        ("mean", mean, got.mean, 0.00005),
        ("sd", sd, got.sd, 0.0001),
        ("lag-1", lag1, got.lag1, 0.01),
        ("smallest", smallest, got.smallest, 0.0005),
        ("largest", largest, got.largest, 0.0005),
    ):
        record_property("published", (f"log growth {name}", source, expected, computed))
        assert computed == pytest.approx(expected, abs=tolerance), name


def test_statistics_agree_with_plain_sums():
    """The estimators against textbook sums written out in plain Python."""
    _, price = read_price_history("bls_city_average")
    growth = [math.log(b / a) for a, b in pairwise(price)]
    mean = math.fsum(growth) / len(growth)
    variance = math.fsum((g - mean) ** 2 for g in growth) / (len(growth) - 1)
    early, late = growth[:-1], growth[1:]
    m0, m1 = math.fsum(early) / len(early), math.fsum(late) / len(late)
    lag = math.fsum((a - m0) * (b - m1) for a, b in zip(early, late, strict=True)) / math.sqrt(
        math.fsum((a - m0) ** 2 for a in early) * math.fsum((b - m1) ** 2 for b in late)
    )
    got = growth_statistics(price)
    assert (got.mean, got.sd, got.lag1) == pytest.approx((mean, math.sqrt(variance), lag), rel=1e-12)


@pytest.mark.parametrize("history", HISTORIES)
def test_calibrated_path_reproduces_the_history(history):
    """Over many draws the generator has the history's mean, spread and lag-1.

    20,000 draws of 20 years after 20 years of settling (a path starts on its trend); tolerance five standard errors of
    each figure, taken from the spread between draws: about one false alarm in a million.
    """
    _, price = read_price_history(history)
    target = growth_statistics(price)
    fitted = path_parameters(target)
    inputs = random_inputs(41, 20_000, seed=4)
    path = price_path(
        years=41, trend=fitted.trend, persistence=fitted.persistence, spread=fitted.spread, **NO_JUMPS, **inputs
    )
    growth = np.diff(np.log(path), axis=0)[20:]
    departure = growth - target.mean
    draws = growth.shape[1]
    for per_draw, expected in (
        (growth.mean(axis=0), target.mean),
        ((departure**2).mean(axis=0), target.sd**2),
        ((departure[1:] * departure[:-1]).mean(axis=0), target.lag1 * target.sd**2),
    ):
        assert abs(per_draw.mean() - expected) < 5 * per_draw.std() / np.sqrt(draws)


@pytest.mark.parametrize(("history", "most"), [("eia_residential", 0.05), ("bls_city_average", 0.10)])
def test_why_jumps_are_added(history, most):
    """Without jumps, few paths of a history's length hold a year as steep as the history's own; none holds +54 %.

    +54 % is the rise of Great Britain's price cap for a typical dual-fuel household in April 2022 (House of Commons
    Library, briefing 9491). Rare jumps are the remedy: with the default chance of 5 % a year such a year does occur.
    """
    _, price = read_price_history(history)
    target = growth_statistics(price)
    fitted = path_parameters(target)
    years = target.years + 1
    inputs = random_inputs(years, 20_000, seed=5)
    common = {"years": years, "trend": fitted.trend, "persistence": fitted.persistence, "spread": fitted.spread}
    calm = np.diff(np.log(price_path(**common, **NO_JUMPS, **inputs)), axis=0).max(axis=0)
    assert (calm >= target.largest).mean() < most
    assert (calm >= np.log(1.54)).sum() == 0
    jumpy = np.diff(
        np.log(price_path(**common, jump_chance=0.05, jump_mean=0.2, jump_spread=0.1, **inputs)), axis=0
    ).max(axis=0)
    assert (jumpy >= target.largest).mean() > 0.5
    assert (jumpy >= np.log(1.54)).any()


def test_path_without_shocks_is_compound_growth():
    """No spread and no jumps: exactly 1 in the first year, then (1 + trend)^y whatever the persistence."""
    inputs = random_inputs(16, 3)
    trend = np.array([0.0, 0.03, -0.05])
    path = price_path(years=16, trend=trend, persistence=0.6, spread=0.0, **NO_JUMPS, **inputs)
    assert (path[0] == 1.0).all()
    assert path == pytest.approx((1 + trend) ** np.arange(16)[:, None], rel=1e-13)


def test_path_by_hand():
    """Three years worked out by hand: a shock in year 1 carries over by half, a jump comes in year 2."""
    zeros = np.zeros((3, 1))
    path = price_path(
        years=3,
        trend=0.0,
        persistence=0.5,
        spread=0.1,
        jump_chance=0.5,
        jump_mean=0.2,
        jump_spread=0.3,
        normals=np.array([[9.0], [1.0], [0.0]]),
        jump_uniforms=np.array([[0.0], [0.9], [0.1]]),
        jump_normals=zeros + 2.0,
    )
    # g1 = 0.1; g2 = 0.5 x 0.1 + log 1.2 + 0.3 x 2
    assert path[:, 0] == pytest.approx([1.0, math.exp(0.1), math.exp(0.15 + 0.6) * 1.2], rel=1e-14)


def test_mean_growth_with_jumps():
    """Mean log growth tends to log(1+trend) + chance log(1+jump_mean) / (1 - persistence); 5 standard errors."""
    inputs = random_inputs(41, 4000, seed=6)
    path = price_path(
        years=41, trend=0.02, persistence=0.4, spread=0.03, jump_chance=0.1, jump_mean=0.25, jump_spread=0.1, **inputs
    )
    mean = np.log(path[40] / path[20]) / 20
    expected = math.log(1.02) + 0.1 * math.log(1.25) / 0.6
    assert abs(mean.mean() - expected) < 5 * mean.std() / math.sqrt(4000)


def test_a_draw_does_not_depend_on_its_neighbours():
    """The same draw alone gives the same bits."""
    inputs = random_inputs(10, 50)
    common = {"years": 10, "trend": 0.02, "persistence": 0.3, "spread": 0.04}
    jumps = {"jump_chance": 0.2, "jump_mean": 0.2, "jump_spread": 0.1}
    together = price_path(**common, **jumps, **inputs)
    alone = price_path(**common, **jumps, **{name: values[:, 7:8] for name, values in inputs.items()})
    assert (together[:, 7] == alone[:, 0]).all()


@given(correlation=st.floats(-1, 1))
def test_correlated_normals_keep_their_variance(correlation):
    """Weights square to one, so the mix is standard normal with the correlation asked for."""
    weight_first = float(correlated_normals(1.0, 0.0, correlation=correlation))
    weight_second = float(correlated_normals(0.0, 1.0, correlation=correlation))
    assert weight_first == correlation
    assert weight_first**2 + weight_second**2 == pytest.approx(1.0, abs=1e-12)


def test_correlation_limits():
    """1 gives the first itself, 0 the second, -1 the first with its sign turned."""
    first, second = np.random.default_rng(1).normal(size=(2, 5, 4))
    assert (correlated_normals(first, second, correlation=1.0) == first).all()
    assert (correlated_normals(first, second, correlation=0.0) == second).all()
    assert (correlated_normals(first, second, correlation=-1.0) == -first).all()


def test_refusals():
    """Unit persistence, impossible correlation, wrong shapes, unknown history, too short a history."""
    inputs = random_inputs(5, 2)
    with pytest.raises(ValueError, match="persistence: must lie between"):
        price_path(years=5, trend=0.0, persistence=1.0, spread=0.1, **NO_JUMPS, **inputs)
    with pytest.raises(ValueError, match=r"normals: shape \(5, 2\); accepted: \(6, draws\)"):
        price_path(years=6, trend=0.0, persistence=0.0, spread=0.1, **NO_JUMPS, **inputs)
    with pytest.raises(ValueError, match="correlation: must lie"):
        correlated_normals(0.0, 0.0, correlation=1.1)
    with pytest.raises(ValueError, match="price history: 'moon'; accepted: bls_city_average, eia_residential"):
        read_price_history("moon")
    with pytest.raises(ValueError, match="at least four positive"):
        growth_statistics([1.0, 2.0, 0.0, 3.0])


def test_growth_of_drawn_paths_is_that_of_their_law():
    """Paths of one trend without jumps: mean log(1 + trend), sd and lag-1 of the autoregression, to sampling error."""
    rng = np.random.default_rng(5)
    years, draws = 40, 4000
    path = price_path(
        years=years,
        trend=0.02,
        persistence=0.4,
        spread=0.03,
        jump_chance=0.0,
        jump_mean=0.0,
        jump_spread=0.0,
        normals=rng.standard_normal((years, draws)),
        jump_uniforms=rng.random((years, draws)),
        jump_normals=rng.standard_normal((years, draws)),
    )
    found = drawn_growth(path)
    assert found.mean == pytest.approx(np.log(1.02), abs=5e-4)
    assert found.sd == pytest.approx(0.03 / np.sqrt(1 - 0.4**2), rel=0.01)
    assert found.lag1 == pytest.approx(0.4, abs=0.01)
    assert drawn_growth(path[:3]) is None
    assert drawn_growth(np.ones((9, 4))) is None
