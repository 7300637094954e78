"""Figures with their standard errors, from draws that come as several independent scrambles.

A figure is computed once from all draws; its standard error comes from leaving out one scramble at a time (delete-a-group
jackknife), which for a mean is the spread of the scrambles' own means over the root of their number. This holds for
means, shares and quantiles alike and includes the luck of the weather and demand years, each scramble having its own
(see `sampling`). A quantile takes the error of the share of draws below it instead. The spread of the scrambles' own
quantiles would not do: those of a few dozen draws stand further in and scatter less than a 5 % point of all draws does.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy import special

from riskcalc.types import Floats

Statistic = Callable[[Floats], float]

#: Scrambles with fewer draws than this beyond a quantile cannot place it.
DRAWS_BEYOND_QUANTILE = 5


@dataclass(frozen=True)
class Estimate:
    """A figure and its standard error; None where the figure is never reached or the error cannot be known.

    `interval_95`, where there is one, holds the figure in 95 of 100 cases; an end that is infinite is never reached.
    """

    value: float | None
    standard_error: float | None
    interval_95: tuple[float, float] | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return the figures under the names used in result.json; an end of the interval that is never reached is None."""
        pair = {"value": self.value, "standard_error": self.standard_error}
        if self.interval_95 is None:
            return pair
        return pair | {"interval_95": [end if np.isfinite(end) else None for end in self.interval_95]}


def estimate(values: Floats, statistic: Statistic, *, scrambles: int) -> Estimate:
    """Return `statistic` of `values` (draws,) with its standard error from `scrambles` blocks of equal length.

    A single scramble has no standard error. Infinite results (a quantile that is never reached) become None.
    """
    block = np.arange(len(values)) // (len(values) // scrambles)
    rounds = [statistic(values[block != left]) for left in range(scrambles)] if scrambles > 1 else []
    return _estimate(statistic(values), np.array(rounds))


def _estimate(whole: float, rounds: Floats) -> Estimate:
    if not np.isfinite(whole):
        return Estimate(None, None)
    known_error = len(rounds) > 1 and bool(np.isfinite(rounds).all())
    return Estimate(float(whole), float(jackknife(rounds)) if known_error else None)


def jackknife(rounds: Floats) -> Floats:
    """Return the standard error of figures from rounds (rounds, ...) that leave out one scramble each.

    se^2 = (R - 1) / R * sum (figure without scramble r - their mean)^2; NaN with a single scramble.
    """
    count = len(rounds)
    if count < 2:
        return np.full(rounds.shape[1:], np.nan)
    return np.asarray(np.sqrt((count - 1) / count * ((rounds - rounds.mean(axis=0)) ** 2).sum(axis=0)))


def share_error(true: Floats, *, scrambles: int) -> float | None:
    """Return the standard error of the share of draws that are 1, (draws,), NaN left out; None with one scramble.

    Never 0: a scramble of n draws has one in each nth of the range, anywhere in it. Of the nth that the limit cuts at f, the
    draw lies on either side: a variance of f (1 - f) / n^2, on average over f 1 / (6 n^2), which is the least that is said.
    """
    if scrambles < 2:
        return None
    parts = [part[~np.isnan(part)] for part in np.split(true, scrambles)]
    shares = np.array([part.mean() for part in parts if len(part)])
    least = 1.0 / max(1.0, float(np.mean([len(part) for part in parts]))) ** 2 / 6.0
    return float(np.sqrt(max(shares.var(ddof=1), least) / len(shares))) if len(shares) > 1 else None


def share_estimate(true: Floats, *, scrambles: int) -> Estimate:
    """Return the share of draws that are 1, (draws,), NaN left out, with its standard error (see `share_error`).

    A share of exactly 0 or 1 has error 0: no draw lies on the other side.
    """
    share = known(mean)(true)
    if share in (0.0, 1.0):
        return Estimate(share, 0.0 if scrambles > 1 else None)
    return Estimate(share, share_error(true, scrambles=scrambles)) if np.isfinite(share) else Estimate(None, None)


def quantile_estimate(values: Floats, share: float, *, scrambles: int) -> Estimate:
    """Return a quantile of draws that may be infinite, NaN left out, with its standard error and its 95 % interval.

    The share of draws up to the quantile is known with a standard error from the scrambles; the quantile lies between the
    quantiles of the share less and plus that error, and in 95 of 100 cases between those of the share less and plus
    Student's t times it (Woodruff, Journal of the American Statistical Association 47 (1952) 635-646). So it holds for
    times that are censored: the interval of one that may never come ends in infinity.
    """
    ordered = np.sort(values[~np.isnan(values)])
    if not len(ordered):
        return Estimate(None, None)
    whole = _in_order(ordered, share)
    at = min(whole, ordered[np.isfinite(ordered)].max(initial=-np.inf))
    error = share_error(np.where(np.isnan(values), np.nan, values <= at), scrambles=scrambles)
    if error is None:
        return Estimate(float(whole) if np.isfinite(whole) else None, None)
    (low, high), interval = (
        (_in_order(ordered, max(0.0, share - beyond)), _in_order(ordered, min(1.0, share + beyond)))
        for beyond in (error, float(special.stdtrit(scrambles - 1, 0.975)) * error)
    )
    if not np.isfinite(whole):
        return Estimate(None, None, interval)
    return Estimate(float(whole), 0.5 * (high - low) if np.isfinite([low, high]).all() else None, interval)


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


def gain_probability(worth: Floats) -> float:
    """Return the share of draws with a positive worth; one in which nothing is bought is worth exactly nothing."""
    return float((worth > 0).mean())


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
    return _in_order(np.sort(values), share)


def _in_order(ordered: Floats, share: float) -> float:
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
    """Return quantiles (None where never reached) and the never-share of a payback; no mean, ever. NaN is left out.

    The quantiles carry a 95 % interval that may end in never.
    """
    figures = {name: quantile_estimate(payback_years, share, scrambles=scrambles) for name, share in QUANTILES.items()}
    return figures | {"never_share": estimate(payback_years, known(share_never), scrambles=scrambles)}


def worth_figures(worth: Floats, *, scrambles: int) -> dict[str, Estimate]:
    """Return mean, spread, quantiles, odds of a loss and of a gain, and mean of the worst 5 % of a worth."""
    quantiles = {name: quantile_estimate(worth, share, scrambles=scrambles) for name, share in QUANTILES.items()}
    first, last = (
        {name: estimate(worth, statistic, scrambles=scrambles) for name, statistic in statistics.items()}
        for statistics in (
            {"mean": mean, "sd": standard_deviation},
            {
                "loss_probability": loss_probability,
                "gain_probability": gain_probability,
                "mean_of_worst_5_percent": mean_of_worst,
            },
        )
    )
    return first | {name: replace(figure, interval_95=None) for name, figure in quantiles.items()} | last


def as_dicts(figures: Mapping[str, Estimate]) -> dict[str, Any]:
    """Return figures by name as they go into result.json."""
    return {name: figure.as_dict() for name, figure in figures.items()}


def mean_figures(arrays: dict[str, Floats], *, scrambles: int) -> dict[str, Estimate]:
    """Return the mean of each named array (draws,) with its standard error."""
    return {name: estimate(values, mean, scrambles=scrambles) for name, values in arrays.items()}


def enough_draws_for(share: float, *, draws: int) -> bool:
    """Return whether at least a handful of draws lie beyond the quantile on its thinner side."""
    return min(share, 1.0 - share) * draws >= DRAWS_BEYOND_QUANTILE
