"""The one place where SALib is met: rows of the unit cube out, indices back, and the guards that it lacks.

SALib turns outcomes with a NaN into indices of zero, takes the seed 0 for none, only warns when the number of points is
no power of two, and never sees the inputs that an outcome came from. Each of these is refused or mended here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Bootstrap rounds behind each interval.
RESAMPLES = 400

#: Streams of the study's seed: the points, the resampling and the screening must not share random numbers.
_POINTS_STREAM, _RESAMPLES_STREAM, _SCREENING_STREAM = 21, 22, 23

#: Sizes of the design at which the columns of its two matrices go well together.
PAIRED_ON = (64, 128, 256, 512, 1024, 2048)

#: Levels of the grid of a screening, and the part of the unit interval that it spans: the 5 % to the 95 % point.
SCREENING_LEVELS = 4
SCREENING_ENDS = (0.05, 0.95)


@dataclass(frozen=True)
class Cube:
    """Columns of a unit cube in groups: `groups[c]` names the group that column c moves with."""

    groups: tuple[str, ...]

    @property
    def columns(self) -> int:
        """Number of columns."""
        return len(self.groups)

    @property
    def names(self) -> tuple[str, ...]:
        """Groups in the order in which SALib reports them: by first appearance."""
        return tuple(dict.fromkeys(self.groups))

    @property
    def rows_per_point(self) -> int:
        """Rows that one base point of the Sobol' design takes: A, one per group, B."""
        return len(self.names) + 2


@dataclass(frozen=True)
class Indices:
    """First-order and total-order indices of each group and what the resampling made of them.

    `first`, `total`, `first_error`, `total_error`: (groups,); the errors are standard errors of the bootstrap.
    `first_rounds` and `total_rounds`: (rounds, groups); one round resamples the same points for every group, so
    differences between groups keep their correlation. Nothing is clipped: an index below 0 or above 1 is noise and
    shows as such.
    """

    names: tuple[str, ...]
    first: Floats
    total: Floats
    first_error: Floats
    total_error: Floats
    first_rounds: Floats
    total_rounds: Floats


def sobol_rows(cube: Cube, *, points: int, seed: int, start: int = 0, stop: int | None = None) -> Floats:
    """Return the rows of Saltelli's design, shape (points * `cube.rows_per_point`, columns), inside the open cube.

    Row p * rows_per_point is point p of matrix A, the next ones A with one group taken from B, the last is B. The rows
    of a smaller design with the same seed are the first rows of a larger one, so a run can be continued; `start` and
    `stop` ask for the rows of some of its points.

    Raises
    ------
    ValueError
        If `points` is no power of two.
    """
    check_points(points)
    one, other = (
        part[start : points if stop is None else stop]
        for part in _base_points(cube.columns, max(points, PAIRED_ON[-1]), seed)
    )
    groups = np.array(cube.groups)
    rows = [one, *(np.where(groups == name, other, one) for name in cube.names), other]
    return np.stack(rows, axis=1).reshape(-1, cube.columns)


@lru_cache(maxsize=2)
def _base_points(columns: int, points: int, seed: int) -> tuple[Floats, Floats]:
    """Return the matrices A and B of Saltelli's design, (points, columns) each, read only.

    SALib takes column i of A and of B from dimensions i and i + columns of one Sobol' sequence. Some such pairs are badly
    spread over their square until the points are many: of 60 columns some are correlated by 0.75 at 256 points, which makes
    an index wrong by as much, and no bootstrap sees it. All columns are alike before they are given to a factor, so
    the columns of B are dealt to those of A anew, by the assignment that keeps products of lines and bends smallest at
    every size of `PAIRED_ON`.
    """
    from SALib.sample import sobol
    from scipy.optimize import linear_sum_assignment

    # Two groups: the shortest layout that SALib has. Its first and last row of a point are A and B.
    layout = _described(("first", *("others",) * (columns - 1)), (0.0, 1.0))
    generator = np.random.default_rng(_sequence(seed, _POINTS_STREAM))
    rows = sobol.sample(layout, points, calc_second_order=False, seed=generator).reshape(points, -1, columns)
    one, other = (np.clip(rows[:, row], 2.0**-31, 1.0 - 2.0**-31) for row in (0, -1))
    other = other[:, linear_sum_assignment(_pairing_cost(one, other))[1]]
    for part in (one, other):
        part.flags.writeable = False
    return one, other


def _pairing_cost(one: Floats, other: Floats) -> Floats:
    """Return how badly each column of `one` goes with each of `other`, (columns, columns): 1 is what chance alone would do.

    The largest squared correlation between a line or bend in one and a line or bend in the other, times the points, over
    all sizes; squared once more, so that one bad pair weighs more than several fair ones.
    """
    cost = np.zeros((one.shape[1], other.shape[1]))
    for points in PAIRED_ON:
        shapes = [_standardised(part[:points]) for part in (one, other)]
        for mine in shapes[0]:
            for theirs in shapes[1]:
                cost = np.maximum(cost, (mine.T @ theirs) ** 2 / points)
    return cost**2


def _standardised(part: Floats) -> tuple[Floats, Floats]:
    """Return line and bend of each column with mean 0 and variance 1."""
    line = 2.0 * part - 1.0
    both = (line, line**2)
    return tuple((shape - shape.mean(axis=0)) / shape.std(axis=0) for shape in both)  # type: ignore[return-value]


def sobol_indices(cube: Cube, outcome: Floats, *, seed: int) -> Indices:
    """Return the indices of an outcome (rows,) that was computed from the rows of `sobol_rows`, in their order.

    Raises
    ------
    ValueError
        If the outcome is not finite, does not vary, or has another number of values than a whole design.
    """
    from SALib.analyze import sobol

    check_outcome(outcome)
    points, rest = divmod(len(outcome), cube.rows_per_point)
    if rest:
        raise ValueError(f"outcome: {len(outcome)} values; accepted: a multiple of {cube.rows_per_point}")
    check_points(points)
    found = sobol.analyze(
        # A column per group: the analysis never sees the columns, and a single group would not count as one.
        _described((), (0.0, 1.0), names=cube.names),
        outcome,
        calc_second_order=False,
        num_resamples=RESAMPLES,
        keep_resamples=True,
        seed=_nonzero_seed(seed, _RESAMPLES_STREAM),
    )
    first_rounds, total_rounds = found["S1_conf_all"], found["ST_conf_all"]
    return Indices(
        names=cube.names,
        first=found["S1"],
        total=found["ST"],
        first_error=first_rounds.std(axis=0, ddof=1),
        total_error=total_rounds.std(axis=0, ddof=1),
        first_rounds=first_rounds,
        total_rounds=total_rounds,
    )


def screening_rows(cube: Cube, *, trajectories: int, seed: int) -> Floats:
    """Return the rows of Morris's design, shape (trajectories * (groups + 1), columns).

    Each trajectory starts anywhere on a grid and moves one group at a time (Morris 1991, Technometrics 33, 161-174;
    groups: Campolongo, Cariboni & Saltelli 2007).
    """
    from SALib.sample import morris

    return morris.sample(
        _screening_problem(cube),
        trajectories,
        num_levels=SCREENING_LEVELS,
        seed=_nonzero_seed(seed, _SCREENING_STREAM),
    )


def screening_effects(cube: Cube, rows: Floats, outcome: Floats, *, seed: int) -> tuple[Floats, Floats]:
    """Return mu*, the mean size of each group's effect over its range, and its standard error, both (groups,).

    Raises
    ------
    ValueError
        If the outcome is not finite or does not vary.
    """
    from SALib.analyze import morris

    check_outcome(outcome)
    found = morris.analyze(
        _screening_problem(cube),
        rows,
        outcome,
        num_levels=SCREENING_LEVELS,
        num_resamples=RESAMPLES,
        conf_level=0.95,
        seed=_nonzero_seed(seed, _SCREENING_STREAM),
    )
    order = [list(found["names"]).index(name) for name in cube.names]
    # SALib reports the half-width of a 95 % interval of the normal law: 1.96 standard errors.
    return np.asarray(found["mu_star"])[order], np.asarray(found["mu_star_conf"])[order] / 1.959964


def check_outcome(outcome: Floats) -> None:
    """Refuse outcomes whose indices would be nonsense.

    Raises
    ------
    ValueError
        If a value is not finite, or none differs from another by more than rounding.
    """
    if outcome.ndim != 1:
        raise ValueError(f"outcome: {outcome.ndim} axes; accepted: one value per row")
    missing = int((~np.isfinite(outcome)).sum())
    if missing:
        raise ValueError(
            f"outcome: {missing} of {len(outcome)} values are not finite; accepted: finite values only "
            "(rank the worth or the odds, never a payback that may not come)"
        )
    if not varies(outcome):
        raise ValueError("outcome: does not vary; accepted: an outcome that differs between rows")


def varies(outcome: Floats) -> bool:
    """Return whether an outcome differs between draws by more than rounding."""
    return bool(np.ptp(outcome) > 1e-12 * max(1.0, float(np.abs(outcome).max())))


def check_points(points: int) -> None:
    """Refuse a number of base points that would unbalance the Sobol' sequence.

    Raises
    ------
    ValueError
        If it is no power of two.
    """
    if points < 1 or points & (points - 1):
        raise ValueError(f"points: {points}; accepted: a power of two, such as 256")


def _screening_problem(cube: Cube) -> dict[str, Any]:
    return _described(cube.groups, SCREENING_ENDS)


def _described(groups: Sequence[str], ends: tuple[float, float], *, names: Sequence[str] = ()) -> dict[str, Any]:
    """Return a fresh description for SALib, which writes into the one it gets: columns in groups, or named ones without."""
    columns = len(groups) or len(names)
    described: dict[str, Any] = {
        "num_vars": columns,
        "names": list(names) or [f"column {column}" for column in range(columns)],
        "bounds": [list(ends)] * columns,
    }
    return described | ({"groups": list(groups)} if groups else {})


def _sequence(seed: int, stream: int) -> np.random.SeedSequence:
    return np.random.SeedSequence(seed, spawn_key=(stream,))


def _nonzero_seed(seed: int, stream: int) -> int:
    """Return a seed that is never 0, which SALib takes for no seed at all."""
    return int(_sequence(seed, stream).generate_state(1)[0]) % (2**31 - 1) + 1
