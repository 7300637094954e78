"""Price paths, and the histories they are calibrated to."""

import math
from itertools import accumulate, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.money.price_history import HISTORIES, calibrated, drawn_growth, growth_statistics, read_price_history
from riskcalc.money.prices import correlated_normals, price_path
from riskcalc.scenario.prices import CALIBRATED, Prices

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


def default_model(**given):
    """Return the arguments of `price_path` by default, as the scenario declares them."""
    prices = Prices(discount_rate_per_year={"value": 0.04}, **given)
    return {
        "trend": prices.trend_per_year.value,
        "persistence": prices.persistence.value,
        "spread": prices.spread.value,
        "jump_chance": prices.jump_chance_per_year.value,
        "jump_mean": prices.jump_mean.value,
        "jump_spread": prices.jump_spread.value,
        "jump_fall_share": prices.jump_fall_share.value,
        "jump_fade_share": prices.jump_fade_share.value,
    }


@pytest.fixture(scope="module")
def default_paths():
    """200,000 default paths of 16 years, logarithms."""
    return np.log(price_path(years=16, **default_model(), **random_inputs(16, 200_000, seed=7)))


def test_the_trend_is_the_mean_growth_jumps_included(default_paths):
    """Mean log growth of 200,000 default paths is log(1 + trend) to 0.1 % a year, over 15 years and in each of them."""
    wanted = math.log(1 + default_model()["trend"])
    assert default_paths[15].mean() / 15 == pytest.approx(wanted, abs=1e-3)
    assert np.diff(default_paths, axis=0).mean(axis=1) == pytest.approx(np.full(15, wanted), abs=1e-3)


def shares_inside(log_price, ahead):
    """Return how often changes over 1, 5, 15 years fall inside the foretold 50, 80 and 90 %, and above its middle, (12, n)."""
    found = []
    for span in (1, 5, 15):
        change = log_price[span:] - log_price[:-span]
        for level in (0.5, 0.8, 0.9):
            low, high = np.quantile(ahead[span], [(1 - level) / 2, (1 + level) / 2])
            found.append(((change >= low) & (change <= high)).mean(axis=0))
        found.append((change > np.median(ahead[span])).mean(axis=0))
    return np.array(found)


def chance_of_windows(name, model):
    """Return the share of histories of that length, drawn by the model itself, whose windows lie as far off as the real one's.

    Windows overlap, so their shares scatter more than a binomial law of as many windows says: the scatter is that of 2,000
    drawn histories, ten years after their start. Far off: the shares' distance from their mean in units of their covariance.
    """
    told = np.log(read_price_history(name)[1])
    ahead = np.log(price_path(years=16, **model, **random_inputs(16, 10_000, seed=9)))
    drawn = np.log(price_path(years=len(told) + 10, **model, **random_inputs(len(told) + 10, 2000, seed=8)))[10:]
    shares, seen = shares_inside(drawn, ahead), shares_inside(told, ahead)
    middle, scatter = shares.mean(axis=1), shares.std(axis=1) + 1e-9
    off, off_seen = ((shares.T - middle) / scatter).T, (seen - middle) / scatter
    inverse = np.linalg.inv(np.cov(off) + 0.05 * np.eye(len(off)))
    distance = np.einsum("id,ij,jd->d", off, inverse, off)
    return float((distance >= off_seen @ inverse @ off_seen).mean())


@pytest.mark.parametrize(
    ("name", "preset"),
    [(name, True) for name in HISTORIES] + [("eia_residential", False), ("bls_city_average", False)],
)
def test_windows_of_the_histories_lie_inside_what_is_foretold(name, preset):
    """Changes of each history over 1, 5 and 15 years fall inside the foretold 50, 80 and 90 % as often as stated.

    Within what histories of that length scatter by (5 %): of each history by its own preset, of the American ones, which the
    defaults stand between, by the defaults too. British prices grew by 4.7 % a year: they need their preset.
    """
    model = default_model(history=name) if preset else default_model()
    assert chance_of_windows(name, model) > 0.05


@pytest.mark.parametrize("wrong", [{"spread": 0.06}, {"trend": 0.05}, {"trend": -0.01}, {"jump_chance": 0.2}])
def test_windows_tell_a_wrong_model(wrong):
    """Twice the spread, a trend three points off, or four times the jumps would be noticed by one history or the other."""
    model = default_model() | wrong
    assert min(chance_of_windows(name, model) for name in ("eia_residential", "bls_city_average")) < 0.05


def test_steep_years_are_as_frequent_as_history_shows(default_paths):
    """Rises of 15 % and falls of a tenth in a year: 5 and 1 of the 110 years of the histories.

    At the rate of the defaults neither count may lie in a tail of less than 5 %. The price falls by a tenth in some
    paths, and a rise such as Great Britain's of 2022 (+54 %) happens too.
    """
    growth = np.diff(default_paths, axis=0)
    told = np.concatenate([np.diff(np.log(read_price_history(name)[1])) for name in HISTORIES])
    for happened, chance in (
        ((told >= math.log(1.15)).sum(), (growth >= math.log(1.15)).mean()),
        ((told <= math.log(0.9)).sum(), (growth <= math.log(0.9)).mean()),
    ):
        counts = [math.comb(len(told), n) * chance**n * (1 - chance) ** (len(told) - n) for n in range(happened + 1)]
        assert sum(counts) > 0.05, (happened, chance)
        assert 1 - sum(counts[:-1]) > 0.05, (happened, chance)
    assert (growth <= math.log(0.9)).mean() > 0.005
    assert (growth >= math.log(1.54)).any()


@pytest.mark.parametrize("name", HISTORIES)
def test_presets_are_those_of_the_histories(name):
    """The constants behind `prices.history` are what the calibration finds; a figure that is given wins over them."""
    found = calibrated(name)
    said = CALIBRATED[name]
    assert said["trend_per_year"] == pytest.approx(found.trend, abs=5e-5)
    assert said["persistence"] == pytest.approx(found.persistence, abs=5e-4)
    assert said["spread"] == pytest.approx(found.spread, abs=5e-5)
    model = default_model(history=name, spread={"value": 0.05})
    assert (model["trend"], model["spread"]) == (said["trend_per_year"], 0.05)


@pytest.mark.published
@pytest.mark.parametrize(("year", "printed"), [(1988, 34.9), (2006, 61.4), (2015, 100.0), (2022, 197.5), (2025, 192.8)])
def test_the_british_history_holds_the_printed_index(year, printed, record_property):
    """The table has the yearly index as published, and only its growth counts: +49 % in 2022, -15 % in 2024."""
    years, index = read_price_history("ons_electricity")
    record_property(
        "published", (f"index {year}, 2015 = 100", "UK ONS, series D7DT", printed, float(index[years == year][0]))
    )
    assert index[years == year] == printed
    growth = dict(zip(years[1:], index[1:] / index[:-1] - 1.0, strict=True))
    assert growth[2022] == pytest.approx(0.49, abs=0.005)
    assert growth[2024] == pytest.approx(-0.15, abs=0.005)


def test_jumps_are_as_large_as_in_the_histories():
    """Median, spread and share of falls of yearly changes beyond 15 %, and what is left of the rise of 2022 in 2025."""
    prices = Prices(discount_rate_per_year={"value": 0.04})
    told = np.concatenate([np.diff(np.log(read_price_history(name)[1])) for name in HISTORIES])
    rises, falls = told[told >= math.log(1.15)], told[told <= -math.log(1.15)]
    assert (len(rises), len(falls)) == (5, 1)
    assert prices.jump_mean.value == pytest.approx(math.expm1(np.median(rises)), abs=0.02)
    assert prices.jump_spread.value == pytest.approx(rises.std(ddof=1), abs=0.02)
    assert prices.jump_fall_share.value == pytest.approx(1 / 6, abs=0.1)
    years, index = read_price_history("ons_electricity")
    log = dict(zip(years, np.log(index), strict=True))
    left = (log[2025] - log[2021]) - 4 * (log[2025] - log[1988]) / 37
    assert prices.jump_fade_share.value == pytest.approx(1 - left / (log[2022] - log[2021]), abs=0.1)


def test_path_without_shocks_is_compound_growth():
    """No spread and no jumps: exactly 1 in the first year, then (1 + trend)^y whatever the persistence."""
    inputs = random_inputs(16, 3)
    trend = np.array([0.0, 0.03, -0.05])
    path = price_path(years=16, trend=trend, persistence=0.6, spread=0.0, **NO_JUMPS, **inputs)
    assert (path[0] == 1.0).all()
    assert path == pytest.approx((1 + trend) ** np.arange(16)[:, None], rel=1e-13)


def test_path_by_hand():
    """Worked out by hand: a shock in year 1 carries over by half; a rise comes in year 2, a fall in year 4; half fades.

    Mean of a jump: 0.5 x (1 - 2 x 0.4) log 1.2 = 0.1 log 1.2, taken from every year's jump.
    """
    zeros = np.zeros((6, 1))
    path = price_path(
        years=6,
        trend=0.0,
        persistence=0.5,
        spread=0.1,
        jump_chance=0.5,
        jump_mean=0.2,
        jump_spread=0.3,
        jump_fall_share=0.4,
        jump_fade_share=0.5,
        normals=np.array([[9.0], [1.0], [0.0], [0.0], [0.0], [0.0]]),
        jump_uniforms=np.array([[0.0], [0.9], [0.3], [0.8], [0.1], [0.7]]),
        jump_normals=zeros + 2.0,
    )
    size, mean = math.log(1.2) + 0.6, 0.1 * math.log(1.2)
    jumps = [-mean, size - mean, -mean, -size - mean, -mean]
    growth = [
        0.1 + jumps[0],
        0.05 + jumps[1] - jumps[0] / 6,
        0.025 + jumps[2] - (jumps[0] + jumps[1]) / 6,
        0.0125 + jumps[3] - (jumps[0] + jumps[1] + jumps[2]) / 6,
        0.00625 + jumps[4] - (jumps[1] + jumps[2] + jumps[3]) / 6,
    ]
    assert path[:, 0] == pytest.approx(np.exp([0.0, *accumulate(growth)]), rel=1e-13)


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
