"""Which places count as settled, and how many points would settle the others."""

from dataclasses import replace

import numpy as np
import pytest

from riskcalc.sensitivity.factors import REST
from riskcalc.sensitivity.order import SAME, ranking_order
from riskcalc.sensitivity.ranked import same_places
from riskcalc.sensitivity.salib_border import Indices


def indices(totals, errors, rounds=2000, seed=4):
    """Return indices whose bootstrap rounds are independent normals with the given standard errors."""
    rng = np.random.default_rng(seed)
    totals, errors = np.array(totals), np.array(errors)
    drawn = totals + errors * rng.standard_normal((rounds, len(totals)))
    names = tuple(f"f{place}" for place in range(len(totals)))
    return Indices(names, totals, totals, errors, errors, drawn, drawn)


def test_clear_order_is_settled():
    """Factors far apart for their errors are placed by falling index and settled."""
    order = ranking_order(indices([0.1, 0.6, 0.3, 0.0], [0.01] * 4), points=64, most_points=1024)
    assert [place.name for place in order.places] == ["f1", "f2", "f0"]
    assert order.settled
    assert order.finished


def test_overlap_is_not_ordered_and_says_what_would_settle_it():
    """0.40 and 0.35, each +-0.05, are not ordered; four times the points are too few, sixteen times enough.

    Distance 0.05 needs 1.96 sqrt(2) s < 0.05, s < 0.018: the error must fall by 2.8, the points rise by 7.7, next power 8.
    """
    order = ranking_order(
        indices([0.40, 0.35, 0.0, 0.0], [0.05, 0.05, 0.001, 0.001]), points=64, most_points=4096, places=2
    )
    assert not order.settled
    assert order.places[0].tied_with == ("f1",)
    assert order.places[1].tied_with == ("f0",)
    assert order.points_needed == 64 * 8


def test_a_tie_is_named_and_ends_the_search():
    """Two factors that differ by less than a hundredth, known to a hundredth, are a tie that no points would part."""
    order = ranking_order(indices([0.400, 0.399, 0.1, 0.0], [0.002] * 4), points=1024, most_points=4096)
    assert order.places[0].tied_with == ("f1",)
    assert order.finished
    assert not order.settled
    assert order.places[2].settled
    assert pytest.approx(0.01) == SAME


def test_points_beyond_the_limit_make_a_tie():
    """What would take more points than allowed counts as a tie, and the search ends."""
    found = indices([0.40, 0.38, 0.0], [0.1, 0.1, 0.001])
    assert ranking_order(found, points=64, most_points=256, places=2).finished
    assert not ranking_order(found, points=64, most_points=2**20, places=2).finished


def test_correlated_errors_part_what_separate_errors_would_not():
    """The error of a difference counts: two indices that always rise and fall together are ordered in spite of wide intervals."""
    rng = np.random.default_rng(1)
    common = 0.1 * rng.standard_normal((500, 1))
    totals = np.array([0.5, 0.4])
    rounds = totals + common + 0.001 * rng.standard_normal((500, 2))
    error = rounds.std(axis=0)
    assert ranking_order(
        Indices(("a", "b"), totals, totals, error, error, rounds, rounds), points=64, most_points=64
    ).settled


def test_agreement_of_methods():
    """Other names at the top agree when they are the same in any order or tie with those they replace, not otherwise."""
    settled = indices([0.6, 0.3, 0.1, 0.0], [0.001] * 4)
    order = ranking_order(settled, points=64, most_points=64)
    assert same_places(settled, order, ["f2", "f0", "f1"])
    assert not same_places(settled, order, ["f0", "f1", "f3"])
    tie = indices([0.6, 0.3, 0.100, 0.099], [0.001] * 4)
    assert same_places(tie, ranking_order(tie, points=64, most_points=64), ["f0", "f1", "f3"])
    grouped = replace(settled, names=("f0", "f1", REST, "f3"))
    assert same_places(
        grouped, ranking_order(grouped, points=64, most_points=64), ["f0", "f1", "left out", "left out too"]
    )
