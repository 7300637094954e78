"""The value of one input at which a statement becomes as likely as asked, everything else as uncertain as before.

Three ways, from exact to quick, and each answer says which was taken:

- "revalued": an input that only enters the money is set to a value in every draw and the draws are recalculated, no
  energy simulated; the root is bracketed on a grid and closed in on common draws (Chandrupatla's method).
- "simulated": any other input, with fewer draws simulated anew at some values and each draw's margin joined by straight
  lines between them; the change of the odds from these few is added to the odds of all draws (`statements`);
- "shifted": from the draws at hand: each draw's margin is moved by what a smooth function expects of the change of the
  input (`smoothing`). It takes for granted that the input moves the margin without changing its scatter.

Where no value within the range looked at does, the answer is none: a purchase may be beyond the reach of one input.

Several statements look for their break-even over the same values of the same inputs; a statement about the energy of a
season asks for no valuation at all. What is kept of a value are its payback and its worth, one number a draw each.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np

from riskcalc.answers.factors import is_money_only
from riskcalc.answers.statements import Margins, Statement
from riskcalc.money.bill import bill, prices_of
from riskcalc.money.prices import PricePaths, paths_of
from riskcalc.money.valuation import Valuation, energy_of, payback_and_worth, valuation
from riskcalc.scenario import bounds_of
from riskcalc.study.model import Assessment
from riskcalc.types import Floats, Values
from riskcalc.uncertainty.smoothing import additive, smooth_term
from riskcalc.uncertainty.summary import share_error

#: What most statements ask for; the rest of a valuation is worked out when it is asked for.
KEPT = ("payback_years", "net_present_value")
#: Memory for what is kept: some four thousand values with a thousand draws.
ROOM_BYTES = 64 * 2**20


class LazyValuation:
    """Stands for a `Valuation` that is worked out when a figure of it is asked for."""

    def __init__(self, most: Callable[[], dict[str, Floats]], whole: Callable[[], Valuation]) -> None:
        self._most, self._whole = most, whole
        self._kept: dict[str, Any] = {}

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):
            raise AttributeError(name)
        if name in KEPT and not self._kept:
            self._kept = self._most()
        return self._kept[name] if name in KEPT else getattr(self._whole(), name)


def varied(assessment: Assessment, key: str, point: float) -> Assessment:
    """Return the assessment with `key` at `point` in every draw, its energy unchanged; kept as long as the assessment is."""
    found: OrderedDict[tuple[str, float], Assessment] = assessment.kept.setdefault("varied", OrderedDict())
    if (key, point) not in found:
        values = {**assessment.values, key: np.broadcast_to(np.float64(point), (assessment.draws,))}

        def whole() -> Valuation:
            paths = None if key.startswith("prices.") else _paths(assessment)
            return valuation(assessment.scenario, assessment.simulation, values, assessment.design.path, paths=paths)

        def most() -> dict[str, Floats]:
            saving, level = _yearly(assessment, key, values)
            return payback_and_worth(assessment.scenario, assessment.simulation, values, saving=saving, level=level)

        found[key, point] = replace(assessment, values=values, valuation=cast("Valuation", LazyValuation(most, whole)))
        while len(found) > max(1, ROOM_BYTES // (len(KEPT) * 8 * assessment.draws)):
            found.popitem(last=False)
    return found[key, point]


def _yearly(assessment: Assessment, key: str, values: Values) -> tuple[Floats, Floats]:
    """Return saving and price level, (years, draws) each, with one key varied; what the key cannot move is at hand."""
    money, scenario = assessment.valuation, assessment.scenario
    if not key.startswith(("prices.", "tariff.")):
        return money.saving, money.price_level
    paths = paths_of(scenario, values, assessment.design.path) if key.startswith("prices.") else _paths(assessment)
    return bill(prices_of(scenario, values, paths), energy_of(assessment.simulation)).saving, paths.level


def _paths(assessment: Assessment) -> PricePaths:
    """Return the price paths of an assessment, which no input but those of `prices` moves; kept as long as it is."""
    if "paths" not in assessment.kept:
        assessment.kept["paths"] = paths_of(assessment.scenario, assessment.values, assessment.design.path)
    paths: PricePaths = assessment.kept["paths"]
    return paths


#: Values of the input, (points,) -> odds at each, (points,).
Odds = Callable[[Floats], Floats]

#: Values tried before the root is closed in on.
GRID = 9

#: A root is closed in to this share of the range looked through.
FINENESS = 1e-5

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
    margin_at, counted = _shifted_margin(assessment, statement, key), statement.counted(assessment)

    def shifted(points: Floats) -> Floats:
        return (margin_at(points) >= 0.0) * counted

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
    gaps = odds(grid) - level
    brackets = np.flatnonzero(np.sign(gaps[:-1]) * np.sign(gaps[1:]) <= 0)
    if not len(brackets):
        return None, float(gaps[0] + level), float(gaps[-1] + level)
    nearest = min(brackets, key=lambda at: abs(0.5 * (grid[at] + grid[at + 1]) - start))
    one, other = float(grid[nearest]), float(grid[nearest + 1])
    if gaps[nearest] == 0.0 or gaps[nearest + 1] == 0.0:
        root = one if gaps[nearest] == 0.0 else other
    else:
        ends = (one, float(gaps[nearest])), (other, float(gaps[nearest + 1]))
        root = closed_in(lambda point: float(odds(np.array([point]))[0]) - level, *ends, within=FINENESS * (high - low))
    return root, float(gaps[0] + level), float(gaps[-1] + level)


def closed_in(
    gap: Callable[[float], float], one: tuple[float, float], other: tuple[float, float], *, within: float
) -> float:
    """Return a point where `gap` changes its sign between two points, given with their gaps of different sign.

    Inverse quadratic interpolation where it is safe, else halving (Chandrupatla, Advances in Engineering Software 28
    (1997) 145-149). Written here because the library of optimisers takes a quarter of a second to read.
    """
    (far, gap_far), (near, gap_near) = one, other
    share = 0.5
    while True:
        point = near + share * (far - near)
        found = gap(point)
        if np.sign(found) == np.sign(gap_near):
            third, gap_third = near, gap_near
        else:
            third, gap_third, far, gap_far = far, gap_far, near, gap_near
        near, gap_near = point, found
        least = within / abs(far - near)
        if gap_near == 0.0 or least > 1.0:
            return near if abs(gap_near) < abs(gap_far) else far
        place, height = (near - far) / (third - far), (gap_near - gap_far) / (gap_third - gap_far)
        share = 0.5
        if height**2 < place and (1.0 - height) ** 2 < 1.0 - place:
            share = gap_near / (gap_far - gap_near) * gap_third / (gap_far - gap_third)
            share += (third - near) / (far - near) * gap_near / (gap_third - gap_near) * gap_far / (gap_third - gap_far)
        share = min(max(share, 0.5 * least), 1.0 - 0.5 * least)


def _solved(
    assessment: Assessment,
    statement: Statement,
    key: str,
    holds_at: Callable[[Floats], Floats],
    level: float,
    low: float,
    high: float,
    method: str,
) -> BreakEven:
    quantity = assessment.scenario.quantities()[key]
    start = float(quantity.quantile(np.array(0.5)))

    def odds(points: Floats) -> Floats:
        return np.asarray(np.nanmean(holds_at(points), axis=1))

    value, odds_low, odds_high = crossing(odds, level=level, low=low, high=high, start=start)
    error = place = None
    if value is not None:
        error = _error(holds_at, value, low, high, scrambles=assessment.design.scrambles)
        if quantity.is_uncertain and quantity.support[0] <= value <= quantity.support[1]:
            place = float(quantity.cumulative(np.array(value)))
    return BreakEven(key, statement.name, level, value, error, place, low, high, odds_low, odds_high, method)


def _error(
    holds_at: Callable[[Floats], Floats], value: float, low: float, high: float, *, scrambles: int
) -> float | None:
    """Return the standard error of the value: that of the odds there over the slope of the odds."""
    step = 0.05 * (high - low)
    left, right = max(low, value - step), min(high, value + step)
    below, at, above = holds_at(np.array([left, value, right]))
    slope = float(np.nanmean(above) - np.nanmean(below)) / (right - left)
    error = share_error(at, scrambles=scrambles)
    return None if error is None or slope == 0.0 else error / abs(slope)


def _revalued(assessment: Assessment, statement: Statement, key: str) -> Callable[[Floats], Floats]:
    def holds_at(points: Floats) -> Floats:
        return np.stack([statement.true_in(varied(assessment, key, float(point))) for point in points])

    return holds_at


def _shifted_margin(assessment: Assessment, statement: Statement, key: str) -> Callable[[Floats], Floats]:
    assert statement.margin is not None
    quantity, margin = assessment.scenario.quantities()[key], statement.margin(assessment)
    term = smooth_term(assessment.design.unit[key], assessment.values[key])
    fit = additive(margin, [term], np.zeros(len(margin), dtype=np.int64))
    part = fit.parts[0, 0]
    variance, noise = float(part.var()), float(fit.noise[0] * fit.noise_degrees[0]) / len(margin)
    kept = 1.0 - noise / variance if noise < (1.0 - LEAST_KEPT) * variance else 0.0

    def margin_at(points: Floats) -> Floats:
        there = fit.part_at(0, term.at(quantity.cumulative(points), points))[0]
        return margin + kept * (there[:, None] - part)

    return margin_at
