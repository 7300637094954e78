"""What decides the odds of a payback that some futures never reach."""

import numpy as np
import pytest
from scipy import special

from riskcalc.uncertainty.factor_model import DrawnFactor, factor_model
from riskcalc.uncertainty.odds import RARE_SHARE, distance, mean_gap, odds_ranking
from riskcalc.uncertainty.ranking import at_ends
from riskcalc.uncertainty.sampling import unit_cube
from riskcalc.uncertainty.summary import jackknife

SCRAMBLES, DRAWS = 8, 8 * 256


def factors(count=3):
    points = unit_cube(count, draws=DRAWS, scrambles=SCRAMBLES, seed=2)
    return [DrawnFactor(f"u{place}", "kit", (f"u{place}",), row[None], row[None]) for place, row in enumerate(points)]


def ranked(payback, found, within=10):
    return odds_ranking(payback, factor_model(found, scrambles=SCRAMBLES), within_years=within, seed=0)


def test_one_factor_decides_all():
    """Paid back exactly when u0 < 0.4: tenths have odds 1 (four of them) or 0, so the gap is 0.4 x 0.6 + 0.6 x 0.4 = 0.48."""
    found = factors()
    payback = np.where(found[0].places[0] < 0.4, 5.0, np.inf)
    result = ranked(payback, found)
    assert result.odds == pytest.approx(0.4, abs=0.002)
    assert result.rows[0].name == "u0"
    assert result.rows[0].gap == pytest.approx(0.48, abs=0.01)
    assert result.rows[0].low > 0.8
    assert result.rows[0].high < 0.1
    for row in result.rows[1:]:
        assert row.gap < result.gap_floor
        assert abs(row.effect) < 4 * row.effect_error + 0.02


def test_gap_closed_form_of_a_gaussian_margin():
    """Paid back when Z0 + Z1 > 0: a tenth of Z0 around z has odds Phi(z); the mean |Phi(z) - 1/2| over z is exactly 1/4.

    (Phi(Z) is uniform.) Within tenths the odds vary, which takes less than a hundredth off; noise adds about as much.
    """
    found = factors(2)
    z = [special.ndtri(factor.places[0]) for factor in found]
    payback = np.where(z[0] + z[1] > 0, 3.0, np.inf)
    assert mean_gap((payback <= 10).astype(float), found[0].places[0]) == pytest.approx(0.25, abs=0.02)


def test_never_counts_at_the_far_end():
    """The distance is the same whether a payback never comes or comes after all others: order alone counts."""
    rng = np.random.default_rng(1)
    place, finite = rng.random(DRAWS), rng.uniform(1, 10, DRAWS)
    never = np.where(place < 0.3, np.inf, finite)
    late = np.where(place < 0.3, 50.0, finite)
    assert distance(never, place) == pytest.approx(distance(late, place), abs=1e-12)
    assert distance(np.full(DRAWS, np.inf), place) == 0.0


def test_share_of_the_yes_no_closed_form():
    """Yes when Z0 + Z1 > 0: Var(E[yes | Z0]) / Var(yes) = (1/12) / (1/4) = 1/3 each, since E[yes | Z0] = Phi(Z0) is uniform."""
    found = factors(3)
    z = [special.ndtri(factor.places[0]) for factor in found]
    rows = {row.name: row for row in ranked(np.where(z[0] + z[1] > 0, 3.0, np.inf), found).rows}
    assert rows["u0"].share == pytest.approx(1 / 3, abs=0.02)
    assert rows["u1"].share == pytest.approx(1 / 3, abs=0.02)
    assert abs(rows["u2"].share) < 3 * rows["u2"].share_error + 1e-3


@pytest.mark.parametrize("share", [RARE_SHARE / 2, 1 - RARE_SHARE / 2])
def test_no_index_of_a_rare_yes_or_no(share):
    """Odds below 5 % or above 95 % get no share of variance; gap and odds at the ends stay."""
    found = factors()
    result = ranked(np.where(found[0].places[0] < share, 5.0, np.inf), found)
    assert result.rare
    assert all(row.share is None for row in result.rows)
    assert result.rows[0].gap > 0


def test_noise_floor_holds_for_factors_without_effect():
    """Of forty factors without effect none passes the floor, whatever the never-share (5 % of such tables would have one)."""
    found = factors(40)
    payback = np.where(np.random.default_rng(6).random(DRAWS) < 0.7, 4.0, np.inf)
    result = ranked(payback, found)
    assert result.rows[0].gap < result.gap_floor
    assert max(row.distance for row in result.rows) < result.distance_floor


def test_futures_in_which_nothing_is_bought_are_left_out():
    """Refused in a third of the draws, paid back when u0 < 0.4 otherwise: odds and gap are those of the draws that are left."""
    found = factors(4)
    payback = np.where(found[0].places[0] < 0.4, 5.0, np.inf)
    refused = found[3].places[0] < 1 / 3
    result = ranked(np.where(refused, np.nan, payback), found)
    assert result.odds == pytest.approx((found[0].places[0] < 0.4)[~refused].mean())
    rows = {row.name: row for row in result.rows}
    assert rows["u0"].gap == pytest.approx(0.48, abs=0.02)
    assert rows["u3"].gap < result.gap_floor
    assert rows["u0"].share == pytest.approx(1.0, abs=0.1)
    assert ranked(np.full(DRAWS, np.nan), found).odds == 0.0


def test_odds_at_the_ends_are_those_of_all_draws():
    """Not those of a fit that leaves a scramble out; the error is the scatter of those."""
    found = factors()
    paid = (found[0].places[0] + 0.4 * found[1].places[0] < 0.7) * 1.0
    model = factor_model(found, scrambles=SCRAMBLES)
    low, high = at_ends(model, model.fit(paid), "u0")
    row = next(row for row in ranked(np.where(paid > 0.0, 5.0, np.inf), found).rows if row.name == "u0")
    assert low[0] != low[1]
    assert high[0] != high[1]
    assert (row.low, row.high) == (min(low[0], 1.0), max(high[0], 0.0))
    assert row.effect_error == jackknife((high - low)[1:])
