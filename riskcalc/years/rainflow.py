"""Rainflow counting: the cycles hidden in an irregular history of stored energy.

ASTM E1049-85 (2011), section 5.4.4, three-point method with the residue counted as half cycles.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Cycles:
    """Counted cycles: range (peak less valley), mean level, and count 1 or 0.5, each (cycles,)."""

    range: Floats
    mean: Floats
    count: Floats


def rainflow_cycles(history: ArrayLike) -> Cycles:
    """Return the cycles of a history, shape (points,), in the order in which they close.

    Notes
    -----
    The sum of count x range x 2 equals the total up-and-down path of the history.
    """
    points: list[float] = []
    found: list[tuple[float, float, float]] = []

    def count(left: float, right: float, weight: float) -> None:
        found.append((abs(right - left), 0.5 * (left + right), weight))

    for point in reversals(history):
        points.append(float(point))
        while len(points) >= 3:
            newest = abs(points[-1] - points[-2])
            previous = abs(points[-2] - points[-3])
            if newest < previous:
                break
            if len(points) == 3:
                # The range holds the first point of the history: half a cycle, and the start moves on.
                count(points[0], points[1], 0.5)
                points.pop(0)
            else:
                count(points[-3], points[-2], 1.0)
                del points[-3:-1]
    for left, right in pairwise(points):
        count(left, right, 0.5)
    table = np.array(found, dtype=np.float64).reshape(-1, 3)
    return Cycles(range=table[:, 0], mean=table[:, 1], count=table[:, 2])


def reversals(history: ArrayLike) -> Floats:
    """Return the turning points of a history with its first and last point, flat stretches reduced to one point."""
    history = np.asarray(history, dtype=np.float64)
    if history.ndim != 1 or not np.isfinite(history).all():
        raise ValueError("history: must be one row of finite numbers")
    if len(history) == 0:
        return history
    moved = history[np.concatenate(([True], np.diff(history) != 0.0))]
    step = np.sign(np.diff(moved))
    turns = np.concatenate(([True], step[1:] != step[:-1], [True])) if len(moved) > 1 else np.array([True])
    return moved[turns]


def mean_depth(cycles: Cycles) -> float:
    """Return the depth of an average unit of throughput: ranges weighted by the energy each carries; 0 if none.

    This is the depth at which the laws' full equivalent cycles take place: many shallow ripples next to a daily deep
    cycle hardly lower it.
    """
    carried = cycles.count * cycles.range
    total = float(carried.sum())
    return float((carried * cycles.range).sum() / total) if total > 0.0 else 0.0


def full_equivalent_cycles(cycles: Cycles) -> float:
    """Return the throughput in full cycles of a history given as a share of capacity."""
    return float((cycles.count * cycles.range).sum())
