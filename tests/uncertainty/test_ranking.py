"""The ranking from draws, against models whose indices have closed forms."""

import warnings

import numpy as np
import pytest
from scipy import special

from riskcalc.uncertainty.factor_model import DrawnFactor, factor_model
from riskcalc.uncertainty.ranking import rank_places
from riskcalc.uncertainty.ranking import ranking as ranking_of
from riskcalc.uncertainty.sampling import unit_cube


def units(count, draws=1024, seed=7):
    return {f"x{index}": row for index, row in enumerate(unit_cube(count, draws=draws, scrambles=8, seed=seed))}


def ranking(outcome, unit, *, scrambles):
    factors = [DrawnFactor(key, "a", (key,), place[None], place[None]) for key, place in unit.items()]
    model = factor_model(factors, scrambles=scrambles)
    return ranking_of(model, model.fit(outcome))


def test_linear_gaussian_indices():
    """Y = 3 Z1 - 2 Z2 + Z3 has first-order indices 9/14, 4/14, 1/14 (hand-derived: variances of the terms).

    The score runs off to infinity at both ends, where a smooth function of the place follows late.
    """
    unit = units(4)
    z = {key: special.ndtri(place) for key, place in unit.items()}
    result = ranking(3 * z["x0"] - 2 * z["x1"] + z["x2"], unit, scrambles=8)
    assert [row.key for row in result.inputs[:3]] == ["x0", "x1", "x2"]
    for row, index in zip(result.inputs[:3], (9 / 14, 4 / 14, 1 / 14), strict=True):
        assert row.share == pytest.approx(index, abs=0.015)
    assert result.inputs[0].effect > 0 > result.inputs[1].effect


def test_an_input_without_effect_has_share_zero_within_its_error():
    """An unused input explains nothing, within three standard errors plus a thousandth."""
    unit = units(4)
    row = {row.key: row for row in ranking(unit["x0"] + unit["x1"] ** 2, unit, scrambles=8).inputs}["x3"]
    assert abs(row.share) < 3 * row.share_se + 1e-3
    assert abs(row.effect) < 3 * row.effect_se + 1e-3


def test_quadratic_model_exact():
    """Y = u1 + u2^2 - u2 lies in the fitted space: shares (1/12) and (1/180) over their sum, effect 0.8 for u1.

    var(u) = 1/12; var(u^2 - u) = 1/30 - 1/36 = 1/180. Tolerance: cross terms of 1,024 points.
    """
    unit = units(2)
    result = ranking(unit["x0"] + unit["x1"] ** 2 - unit["x1"], unit, scrambles=8)
    total = 1 / 12 + 1 / 180
    shares = {row.key: row.share for row in result.inputs}
    assert shares["x0"] == pytest.approx(1 / 12 / total, abs=5e-3)
    assert shares["x1"] == pytest.approx(1 / 180 / total, abs=5e-3)
    assert {row.key: row.effect for row in result.inputs}["x0"] == pytest.approx(0.8, abs=1e-9)
    assert result.remainder == pytest.approx(0.0, abs=5e-3)


def test_interaction_is_reported_as_remainder():
    """Y = (u1 - 1/2)(u2 - 1/2) has no main effect at all; everything is remainder."""
    unit = units(2)
    result = ranking((unit["x0"] - 0.5) * (unit["x1"] - 0.5), unit, scrambles=8)
    assert result.remainder == pytest.approx(1.0, abs=0.02)


def test_order_of_inputs_does_not_matter():
    """Naming the inputs in another order gives the same shares (to rounding of the regression)."""
    unit = units(3)
    outcome = unit["x0"] * 2 + unit["x2"]
    one = ranking(outcome, unit, scrambles=8)
    other = ranking(outcome, dict(reversed(unit.items())), scrambles=8)
    assert [row.key for row in one.inputs] == [row.key for row in other.inputs]
    assert [row.share for row in one.inputs] == pytest.approx([row.share for row in other.inputs], abs=1e-9)


def test_nothing_to_rank():
    """A constant outcome, or too few draws, give no ranking rather than noise."""
    assert ranking(np.full(1024, 5.0), units(3), scrambles=8).inputs == ()
    few = units(15, draws=64)
    assert ranking(few["x0"], few, scrambles=8).inputs == ()


def test_censored_outcome_is_refused():
    """A payback with never-draws cannot be ranked by variance."""
    with pytest.raises(ValueError, match="not finite"):
        ranking(np.where(np.arange(1024) < 5, np.inf, 1.0), units(2), scrambles=8)


def test_rank_places():
    """Ranks become places strictly inside (0, 1), in order."""
    assert rank_places(np.array([30.0, 10.0, 20.0])) == pytest.approx([5 / 6, 1 / 6, 3 / 6])


def test_draws_that_agree_but_for_one_scramble():
    """With that scramble left out nothing varies: the errors stay finite, without a warning."""
    outcome = np.zeros(128)
    outcome[3] = 1.0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = ranking(outcome, {"a": unit_cube(1, draws=128, scrambles=8, seed=1)[0]}, scrambles=8)
    assert all(np.isfinite([row.share, row.share_se]).all() for row in found.inputs)


def test_shares_and_their_errors_have_no_unit():
    """An outcome in pence has the shares and errors of one in pounds, where the fit blurs a jump too; effects are in its unit."""
    unit = units(3)
    outcome = (unit["x0"] > 0.37) * 1.0 + 0.5 * unit["x1"] ** 2
    one, other = ranking(outcome, unit, scrambles=8), ranking(100.0 * outcome, unit, scrambles=8)
    for pound, penny in zip(one.inputs, other.inputs, strict=True):
        assert penny.share == pytest.approx(pound.share, rel=1e-6, abs=1e-9)
        assert penny.share_se == pytest.approx(pound.share_se, rel=1e-6, abs=1e-9)
        assert penny.effect == pytest.approx(100.0 * pound.effect, rel=1e-6, abs=1e-9)
