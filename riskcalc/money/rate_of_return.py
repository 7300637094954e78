"""Internal rate of return, with a count of the sign changes that make it ambiguous."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Rates searched: from losing nearly everything each year to a thousandfold gain.
LOWEST_RATE = -0.999
HIGHEST_RATE = 1000.0

#: Points of 1 / (1 + rate) between which a root is looked for before bisection.
GRID = 400
BISECTIONS = 60


@dataclass(frozen=True)
class RateOfReturn:
    """Internal rate of return per draw; NaN where none exists in the range searched.

    `roots` counts the rates found; where it exceeds 1 (possible only with `sign_changes` above 1) `rate` is the one
    nearest zero and the figure must not be used alone.
    """

    rate: Floats
    sign_changes: NDArray[np.int64]
    roots: NDArray[np.int64]


def internal_rate_of_return(flows: Floats) -> RateOfReturn:
    """Return the rate at which flows (years + 1, draws) are worth zero.

    Notes
    -----
    Solves sum of flow[y] v^y = 0 for v = 1 / (1 + rate) by a scan of a geometric grid and bisection in every draw at
    once. By Descartes' rule there are at most `sign_changes` positive roots v; with one change there is exactly one.
    Two roots closer than one grid step (3.5 % of 1 + rate) can be missed.
    """
    flows = np.asarray(flows, dtype=np.float64)
    if not np.isfinite(flows).all():
        raise ValueError("flows: hold values that are not finite")
    grid = np.geomspace(1.0 / (1.0 + HIGHEST_RATE), 1.0 / (1.0 + LOWEST_RATE), GRID)
    previous = np.sign(_worth(flows, grid[0]))
    draws = flows.shape[1]
    low, high = np.full(draws, np.nan), np.full(draws, np.nan)
    roots = np.zeros(draws, dtype=np.int64)
    distance = np.full(draws, np.inf)
    for left, right in pairwise(grid):
        current = np.sign(_worth(flows, right))
        crosses = (previous * current < 0) | ((current == 0) & (previous != 0))
        roots += crosses
        away = abs(0.5 * (np.log(left) + np.log(right)))
        nearer = crosses & (away < distance)
        low, high = np.where(nearer, left, low), np.where(nearer, right, high)
        distance = np.where(nearer, away, distance)
        previous = np.where(current == 0, -previous, current)
    found = roots > 0
    low, high = np.where(found, low, 1.0), np.where(found, high, 1.0)
    sign_at_low = np.sign(_worth(flows, low))
    for _ in range(BISECTIONS):
        middle = 0.5 * (low + high)
        same = np.sign(_worth(flows, middle)) == sign_at_low
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    rate = np.where(found, 1.0 / (0.5 * (low + high)) - 1.0, np.nan)
    return RateOfReturn(rate=rate, sign_changes=sign_changes(flows), roots=roots)


def sign_changes(flows: Floats) -> NDArray[np.int64]:
    """Return how often flows (years + 1, draws) change sign over the years, zeros skipped, (draws,)."""
    changes = np.zeros(np.shape(flows)[1], dtype=np.int64)
    last = np.zeros(np.shape(flows)[1])
    for row in np.sign(np.asarray(flows, dtype=np.float64)):
        changes += row * last < 0
        last = np.where(row != 0, row, last)
    return changes


def _worth(flows: Floats, v: Floats | float) -> Floats:
    """Return the polynomial sum of flows[y] v^y by Horner's rule, (draws,)."""
    total = np.zeros(flows.shape[1])
    for row in flows[::-1]:
        total = total * v + row
    return total
