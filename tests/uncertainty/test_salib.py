"""Sobol' indices against those of SALib (MIT licence), a library written by others, on its own design of points."""

import numpy as np
import pytest
from SALib.analyze import sobol as their_analysis
from SALib.sample import sobol as their_design

from riskcalc.uncertainty.indices import Cube, sobol_indices, sobol_rows

NAMES = ("x1", "x2", "x3")
PROBLEM = {"num_vars": 3, "names": list(NAMES), "bounds": [[-np.pi, np.pi]] * 3}
POINTS = 4096


def ishigami(x):
    """Return Ishigami's function of x (3, rows) with a = 7 and b = 0.1."""
    return np.sin(x[0]) + 7.0 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0])


@pytest.fixture(scope="module")
def outcome():
    """Return the function at the rows of their design: A, A with one column of B after the other, B, for each point."""
    return ishigami(their_design.sample(PROBLEM, POINTS, calc_second_order=False, seed=11).T)


@pytest.fixture(scope="module")
def theirs(outcome):
    """Return their indices with the half widths of their 95 % intervals, which come from a bootstrap over points."""
    return their_analysis.analyze(PROBLEM, outcome, calc_second_order=False, num_resamples=200, seed=12)


@pytest.fixture(scope="module")
def ours():
    """Return our indices of our own design."""
    cube = Cube(NAMES)
    rows = sobol_rows(cube, points=POINTS, seed=3)
    return sobol_indices(cube, ishigami((2.0 * np.pi * rows - np.pi).T))


def test_same_points_same_indices(outcome, theirs):
    """On their points both name the same indices: total orders to rounding, first orders to 1e-8.

    They subtract the mean of all rows, we that of A and B. First orders may differ by the distance of these two means
    times the mean change from A to AB, over the variance: both are errors of balanced means, 1e-4 and smaller.
    """
    found = sobol_indices(Cube(NAMES), outcome)
    assert found.total == pytest.approx(theirs["ST"], rel=1e-9)
    assert found.first == pytest.approx(theirs["S1"], abs=1e-8)


def test_indices_lie_within_both_intervals(ours, theirs):
    """Each index lies in the other's 95 % interval; ours is widened by sqrt(2), for both designs scatter alike."""
    for index, error, other, half in (
        (ours.first, ours.first_error, theirs["S1"], theirs["S1_conf"]),
        (ours.total, ours.total_error, theirs["ST"], theirs["ST_conf"]),
    ):
        apart = np.abs(index - other)
        assert np.all(apart <= half)
        assert np.all(apart <= np.sqrt(2.0) * ours.errors_in_95 * error)
        assert np.all(error > 0.0)
