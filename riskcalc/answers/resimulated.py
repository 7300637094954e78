"""Margins of statements at several values of an input, simulated again: all inputs and values in one batch.

A batch costs little more than one run of as many draws, because draws that meet the same weather year share its work.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from riskcalc.answers.statements import Statement
from riskcalc.study.draw_blocks import Workers
from riskcalc.study.model import Assessment, evaluated, part_of_design
from riskcalc.types import Floats

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

    def holding_at(self, value: float) -> Floats:
        """Return whether the statement holds in each draw at a value, as 0 or 1 with the offset on top, (draws,)."""
        return (self.at(value) >= 0.0) * self.counted + self.offset

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
