"""A number that may be uncertain: what was said about it, in the terms of statistics.

Plain records without arrays, so that reading a scenario stays quick; `distributions` turns them into numbers.
Every kind may be cut to [minimum, maximum]: the distribution is renormalised inside, nothing piles up at the edges.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from statistics import NormalDist
from typing import ClassVar

#: Normal score beyond which one draw in a thousand million lies; endless tails are judged there.
TAIL_SCORE = 5.9978
#: A spread smaller than this share of the value itself is lost in the rounding of the arithmetic.
NARROWEST = 1e-9


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """What every kind shares: an optional cut, where the figure comes from, a remark."""

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


@dataclass(frozen=True, kw_only=True)
class Uniform(Quantity):
    """Every value between `low` and `high` equally likely."""

    low: float
    high: float
    kind: ClassVar[str] = "uniform"

    @property
    def full_support(self) -> tuple[float, float]:
        """From `low` to `high`."""
        return self.low, self.high

    def complaint(self) -> tuple[str, str] | None:
        """`low` must lie below `high`."""
        return _ordered(self.low, self.high)

    def core_words(self) -> str:
        """Return the ends."""
        return f"uniform {plain(self.low)} to {plain(self.high)}"


@dataclass(frozen=True, kw_only=True)
class Triangular(Quantity):
    """Straight lines up from `low` to `mode` and down to `high`."""

    low: float
    mode: float
    high: float
    kind: ClassVar[str] = "triangular"

    @property
    def full_support(self) -> tuple[float, float]:
        """From `low` to `high`."""
        return self.low, self.high

    def complaint(self) -> tuple[str, str] | None:
        """`low` <= `mode` <= `high`, and `low` below `high`."""
        return _ordered(self.low, self.high, self.mode)

    def core_words(self) -> str:
        """Return ends and mode."""
        return f"triangular {plain(self.low)} to {plain(self.high)}, most likely {plain(self.mode)}"


@dataclass(frozen=True, kw_only=True)
class Pert(Quantity):
    """A beta distribution between `low` and `high` with the given mode; `weight` 4 is the usual choice.

    alpha = 1 + weight (mode - low)/(high - low), beta = 1 + weight (high - mode)/(high - low).
    """

    low: float
    mode: float
    high: float
    weight: float = 4.0
    kind: ClassVar[str] = "pert"

    @property
    def full_support(self) -> tuple[float, float]:
        """From `low` to `high`."""
        return self.low, self.high

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
class Beta(Quantity):
    """A beta distribution stretched from `low` to `high`."""

    alpha: float
    beta: float
    low: float = 0.0
    high: float = 1.0
    kind: ClassVar[str] = "beta"

    @property
    def full_support(self) -> tuple[float, float]:
        """From `low` to `high`."""
        return self.low, self.high

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


@dataclass(frozen=True, kw_only=True)
class Normal(Quantity):
    """The normal distribution with the given mean and standard deviation."""

    mean: float
    sd: float
    kind: ClassVar[str] = "normal"

    @property
    def full_support(self) -> tuple[float, float]:
        """Endless both ways."""
        return -math.inf, math.inf

    @property
    def practical_support(self) -> tuple[float, float]:
        """Six standard deviations either way, inside the cut."""
        low, high = self.support
        first, last = _tail_scores((low - self.mean) / self.sd, (high - self.mean) / self.sd)
        return max(low, self.mean + first * self.sd), min(high, self.mean + last * self.sd)

    def complaint(self) -> tuple[str, str] | None:
        """`sd` above 0, and not lost beside the mean."""
        if self.sd > NARROWEST * abs(self.mean):
            return None
        return "sd", "a standard deviation above 0; for a fixed value write the plain number"

    def core_words(self) -> str:
        """Return mean and standard deviation."""
        return f"normal, mean {plain(self.mean)}, sd {plain(self.sd)}"


@dataclass(frozen=True, kw_only=True)
class Lognormal(Quantity):
    """A quantity whose logarithm is normal around log(`median`) with standard deviation `sigma`."""

    median: float
    sigma: float
    kind: ClassVar[str] = "lognormal"

    @property
    def full_support(self) -> tuple[float, float]:
        """Above 0, endless upwards."""
        return 0.0, math.inf

    @property
    def practical_support(self) -> tuple[float, float]:
        """Six sigmas either way on the logarithmic scale, inside the cut."""
        low, high = self.support
        scores = (math.log(edge / self.median) / self.sigma if 0.0 < edge < math.inf else None for edge in (low, high))
        bottom, top = (
            end if score is None else score for score, end in zip(scores, (-math.inf, math.inf), strict=True)
        )
        first, last = (math.exp(max(-700.0, min(score * self.sigma, 700.0))) for score in _tail_scores(bottom, top))
        return max(low, self.median * first), min(high, self.median * last)

    def complaint(self) -> tuple[str, str] | None:
        """`median` and `sigma` above 0."""
        if not self.median > 0:
            return "median", "a median above 0 (for values below 0 use normal)"
        if not NARROWEST < self.sigma <= 5:
            return (
                "sigma",
                "the standard deviation of the logarithm, above 0 and at most 5 (0.3 is about 30 % up or down)",
            )
        return None

    def core_words(self) -> str:
        """Return median and sigma."""
        return f"lognormal, median {plain(self.median)}, sigma {plain(self.sigma)}"


def counted(count: float, word: str) -> str:
    """Return a count with its word: `1 year`, `15 years`."""
    return f"{count:g} {word}{'' if count == 1 else 's'}"


def _tail_scores(bottom: float, top: float) -> tuple[float, float]:
    """Return the normal scores beyond which one draw in a thousand million lies, within a cut from `bottom` to `top`.

    Where a cut leaves less than half, one in a thousand million of what it leaves lies further out.
    """
    below, above = (0.5 * math.erfc(score / math.sqrt(2.0)) for score in (-top, bottom))
    first = NormalDist().inv_cdf(max(1e-9 * below, 1e-300)) if below < 0.5 else -TAIL_SCORE
    last = -NormalDist().inv_cdf(max(1e-9 * above, 1e-300)) if above < 0.5 else TAIL_SCORE
    return first, last


def plain(value: float) -> str:
    """Return a number the way a person writes it: at most six digits, no exponent where avoidable."""
    if float(value).is_integer() and abs(value) < 1e15:
        return str(int(value))
    rounded = float(f"{value:.6g}")
    if rounded.is_integer() and abs(rounded) < 1e15:
        return str(int(rounded))
    return f"{rounded:.6g}" if 1e-4 <= abs(rounded) < 1e15 else f"{rounded:.3g}"


def _ordered(low: float, high: float, mode: float | None = None) -> tuple[str, str] | None:
    if not high - low > NARROWEST * max(abs(low), abs(high)):
        return "low", f"a number below high ({plain(high)}); for a fixed value write the plain number"
    if mode is not None and not low <= mode <= high:
        return "mode", f"a number from low ({plain(low)}) to high ({plain(high)})"
    return None
