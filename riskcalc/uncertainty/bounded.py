"""Distributions with two ends: a law on the unit interval, stretched.

Definitions: Johnson, Kotz and Balakrishnan, Continuous univariate distributions, 2nd ed. (1994, 1995); PERT: Malcolm et
al., Operations Research 7 (1959) 646-669, generalised by the weight 4.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from riskcalc.uncertainty.quantity import EDGE, NARROWEST, Quantity, plain

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from riskcalc.types import Floats


class Stretched(Quantity):
    """A law on [0, 1] stretched over the full support: `_unit_quantile`, `_unit_share` and the mean between two places."""

    low: float
    high: float

    @property
    def full_support(self) -> tuple[float, float]:
        """From `low` to `high`."""
        return self.low, self.high

    def _unit_quantile(self, share: Floats) -> Floats:
        """Return the places in [0, 1] below which shares of the uncut law lie."""
        raise NotImplementedError

    def _unit_share(self, place: Floats) -> Floats:
        """Return the shares of the uncut law below places in [0, 1]."""
        raise NotImplementedError

    def _unit_mean(self, start: float, end: float) -> float:
        """Return the mean place of the law cut to [start, end]."""
        raise NotImplementedError

    def expected(self) -> float:
        """Return the expected value, after any cut."""
        low, high = self.full_support
        start, end = ((edge - low) / (high - low) for edge in self.support)
        return low + (high - low) * self._unit_mean(start, end)

    def _at(self, points: Floats) -> Floats:
        low, high = self.full_support
        start, end = (float(self._share(edge)) for edge in self.support)
        return low + (high - low) * self._unit_quantile(start + points * (end - start))

    def _below(self, inside: Floats) -> Floats:
        start, end = (self._share(edge) for edge in self.support)
        return (self._share(inside) - start) / (end - start)

    def _left(self) -> float:
        start, end = (self._share(edge) for edge in self.support)
        return float(end - start)

    def _share(self, x: ArrayLike) -> Floats:
        import numpy as np

        low, high = self.full_support
        return self._unit_share((np.asarray(x, dtype=float) - low) / (high - low))


@dataclass(frozen=True, kw_only=True)
class Uniform(Stretched):
    """Every value between `low` and `high` equally likely."""

    low: float
    high: float
    kind: ClassVar[str] = "uniform"

    def complaint(self) -> tuple[str, str] | None:
        """`low` must lie below `high`."""
        return _ordered(self.low, self.high)

    def core_words(self) -> str:
        """Return the ends."""
        return f"uniform {plain(self.low)} to {plain(self.high)}"

    def _unit_quantile(self, share: Floats) -> Floats:
        return share

    def _unit_share(self, place: Floats) -> Floats:
        return place

    def _unit_mean(self, start: float, end: float) -> float:
        return (start + end) / 2


@dataclass(frozen=True, kw_only=True)
class Triangular(Stretched):
    """Straight lines up from `low` to `mode` and down to `high`."""

    low: float
    mode: float
    high: float
    kind: ClassVar[str] = "triangular"

    @property
    def turn(self) -> float:
        """The place of the mode between the ends."""
        return (self.mode - self.low) / (self.high - self.low)

    def complaint(self) -> tuple[str, str] | None:
        """`low` <= `mode` <= `high`, and `low` below `high`."""
        return _ordered(self.low, self.high, self.mode)

    def core_words(self) -> str:
        """Return ends and mode."""
        return f"triangular {plain(self.low)} to {plain(self.high)}, most likely {plain(self.mode)}"

    def _unit_share(self, place: Floats) -> Floats:
        """F(x) = x^2 / c up to the mode c, 1 - (1 - x)^2 / (1 - c) beyond."""
        import numpy as np

        turn = self.turn
        before, after = np.minimum(place, turn), np.minimum(1 - place, 1 - turn)
        rising = before * (before / turn) if turn > 0 else np.zeros_like(place)
        falling = 1 - after * (after / (1 - turn)) if turn < 1 else np.ones_like(place)
        return np.where(place < turn, rising, falling)

    def expected(self) -> float:
        """Return the integral of x times the density over the share that the cut leaves."""
        width = self.high - self.low
        start, end = ((edge - self.low) / width for edge in self.support)
        return self.low + width * (self._moment(end) - self._moment(start)) / self._left()

    def _at(self, points: Floats) -> Floats:
        # Measured from the nearer end, whose digits the figures near it keep.
        import numpy as np

        start, end = (float(self._share(edge)) for edge in self.support)
        share, width, turn = start + points * (end - start), self.high - self.low, self.turn
        rising = self.low + width * np.sqrt(share * turn)
        falling = self.high - width * np.sqrt((1 - share) * (1 - turn))
        return np.where(share < turn, rising, falling)

    def _moment(self, place: float) -> float:
        """Integral of x times the density of the unit triangle, from 0 to `place`."""
        turn = self.turn
        low_part = min(place, turn)
        moment = 2 * low_part**2 * (low_part / turn) / 3 if turn > 0 else 0.0
        if place > turn:
            left, whole = 1 - place, 1 - turn
            ratio = left / whole
            moment += whole - left * ratio - 2 * (whole**2 - left**2 * ratio) / 3
        return moment


class BetaShaped(Stretched):
    """A beta distribution by its `shape`."""

    @property
    def shape(self) -> tuple[float, float]:
        """Alpha and beta."""
        raise NotImplementedError

    def _unit_quantile(self, share: Floats) -> Floats:
        import numpy as np
        from scipy import special

        # Within 1e-12 of the ends the inverse may come back as NaN; the ends themselves are exact.
        rounded = np.where(share < EDGE, 0.0, np.where(share > 1 - EDGE, 1.0, share))
        return np.asarray(special.betaincinv(*self.shape, rounded))

    def _unit_share(self, place: Floats) -> Floats:
        import numpy as np
        from scipy import special

        return np.asarray(special.betainc(*self.shape, place))

    def _unit_mean(self, start: float, end: float) -> float:
        """X times the density is alpha/(alpha+beta) times the density with alpha + 1."""
        from scipy import special

        alpha, beta = self.shape
        part = special.betainc(alpha + 1, beta, end) - special.betainc(alpha + 1, beta, start)
        whole = special.betainc(alpha, beta, end) - special.betainc(alpha, beta, start)
        return float(alpha / (alpha + beta) * part / whole)


@dataclass(frozen=True, kw_only=True)
class Pert(BetaShaped):
    """A beta distribution between `low` and `high` with the given mode; `weight` 4 is the usual choice.

    alpha = 1 + weight (mode - low)/(high - low), beta = 1 + weight (high - mode)/(high - low).
    """

    low: float
    mode: float
    high: float
    weight: float = 4.0
    kind: ClassVar[str] = "pert"

    @property
    def shape(self) -> tuple[float, float]:
        """Alpha and beta of the beta distribution behind it."""
        width = self.high - self.low
        return 1 + self.weight * (self.mode - self.low) / width, 1 + self.weight * (self.high - self.mode) / width

    def complaint(self) -> tuple[str, str] | None:
        """`low` <= `mode` <= `high`, `low` below `high`, `weight` above 0."""
        if not 0 < self.weight <= 1000:
            return "weight", "a number above 0 and at most 1000 (4 is usual)"
        return _ordered(self.low, self.high, self.mode)

    def core_words(self) -> str:
        """Return ends and mode."""
        weight = "" if self.weight == 4.0 else f", weight {plain(self.weight)}"
        return f"PERT {plain(self.low)} to {plain(self.high)}, most likely {plain(self.mode)}{weight}"


@dataclass(frozen=True, kw_only=True)
class Beta(BetaShaped):
    """A beta distribution stretched from `low` to `high`."""

    alpha: float
    beta: float
    low: float = 0.0
    high: float = 1.0
    kind: ClassVar[str] = "beta"

    @property
    def shape(self) -> tuple[float, float]:
        """Alpha and beta."""
        return self.alpha, self.beta

    def complaint(self) -> tuple[str, str] | None:
        """Both shapes above 0, `low` below `high`."""
        for name in ("alpha", "beta"):
            if not 0 < getattr(self, name) <= 1e6:
                return name, "a number above 0 and at most 1000000"
        return _ordered(self.low, self.high)

    def core_words(self) -> str:
        """Return shapes and ends."""
        return f"beta ({plain(self.alpha)}, {plain(self.beta)}) from {plain(self.low)} to {plain(self.high)}"


def _ordered(low: float, high: float, mode: float | None = None) -> tuple[str, str] | None:
    if not high - low > NARROWEST * max(abs(low), abs(high)):
        return "low", f"a number below high ({plain(high)}); for a fixed value write the plain number"
    if mode is not None and not low <= mode <= high:
        return "mode", f"a number from low ({plain(low)}) to high ({plain(high)})"
    return None
