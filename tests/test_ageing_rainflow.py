"""Rainflow counting against the standard's example and a reference library."""

from collections import Counter

import numpy as np
import pytest
import rainflow
from hypothesis import assume, given
from hypothesis import strategies as st

from riskcalc.years.rainflow import full_equivalent_cycles, mean_depth, rainflow_cycles, reversals

STANDARD = "ASTM E1049-85 (2011), section 5.4.4, figure 6"
EXAMPLE = [-2, 1, -3, 5, -1, 3, -4, 4, -2]


@pytest.mark.published
@pytest.mark.parametrize(("reach", "printed"), [(3, 0.5), (4, 1.5), (6, 0.5), (8, 1.0), (9, 0.5)])
def test_counts_of_the_standards_example(reach, printed, record_property):
    """Cycles of each range in the standard's history; counts are exact."""
    cycles = rainflow_cycles(EXAMPLE)
    computed = float(cycles.count[cycles.range == reach].sum())
    record_property("published", (f"cycles of range {reach}", STANDARD, printed, computed))
    assert computed == printed


@pytest.mark.published
def test_no_other_cycles_in_the_standards_example(record_property):
    """Four cycles in all, none of another range."""
    cycles = rainflow_cycles(EXAMPLE)
    record_property("published", ("cycles in all", STANDARD, 4.0, float(cycles.count.sum())))
    assert cycles.count.sum() == 4.0
    assert set(cycles.range.tolist()) == {3, 4, 6, 8, 9}


def counted(cycles):
    """Return total count by (range, mean)."""
    table = Counter()
    for reach, mean, count in cycles:
        table[(float(reach), float(mean))] += count
    return table


@given(st.lists(st.integers(-20, 20), min_size=2, max_size=60))
def test_any_history_agrees_with_reference_library(history):
    """The rainflow library (MIT licence) finds the same ranges, means and counts; whole numbers, so exactly.

    It returns nothing for a history of two points, in which we count the half cycle; so three turning points at least.
    """
    assume(len(reversals(history)) >= 3)
    cycles = rainflow_cycles(history)
    ours = counted(zip(cycles.range, cycles.mean, cycles.count, strict=True))
    theirs = counted((reach, mean, count) for reach, mean, count, _, _ in rainflow.extract_cycles(history))
    assert ours == theirs


@given(st.lists(st.floats(0, 1), min_size=1, max_size=80))
def test_counted_path_is_the_whole_path(history):
    """Every half cycle is one way of the path: twice count x range adds up to all ups and downs."""
    path = float(np.abs(np.diff(history)).sum())
    assert 2 * full_equivalent_cycles(rainflow_cycles(history)) == pytest.approx(path, abs=1e-12)


def test_daily_cycle_with_ripple_by_hand():
    """0, 0.5, 0.4, 1, 0 closes a ripple of 0.1 inside the day's full cycle of two halves."""
    cycles = rainflow_cycles([0.0, 0.5, 0.4, 1.0, 0.0])
    assert cycles.range == pytest.approx([0.1, 1.0, 1.0])
    assert cycles.count.tolist() == [1.0, 0.5, 0.5]
    assert full_equivalent_cycles(cycles) == pytest.approx(1.1)
    # Weighted by throughput: (0.1 x 0.1 + 1 x 1) / 1.1
    assert mean_depth(cycles) == pytest.approx(1.01 / 1.1)


def test_reversals_drop_flat_and_passing_points():
    """Points on the way and flat stretches go, first and last stay."""
    assert reversals([0, 1, 1, 2, 2, 1, 3, 3]).tolist() == [0, 2, 1, 3]
    assert reversals([5, 5, 5]).tolist() == [5]
    assert reversals([]).tolist() == []


def test_history_without_movement_has_no_cycles():
    """A battery at rest: no cycles, no depth."""
    cycles = rainflow_cycles([0.4, 0.4])
    assert len(cycles.range) == 0
    assert (mean_depth(cycles), full_equivalent_cycles(cycles)) == (0.0, 0.0)


def test_nan_is_refused():
    """A history with a gap stops the run."""
    with pytest.raises(ValueError, match="finite"):
        rainflow_cycles([0.0, np.nan, 1.0])
