"""Outcomes of many rows of the unit cube, without simulating the same energy twice.

Rows that agree in every column which the simulation reads share one simulation; only their money differs. In Saltelli's
design this makes every price and cost input free, and so is a family that consists of one factor.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.factors import Factors
from riskcalc.money.valuation import valuation
from riskcalc.scenario import Scenario
from riskcalc.study.draw_blocks import Workers
from riskcalc.study.model import World, drawn_values, evaluated, part_of_design
from riskcalc.types import Floats
from riskcalc.uncertainty.draw_axis import of_draws

WORTH, FIRST_YEAR_SAVING = "net_present_value", "first_year_saving"


@dataclass(frozen=True)
class Evaluated:
    """Outcomes of rows, each (rows,), and how many futures had to be simulated for them."""

    outcomes: Mapping[str, Floats]
    simulated: int


def evaluated_rows(
    scenario: Scenario,
    world: World,
    factors: Factors,
    rows: Floats,
    *,
    on_year: Callable[[int], None] | None = None,
    workers: Workers | None = None,
) -> Evaluated:
    """Return worth and first-year saving of each row (rows, columns) of the factors' unit cube."""
    random = factors.design(rows)
    values = drawn_values(scenario, random)
    kept, row_to_kept = distinct(rows[:, factors.energy_columns])
    few = {key: drawn[kept] for key, drawn in values.items()}
    simulation, _ = evaluated(scenario, world, part_of_design(random, kept), few, on_year=on_year, workers=workers)
    money = valuation(scenario, of_draws(simulation, row_to_kept), values, random.path)
    return Evaluated({WORTH: money.net_present_value, FIRST_YEAR_SAVING: money.saving[0]}, len(kept))


def distinct(rows: Floats) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the places of the first of each distinct row, and for each row which of them it equals.

    Without columns all rows are alike.
    """
    if rows.shape[1] == 0:
        return np.zeros(1, dtype=np.int64), np.zeros(len(rows), dtype=np.int64)
    whole = np.ascontiguousarray(rows).view(np.dtype((np.void, rows.dtype.itemsize * rows.shape[1]))).ravel()
    _, first, which = np.unique(whole, return_index=True, return_inverse=True)
    # In order of appearance, so that nothing depends on how bytes sort.
    order = np.argsort(first)
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    return first[order], place[which.ravel()]
