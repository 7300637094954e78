"""Quantile functions, shares and means of uncertain quantities."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from riskcalc.uncertainty.bounded import Beta, Pert, Triangular, Uniform
from riskcalc.uncertainty.endless import Lognormal, Normal
from riskcalc.uncertainty.observed import Discrete, Empirical
from riskcalc.uncertainty.quantity import EDGE, Fixed

GRID = np.linspace(0.001, 0.999, 41)

#: Each continuous kind with the same distribution in another library.
TWINS = {
    "uniform": (Uniform(low=-2, high=3), stats.uniform(-2, 5)),
    "triangular": (Triangular(low=5, mode=6, high=9), stats.triang(0.25, 5, 4)),
    "triangular_mode_low": (Triangular(low=5, mode=5, high=9), stats.triang(0, 5, 4)),
    "triangular_mode_high": (Triangular(low=5, mode=9, high=9), stats.triang(1, 5, 4)),
    "normal": (Normal(mean=10, sd=2), stats.norm(10, 2)),
    "lognormal": (Lognormal(median=8, sigma=0.4), stats.lognorm(0.4, scale=8)),
    "beta": (Beta(alpha=2, beta=5, low=1, high=4), stats.beta(2, 5, 1, 3)),
    "pert": (
        Pert(low=0, mode=0.1, high=0.5),
        stats.beta(1.8, 4.2, 0, 0.5),
    ),  # alpha = 1 + 4*0.1/0.5, beta = 1 + 4*0.4/0.5
}


@pytest.mark.parametrize("name", TWINS)
def test_quantile_share_and_mean_agree_with_scipy_stats(name):
    """Every continuous kind has the quantiles, shares and mean of the same distribution in scipy.stats."""
    ours, theirs = TWINS[name]
    np.testing.assert_allclose(ours.quantile(GRID), theirs.ppf(GRID), rtol=1e-9, atol=1e-12)
    values = theirs.ppf(GRID)
    np.testing.assert_allclose(ours.cumulative(values), theirs.cdf(values), rtol=1e-9, atol=1e-12)
    assert ours.expected() == pytest.approx(theirs.mean(), rel=1e-12)


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (Normal(mean=10, sd=2, minimum=9, maximum=14), stats.truncnorm(-0.5, 2, 10, 2)),
        (Normal(mean=0, sd=1, minimum=6), stats.truncnorm(6, np.inf)),
        (Normal(mean=0, sd=1, maximum=-6), stats.truncnorm(-np.inf, -6)),
    ],
)
def test_cut_normal_agrees_with_truncnorm(ours, theirs):
    """A cut normal is the renormalised one, far into either tail too."""
    np.testing.assert_allclose(ours.quantile(GRID), theirs.ppf(GRID), rtol=1e-7)
    assert ours.expected() == pytest.approx(theirs.mean(), rel=1e-6)


@pytest.mark.parametrize(
    "quantity",
    [
        Uniform(low=0, high=4, minimum=1, maximum=2.5),
        Triangular(low=0, mode=1, high=4, minimum=0.5, maximum=3),
        Triangular(low=0, mode=1, high=4, minimum=2),
        Lognormal(median=2, sigma=0.7, minimum=1.5, maximum=6),
        Lognormal(median=2, sigma=0.7, minimum=5),
        Beta(alpha=2, beta=3, minimum=0.3, maximum=0.9),
        Pert(low=1, mode=2, high=6, maximum=3),
        Normal(mean=1, sd=2, minimum=0),
    ],
)
def test_mean_of_a_cut_distribution_is_the_integral_of_its_quantiles(quantity):
    """The closed-form mean equals the midpoint integral of Q(u) du: two ways to the same figure."""
    points = (np.arange(200_000) + 0.5) / 200_000
    # 200,000 midpoints leave an error of about 1e-5 in the tail of the endless kinds.
    assert quantity.expected() == pytest.approx(quantity.quantile(points).mean(), rel=3e-5)


def test_cut_quantiles_stay_inside_and_reach_the_edges():
    """U = 0 and u = 1 give exactly the edges of the cut; nothing lies beyond."""
    for quantity in (Normal(mean=0, sd=1, minimum=-1, maximum=2), Beta(alpha=2, beta=2, minimum=0.2, maximum=0.7)):
        ends = quantity.quantile([0.0, 1.0])
        np.testing.assert_allclose(ends, quantity.support, rtol=1e-12)
        low, high = quantity.support
        inside = quantity.quantile(np.linspace(0, 1, 1001))
        assert inside.min() >= low
        assert inside.max() <= high


def test_cut_is_renormalised_not_clipped():
    """A cut leaves no heap at its edge: of a uniform cut in half, each tenth holds a tenth."""
    values = Uniform(low=0, high=2, maximum=1).quantile((np.arange(1000) + 0.5) / 1000)
    counts, _ = np.histogram(values, bins=10, range=(0, 1))
    assert counts.tolist() == [100] * 10


def test_endless_tails_give_finite_draws():
    """The points 0 and 1 give the 1e-12 quantiles of a normal, never infinity."""
    ends = Normal(mean=0, sd=1).quantile([0.0, 1.0])
    np.testing.assert_allclose(ends, [stats.norm.ppf(EDGE), stats.norm.isf(EDGE)], rtol=1e-4)
    assert np.isfinite(Lognormal(median=1, sigma=2).quantile([0.0, 1.0])).all()


def test_discrete_takes_each_value_with_its_weight():
    """Weights need not sum to 1; values come in rising order, so that quantiles rise with u."""
    quantity = Discrete(values=(30, 10, 20), weights=(1, 2, 1))
    values = quantity.quantile((np.arange(400) + 0.5) / 400)
    assert [(values == value).sum() for value in (10, 20, 30)] == [200, 100, 100]
    assert quantity.expected() == 17.5  # (2*10 + 20 + 30) / 4
    assert quantity.cumulative([9.9, 10, 25, 30]).tolist() == [0, 0.5, 0.75, 1]


def test_empirical_takes_each_observation_equally_often():
    """Each observation, repeated ones included, is drawn equally often, and the mean is theirs."""
    quantity = Empirical(values=(4.0, 1.0, 1.0, 2.0))
    values = quantity.quantile((np.arange(400) + 0.5) / 400)
    assert [(values == value).sum() for value in (1, 2, 4)] == [200, 100, 100]
    assert quantity.expected() == 2.0
    assert quantity.cumulative(1.0) == 0.5


def test_cut_of_separate_values_drops_them():
    """A cut removes the values outside and shares their chance among the rest."""
    assert Discrete(values=(1, 2, 3), minimum=1.5).quantile([0.25, 0.75]).tolist() == [2, 3]
    assert Empirical(values=(1, 2, 3), maximum=2).quantile([0.25, 0.75]).tolist() == [1, 2]


def test_fixed_is_the_same_everywhere():
    """A plain number is itself at every point."""
    assert Fixed(value=3.5).quantile([0.0, 0.3, 1.0]).tolist() == [3.5] * 3
    assert Fixed(value=3.5).expected() == 3.5


@pytest.mark.parametrize("wrong", [-0.1, 1.1, math.nan])
def test_points_outside_the_unit_interval_are_refused(wrong):
    """A point outside 0 to 1 is a fault, never extrapolated."""
    with pytest.raises(ValueError, match="accepted: 0 to 1"):
        Uniform(low=0, high=1).quantile([0.5, wrong])


def test_share_that_a_cut_leaves():
    """`cut_share` is 1 without a cut, the probability inside with one, 0 for an empty support."""
    assert Normal(mean=0, sd=1).cut_share() == 1.0
    assert Normal(mean=0, sd=1, minimum=0).cut_share() == pytest.approx(0.5)
    assert Uniform(low=0, high=4, minimum=1, maximum=2).cut_share() == pytest.approx(0.25)
    assert Uniform(low=0, high=1, minimum=2).cut_share() == 0.0


def test_words():
    """Quantities are described in the terms of statistics, with their cut."""
    assert Triangular(low=5, mode=6, high=9).words() == "triangular 5 to 9, most likely 6"
    assert Normal(mean=2300, sd=250, minimum=1500).words() == "normal, mean 2300, sd 250, never below 1500"
    assert Lognormal(median=1, sigma=0.3, minimum=0.4, maximum=2.5).words() == (
        "lognormal, median 1, sigma 0.3, cut to 0.4 to 2.5"
    )
    assert Discrete(values=(1, 2), weights=(3, 1)).words() == "one of 1 (75 %), 2 (25 %)"
    assert Fixed(value=0.00012345).words() == "0.00012345"


finite = st.floats(-1e6, 1e6)
widths = st.floats(1e-3, 1e6)


@st.composite
def continuous(draw):
    """Return any continuous quantity, cut somewhere inside its bulk or not at all."""
    low, width = draw(finite), draw(widths)
    mode = low + width * draw(st.floats(0, 1))
    kind = draw(st.sampled_from(["uniform", "triangular", "normal", "lognormal", "beta", "pert"]))
    made = {
        "uniform": lambda **cut: Uniform(low=low, high=low + width, **cut),
        "triangular": lambda **cut: Triangular(low=low, mode=min(mode, low + width), high=low + width, **cut),
        "normal": lambda **cut: Normal(mean=low, sd=width, **cut),
        "lognormal": lambda **cut: Lognormal(median=width, sigma=draw(st.floats(0.01, 2)), **cut),
        "beta": lambda **cut: Beta(alpha=2.5, beta=1.5, low=low, high=low + width, **cut),
        "pert": lambda **cut: Pert(low=low, mode=min(mode, low + width), high=low + width, **cut),
    }[kind]
    if not draw(st.booleans()):
        return made()
    whole = made()
    bottom, top = whole.quantile([0.2, 0.7])
    return made(minimum=float(bottom), maximum=float(top)) if bottom < top else whole


@settings(max_examples=200, deadline=None, derandomize=True)
@given(continuous(), st.lists(st.floats(0, 1), min_size=2, max_size=20))
def test_quantiles_rise_and_stay_inside(quantity, points):
    """Whatever the parameters, Q(u) never falls as u rises and never leaves the support."""
    values = quantity.quantile(sorted(points))
    low, high = quantity.support
    assert np.isfinite(values).all()
    assert (np.diff(values) >= -1e-9 * max(1.0, np.abs(values).max())).all()
    assert low <= values.min()
    assert values.max() <= high


@settings(max_examples=200, deadline=None, derandomize=True)
@given(continuous(), st.floats(0.01, 0.99))
def test_share_undoes_the_quantile(quantity, point):
    """F(Q(u)) = u for every continuous kind, cut or not."""
    value = quantity.quantile(point)
    spacing = abs(np.spacing(value)) / max(quantity.practical_support[1] - quantity.practical_support[0], 1e-300)
    assert quantity.cumulative(value) == pytest.approx(point, abs=1e-7 + 1e3 * spacing)


@pytest.mark.parametrize(
    "quantity",
    [
        Normal(mean=156.0, sd=26.0, maximum=1.0),
        Normal(mean=-40.0, sd=5.0, minimum=0.5),
        Lognormal(median=100.0, sigma=0.5, maximum=5.0),
        Normal(mean=1.0, sd=0.3, minimum=0.0),
    ],
)
def test_the_practical_support_holds_a_deep_cut(quantity):
    """Of what a cut leaves, far out in a tail, all but two draws in a hundred million lie within the practical support."""
    low, high = quantity.practical_support
    assert low <= quantity.quantile(1e-8)
    assert quantity.quantile(1.0 - 1e-8) <= high
    assert quantity.support[0] <= low < high <= quantity.support[1]
