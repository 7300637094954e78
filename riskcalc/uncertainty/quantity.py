"""A number that may be uncertain: what every kind of it shares, and the plain number.

Arrays are loaded where a method works with them, so that the command line and the reading of a scenario start at once.
Every kind may be cut to [minimum, maximum]: the distribution is renormalised inside, nothing piles up at the edges.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, ClassVar

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from riskcalc.types import Floats

#: Points are kept this far from 0 and 1 where a tail is endless, so that no draw is infinite.
EDGE = 1e-12
#: A spread smaller than this share of the value itself is lost in the rounding of the arithmetic.
NARROWEST = 1e-9
#: Levels of the quantiles that the sketch of a distribution is drawn from: 0.01 to 0.99.
SKETCH_LEVELS = tuple(0.01 + step * ((0.99 - 0.01) / 98) for step in range(99))


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """What every kind shares: an optional cut, where the figure comes from, a remark.

    x = Q(F(minimum) + u [F(maximum) - F(minimum)]): a cut distribution is renormalised inside its cut. Every quantile
    function rises with u, which is what lets correlated points (Gaussian copula) and sensitivities keep their meaning.
    """

    minimum: float | None = None
    maximum: float | None = None
    source: str = ""
    note: str = ""

    kind: ClassVar[str] = ""

    @property
    def is_uncertain(self) -> bool:
        """Whether draws of this quantity differ."""
        return True

    @property
    def full_support(self) -> tuple[float, float]:
        """Lowest and highest value before the cut; infinite for an endless tail."""
        raise NotImplementedError

    @property
    def support(self) -> tuple[float, float]:
        """Lowest and highest value that can be drawn."""
        low, high = self.full_support
        low = low if self.minimum is None else max(low, self.minimum)
        high = high if self.maximum is None else min(high, self.maximum)
        return low, high

    @property
    def practical_support(self) -> tuple[float, float]:
        """The support, with endless tails ended where one draw in a thousand million lies beyond."""
        return self.support

    def quantile(self, u: ArrayLike) -> Floats:
        """Return the value below which the share `u` of all draws lies, shape of `u`.

        Raises
        ------
        ValueError
            If a point of `u` lies outside [0, 1] or is not a number.
        """
        import numpy as np

        points = np.asarray(u, dtype=float)
        if not ((points >= 0) & (points <= 1)).all():
            raise ValueError("u: points outside 0 to 1; accepted: 0 to 1")
        return np.clip(self._at(points), *self.support)

    def cumulative(self, x: ArrayLike) -> Floats:
        """Return the share of all draws at or below `x`, shape of `x`."""
        import numpy as np

        return self._below(np.clip(np.asarray(x, dtype=float), *self.support))

    def expected(self) -> float:
        """Return the expected value, after any cut, in closed form."""
        raise NotImplementedError

    def cut_share(self) -> float:
        """Return the share of the uncut distribution that its cut leaves: 1 without a cut, 0 for an empty support."""
        low, high = self.support
        return 0.0 if low > high else self._left()

    def complaint(self) -> tuple[str, str] | None:
        """Return the parameter that contradicts the others and what it must be, or None."""
        return None

    def words(self) -> str:
        """Return the quantity in words, such as `triangular 5 to 9, most likely 6`."""
        return self.core_words() + self.cut_words()

    def core_words(self) -> str:
        """Return the words without those about the cut."""
        raise NotImplementedError

    def cut_words(self) -> str:
        """Return the words about the cut, empty when there is none."""
        if self.minimum is not None and self.maximum is not None:
            return f", cut to {plain(self.minimum)} to {plain(self.maximum)}"
        if self.minimum is not None:
            return f", never below {plain(self.minimum)}"
        if self.maximum is not None:
            return f", never above {plain(self.maximum)}"
        return ""

    def written(self) -> object:
        """Return the quantity as a scenario file would hold it (a number or a table)."""
        table: dict[str, object] = {"distribution": self.kind}
        for field in fields(self):
            value = getattr(self, field.name)
            if value not in (None, ""):
                table[field.name] = list(value) if isinstance(value, tuple) else value
        return table

    def _at(self, points: Floats) -> Floats:
        """Return the quantiles at points of [0, 1]."""
        raise NotImplementedError

    def _below(self, inside: Floats) -> Floats:
        """Return the share of draws at or below values inside the support."""
        raise NotImplementedError

    def _left(self) -> float:
        """Return the share of the uncut distribution between the ends of a support that is not empty."""
        raise NotImplementedError


@dataclass(frozen=True, kw_only=True)
class Fixed(Quantity):
    """A plain number."""

    value: float
    kind: ClassVar[str] = "fixed"

    @property
    def is_uncertain(self) -> bool:
        """A plain number is the same in every draw."""
        return False

    @property
    def full_support(self) -> tuple[float, float]:
        """The number itself."""
        return self.value, self.value

    def cumulative(self, x: ArrayLike) -> Floats:
        """Return 0 below the number, 1 from it on."""
        import numpy as np

        return (np.asarray(x, dtype=float) >= self.value).astype(float)

    def expected(self) -> float:
        """Return the number."""
        return self.value

    def core_words(self) -> str:
        """Return the number."""
        return plain(self.value)

    def written(self) -> object:
        """Return the bare number, or a table when it carries a source or note."""
        if not (self.source or self.note):
            return self.value
        table = dict(super().written())  # type: ignore[call-overload]
        del table["distribution"]
        return table

    def _at(self, points: Floats) -> Floats:
        import numpy as np

        return np.full(points.shape, self.value)

    def _left(self) -> float:
        return 1.0


def counted(count: float, word: str) -> str:
    """Return a count with its word: `1 year`, `15 years`."""
    return f"{count:g} {word}{'' if count == 1 else 's'}"


def plain(value: float) -> str:
    """Return a number the way a person writes it: at most six digits, no exponent where avoidable."""
    if float(value).is_integer() and abs(value) < 1e15:
        return str(int(value))
    rounded = float(f"{value:.6g}")
    if rounded.is_integer() and abs(rounded) < 1e15:
        return str(int(rounded))
    return f"{rounded:.6g}" if 1e-4 <= abs(rounded) < 1e15 else f"{rounded:.3g}"
