"""Which places of a ranking are settled, which are ties, and what it would take to part them.

A place is settled when its index exceeds every lower one by more than a 95 % interval of the *difference* (Student's t),
which the scrambles give with the correlation between the two. Errors fall with the root of the number of points, so
the points that would part two factors follow from their distance. Factors closer than `SAME` count as equal: to part
them would say nothing that anyone could use.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from riskcalc.uncertainty.indices import Indices

#: Two-sided 95 % of the normal law.
Z95 = 1.959964

#: Places that are to be settled.
PLACES = 3

#: Indices that differ by less than a hundredth of the variance are a tie however many points are run; our own choice.
SAME = 0.01


#: Stands for points that nobody will run.
UNREACHABLE = 2**62


@dataclass(frozen=True)
class Rival:
    """Who could hold a place as well: by how much the two indices differ, with its standard error, in shares of the variance.

    `points_needed`: base points that would part the two, None when they are equal for every use: less than `SAME` apart,
    and known so well that more points would not show more.
    """

    name: str
    difference: float
    error: float
    points_needed: int | None


@dataclass(frozen=True)
class Place:
    """One of the first places: who holds it, and who could hold it as well, nearest first.

    `points_needed`: base points within reach that would part them all, 0 when there are none: a tie, or nobody to part.
    """

    name: str
    rivals: tuple[Rival, ...]
    points_needed: int

    @property
    def tied_with(self) -> tuple[str, ...]:
        """Names of those who could hold this place as well."""
        return tuple(rival.name for rival in self.rivals)

    @property
    def settled(self) -> bool:
        """Whether nobody else could hold this place."""
        return not self.rivals


@dataclass(frozen=True)
class Tier:
    """Places from `first` to `last`, counted from 1, that go to `names` in an order nobody can tell.

    `outside`: those who could hold one of them as well, nearest first. `hardest`: of all pairs that cannot be told apart
    the one that takes most points, None in a tier of one name without anyone outside, which is settled.
    """

    first: int
    last: int
    names: tuple[str, ...]
    outside: tuple[Rival, ...]
    hardest: Rival | None
    points_needed: int

    @property
    def settled(self) -> bool:
        """Whether it is one place and nobody else could hold it."""
        return self.hardest is None


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

    @property
    def tiers(self) -> tuple[Tier, ...]:
        """The places, those that cannot be told apart from each other taken together."""
        runs: list[list[int]] = []
        for number, place in enumerate(self.places):
            if runs and any(self.places[other].name in place.tied_with for other in runs[-1]):
                runs[-1].append(number)
            else:
                runs.append([number])
        return tuple(self._tier(run) for run in runs)

    def _tier(self, run: list[int]) -> Tier:
        places = [self.places[number] for number in run]
        names = tuple(place.name for place in places)
        rivals = sorted((rival for place in places for rival in place.rivals), key=lambda rival: rival.difference)
        outside = {rival.name: rival for rival in reversed(rivals) if rival.name not in names}
        nearest = sorted(outside.values(), key=lambda rival: rival.difference)
        hardest = max(rivals, key=lambda rival: rival.points_needed or UNREACHABLE, default=None)
        needed = max(place.points_needed for place in places)
        return Tier(run[0] + 1, run[-1] + 1, names, tuple(nearest), hardest, needed)


def ranking_order(found: Indices, *, points: int, most_points: int, places: int = PLACES) -> Order:
    """Return the order of the first `places` by total-order index.

    Parameters
    ----------
    found
        Indices with their rounds.
    points
        Base points behind them.
    most_points
        Points beyond which two factors count as a tie.
    """
    order = np.argsort(-found.total, kind="stable").tolist()
    rows = []
    for holder in order[:places]:
        compared = (_rival(found, holder, other, points=points) for other in order if other != holder)
        rivals = sorted((rival for rival in compared if rival is not None), key=lambda rival: rival.difference)
        within_reach = [n for n in (rival.points_needed for rival in rivals) if n is not None and n <= most_points]
        rows.append(Place(found.names[holder], tuple(rivals), max(within_reach, default=0)))
    return Order(tuple(rows), points, max((place.points_needed for place in rows), default=0))


def _rival(found: Indices, one: int, other: int, *, points: int) -> Rival | None:
    """Return what parts two factors too little, None when they can be told apart."""
    difference = float(abs(found.total[one] - found.total[other]))
    error = float((found.total_rounds[:, one] - found.total_rounds[:, other]).std(ddof=1))
    reach = found.errors_in_95 * error
    if difference > reach and difference > 0.0:
        return None
    name = found.names[other]
    if difference < SAME and reach < SAME:
        return Rival(name, difference, error, None)
    # Two factors whose distance is lost in noise: what would show a distance of `SAME`.
    ratio = max(1.0, reach / max(difference, SAME))
    return Rival(name, difference, error, points * 2 ** max(1, int(np.ceil(2.0 * np.log2(ratio)))))
