"""The value of one input at which a statement becomes as likely as asked, everything else as uncertain as before.

Three ways, from exact to quick, and each answer says which was taken:

- "revalued": an input that only enters the money is set to a value in every draw and the draws are recalculated, no
  energy simulated; the root is bracketed on a grid and closed in on common draws (Brent's method).
- "simulated": any other input, with fewer draws simulated anew at some values and each draw's margin joined by straight
  lines between them; the change of the odds from these few is added to the odds of all draws (`statements`);
- "shifted": from the draws at hand: each draw's margin is moved by what a smooth function expects of the change of the
  input (`smoothing`). It takes for granted that the input moves the margin without changing its scatter.

Where no value within the range looked at does, the answer is none: a purchase may be beyond the reach of one input.

Several statements look for their break-even over the same values of the same inputs; a statement about the energy of a
season asks for no valuation at all. What is kept of a value are its paybacks and its worth, one number a draw each.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np

from riskcalc.answers.factors import is_money_only
from riskcalc.answers.statements import Margins, Statement
from riskcalc.money.prices import PricePaths, paths_of
from riskcalc.money.valuation import Valuation, valuation
from riskcalc.scenario import bounds_of
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.uncertainty.smoothing import additive, smooth_term
from riskcalc.uncertainty.summary import share_error

KEPT = ("payback_years", "lasting_payback_years", "discounted_payback_years", "net_present_value")
#: Memory for what is kept: some two thousand values with a thousand draws.
ROOM_BYTES = 64 * 2**20


class LazyValuation:
    """Stands for a `Valuation` that is worked out when a figure of it is asked for."""

    def __init__(self, make: Callable[[], Valuation]) -> None:
        self._make = make
        self._kept: dict[str, Any] = {}

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):
            raise AttributeError(name)
        if name in self._kept:
            return self._kept[name]
        money = self._make()
        self._kept = {kept: getattr(money, kept) for kept in KEPT}
        return getattr(money, name)


def varied(assessment: Assessment, key: str, point: float) -> Assessment:
    """Return the assessment with `key` at `point` in every draw, its energy unchanged; kept as long as the assessment is."""
    found: OrderedDict[tuple[str, float], Assessment] = assessment.kept.setdefault("varied", OrderedDict())
    if (key, point) not in found:
        values = {**assessment.values, key: np.broadcast_to(np.float64(point), (assessment.draws,))}

        def make() -> Valuation:
            paths = None if key.startswith("prices.") else _paths(assessment)
            return valuation(assessment.scenario, assessment.simulation, values, assessment.design.path, paths=paths)

        found[key, point] = replace(assessment, values=values, valuation=cast("Valuation", LazyValuation(make)))
        while len(found) > max(1, ROOM_BYTES // (len(KEPT) * 8 * assessment.draws)):
            found.popitem(last=False)
    return found[key, point]


def _paths(assessment: Assessment) -> PricePaths:
    """Return the price paths of an assessment, which no input but those of `prices` moves; kept as long as it is."""
    if "paths" not in assessment.kept:
        assessment.kept["paths"] = paths_of(assessment.scenario, assessment.values, assessment.design.path)
    paths: PricePaths = assessment.kept["paths"]
    return paths


Odds = Callable[[float], float]

#: Values tried before the root is closed in on.
GRID = 9

#: Costs and prices are looked for up to this many widths beyond what was drawn, other inputs within it only.
WIDTHS_BEYOND = 2.0

#: Ends of what was drawn, for inputs whose simulation rests on it.
DRAWN_ENDS = (0.01, 0.99)

#: A quick estimate that misses the asked odds by more than this at both ends is not followed by a simulation.
FAR_FROM_ODDS = 0.1

#: A line and a bend that are noise alone keep more than this in 1 case of 148 (chi-squared of 2 at 5 times its mean); an
#: input whose effect is no clearer is taken to have none.
LEAST_KEPT = 0.8


#: A value is shown if the range looked through is at least so many standard errors wide.
LEAST_ERRORS_IN_RANGE = 8.0


@dataclass(frozen=True)
class BreakEven:
    """Where one input would have to stand; `value` None when no value from `low` to `high` does.

    `odds_low`, `odds_high`: odds at the ends of that range. `error`: standard error of the value from the scrambles,
    None when not known. `place`: the share of the input's own distribution below the value, None outside it.
    """

    key: str
    statement: str
    level: float
    value: float | None
    error: float | None
    place: float | None
    low: float
    high: float
    odds_low: float
    odds_high: float
    method: str


def break_even(
    assessment: Assessment,
    statement: Statement,
    key: str,
    *,
    level: float,
    resimulated: Mapping[tuple[str, str], Margins] | None = None,
) -> BreakEven | None:
    """Return the value of `key` at which `statement` holds in the share `level` of all draws.

    Parameters
    ----------
    resimulated
        Margins from new simulations (`resimulated_margins`), used instead of the quick estimate where they are given.

    Returns
    -------
    BreakEven or None
        None when the input cannot be varied: it is fixed and not a matter of money, or the statement has no margin.
    """
    if is_money_only(key):
        low, high = search_range(assessment, key)
        return _solved(assessment, statement, key, _revalued(assessment, statement, key), level, low, high, "revalued")
    margins = (resimulated or {}).get((key, statement.name))
    if margins is not None:
        low, high = float(margins.values[0]), float(margins.values[-1])
        return _solved(assessment, statement, key, margins.holding_at, level, low, high, "simulated")
    quantity = assessment.scenario.quantities()[key]
    if statement.margin is None or not quantity.is_uncertain:
        return None
    low, high = quantity.quantile(np.array(DRAWN_ENDS)).tolist()
    shifted = _holding(_shifted_margin(assessment, statement, key), statement.counted(assessment))
    return _solved(assessment, statement, key, shifted, level, low, high, "shifted")


def within_reach(quick: BreakEven) -> bool:
    """Return whether a quick estimate comes near enough to be followed by a simulation."""
    nearest = min(abs(quick.odds_low - quick.level), abs(quick.odds_high - quick.level))
    return quick.value is not None or nearest <= FAR_FROM_ODDS


def says_something(error: float | None, looked_at: Sequence[float]) -> bool:
    """Return whether a break-even value is settled: its error is known and small beside the range looked through."""
    return error is not None and LEAST_ERRORS_IN_RANGE * error <= looked_at[1] - looked_at[0]


def search_range(assessment: Assessment, key: str) -> tuple[float, float]:
    """Return the values looked at for an input of money.

    What was drawn and some way beyond, within what is accepted.
    """
    low, high = assessment.scenario.quantities()[key].practical_support
    width = high - low if high > low else max(abs(high), 0.01)
    least, most = bounds_of(key)
    return max(low - WIDTHS_BEYOND * width, least), min(high + WIDTHS_BEYOND * width, most)


def crossing(odds: Odds, *, level: float, low: float, high: float, start: float) -> tuple[float | None, float, float]:
    """Return where `odds` crosses `level` between `low` and `high`, nearest to `start`, and the odds at both ends.

    The odds of finitely many draws go in steps; the root is a value on whose two sides they lie on two sides of
    `level`.
    """
    grid = np.unique(np.append(np.linspace(low, high, GRID), np.clip(start, low, high)))
    gaps = np.array([odds(float(point)) - level for point in grid])
    brackets = np.flatnonzero(np.sign(gaps[:-1]) * np.sign(gaps[1:]) <= 0)
    if not len(brackets):
        return None, float(gaps[0] + level), float(gaps[-1] + level)
    nearest = min(brackets, key=lambda at: abs(0.5 * (grid[at] + grid[at + 1]) - start))
    one, other = float(grid[nearest]), float(grid[nearest + 1])
    if gaps[nearest] == 0.0 or gaps[nearest + 1] == 0.0:
        root = one if gaps[nearest] == 0.0 else other
    else:
        from scipy.optimize import brentq  # a quarter of a second, not needed by every command

        root = float(brentq(lambda point: odds(point) - level, one, other, xtol=1e-5 * (high - low), rtol=1e-8))
    return root, float(gaps[0] + level), float(gaps[-1] + level)


def _solved(
    assessment: Assessment,
    statement: Statement,
    key: str,
    holds_at: Callable[[float], Floats],
    level: float,
    low: float,
    high: float,
    method: str,
) -> BreakEven:
    quantity = assessment.scenario.quantities()[key]
    start = float(quantity.quantile(np.array(0.5)))

    def odds(point: float) -> float:
        return float(np.nanmean(holds_at(point)))

    value, odds_low, odds_high = crossing(odds, level=level, low=low, high=high, start=start)
    error = place = None
    if value is not None:
        error = _error(holds_at, value, low, high, scrambles=assessment.design.scrambles)
        if quantity.is_uncertain and quantity.support[0] <= value <= quantity.support[1]:
            place = float(quantity.cumulative(np.array(value)))
    return BreakEven(key, statement.name, level, value, error, place, low, high, odds_low, odds_high, method)


def _error(
    holds_at: Callable[[float], Floats], value: float, low: float, high: float, *, scrambles: int
) -> float | None:
    """Return the standard error of the value: that of the odds there over the slope of the odds."""
    step = 0.05 * (high - low)
    left, right = max(low, value - step), min(high, value + step)
    slope = float(np.nanmean(holds_at(right)) - np.nanmean(holds_at(left))) / (right - left)
    error = share_error(holds_at(value), scrambles=scrambles)
    return None if error is None or slope == 0.0 else error / abs(slope)


def _revalued(assessment: Assessment, statement: Statement, key: str) -> Callable[[float], Floats]:
    def holds_at(point: float) -> Floats:
        return statement.true_in(varied(assessment, key, point))

    return holds_at


def _holding(margin_at: Callable[[float], Floats], counted: Floats) -> Callable[[float], Floats]:
    return lambda point: (margin_at(point) >= 0.0) * counted


def _shifted_margin(assessment: Assessment, statement: Statement, key: str) -> Callable[[float], Floats]:
    assert statement.margin is not None
    quantity, margin = assessment.scenario.quantities()[key], statement.margin(assessment)
    term = smooth_term(assessment.design.unit[key], assessment.values[key])
    fit = additive(margin, [term], np.zeros(len(margin), dtype=np.int64))
    part = fit.parts[0, 0]
    variance, noise = float(part.var()), float(fit.noise[0] * fit.noise_degrees[0]) / len(margin)
    kept = 1.0 - noise / variance if noise < (1.0 - LEAST_KEPT) * variance else 0.0

    def margin_at(point: float) -> Floats:
        place = float(quantity.cumulative(np.array(point)))
        return margin + kept * (float(fit.part_at(0, term.at(place, point))[0]) - part)

    return margin_at
