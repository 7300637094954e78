"""Capacity loss from two figures of a datasheet: cycles to 80 %, and years to 80 % at rest.

A straight line in both, and their sum: the simplest reading that honours the datasheet. No published law is behind it;
measured losses start faster and slow down (see the other laws), so early years look better here.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

LOSS_AT_RATING = 0.2
EXPONENT = 1.0


def cycle_rate(cycles_to_80_percent: ArrayLike) -> Floats:
    """Return the loss per full equivalent cycle, share of new capacity; inf cycles = none."""
    return LOSS_AT_RATING / _positive(cycles_to_80_percent, "cycles_to_80_percent")


def calendar_rate(years_to_80_percent: ArrayLike) -> Floats:
    """Return the loss per year at rest, share of new capacity; inf years = none."""
    return LOSS_AT_RATING / _positive(years_to_80_percent, "years_to_80_percent")


def _positive(values: ArrayLike, name: str) -> Floats:
    values = np.asarray(values, dtype=np.float64)
    if not (values > 0.0).all():
        raise ValueError(f"{name}: must be above 0")
    return values
