"""Uncertain numbers made of separate values: a few with weights, or many that were observed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from riskcalc.uncertainty.quantity import Quantity, plain

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from riskcalc.types import Floats


@dataclass(frozen=True, kw_only=True)
class Discrete(Quantity):
    """One of a few values, each with its weight; equal weights when none are given."""

    values: tuple[float, ...]
    weights: tuple[float, ...] = ()
    kind: ClassVar[str] = "discrete"

    @property
    def is_uncertain(self) -> bool:
        """Draws differ when more than one value is left."""
        return len(self.choices) > 1

    @property
    def choices(self) -> tuple[tuple[float, float], ...]:
        """Values inside the cut in rising order, each with its probability."""
        low = -math.inf if self.minimum is None else self.minimum
        high = math.inf if self.maximum is None else self.maximum
        weights = self.weights or (1.0,) * len(self.values)
        pairs = zip(self.values, weights, strict=True)
        kept = sorted((value, weight) for value, weight in pairs if low <= value <= high and weight > 0)
        total = sum(weight for _, weight in kept)
        return tuple((value, weight / total) for value, weight in kept)

    @property
    def full_support(self) -> tuple[float, float]:
        """Smallest and largest value with a weight above 0."""
        weights = self.weights or (1.0,) * len(self.values)
        kept = [value for value, weight in zip(self.values, weights, strict=True) if weight > 0]
        return min(kept), max(kept)

    @property
    def support(self) -> tuple[float, float]:
        """Smallest and largest value left by the cut; (inf, -inf) when none is."""
        kept = self.choices
        return (kept[0][0], kept[-1][0]) if kept else (math.inf, -math.inf)

    def cumulative(self, x: ArrayLike) -> Floats:
        """Return the share of all draws at or below `x`, shape of `x`."""
        import numpy as np

        values, chances = (np.array(column) for column in zip(*self.choices, strict=True))
        return np.concatenate([[0.0], np.cumsum(chances)])[np.searchsorted(values, np.asarray(x, float), side="right")]

    def expected(self) -> float:
        """Return the mean of what the cut leaves."""
        import numpy as np

        from riskcalc.ordered import product

        values, chances = (np.array(column) for column in zip(*self.choices, strict=True))
        return float(product(values, chances))

    def complaint(self) -> tuple[str, str] | None:
        """As many weights as values, none negative, not all 0."""
        if not self.values:
            return "values", "a list of at least one number"
        if self.weights and len(self.weights) != len(self.values):
            return "weights", f"as many weights as values ({len(self.values)})"
        if any(weight < 0 for weight in self.weights) or (self.weights and not sum(self.weights) > 0):
            return "weights", "weights of 0 or more, at least one above 0 (they need not sum to 1)"
        return None

    def core_words(self) -> str:
        """Return the values with their chances."""
        shown = [f"{plain(value)} ({100 * chance:.3g} %)" for value, chance in self.choices[:6]]
        return "one of " + ", ".join(shown) + (", ..." if len(self.choices) > 6 else "")

    def cut_words(self) -> str:
        """Return nothing: the chances already tell what the cut leaves."""
        return ""

    def _at(self, points: Floats) -> Floats:
        import numpy as np

        values, chances = (np.array(column) for column in zip(*self.choices, strict=True))
        return values[np.minimum(np.searchsorted(np.cumsum(chances), points, side="right"), len(values) - 1)]

    def _left(self) -> float:
        return len(self.choices) / len(self.values) if (self.minimum, self.maximum) != (None, None) else 1.0


@dataclass(frozen=True, kw_only=True)
class Empirical(Quantity):
    """One of many observed values, each equally likely; `file` and `column` say where they were read."""

    values: tuple[float, ...]
    file: str = ""
    column: str = ""
    kind: ClassVar[str] = "empirical"

    @property
    def is_uncertain(self) -> bool:
        """Draws differ when the observations do."""
        low, high = self.support
        return low < high

    @property
    def kept(self) -> tuple[float, ...]:
        """Observations inside the cut in rising order."""
        low = -math.inf if self.minimum is None else self.minimum
        high = math.inf if self.maximum is None else self.maximum
        return tuple(sorted(value for value in self.values if low <= value <= high))

    @property
    def full_support(self) -> tuple[float, float]:
        """Smallest and largest observation."""
        return min(self.values), max(self.values)

    @property
    def support(self) -> tuple[float, float]:
        """Smallest and largest observation left by the cut; (inf, -inf) when none is."""
        kept = self.kept
        return (kept[0], kept[-1]) if kept else (math.inf, -math.inf)

    def cumulative(self, x: ArrayLike) -> Floats:
        """Return the share of all draws at or below `x`, shape of `x`."""
        import numpy as np

        kept = self.kept
        return np.searchsorted(kept, np.asarray(x, dtype=float), side="right") / len(kept)

    def expected(self) -> float:
        """Return the mean of what the cut leaves."""
        import numpy as np

        return float(np.mean(self.kept))

    def complaint(self) -> tuple[str, str] | None:
        """At least one value."""
        return None if self.values else ("values", "a list of at least one number")

    def core_words(self) -> str:
        """Return how many observations, their range and where they come from."""
        low, high = self.full_support
        origin = f" from {self.file}, column {self.column}" if self.file else ""
        return f"one of {len(self.values)} observations{origin}, {plain(low)} to {plain(high)}"

    def written(self) -> object:
        """Return the table; observations read from a file are named, not repeated."""
        table = dict(super().written())  # type: ignore[call-overload]
        if self.file:
            del table["values"]
        return table

    def _at(self, points: Floats) -> Floats:
        import numpy as np

        kept = np.array(self.kept)
        return kept[np.minimum((points * len(kept)).astype(np.int64), len(kept) - 1)]

    def _left(self) -> float:
        return len(self.kept) / len(self.values)
