"""The cheapest hours of each day: when to charge under prices that change by the half hour."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def cheapest_of_day(
    price: NDArray[np.float64],
    day: NDArray[np.int64],
    allowed: NDArray[np.bool_],
    *,
    hours: float,
    slot_minutes: int,
) -> NDArray[np.bool_]:
    """Return the slots, (slots,), that belong to the cheapest `hours` of their day among those allowed.

    Slots are taken whole, the count rounded to the nearest; of equal prices the earlier comes first. A day that has fewer
    allowed hours keeps all of them. Limiting case: 24 hours keep everything allowed.

    Parameters
    ----------
    price : what a kWh costs in each slot, (slots,)
    day : day of the year on the wall clock, 0 to 364, (slots,)
    allowed : slots to choose from, (slots,)
    hours : hours to take of each day
    slot_minutes : length of a slot
    """
    wanted = round(hours * 60 / slot_minutes)
    order = np.lexsort((np.arange(len(price)), price, ~allowed, day))
    starts = np.searchsorted(day[order], day[order])
    rank = np.empty(len(price), dtype=np.int64)
    rank[order] = np.arange(len(price)) - starts
    return allowed & (rank < wanted)
