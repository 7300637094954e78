"""Sobol' indices and Morris screening: rows of the unit cube out, indices back, and the guards that both need.

First order: the share of the variance that knowing a group of columns alone takes away. Total order: the share that is
left if everything but the group is known, so it holds every interaction the group has a part in. With the outcomes f_A
and f_B of two matrices of points, f_AB of A with one group taken from B, all less their mean, and V the variance of both,

    first = mean(f_B (f_AB - f_A)) / V,    total = mean((f_A - f_AB)^2) / (2 V)

(Saltelli et al., Computer Physics Communications 181 (2010) 259-270, table 2; total: Jansen, ibid. 117 (1999) 35-43).

The points come as several independent scrambles of a Sobol' design, one point of each in turn. Errors come from leaving
out one scramble at a time: a bootstrap over points takes balanced points for independent ones and states 4 to 10 times the
scatter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from riskcalc.ordered import product
from riskcalc.types import Floats
from riskcalc.uncertainty.factor_model import varies
from riskcalc.uncertainty.sampling import unit_cube
from riskcalc.uncertainty.streams import Stream, generator

#: Independent scrambles that a design is made of.
SCRAMBLES = 8

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
        """Groups by first appearance."""
        return tuple(dict.fromkeys(self.groups))

    @property
    def rows_per_point(self) -> int:
        """Rows that one base point of the Sobol' design takes: A, one per group, B."""
        return len(self.names) + 2


@dataclass(frozen=True)
class Indices:
    """First-order and total-order indices of each group and how they scatter.

    `first`, `total`, `first_error`, `total_error`: (groups,), the errors are standard errors. `total_rounds`:
    (rounds, groups), a round for each scramble, spread as the indices themselves are; a round is the same
    scramble for every group, so differences between groups keep their correlation. Nothing is clipped: an index below
    0 or above 1 is noise and shows as such.
    """

    names: tuple[str, ...]
    first: Floats
    total: Floats
    first_error: Floats
    total_error: Floats
    total_rounds: Floats

    @property
    def errors_in_95(self) -> float:
        """Standard errors in half a 95 % interval: Student's t with one degree of freedom less than rounds."""
        return float(special.stdtrit(max(1, len(self.total_rounds) - 1), 0.975))


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
    """Return the matrices A and B of Saltelli's design, (points, columns) each, read only; scrambles take turns.

    Column i of A and of B are dimensions i and i + columns of one Sobol' sequence. Some such pairs are badly spread over
    their square until the points are many: of 60 columns some are correlated by 0.75 at 256 points, which makes an index
    wrong by as much. All columns are alike before they are given to a factor, so the columns of B are dealt again to
    those of A, by the assignment that keeps products of lines and bends smallest at every size of `PAIRED_ON`.
    """
    from scipy.optimize import linear_sum_assignment

    cube = unit_cube(2 * columns, draws=points, scrambles=SCRAMBLES, seed=seed, stream=Stream.INDEX_POINTS)
    in_turn = cube.reshape(2 * columns, SCRAMBLES, -1).transpose(2, 1, 0).reshape(points, 2 * columns)
    one, other = np.ascontiguousarray(in_turn[:, :columns]), in_turn[:, columns:]
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
                cost = np.maximum(cost, product(mine.T, theirs) ** 2 / points)
    return cost**2


def _standardised(part: Floats) -> tuple[Floats, Floats]:
    """Return line and bend of each column with mean 0 and variance 1."""
    line = 2.0 * part - 1.0
    both = (line, line**2)
    return tuple((shape - shape.mean(axis=0)) / shape.std(axis=0) for shape in both)  # type: ignore[return-value]


def sobol_indices(cube: Cube, outcome: Floats) -> Indices:
    """Return the indices of an outcome (rows,) that was computed from the rows of `sobol_rows`, in their order.

    Raises
    ------
    ValueError
        If the outcome is not finite, does not vary, or has another number of values than a whole design.
    """
    check_outcome(outcome)
    points, rest = divmod(len(outcome), cube.rows_per_point)
    if rest:
        raise ValueError(f"outcome: {len(outcome)} values; accepted: a multiple of {cube.rows_per_point}")
    check_points(points)
    rows = outcome.reshape(points, cube.rows_per_point)
    first, total = _estimated(rows)
    turns = np.arange(points) % SCRAMBLES
    without = [_estimated(rows[turns != left_out]) for left_out in range(min(SCRAMBLES, points))]
    total_rounds = _spread(total, [each for _, each in without])
    return Indices(
        names=cube.names,
        first=first,
        total=total,
        first_error=_spread(first, [each for each, _ in without]).std(axis=0, ddof=1),
        total_error=total_rounds.std(axis=0, ddof=1),
        total_rounds=total_rounds,
    )


def _estimated(rows: Floats) -> tuple[Floats, Floats]:
    """Return first and total order of each group from the outcomes of each point, (points, rows per point)."""
    variance = float(rows[:, [0, -1]].var()) or np.inf
    centred = rows - rows[:, [0, -1]].mean()
    one, other, mixed = centred[:, :1], centred[:, -1:], centred[:, 1:-1]
    return (other * (mixed - one)).mean(axis=0) / variance, ((one - mixed) ** 2).mean(axis=0) / (2.0 * variance)


def _spread(whole: Floats, without: Sequence[Floats]) -> Floats:
    """Return rounds around `whole` whose standard deviation is the jackknife's standard error, (rounds, groups)."""
    rounds = np.array(without)
    return whole + (len(rounds) - 1) / np.sqrt(len(rounds)) * (rounds - rounds.mean(axis=0))


def screening_rows(cube: Cube, *, trajectories: int, seed: int) -> Floats:
    """Return the rows of Morris's design, shape (trajectories * (groups + 1), columns).

    Each trajectory starts anywhere on a grid and moves one group after the other, in any order, by two thirds of the span
    (Morris, Technometrics 33 (1991) 161-174; groups: Campolongo, Cariboni & Saltelli 2007). Which group moves at which
    step follows from the rows.
    """
    rng = generator(seed, Stream.SCREENING)
    groups, steps = np.array(cube.groups), SCREENING_LEVELS - 1
    jump = SCREENING_LEVELS / 2 / steps
    rows = np.empty((trajectories, len(cube.names) + 1, cube.columns))
    for trajectory in rows:
        low = rng.integers(0, SCREENING_LEVELS // 2, cube.columns) / steps
        ends = np.stack([low, low + jump])
        rising = rng.integers(0, 2, cube.columns).astype(bool)
        now, then = np.where(rising, ends, ends[::-1])
        trajectory[0] = now
        for step, name in enumerate(rng.permutation(np.array(cube.names)), start=1):
            now = np.where(groups == name, then, now)
            trajectory[step] = now
    first, last = SCREENING_ENDS
    return first + (last - first) * rows.reshape(-1, cube.columns)


def screening_effects(cube: Cube, rows: Floats, outcome: Floats) -> tuple[Floats, Floats]:
    """Return mu*, the mean size of each group's effect over the whole span, and its standard error, both (groups,).

    Raises
    ------
    ValueError
        If the outcome is not finite or does not vary.
    """
    check_outcome(outcome)
    steps = len(cube.names) + 1
    places, found = rows.reshape(-1, steps, cube.columns), outcome.reshape(-1, steps)
    column_of = [cube.groups.index(name) for name in cube.names]
    moved = np.argmax(np.diff(places[:, :, column_of], axis=1) != 0.0, axis=1)
    jump = SCREENING_LEVELS / 2 / (SCREENING_LEVELS - 1)
    sizes = np.take_along_axis(np.abs(np.diff(found, axis=1)), moved, axis=1) / jump
    return sizes.mean(axis=0), sizes.std(axis=0, ddof=1) / np.sqrt(len(sizes))


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


def check_points(points: int) -> None:
    """Refuse a number of base points that would unbalance the Sobol' sequence.

    Raises
    ------
    ValueError
        If it is no power of two from 2 on.
    """
    if points < 2 or points & (points - 1):
        raise ValueError(f"points: {points}; accepted: a power of two, such as 256")
