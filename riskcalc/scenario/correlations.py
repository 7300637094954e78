"""Table [[correlations]]: uncertain inputs that move together; the keys exist, and all of them can hold at once."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Annotated

from riskcalc.scenario.complaints import Complaint, did_you_mean, shown
from riskcalc.scenario.fields import Table, needed
from riskcalc.scenario.texts import Names
from riskcalc.scenario.uncertain import Number
from riskcalc.uncertainty.quantity import Quantity, plain

#: Smallest pivot of the Cholesky factor; below it two inputs are copies of each other and the factor is noise.
SMALLEST_PIVOT = 1e-9
MOST_PAIRS = 200


class Correlation(Table):
    """Two uncertain inputs that tend to move together: the correlation of their normal scores (Gaussian copula)."""

    between: Names = needed(
        'two keys of uncertain numbers, such as ["prices.trend_per_year", "prices.inflation_per_year"]',
        title="Inputs that move together",
    )
    value: Annotated[float, Number(-0.999, 0.999)] = needed("the correlation, between -1 and 1", title="Correlation")


def correlation_complaints(
    entries: Sequence[Correlation], quantities: Mapping[str, Quantity], *, set_by_hand: Collection[str] = ()
) -> Iterator[Complaint]:
    """Yield what is wrong with the correlations; paths start at `correlations`.

    A key that was `set_by_hand` on the command line may be fixed: the inputs that it moved with stay as they were.
    """
    if len(entries) > MOST_PAIRS:
        yield Complaint(("correlations",), f"{len(entries)} pairs", f"at most {MOST_PAIRS} pairs")
        return
    uncertain = [key for key, quantity in quantities.items() if quantity.is_uncertain or key in set_by_hand]
    pairs: dict[frozenset[str], float] = {}
    sound = True
    for place, entry in enumerate(entries):
        path = ("correlations", place, "between")
        fault = _pair_fault(entry.between, path, quantities, uncertain)
        if fault is None and frozenset(entry.between) in pairs:
            fault = Complaint(path, shown(entry.between), "each pair of keys once")
        if fault is not None:
            sound = False
            yield fault
        else:
            pairs[frozenset(entry.between)] = entry.value
    if sound:
        yield from _impossible(pairs)


def _pair_fault(
    between: Sequence[str], path: tuple[str | int, ...], quantities: Mapping[str, Quantity], uncertain: Sequence[str]
) -> Complaint | None:
    if len(between) != 2 or between[0] == between[1]:
        return Complaint(path, shown(between), "two different keys")
    for key in between:
        if key not in quantities:
            return Complaint(path, shown(key), "the dotted key of an uncertain number", did_you_mean(key, uncertain))
        if key not in uncertain:
            return Complaint(
                path,
                f"{key} = {quantities[key].words()}, a fixed number",
                "the dotted key of an uncertain number",
                "give it a distribution, or remove the correlation",
            )
    return None


def _impossible(pairs: Mapping[frozenset[str], float]) -> Iterator[Complaint]:
    """Yield a complaint for each group of linked keys whose correlation matrix is not positive definite."""
    for group in _linked(pairs):
        matrix = [
            [1.0 if one == other else pairs.get(frozenset((one, other)), 0.0) for other in group] for one in group
        ]
        if is_positive_definite(matrix):
            continue
        factor = _largest_factor(matrix)
        given = f"correlations between {', '.join(group)} that cannot all hold at once"
        accepted = "correlations that fit together (a positive definite matrix)"
        hint = f"multiply them by {plain(factor)} or less, or add the pairs that are missing (they count as 0)"
        yield Complaint(("correlations",), given, accepted, hint)


def is_positive_definite(matrix: Sequence[Sequence[float]]) -> bool:
    """Return whether a symmetric matrix is positive definite: its Cholesky factor exists."""
    size = len(matrix)
    factor = [[0.0] * size for _ in range(size)]
    for row in range(size):
        for column in range(row + 1):
            rest = matrix[row][column] - sum(factor[row][k] * factor[column][k] for k in range(column))
            if row == column:
                if rest < SMALLEST_PIVOT:
                    return False
                factor[row][row] = math.sqrt(rest)
            else:
                factor[row][column] = rest / factor[column][column]
    return True


def _largest_factor(matrix: Sequence[Sequence[float]]) -> float:
    """Return, rounded down to 0.01, the factor that makes the correlations possible."""
    possible, impossible = 0, 100
    while impossible - possible > 1:
        hundredths = (possible + impossible) // 2
        scaled = [
            [value if row == column else value * hundredths / 100 for column, value in enumerate(line)]
            for row, line in enumerate(matrix)
        ]
        if is_positive_definite(scaled):
            possible = hundredths
        else:
            impossible = hundredths
    return possible / 100


def _linked(pairs: Mapping[frozenset[str], float]) -> list[list[str]]:
    groups: list[list[str]] = []
    for pair in pairs:
        touching = [group for group in groups if pair & set(group)]
        merged = sorted(set(pair).union(*touching))
        groups = [group for group in groups if group not in touching] + [merged]
    return groups
