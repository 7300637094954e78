"""Value of information, given-data indices and the regression behind them, against closed forms of a linear-Gaussian worth.

W = mu + s1 Z1 + s2 Z2 with standard normal Z. Buying without knowing brings max(mu, 0). Knowing everything brings
E[max(W, 0)] = mu Phi(mu / s) + s phi(mu / s), s^2 = s1^2 + s2^2 (integral of w times the normal density from 0 upwards).
Knowing Z1 alone: E[W | Z1] = mu + s1 Z1, so the same with s1 in place of s. Nothing else is used below.
"""

import warnings

import numpy as np
import pytest
from scipy import special

from riskcalc.answers.conditional import basis, expected, expected_less_noise
from riskcalc.answers.draws_at_hand import DrawnFactor, families, jackknife_error
from riskcalc.answers.given_data import given_data_indices
from riskcalc.answers.information import factor_information, information, perfect_information
from riskcalc.uncertainty.sampling import unit_cube

SCRAMBLES, DRAWS = 8, 8 * 256
MU, S1, S2 = -30.0, 100.0, 60.0


def gain(mu, spread):
    """Return the closed form of E[max(N(mu, spread^2), 0)] - max(mu, 0)."""
    density = np.exp(-((mu / spread) ** 2) / 2) / np.sqrt(2 * np.pi)
    return mu * special.ndtr(mu / spread) + spread * density - max(mu, 0.0)


def factors(count=3, draws=DRAWS, seed=5):
    """Return independent standard normal factors z0, z1, ... in families a, a, b, b, ..."""
    points = unit_cube(count, draws=draws, scrambles=SCRAMBLES, seed=seed)
    return [
        DrawnFactor(f"z{place}", "ab"[min(1, place // 2)], (f"z{place}",), row[None], special.ndtri(row)[None])
        for place, row in enumerate(points)
    ]


def worth_of(found):
    return MU + S1 * found[0].values[0] + S2 * found[1].values[0]


def test_perfect_information_closed_form():
    """EVPI of the draws meets the closed form within three standard errors."""
    found = factors()
    total = information(worth_of(found), found, [], scrambles=SCRAMBLES).total
    assert total.value == pytest.approx(gain(MU, np.hypot(S1, S2)), abs=3 * total.standard_error + 0.2)


@pytest.mark.parametrize(("place", "spread"), [(0, S1), (1, S2)])
def test_partial_information_closed_form(place, spread):
    """EVPPI of each factor meets its closed form within three standard errors, from above and from held-out draws."""
    found = factors()
    row = factor_information(worth_of(found), found[place], scrambles=SCRAMBLES)
    assert row.value.value == pytest.approx(gain(MU, spread), abs=3 * row.value.standard_error + 0.2)
    assert row.held_out == pytest.approx(gain(MU, spread), abs=3 * row.value.standard_error + 0.2)


def test_family_closed_form():
    """Knowing both factors of a family is worth as much as knowing everything when nothing else matters."""
    found = factors()
    (family, other) = families(found)
    row = factor_information(worth_of(found), family, scrambles=SCRAMBLES)
    assert family.members == ("z0", "z1")
    assert row.value.value == pytest.approx(gain(MU, np.hypot(S1, S2)), abs=3 * row.value.standard_error + 0.2)
    idle = factor_information(worth_of(found), other, scrambles=SCRAMBLES)
    assert idle.value.value == pytest.approx(0.0, abs=1.0)


def test_knowing_what_does_not_matter_is_worth_nothing():
    """A factor without effect has an EVPPI of at most two standard errors and a fiftieth of the EVPI."""
    found = factors(4)
    worth = worth_of(found)
    for idle in found[2:]:
        row = factor_information(worth, idle, scrambles=SCRAMBLES)
        assert row.value.value <= 2 * row.value.standard_error + perfect_information(worth) / 50
        assert row.held_out <= perfect_information(worth) / 50


def test_a_decision_that_is_never_in_doubt_has_nothing_to_find_out():
    """A worth above 0 in every draw, or in none, has an EVPI of exactly 0."""
    worth = np.abs(worth_of(factors())) + 1.0
    assert perfect_information(worth) == pytest.approx(0.0, abs=1e-12)
    assert perfect_information(-worth) == 0.0


def test_regression_meets_a_line_in_the_value_exactly():
    """An outcome linear in a normal input is fitted to rounding, so its tails are not bent."""
    factor = factors(1)[0]
    outcome = 2.0 - 3.0 * factor.values[0]
    assert expected(basis(factor), outcome) == pytest.approx(outcome, abs=1e-8)
    at = (np.array([[0.5]]), np.array([[0.0]]))
    assert expected(basis(factor), outcome, at=basis(factor, at=at)) == pytest.approx([2.0], abs=1e-8)


def test_shrinkage_takes_noise_out_and_leaves_a_strong_fit():
    """Of pure noise next to nothing is left; a fit that explains all keeps its size to a thousandth."""
    factor = factors(1)[0]
    noise = np.random.default_rng(2).standard_normal(DRAWS)
    left = expected_less_noise(basis(factor), noise)
    assert left.std() <= expected(basis(factor), noise).std()
    assert left.std() < 0.05
    strong = 10.0 * factor.values[0] + 0.1 * noise
    assert expected_less_noise(basis(factor), strong).std() == pytest.approx(strong.std(), rel=1e-3)


def test_given_data_indices_closed_form():
    """Shares s1^2 / (s1^2 + s2^2) and s2^2 / (s1^2 + s2^2), 0 for the idle factor; correlated members count together."""
    found = factors()
    rows = {row.name: row for row in given_data_indices(worth_of(found), found, scrambles=SCRAMBLES)}
    whole = S1**2 + S2**2
    assert rows["z0"].share == pytest.approx(S1**2 / whole, abs=0.02)
    assert rows["z1"].share == pytest.approx(S2**2 / whole, abs=0.02)
    assert abs(rows["z2"].share) <= 3 * rows["z2"].error + 1e-3
    together = DrawnFactor(
        "both",
        "a",
        ("z0", "z1"),
        np.vstack([found[0].places, found[1].places]),
        np.vstack([found[0].values, found[1].values]),
    )
    (first, _) = given_data_indices(worth_of(found), [together, found[2]], scrambles=SCRAMBLES)
    assert first.share == pytest.approx(1.0, abs=0.02)


def test_given_data_refuses_what_it_cannot_index():
    """Infinite outcomes are refused, constants and too few draws give no rows."""
    found = factors()
    with pytest.raises(ValueError, match="not finite"):
        given_data_indices(np.full(DRAWS, np.inf), found, scrambles=SCRAMBLES)
    assert given_data_indices(np.full(DRAWS, 3.0), found, scrambles=SCRAMBLES) == ()
    few = factors(6, draws=16)
    assert given_data_indices(worth_of(few), few, scrambles=SCRAMBLES) == ()


def test_jackknife_of_a_mean_is_the_usual_error():
    """For a mean of independent draws the jackknife over groups meets sd / sqrt(n), within its own scatter of some 25 %."""
    values = np.random.default_rng(3).standard_normal(64 * 200)
    error = jackknife_error(lambda kept: np.array(values[kept].mean()), draws=len(values), scrambles=64)
    assert error == pytest.approx(1.0 / np.sqrt(len(values)), rel=0.3)


def test_draws_that_agree_share_nothing():
    """Where one scramble alone has another outcome, the rest has no spread: shares stay finite, without a warning."""
    outcome = np.zeros(DRAWS)
    outcome[3] = 1.0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        rows = given_data_indices(outcome, factors(), scrambles=SCRAMBLES)
    assert all(np.isfinite([row.share, row.error]).all() for row in rows)
