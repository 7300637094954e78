"""Figures with their standard errors, from draws that come as several independent scrambles.

A figure is computed once from all draws; its standard error is the spread of the same figure computed from each
scramble alone, divided by the square root of their number. This holds for means, shares and quantiles alike and
includes the luck of the weather and demand years, of which each scramble has its own (see `sampling`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Statistic = Callable[[Floats], float]

#: Scrambles with fewer draws than this beyond a quantile cannot place it.
DRAWS_BEYOND_QUANTILE = 5


@dataclass(frozen=True)
class Estimate:
    """A figure and its standard error; None where the figure is never reached or the error cannot be known."""

    value: float | None
    standard_error: float | None

    def as_dict(self) -> dict[str, float | None]:
        """Return the pair under the names used in result.json."""
        return {"value": self.value, "standard_error": self.standard_error}


def estimate(values: Floats, statistic: Statistic, *, scrambles: int) -> Estimate:
    """Return `statistic` of `values` (draws,) with its standard error from `scrambles` blocks of equal length.

    se = sd(statistic of each scramble) / sqrt(scrambles). A single scramble has no standard error. Infinite results
    (a quantile that is never reached) become None.
    """
    whole = statistic(values)
    parts = np.array([statistic(part) for part in np.split(values, scrambles)])
    known = scrambles > 1 and bool(np.isfinite(parts).all())
    error = float(parts.std(ddof=1) / np.sqrt(scrambles)) if known else None
    finite = bool(np.isfinite(whole))
    return Estimate(float(whole) if finite else None, error if finite else None)


def known(statistic: Statistic) -> Statistic:
    """Return the statistic of the draws that are not NaN: those that a question is about; NaN if there are none."""

    def of_known(values: Floats) -> float:
        kept = values[~np.isnan(values)]
        return statistic(kept) if len(kept) else float("nan")

    return of_known


def mean(values: Floats) -> float:
    """Return the mean of finite draws.

    Raises
    ------
    ValueError
        If a draw is infinite: a payback that never comes has no mean, and none is ever made up.
    """
    if not np.isfinite(values).all():
        raise ValueError("mean of draws that are not all finite; use quantiles and the never-share")
    return float(values.mean())


def standard_deviation(values: Floats) -> float:
    """Return the standard deviation over draws (divisor n - 1); 0 for draws that all agree."""
    return float(values.std(ddof=1)) if len(values) > 1 and np.ptp(values) > 0 else 0.0


def share_never(payback_years: Floats) -> float:
    """Return the share of draws that never pay back within the horizon (payback infinite)."""
    return float(np.isinf(payback_years).mean())


def share_paid_back(payback_years: Floats) -> float:
    """Return the share of draws that pay back within the horizon."""
    return 1.0 - share_never(payback_years)


def share_within(payback_years: Floats, years: float) -> float:
    """Return the share of draws that have paid back by `years`."""
    return float((payback_years <= years).mean())


def loss_probability(worth: Floats) -> float:
    """Return the share of draws with a negative worth."""
    return float((worth < 0).mean())


def mean_of_worst(worth: Floats, share: float = 0.05) -> float:
    """Return the mean of the worst `share` of draws (expected shortfall; Acerbi & Tasche 2002, discrete form).

    The last draw that is only partly inside the tail counts with that part, so the figure is continuous in `share`.
    """
    ordered = np.sort(worth)
    count = share * len(ordered)
    whole = int(count)
    tail = ordered[:whole].sum()
    if whole < len(ordered):
        tail += (count - whole) * ordered[whole]
    return float(tail / count)


def quantile(values: Floats, share: float) -> float:
    """Return the quantile of draws that may be infinite; infinite as soon as it touches a draw that never pays back.

    Linear between order statistics (definition 7 of Hyndman & Fan 1996) where both neighbours are finite.
    """
    ordered = np.sort(values)
    place = share * (len(ordered) - 1)
    below = int(np.floor(place))
    above = min(below + 1, len(ordered) - 1)
    weight = place - below
    if weight == 0.0:
        return float(ordered[below])
    if np.isinf(ordered[above]):
        return float(np.inf)
    return float(ordered[below] + weight * (ordered[above] - ordered[below]))


QUANTILES = {"p5": 0.05, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p95": 0.95}


def payback_figures(payback_years: Floats, *, scrambles: int) -> dict[str, Estimate]:
    """Return quantiles (None where never reached) and the never-share of a payback; no mean, ever. NaN is left out."""
    figures = {
        name: estimate(payback_years, known(lambda part, share=share: quantile(part, share)), scrambles=scrambles)  # type: ignore[misc]
        for name, share in QUANTILES.items()
    }
    return figures | {"never_share": estimate(payback_years, known(share_never), scrambles=scrambles)}


def worth_figures(worth: Floats, *, scrambles: int) -> dict[str, Estimate]:
    """Return mean, spread, quantiles, probability of loss and mean of the worst 5 % of a worth."""
    statistics: dict[str, Statistic] = {"mean": mean, "sd": standard_deviation}
    for name, share in QUANTILES.items():
        statistics[name] = lambda part, share=share: quantile(part, share)  # type: ignore[misc]
    statistics |= {"loss_probability": loss_probability, "mean_of_worst_5_percent": mean_of_worst}
    return {name: estimate(worth, statistic, scrambles=scrambles) for name, statistic in statistics.items()}


def mean_figures(arrays: dict[str, Floats], *, scrambles: int) -> dict[str, Estimate]:
    """Return the mean of each named array (draws,) with its standard error."""
    return {name: estimate(values, mean, scrambles=scrambles) for name, values in arrays.items()}


def enough_draws_for(share: float, *, draws: int) -> bool:
    """Return whether at least a handful of draws lie beyond the quantile on its thinner side."""
    return min(share, 1.0 - share) * draws >= DRAWS_BEYOND_QUANTILE
