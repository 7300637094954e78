"""What months measured after the purchase say about the futures drawn before it: which of them count, and how much.

Every draw is a future that was thought possible before the purchase. Those that expected the measured months count
more from now on, the others less (`weights`). Nothing is simulated again, so the answer is refused where too few draws
carry it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from riskcalc.answers.expected import MODEL_SHARE, Cell, Expected, expected_cells
from riskcalc.answers.measured import Measured, month_name
from riskcalc.errors import one_problem
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.uncertainty.weights import effective_sample_size, likelihood_weights, misfit

#: Draws of equal weight that the answer must be worth; below it a share of 5 % rests on two or three draws.
LEAST_EFFECTIVE = 50.0
#: Standard deviations that the best draw may lie from the measured figures, in the root mean square over all of them.
MOST_MISFIT = 3.0
#: Measured over expected energy beyond which a unit has been mixed up.
UNIT_SLIP = 100.0


@dataclass(frozen=True)
class Update:
    """An assessment revised by measured months; `weights` sum to 1 over its draws."""

    assessment: Assessment
    measured: Measured
    bought: int
    cells: tuple[Cell, ...]
    expected: Expected
    weights: Floats
    model_share: float

    @property
    def effective_draws(self) -> float:
        """How many draws of equal weight the weights are worth."""
        return effective_sample_size(self.weights)


def measured_cells(measured: Measured, scenario: Scenario, *, bought: int | None = None) -> tuple[Cell, ...]:
    """Return every measured figure with its year since the purchase; `bought` is the first whole month of use.

    Raises
    ------
    InputError
        If nothing was bought, a month lies before the purchase or beyond the horizon, or a bill depends on blocks.
    """
    first = int(measured.months[0]) if bought is None else bought
    ends = first + 12 * scenario.study.horizon_years
    for number in measured.months.tolist():
        if not first <= number < ends:
            accepted = f"months from {month_name(first)}, the first after the purchase, to {month_name(ends - 1)}"
            raise one_problem(measured.path, "month", month_name(number), accepted)
    if scenario.kit is None:
        raise one_problem(scenario.file, "kit", "nothing", "a kit: without one there is no purchase to watch over")
    if "bill" in measured.values and scenario.tariff.blocks:
        raise one_problem(
            measured.path, "bill", "bills under a tariff with blocks", "import_kwh instead: blocks count whole periods"
        )
    return tuple(
        Cell(name, (number - first) // 12, number % 12, value)
        for name, column in measured.values.items()
        for number, value in zip(measured.months.tolist(), column.tolist(), strict=True)
        if np.isfinite(value)
    )


def updated(
    assessment: Assessment, measured: Measured, *, bought: int | None = None, model_share: float = MODEL_SHARE
) -> Update:
    """Return the assessment with its draws weighted by how well they expected the measured months.

    Raises
    ------
    InputError
        If the measured figures look like another unit, no draw comes near them, or too few draws do.
    """
    cells = measured_cells(measured, assessment.scenario, bought=bought)
    expected = expected_cells(assessment, cells, model_share=model_share)
    _check_units(measured, cells, expected)
    values = np.array([cell.value for cell in cells])
    misfits = misfit(values[:, None] - expected.mean, expected.covariance)
    possible = assessment.simulation.course.bought
    misfits = np.where(possible, misfits, np.inf)
    if not possible.any() or misfits.min() > MOST_MISFIT**2 * len(cells):
        given = f"{len(cells)} figures that are unlike those of any of the {assessment.draws} futures"
        hint = "check months, units and --bought; or the scenario is too sure of itself: widen its uncertain inputs"
        accepted = "measured figures that the scenario holds possible"
        raise one_problem(measured.path, "", given, accepted, f"{hint}; {_furthest(measured, cells, expected)}")
    weights = likelihood_weights(misfits)
    effective = effective_sample_size(weights)
    if effective < LEAST_EFFECTIVE:
        needed = 2 ** int(np.ceil(np.log2(assessment.draws * LEAST_EFFECTIVE / effective)))
        given = f"{assessment.draws} futures; after weighting by the measurements they count as {effective:.1f}"
        accepted = f"futures that count as {LEAST_EFFECTIVE:.0f} or more after weighting"
        raise one_problem(measured.path, "", given, accepted, f"draw more: --draws {needed}")
    first = int(measured.months[0]) if bought is None else bought
    return Update(assessment, measured, first, cells, expected, weights, model_share)


def _check_units(measured: Measured, cells: tuple[Cell, ...], expected: Expected) -> None:
    for name in measured.values:
        rows = [row for row, cell in enumerate(cells) if cell.quantity == name]
        total = abs(sum(cells[row].value for row in rows))
        usual = abs(float(np.median(expected.mean[rows].sum(axis=0))))
        if usual > 0.0 and total > UNIT_SLIP * usual:
            looks = "cents" if name == "bill" else "watt-hours; this column is in kWh"
            raise one_problem(
                measured.path, name, f"{total:g} in all", f"some {usual:.3g} in all", f"this looks like {looks}"
            )
        if usual > 1.0 and 0.0 < total < usual / UNIT_SLIP:
            looks = "thousands" if name == "bill" else "megawatt-hours; this column is in kWh"
            raise one_problem(
                measured.path, name, f"{total:g} in all", f"some {usual:.3g} in all", f"this looks like {looks}"
            )


def _furthest(measured: Measured, cells: tuple[Cell, ...], expected: Expected) -> str:
    """Return in words which quantity lies furthest from what all draws expect."""
    worst = ("", 0.0, 0.0, 0.0, 0.0)
    for name in measured.values:
        rows = [row for row, cell in enumerate(cells) if cell.quantity == name]
        total = sum(cells[row].value for row in rows)
        low, high = np.quantile(expected.mean[rows].sum(axis=0), [0.0, 1.0]).tolist()
        error = float(np.sqrt(expected.covariance[np.ix_(rows, rows)].sum()))
        away = max(low - total, total - high, 0.0) / error
        if not worst[0] or away > worst[4]:
            worst = (name, total, low, high, away)
    return f"{worst[0]}: {worst[1]:.4g} in all, the futures expect {worst[2]:.4g} to {worst[3]:.4g}"
