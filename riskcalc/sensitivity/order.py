"""Which places of a ranking are settled, which are ties, and what it would take to part them.

A place is settled when its index exceeds every lower one by more than 1.96 standard errors of the *difference* (95 %),
which the bootstrap gives with the correlation between the two. Errors fall with the root of the number of points, so
the points that would part two factors follow from their distance. Factors closer than `SAME` count as equal: to part
them would say nothing that anyone could use.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.sensitivity.salib_border import Indices

Floats = NDArray[np.float64]

#: Two-sided 95 % of the normal law.
Z95 = 1.959964

#: Places that are to be settled.
PLACES = 3

#: Indices that differ by less than a hundredth of the variance are a tie however many points are run; our own choice.
SAME = 0.01


@dataclass(frozen=True)
class Place:
    """One of the first places: who holds it, and who could hold it as well."""

    name: str
    tied_with: tuple[str, ...]
    points_needed: int

    @property
    def settled(self) -> bool:
        """Whether nobody else could hold this place."""
        return not self.tied_with


@dataclass(frozen=True)
class Order:
    """The first places of a ranking by total order.

    `points_needed`: base points at which every place would be settled, 0 when they are, or when only ties remain that
    no number of points within reach would part.
    """

    places: tuple[Place, ...]
    points: int
    points_needed: int

    @property
    def settled(self) -> bool:
        """Whether every place is settled."""
        return all(place.settled for place in self.places)

    @property
    def finished(self) -> bool:
        """Whether more points would change nothing: every place settled, or a tie."""
        return self.points_needed == 0


def ranking_order(found: Indices, *, points: int, most_points: int, places: int = PLACES) -> Order:
    """Return the order of the first `places` by total-order index.

    Parameters
    ----------
    found
        Indices with their bootstrap rounds.
    points
        Base points behind them.
    most_points
        Points beyond which two factors count as a tie.
    """
    order = np.argsort(-found.total, kind="stable")
    rows = []
    needed = 0
    for place in range(min(places, len(order))):
        rivals, wanted = [], 0
        for other in range(len(order)):
            if other == place:
                continue
            parted, more = _parted(found, int(order[place]), int(order[other]), points=points)
            if not parted:
                rivals.append(found.names[order[other]])
                wanted = max(wanted, more if more <= most_points else 0)
        rows.append(Place(found.names[order[place]], tuple(rivals), wanted))
        needed = max(needed, wanted)
    return Order(tuple(rows), points, needed)


def _parted(found: Indices, one: int, other: int, *, points: int) -> tuple[bool, int]:
    """Return whether two factors can be told apart, and else the points that would do it (more than any limit.

    A tie).
    """
    difference = float(abs(found.total[one] - found.total[other]))
    error = float((found.total_rounds[:, one] - found.total_rounds[:, other]).std(ddof=1))
    if difference > Z95 * error and difference > 0.0:
        return True, 0
    if difference < SAME and Z95 * error < SAME:
        return False, 2**62
    # Two factors whose distance is lost in noise: what would show a distance of `SAME`.
    ratio = max(1.0, Z95 * error / max(difference, SAME))
    return False, points * 2 ** max(1, int(np.ceil(2.0 * np.log2(ratio))))
