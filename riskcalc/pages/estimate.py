"""A figure with its standard error, as the pages show it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Estimate:
    """A figure and its standard error (spread between independent scrambles over the root of their number).

    `value` None: a quantile that is not reached (payback that never comes). `se` 0.0: the figure does not
    vary between scrambles; NaN: not known (the page then shows the figure coarsely and says so).
    """

    value: float | None
    se: float = float("nan")
