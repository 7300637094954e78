"""Value of information, given-data indices and the regression behind them, against closed forms of a linear-Gaussian worth.

W = mu + s1 Z1 + s2 Z2 with standard normal Z. Buying without knowing brings max(mu, 0). Knowing everything brings
E[max(W, 0)] = mu Phi(mu / s) + s phi(mu / s), s^2 = s1^2 + s2^2 (integral of w times the normal density from 0 upwards).
Knowing Z1 alone: E[W | Z1] = mu + s1 Z1, so the same with s1 in place of s. Nothing else is used below.
"""

import warnings

import numpy as np
import pytest
from scipy import special

from riskcalc.answers.factors import families
from riskcalc.uncertainty.factor_model import DrawnFactor, factor_model
from riskcalc.uncertainty.information import factor_information, information, perfect_information
from riskcalc.uncertainty.ranking import factor_shares
from riskcalc.uncertainty.sampling import unit_cube
from riskcalc.uncertainty.summary import jackknife

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


def model_of(found):
    return factor_model(found, families(found), scrambles=SCRAMBLES)


def known(worth, found, factor):
    """Return what knowing one factor or family is worth."""
    model = model_of(found)
    return factor_information(worth, model, factor, model.fit(worth))


def shares(outcome, found):
    model = factor_model(found, scrambles=SCRAMBLES)
    return factor_shares(model, model.fit(outcome))


def worth_of(found):
    return MU + S1 * found[0].values[0] + S2 * found[1].values[0]


def test_perfect_information_closed_form():
    """EVPI of the draws meets the closed form within three standard errors."""
    found = factors()
    total = information(worth_of(found), model_of(found), None).total
    assert total.value == pytest.approx(gain(MU, np.hypot(S1, S2)), abs=3 * total.standard_error + 0.2)


@pytest.mark.parametrize(("place", "spread"), [(0, S1), (1, S2)])
def test_partial_information_closed_form(place, spread):
    """EVPPI of each factor meets its closed form within three standard errors, from above and from held-out draws."""
    found = factors()
    row = known(worth_of(found), found, found[place])
    assert row.value.value == pytest.approx(gain(MU, spread), abs=3 * row.value.standard_error + 0.2)
    assert row.held_out == pytest.approx(gain(MU, spread), abs=3 * row.value.standard_error + 0.2)


def test_family_closed_form():
    """Knowing both factors of a family is worth as much as knowing everything when nothing else matters."""
    found = factors()
    (family, other) = families(found)
    row = known(worth_of(found), found, family)
    assert family.members == ("z0", "z1")
    assert row.value.value == pytest.approx(gain(MU, np.hypot(S1, S2)), abs=3 * row.value.standard_error + 0.2)
    idle = known(worth_of(found), found, other)
    assert idle.value.value == pytest.approx(0.0, abs=1.0)


def test_knowing_what_does_not_matter_is_worth_nothing():
    """A factor without effect has an EVPPI of at most two standard errors and a fiftieth of the EVPI."""
    found = factors(4)
    worth = worth_of(found)
    for idle in found[2:]:
        row = known(worth, found, idle)
        assert row.value.value <= 2 * row.value.standard_error + perfect_information(worth) / 50
        assert row.held_out <= perfect_information(worth) / 50


def test_a_decision_that_is_never_in_doubt_has_nothing_to_find_out():
    """A worth above 0 in every draw, or in none, has an EVPI of exactly 0."""
    worth = np.abs(worth_of(factors())) + 1.0
    assert perfect_information(worth) == pytest.approx(0.0, abs=1e-12)
    assert perfect_information(-worth) == 0.0


def test_given_data_indices_closed_form():
    """Shares s1^2 / (s1^2 + s2^2) and s2^2 / (s1^2 + s2^2), 0 for the idle factor; correlated members count together."""
    found = factors()
    rows = {row.name: row for row in shares(worth_of(found), found)}
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
    (first, _) = shares(worth_of(found), [together, found[2]])
    assert first.share == pytest.approx(1.0, abs=0.02)


def test_given_data_refuses_what_it_cannot_index():
    """Infinite outcomes are refused, constants and too few draws give no rows."""
    found = factors()
    with pytest.raises(ValueError, match="not finite"):
        shares(np.full(DRAWS, np.inf), found)
    assert shares(np.full(DRAWS, 3.0), found) == ()
    few = factors(6, draws=16)
    assert shares(worth_of(few), few) == ()


def test_jackknife_of_a_mean_is_the_usual_error():
    """For a mean of independent draws the jackknife over groups meets sd / sqrt(n), within its own scatter of some 25 %."""
    values = np.random.default_rng(3).standard_normal((64, 200))
    rounds = (values.sum() - values.sum(axis=1)) / (values.size - 200)
    assert jackknife(rounds) == pytest.approx(1.0 / np.sqrt(values.size), rel=0.3)
    assert np.isnan(jackknife(rounds[:1]))


def test_draws_that_agree_share_nothing():
    """Where one scramble alone has another outcome, the rest has no spread: shares stay finite, without a warning."""
    outcome = np.zeros(DRAWS)
    outcome[3] = 1.0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        rows = shares(outcome, factors())
    assert all(np.isfinite([row.share, row.error]).all() for row in rows)


def test_what_is_known_is_paid_over_the_best_choice_without_it():
    """A worth of 50 on average, -10 or 110 by a coin: knowing saves the 10 of half the cases, so 5, not 55."""
    place = unit_cube(1, draws=DRAWS, scrambles=SCRAMBLES, seed=6)[0]
    coin = (place < 0.5).astype(float)
    factor = DrawnFactor("coin", "a", ("coin",), place[None], coin[None])
    worth = np.where(coin == 1.0, -10.0, 110.0)
    model = factor_model([factor], scrambles=SCRAMBLES)
    row = factor_information(worth, model, factor, model.fit(worth))
    assert perfect_information(worth) == pytest.approx(5.0, abs=0.1)
    assert row.value.value == pytest.approx(5.0, abs=0.1)
    assert row.held_out == pytest.approx(5.0, abs=0.1)
    # The other way round the best choice without knowing is not to buy, worth 0: knowing brings half of 10.
    other = factor_information(-worth, model, factor, model.fit(-worth))
    assert other.value.value == pytest.approx(5.0, abs=0.1)
    # Without scrambles neither an error nor a held-out figure is known.
    alone = factor_model([factor], scrambles=1)
    unknown = factor_information(worth, alone, factor, alone.fit(worth))
    assert unknown.value.standard_error is None
    assert np.isnan(unknown.held_out)


@pytest.mark.parametrize(
    ("worth", "gained"),
    [([0.5, -0.5], 0.25), ([3.0, -1.0], 0.5), ([-3.0, 1.0], 0.5), ([0.25, 0.75], 0.0), ([-0.25, -0.75], 0.0)],
)
def test_perfect_information_by_hand(worth, gained):
    """What the good futures bring on average, less what buying blind brings or 0, whichever is more."""
    assert perfect_information(np.array(worth)) == pytest.approx(gained, abs=1e-15)


@pytest.mark.parametrize("mean", [-0.3, 0.3])
def test_information_has_no_scale_of_its_own(mean):
    """A purchase of a hundredth, its worth a fraction of 1, is worth a hundredth to know, by all draws and by held-out ones.

    So is a family of two inputs.
    """
    found = factors()
    worth = mean + found[0].values[0] + 0.6 * found[1].values[0]
    family, hundredfold = (known(worth, found, families(found)[0]), known(100.0 * worth, found, families(found)[0]))
    assert 100.0 * family.value.standard_error == pytest.approx(hundredfold.value.standard_error, rel=1e-6)
    small, large = (known(factor * worth, found, found[0]) for factor in (1.0, 100.0))
    assert 100.0 * small.value.value == pytest.approx(large.value.value, rel=1e-6)
    assert 100.0 * small.held_out == pytest.approx(large.held_out, rel=1e-6)
    assert 100.0 * small.value.standard_error == pytest.approx(large.value.standard_error, rel=1e-6)
    assert small.value.value == pytest.approx(gain(mean, 1.0), abs=3 * small.value.standard_error + 0.002)
    assert small.held_out == pytest.approx(gain(mean, 1.0), abs=3 * small.value.standard_error + 0.002)
