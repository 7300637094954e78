"""Distributions with an endless tail: normal on some rising scale.

Definitions: Johnson, Kotz and Balakrishnan, Continuous univariate distributions, 2nd ed. (1994, 1995).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING, ClassVar

from riskcalc.uncertainty.quantity import EDGE, NARROWEST, Quantity, plain

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from riskcalc.types import Floats

#: Normal score beyond which one draw in a thousand million lies; endless tails are judged there.
TAIL_SCORE = 5.9978


class Scored(Quantity):
    """A normal distribution on some rising scale: `_score` leads to it, `_at_score` back."""

    def _score(self, x: ArrayLike) -> Floats:
        """Return the normal scores of values."""
        raise NotImplementedError

    def _at_score(self, scores: Floats) -> Floats:
        """Return the values of normal scores."""
        raise NotImplementedError

    def _cut_scores(self) -> tuple[float, float]:
        """Return the scores of the ends of the support."""
        import numpy as np

        low, high = self.support
        with np.errstate(divide="ignore"):
            return float(self._score(low)), float(self._score(high))

    def _at(self, points: Floats) -> Floats:
        return self._at_score(_normal_scores(points, *self._cut_scores()))

    def _below(self, inside: Floats) -> Floats:
        import numpy as np

        bottom, top = self._cut_scores()
        with np.errstate(divide="ignore"):
            return _score_share(self._score(inside), bottom, top)

    def _left(self) -> float:
        return _score_mass(*self._cut_scores())


@dataclass(frozen=True, kw_only=True)
class Normal(Scored):
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

    def _score(self, x: ArrayLike) -> Floats:
        import numpy as np

        return np.asarray((np.asarray(x, dtype=float) - self.mean) / self.sd)

    def _at_score(self, scores: Floats) -> Floats:
        return self.mean + self.sd * scores

    def expected(self) -> float:
        """Mean + sd (phi(a) - phi(b)) / (Phi(b) - Phi(a)), with a, b the scores of the cut."""
        a, b = self._cut_scores()
        return self.mean + self.sd * (_density(a) - _density(b)) / _score_mass(a, b)

    def complaint(self) -> tuple[str, str] | None:
        """`sd` above 0, and not lost beside the mean."""
        if self.sd > NARROWEST * abs(self.mean):
            return None
        return "sd", "a standard deviation above 0; for a fixed value write the plain number"

    def core_words(self) -> str:
        """Return mean and standard deviation."""
        return f"normal, mean {plain(self.mean)}, sd {plain(self.sd)}"


@dataclass(frozen=True, kw_only=True)
class Lognormal(Scored):
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

    def _score(self, x: ArrayLike) -> Floats:
        import numpy as np

        return np.asarray(np.log(np.asarray(x, dtype=float) / self.median) / self.sigma)

    def _at_score(self, scores: Floats) -> Floats:
        import numpy as np

        return self.median * np.exp(self.sigma * scores)

    def expected(self) -> float:
        """Median exp(sigma^2/2) (Phi(b - sigma) - Phi(a - sigma)) / (Phi(b) - Phi(a)), a, b the scores of the cut."""
        a, b = self._cut_scores()
        whole = self.median * math.exp(self.sigma**2 / 2)
        return whole * _score_mass(a - self.sigma, b - self.sigma) / _score_mass(a, b)

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


def _normal_scores(u: Floats, bottom: float, top: float) -> Floats:
    """Return normal scores cut to [bottom, top]; worked in the nearer tail, where small shares keep their digits."""
    import numpy as np
    from scipy import special

    if bottom > 0:
        return -_normal_scores(1 - u, -top, -bottom)
    start, end = special.ndtr(bottom), special.ndtr(top)
    share = start + u * (end - start)
    if bottom == -math.inf:
        share = np.maximum(share, EDGE * end)
    if top == math.inf:
        share = np.minimum(share, 1 - EDGE)
    return np.asarray(special.ndtri(share))


def _score_mass(bottom: float, top: float) -> float:
    from scipy import special

    if bottom > 0:
        return float(special.ndtr(-bottom) - special.ndtr(-top))
    return float(special.ndtr(top) - special.ndtr(bottom))


def _score_share(scores: Floats, bottom: float, top: float) -> Floats:
    import numpy as np
    from scipy import special

    if bottom > 0:
        return np.asarray((special.ndtr(-bottom) - special.ndtr(-scores)) / _score_mass(bottom, top))
    return np.asarray((special.ndtr(scores) - special.ndtr(bottom)) / _score_mass(bottom, top))


def _density(score: float) -> float:
    return math.exp(-(score**2) / 2) / math.sqrt(2 * math.pi)


def _tail_scores(bottom: float, top: float) -> tuple[float, float]:
    """Return the normal scores beyond which one draw in a thousand million lies, within a cut from `bottom` to `top`.

    Where a cut leaves less than half, one in a thousand million of what it leaves lies further out.
    """
    below, above = (0.5 * math.erfc(score / math.sqrt(2.0)) for score in (-top, bottom))
    first = NormalDist().inv_cdf(max(1e-9 * below, 1e-300)) if below < 0.5 else -TAIL_SCORE
    last = -NormalDist().inv_cdf(max(1e-9 * above, 1e-300)) if above < 0.5 else TAIL_SCORE
    return first, last
