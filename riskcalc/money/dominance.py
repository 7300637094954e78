"""Whether one option is better than another for every reasonable buyer: stochastic dominance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def dominates(first: Floats, second: Floats, *, order: int) -> bool:
    """Return whether the outcomes `first` dominate `second` stochastically, both (draws,), more is better.

    order 0: at least as good in every draw and better in one (draws must be common).
    order 1: at every level, at least as likely to exceed it; everybody who likes more prefers it.
    order 2: at every level, no larger expected shortfall below it; every risk-averse buyer prefers it.

    Each order implies the next. Equal distributions do not dominate each other.

    Notes
    -----
    For equally likely draws, order 1 compares sorted values one by one and order 2 their running sums (Levy 1992, from
    memory). It is a statement about these draws; near ties may turn with others.
    """
    first, second = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if first.shape != second.shape or first.ndim != 1:
        raise ValueError(f"outcomes: shapes {first.shape} and {second.shape}; accepted: the same (draws,)")
    if order == 0:
        difference = first - second
    elif order == 1:
        difference = np.sort(first) - np.sort(second)
    elif order == 2:
        difference = np.cumsum(np.sort(first) - np.sort(second))
    else:
        raise ValueError(f"order: {order}; accepted: 0, 1, 2")
    return bool((difference >= 0.0).all() and (difference > 0.0).any())


def dominance_order(first: Floats, second: Floats) -> int | None:
    """Return the strictest order (0, 1, 2) at which `first` dominates `second`, or None."""
    return next((order for order in (0, 1, 2) if dominates(first, second, order=order)), None)
