"""Shares and values of information from draws, against functions whose answers are known in closed form.

Stated errors are held against the scatter of repeated designs and against the truth.
"""

from functools import cache

import numpy as np
import pytest
from scipy import special
from scipy.interpolate import BSpline

from riskcalc.uncertainty.factor_model import DrawnFactor, factor_model
from riskcalc.uncertainty.information import factor_information
from riskcalc.uncertainty.ranking import explained, factor_shares
from riskcalc.uncertainty.sampling import unit_cube
from riskcalc.uncertainty.smoothing import (
    MOST_DRAWS,
    _third_derivatives,
    additive,
    blocks_of,
    cubic_splines,
    product_term,
    smooth_term,
    used_draws,
)

SCRAMBLES = 8
SEEDS = range(12)


@cache
def places_of(seed):
    """Return a design of 30 inputs; a column is the same however many are asked for."""
    return unit_cube(30, draws=1024, scrambles=SCRAMBLES, seed=seed)


def model_of(places, values=None):
    values = places if values is None else values
    rows = zip(places, values, strict=True)
    factors = [DrawnFactor(f"x{n}", "a", (f"x{n}",), place[None], value[None]) for n, (place, value) in enumerate(rows)]
    return factor_model(factors, scrambles=SCRAMBLES)


def ishigami(place, a=7.0, b=0.1):
    x = np.pi * (2.0 * place - 1.0)
    return np.sin(x[0]) + a * np.sin(x[1]) ** 2 + b * x[2] ** 4 * np.sin(x[0])


@pytest.mark.published
@pytest.mark.parametrize("inputs", [3, 30])
def test_ishigami_from_draws(inputs, record_property):
    """First-order indices of the Ishigami function, 0.3139, 0.4424, 0 (Saltelli et al. 2008), from 1,024 draws.

    On average over designs within 0.01, whether two or 27 idle inputs stand beside; every share within three stated
    errors, and those errors no more than twice the scatter: 0.02 at most.
    """
    found = []
    for seed in SEEDS:
        places = places_of(seed)[:inputs]
        model = model_of(places)
        rows = {row.name: row for row in factor_shares(model, model.fit(ishigami(places)))}
        found.append([(rows[f"x{n}"].share, rows[f"x{n}"].error) for n in range(3)])
    shares, errors = np.array(found).transpose(2, 0, 1)
    truth = np.array([0.3139, 0.4424, 0.0])
    for place in range(3):
        what = f"Ishigami S{place + 1} from 1,024 draws, {inputs} inputs"
        record_property("published", (what, "Saltelli et al. 2008", truth[place], shares[:, place].mean()))
    assert shares.mean(axis=0) == pytest.approx(truth, abs=0.01)
    assert (np.abs(shares - truth) <= 3.0 * errors + 1e-3).all()
    assert errors.max() < 0.02 + 0.01 * (inputs > 3)


#: E[max(W, 0)] - max(E[W], 0) by hand. Square: W = z^2 - 1 is above 0 beyond one standard deviation either way, and
#: 2 (int_1^inf z^2 phi - int_1^inf phi) = 2 phi(1). Step: 2 in 15 % of the cases. Bumps: 1 in 20 %, 2 in 10 %.
SHAPES = {
    "square": (lambda place: special.ndtri(place) ** 2 - 1.0, 2.0 * np.exp(-0.5) / np.sqrt(2.0 * np.pi)),
    "step": (lambda place: np.where(place > 0.85, 2.0, -1.0), 0.3),
    "bump": (lambda place: np.where(np.abs(place - 0.5) < 0.1, 1.0, -1.0), 0.2),
    "narrow bump": (lambda place: np.where(np.abs(place - 0.45) < 0.05, 2.0, -1.0), 0.2),
}


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("noise", [0.5, 1.5])
def test_value_of_information_of_shapes(name, noise):
    """Knowing x alone, beside a second input and luck: within 0.02 on average; the errors made are no larger than those stated.

    Errors made and stated in root mean square over the designs, with two standard deviations of room for a dozen of them.
    """
    shape, truth = SHAPES[name]
    found = []
    for seed in SEEDS:
        places = places_of(seed)[:6]
        luck = np.random.default_rng(seed).standard_normal(1024)
        worth = shape(places[0]) + noise * special.ndtri(places[1]) + 0.5 * noise * luck
        model = model_of(places, special.ndtri(places))
        row = factor_information(worth, model, model.factors[0], model.fit(worth))
        found.append((row.value.value, row.value.standard_error))
    values, errors = np.array(found).T
    assert values.mean() == pytest.approx(truth, abs=0.02)
    made, stated = (float(np.sqrt(np.mean(part**2))) for part in (values - truth, errors))
    assert made <= 1.4 * stated
    assert stated < 0.04


def test_share_of_a_step_and_a_square():
    """Y = step(x0) + square(x1): the variances 1.1475 (9 x 0.15 x 0.85) and 2 give shares 0.3646 and 0.6354."""
    places = unit_cube(4, draws=2048, scrambles=SCRAMBLES, seed=3)
    model = model_of(places, special.ndtri(places))
    outcome = SHAPES["step"][0](places[0]) + SHAPES["square"][0](places[1])
    rows = {row.name: row for row in factor_shares(model, model.fit(outcome))}
    whole = 9 * 0.15 * 0.85 + 2.0
    for name, truth in (("x0", 9 * 0.15 * 0.85 / whole), ("x1", 2.0 / whole), ("x2", 0.0), ("x3", 0.0)):
        assert abs(rows[name].share - truth) <= 3.0 * rows[name].error + 1e-3
        assert rows[name].error < 0.03


def test_few_levels_get_a_column_each():
    """An input of three values is met exactly by its three means, in any pattern; a value between takes its neighbour's."""
    place = unit_cube(1, draws=512, scrambles=SCRAMBLES, seed=1)[0]
    value = np.where(place < 0.2, 1.0, np.where(place < 0.7, 2.0, 5.0))
    outcome = np.select([value == 1.0, value == 2.0], [4.0, -3.0], 10.0)
    term = smooth_term(place, value)
    fit = additive(outcome, [term], blocks_of(512, SCRAMBLES))
    assert fit.mean[0] + fit.parts[0, 0] == pytest.approx(outcome, abs=1e-8)
    assert fit.mean[0] + fit.part_at(0, term.at(np.array([0.1]), np.array([2.2])))[0, 0] == pytest.approx(
        -3.0, abs=1e-8
    )


def test_line_and_bend_are_met_exactly():
    """A quadratic in the place has no other function in it, at the draws and at any other place, in every round."""
    places = unit_cube(2, draws=512, scrambles=SCRAMBLES, seed=2)
    terms = [smooth_term(place, place) for place in places]
    fit = additive(3.0 + 2.0 * places[0] - 5.0 * places[1] ** 2, terms, blocks_of(512, SCRAMBLES))
    assert np.abs(fit.rest).max() < 1e-7
    # Each part is its term less the term's mean over the draws, and so is what its line and bend alone say.
    for place, term in enumerate((2.0 * places[0], -5.0 * places[1] ** 2)):
        assert fit.coarse[place] == pytest.approx(term - term.mean(), abs=1e-7)
        assert fit.parts[0, place] == pytest.approx(term - term.mean(), abs=1e-7)
    ends = fit.part_at(0, terms[0].at(np.array([0.1, 0.9]), np.array([0.1, 0.9]))).T
    assert ends[1] - ends[0] == pytest.approx(np.full(SCRAMBLES + 1, 1.6), abs=1e-8)


def test_noise_is_not_followed():
    """Pure noise costs each of twenty inputs its line and its bend and little more."""
    places = unit_cube(20, draws=1024, scrambles=SCRAMBLES, seed=4)
    fit = additive(np.random.default_rng(7).standard_normal(1024), model_of(places).terms, blocks_of(1024, SCRAMBLES))
    assert fit.degrees.mean() < 3.5
    # Each follows noise by its degrees over the draws, 0.002 of the variance; that is taken off, so on average nothing is left.
    shares, _ = explained(fit, [[place] for place in range(20)])
    assert abs(shares.mean()) < 0.001
    assert (fit.degrees / 1024).mean() > 0.0019


def test_products_of_few_members_are_seen():
    """Y = z0 z1 has no main effect; the family that holds both explains it all, and each alone nothing."""
    places = unit_cube(3, draws=2048, scrambles=SCRAMBLES, seed=5)
    z = special.ndtri(places)
    single = [DrawnFactor(f"z{n}", "ab"[n // 2], (f"z{n}",), places[n : n + 1], z[n : n + 1]) for n in range(3)]
    both = DrawnFactor("a", "a", ("z0", "z1"), places[:2], z[:2])
    model = factor_model(single, [both], scrambles=SCRAMBLES)
    fit = model.fit(z[0] * z[1])
    assert {row.name: row.share for row in factor_shares(model, fit)} == pytest.approx(
        {"z0": 0.0, "z1": 0.0, "z2": 0.0}, abs=0.02
    )
    known = factor_information(z[0] * z[1], model, both, fit)
    # E[max(z0 z1, 0)] = E|z0 z1| / 2 = (2 / pi) / 2, the mean of a half-normal being sqrt(2 / pi).
    assert known.value.value == pytest.approx(1.0 / np.pi, abs=3.0 * known.value.standard_error)
    assert product_term(z[0], z[1]).columns.std() == pytest.approx(1.0)


def test_many_draws_are_thinned_by_whole_starts_of_scrambles():
    """Of more draws than are used the first of each scramble are taken; of few, all."""
    assert used_draws(1024, 8).tolist() == list(range(1024))
    used = used_draws(65536, 8)
    assert len(used) == MOST_DRAWS
    assert (used[:1024] == np.arange(1024)).all()
    assert used[1024] == 8192


def test_the_product_with_an_input_that_does_not_vary_is_nothing():
    """No division by a spread of 0: the column is 0, and explains nothing."""
    column = product_term(np.ones(8), np.arange(8.0)).columns
    np.testing.assert_array_equal(column, np.zeros((8, 1)))


@pytest.mark.parametrize("splines", [6, 7, 13, 24])
def test_splines_are_those_of_a_library(splines):
    """B-splines at random places, at every knot and just below it, and their third derivatives, against scipy's."""
    inner = np.linspace(0.0, 1.0, splines - 2)
    places = np.concatenate([np.random.default_rng(1).random(2000), inner, np.nextafter(inner[1:], 0.0)])
    knots = np.concatenate([np.zeros(3), inner, np.ones(3)])
    assert np.array_equal(cubic_splines(places, splines), BSpline.design_matrix(places, knots, 3).toarray())
    third = BSpline(knots, np.eye(splines), 3).derivative(3)(places[:2000])
    np.testing.assert_allclose(_third_derivatives(places[:2000], splines), third, atol=1e-12 * np.abs(third).max())
