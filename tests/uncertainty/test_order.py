"""Which places count as settled, and how many points would settle the others."""

from dataclasses import replace

import numpy as np
import pytest

from riskcalc.answers.factors import REST
from riskcalc.answers.ranked import first_by_share, same_places
from riskcalc.uncertainty.indices import Indices
from riskcalc.uncertainty.order import SAME, ranking_order


def indices(totals, errors, rounds=2000, seed=4):
    """Return indices whose bootstrap rounds are independent normals with the given standard errors."""
    rng = np.random.default_rng(seed)
    totals, errors = np.array(totals), np.array(errors)
    drawn = totals + errors * rng.standard_normal((rounds, len(totals)))
    names = tuple(f"f{place}" for place in range(len(totals)))
    return Indices(names, totals, totals, errors, errors, drawn)


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
    found = indices([0.40, 0.35, 0.0, 0.0], [0.05, 0.05, 0.001, 0.001])
    order = ranking_order(found, points=64, most_points=4096, places=2)
    assert not order.settled
    assert order.places[0].tied_with == ("f1",)
    assert order.places[1].tied_with == ("f0",)
    assert order.points_needed == 64 * 8
    # As many points as are needed may be just as many as are allowed.
    assert ranking_order(found, points=64, most_points=64 * 8, places=2).points_needed == 64 * 8
    assert ranking_order(found, points=64, most_points=64 * 8 - 1, places=2).points_needed == 0


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
    assert ranking_order(Indices(("a", "b"), totals, totals, error, error, rounds), points=64, most_points=64).settled


def test_tiers_gather_what_cannot_be_told_apart():
    """0.50 stands alone; 0.30 and 0.29 share places 2 and 3, with 0.28 outside; the nearest rival comes first."""
    order = ranking_order(
        indices([0.28, 0.30, 0.50, 0.29, 0.0], [0.02, 0.02, 0.001, 0.02, 0.001]), points=64, most_points=64
    )
    first, second = order.tiers
    assert (first.first, first.last, first.names, first.settled) == (1, 1, ("f2",), True)
    assert (second.first, second.last, second.names) == (2, 3, ("f1", "f3"))
    assert [rival.name for rival in second.outside] == ["f0"]
    assert second.outside[0].difference == pytest.approx(0.01)
    assert second.points_needed == 0
    assert not second.settled


def first(*rows):
    return first_by_share([(name, share, 0.001) for name, share in rows])


def test_agreement_of_methods():
    """Other names at the top agree when they are the same in any order or tie with those they replace, not otherwise."""
    settled = indices([0.6, 0.3, 0.1, 0.0], [0.001] * 4)
    order = ranking_order(settled, points=64, most_points=64)
    assert same_places(settled, order, first(("f2", 0.5), ("f0", 0.4), ("f1", 0.3), ("f3", 0.1)))
    assert not same_places(settled, order, first(("f0", 0.5), ("f1", 0.4), ("f3", 0.3), ("f2", 0.1)))
    tie = indices([0.6, 0.3, 0.100, 0.099], [0.001] * 4)
    tied = ranking_order(tie, points=64, most_points=64)
    assert same_places(tie, tied, first(("f0", 0.5), ("f1", 0.4), ("f3", 0.3), ("f2", 0.1)))
    grouped = replace(settled, names=("f0", "f1", REST, "f3"))
    grouped_order = ranking_order(grouped, points=64, most_points=64)
    assert same_places(grouped, grouped_order, first(("f0", 0.5), ("f1", 0.4), ("left out", 0.3), ("f3", 0.1)))


def test_a_tie_among_the_first_three_does_not_excuse_another_name():
    """Two that tie with each other alone are both among the first three for certain: a method without one of them disagrees."""
    found = indices([0.6, 0.30, 0.299, 0.0], [0.001] * 4)
    order = ranking_order(found, points=64, most_points=64)
    assert not order.places[1].settled
    assert not same_places(found, order, first(("f0", 0.5), ("f1", 0.4), ("f3", 0.3), ("f2", 0.1)))


def test_a_tie_of_the_other_method_counts():
    """A method that cannot tell its third from its fourth does not contradict a ranking that puts the fourth third."""
    found = indices([0.6, 0.3, 0.1, 0.0], [0.001] * 4)
    order = ranking_order(found, points=64, most_points=64)
    rows = [("f0", 0.5, 0.01), ("f1", 0.4, 0.01), ("f3", 0.11, 0.01), ("f2", 0.10, 0.01)]
    assert first_by_share(rows).certain == {"f0", "f1"}
    assert first_by_share(rows).possible == {"f0", "f1", "f2", "f3"}
    assert same_places(found, order, first_by_share(rows))
