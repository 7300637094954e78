"""Statements about a purchase: true or false in each future, by which margin, and that margin at other values of an input.

A batch costs little more than one run of as many draws, because draws that meet the same weather year share its work.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from riskcalc.study.draw_blocks import Workers
from riskcalc.study.model import Assessment, evaluated, part_of_design
from riskcalc.types import Flags, Floats
from riskcalc.uncertainty.quantity import counted


@dataclass(frozen=True)
class Statement:
    """What may be true of a future.

    `holds` tells it for every draw of an assessment, (draws,). `margin`, finite and at least 0 exactly where it
    holds, says by how much; None where no such figure is at hand. `money` is False for statements about energy alone.
    `of_bought`: it is about the futures in which something is bought; the others are left out of its odds.
    """

    name: str
    holds: Callable[[Assessment], Flags]
    margin: Callable[[Assessment], Floats] | None
    money: bool = True
    of_bought: bool = False

    def counted(self, found: Assessment) -> Floats:
        """Return 1 in the draws that count for the odds and NaN in the others, (draws,)."""
        bought = found.simulation.course.bought
        return np.where(bought, 1.0, np.nan) if self.of_bought else np.ones(len(bought))

    def true_in(self, found: Assessment) -> Floats:
        """Return 1 in the draws in which it holds, else 0, NaN in those that do not count, (draws,)."""
        return self.holds(found) * self.counted(found)


def paid_back(within_years: float) -> Statement:
    """Return the statement that the purchase has paid for itself within some years."""
    return Statement(
        f"payback within {counted(within_years, 'year')}",
        lambda found: found.valuation.payback_years <= within_years,
        lambda found: payback_margin(
            found.valuation.payback_balance, found.valuation.payback_years, within_years=within_years
        ),
        of_bought=True,
    )


def worth_positive() -> Statement:
    """Return the statement that the purchase is worth more than it costs."""
    return Statement(
        "a worth above 0",
        lambda found: found.valuation.net_present_value > 0.0,
        lambda found: found.valuation.net_present_value,
    )


def payback_margin(balance: Floats, payback_years: Floats, *, within_years: float) -> Floats:
    """Return the highest cash balance reached within some years: the uncensored figure behind a censored payback.

    Payback within N years means that the running balance (years + 1, draws) has been at or above zero by then, so its
    highest value up to N is finite in every draw and at least 0 exactly where the payback came. A draw in which nothing
    was bought has a balance of 0 and no payback; its margin is put just below 0.
    """
    whole = min(int(np.floor(within_years)), len(balance) - 1)
    highest = balance[: whole + 1].max(axis=0)
    if within_years > whole and whole + 1 < len(balance):
        part = within_years - whole
        highest = np.maximum(highest, (1.0 - part) * balance[whole] + part * balance[whole + 1])
    tiny = 1e-9
    paid = payback_years <= within_years
    return np.where(paid, np.maximum(highest, 0.0), np.minimum(highest, -tiny))


#: Draws of the assessment that are simulated again at each value.
DRAWS_SIMULATED = 128

#: Places in an input's distribution at which it is simulated; between them a draw's margin runs in straight lines.
PLACES = (0.01, 0.15, 0.35, 0.65, 0.85, 0.99)


@dataclass(frozen=True)
class Margins:
    """One statement's margin in each draw at rising values of one input: `values` (points,), `margins` (points, draws).

    `counted`: 1 in the draws that count for the odds, NaN in the others. `offset`: odds in all draws of the assessment less
    odds in these few, every input as it was drawn. Added to the odds of the few at any value, it leaves only the change of
    the odds to them, which scatters far less than the odds.
    """

    values: Floats
    margins: Floats
    counted: Floats
    offset: float = 0.0

    def holding_at(self, values: Floats) -> Floats:
        """Return whether the statement holds at each value, as 0 or 1 with the offset on top, (values, draws)."""
        return np.stack([(self.at(value) >= 0.0) * self.counted + self.offset for value in values])

    def at(self, value: float) -> Floats:
        """Return the margin of each draw at any value between the first and the last, (draws,)."""
        above = int(np.clip(np.searchsorted(self.values, value), 1, len(self.values) - 1))
        low, high = self.values[above - 1], self.values[above]
        weight = (value - low) / (high - low)
        return (1.0 - weight) * self.margins[above - 1] + weight * self.margins[above]


def resimulated_margins(
    assessment: Assessment, keys: Sequence[str], statements: Sequence[Statement], *, workers: Workers | None = None
) -> Mapping[tuple[str, str], Margins]:
    """Return the margins of each (key, statement name), every other input as it was drawn."""
    quantities = assessment.scenario.quantities()
    grids = {key: np.unique(quantities[key].quantile(np.array(PLACES))) for key in keys}
    stride = max(1, assessment.draws // DRAWS_SIMULATED)
    kept = np.arange(0, assessment.draws, stride)
    runs = [(key, float(value)) for key, grid in grids.items() for value in grid]
    if not runs:
        return {}
    draws = np.tile(kept, len(runs))
    values = {key: drawn[draws] for key, drawn in assessment.values.items()}
    for run, (key, value) in enumerate(runs):
        values[key][run * len(kept) : (run + 1) * len(kept)] = value
    random = part_of_design(assessment.design, draws)
    simulation, money = evaluated(assessment.scenario, assessment.world, random, values, workers=workers)
    found = replace(assessment, design=random, values=values, simulation=simulation, valuation=money)
    margins: dict[tuple[str, str], Margins] = {}
    for statement in statements:
        if statement.margin is None:
            continue
        holds, counted = statement.true_in(assessment), statement.counted(assessment)[kept]
        offset = float(np.nanmean(holds) - np.nanmean(holds[kept]))
        rows = statement.margin(found).reshape(len(runs), len(kept))
        for key, grid in grids.items():
            if len(grid) > 1:
                own = [run for run, (varied, _) in enumerate(runs) if varied == key]
                margins[key, statement.name] = Margins(grid, rows[own], counted, offset)
    return margins
