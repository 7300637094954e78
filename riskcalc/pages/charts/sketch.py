"""The small shapes beside the assumptions: the density of an input, from its quantiles, as one path."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.pages.data import SKETCH_LEVELS

WIDTH, HEIGHT, BINS = 96, 22, 24


def sketch_path(quantiles: NDArray[np.float64]) -> str:
    """Return the outline of the density as an SVG path in a box of `WIDTH` by `HEIGHT`, steps from left to right.

    The share of each of `BINS` equal bins is read off the distribution function that the quantiles trace, so a lump of
    probability at one value (a discrete input) becomes one high step. A single value becomes one bar in the middle.
    """
    low, high = float(quantiles[0]), float(quantiles[-1])
    if high <= low:
        return f"M{WIDTH / 2 - 2},{HEIGHT}V0h4V{HEIGHT}Z"
    edges = np.linspace(low, high, BINS + 1)
    # The last of equal quantiles is what the distribution function has reached there.
    below = np.searchsorted(quantiles, edges, side="right")
    smooth = np.interp(edges, *_last_of_equals(quantiles))
    lumps = np.unique(quantiles).size < len(quantiles) // 2
    reached = below / len(quantiles) if lumps else smooth
    share = np.diff(reached)
    if lumps:
        share[0] += reached[0]
    tops = HEIGHT * (1 - share / share.max())
    step = WIDTH / BINS
    path = "".join(f"V{top:.1f}H{(index + 1) * step:g}" for index, top in enumerate(tops))
    return f"M0,{HEIGHT}{path}V{HEIGHT}Z"


def _last_of_equals(quantiles: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    values, first = np.unique(quantiles, return_index=True)
    last = np.append(first[1:], len(quantiles)) - 1
    return values, SKETCH_LEVELS[last]
