"""The one place where SALib is met: rows of the unit cube out, indices back, and the guards that it lacks.

SALib turns outcomes with a NaN into indices of zero, takes the seed 0 for none, only warns when the number of points is
no power of two, and never sees the inputs that an outcome came from. Each of these is refused or mended here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Bootstrap rounds behind each interval.
RESAMPLES = 400

#: Streams of the study's seed: the points, the resampling and the screening must not share random numbers.
_POINTS_STREAM, _RESAMPLES_STREAM, _SCREENING_STREAM = 21, 22, 23

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


def sobol_rows(cube: Cube, *, points: int, seed: int) -> Floats:
    """Return the rows of Saltelli's design, shape (points * `cube.rows_per_point`, columns), inside the open cube.

    Row p * rows_per_point is point p of matrix A, the next ones A with one group taken from B, the last is B. The rows
    of a smaller design with the same seed are the first rows of a larger one, so a run can be continued.

    Raises
    ------
    ValueError
        If `points` is no power of two.
    """
    from SALib.sample import sobol

    check_points(points)
    rows = sobol.sample(
        _problem(cube), points, calc_second_order=False, seed=np.random.default_rng(_sequence(seed, _POINTS_STREAM))
    )
    return np.clip(rows, 2.0**-31, 1.0 - 2.0**-31)


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
        _problem(cube),
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


def _problem(cube: Cube) -> dict[str, Any]:
    """Return a fresh description for SALib, which writes into the one it gets."""
    return _described(cube.groups, (0.0, 1.0))


def _screening_problem(cube: Cube) -> dict[str, Any]:
    return _described(cube.groups, SCREENING_ENDS)


def _described(groups: Sequence[str], ends: tuple[float, float]) -> dict[str, Any]:
    columns = len(groups)
    described: Mapping[str, Any] = {
        "num_vars": columns,
        "names": [f"column {column}" for column in range(columns)],
        "bounds": [list(ends)] * columns,
        "groups": list(groups),
    }
    return dict(described)


def _sequence(seed: int, stream: int) -> np.random.SeedSequence:
    return np.random.SeedSequence(seed, spawn_key=(stream,))


def _nonzero_seed(seed: int, stream: int) -> int:
    """Return a seed that is never 0, which SALib takes for no seed at all."""
    return int(_sequence(seed, stream).generate_state(1)[0]) % (2**31 - 1) + 1
