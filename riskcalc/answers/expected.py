"""What the measured months should have been: each draw's expectation, and how far a true month may lie from it.

A measured month had its own weather. So the luck of a draw's pool year is taken out of its prediction, and put into the
error instead: how much the months differ between pool years is seen by running one middling household through all of
them. The errors of meter and model come on top.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.monthly import Months, months_of, predicted_months
from riskcalc.money.prices import PricePaths
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.years.simulation import Plant, simulate

#: Error of a household's meter or display, as a share of a month's figure: class A of EN 50470, from memory.
METER_SHARE = 0.02
#: What the model leaves out, as a share of a month's figure: once for each month, once for all months of a quantity
#: together. Common practice, no source.
MODEL_SHARE = 0.05
#: Figures below this share of a quantity's mean month are not told apart: the error of a small month is no smaller.
LEAST_SHARE = 0.05
#: Most that the luck of a pool year is taken to change a month by; beyond it a ratio of small figures speaks.
MOST_LUCK = 4.0


@dataclass(frozen=True)
class Cell:
    """One measured figure: its quantity, year since the purchase, month of the calendar (0..11), and value."""

    quantity: str
    year: int
    month: int
    value: float


@dataclass(frozen=True)
class Expected:
    """Expectation of every cell in every draw, without and with the draw's own luck, (cells, draws), and the errors'.

    `covariance` is that of measured less expected figures, (cells, cells).
    """

    mean: Floats
    with_luck: Floats
    covariance: Floats


def expected_cells(assessment: Assessment, cells: Sequence[Cell], *, model_share: float = MODEL_SHARE) -> Expected:
    """Return what each draw expects for the measured cells, and the covariance of measured less expected."""
    years = 1 + max(cell.year for cell in cells)
    with_luck = _picked(predicted_months(assessment, years=years), cells)
    middling = _picked(middling_months(assessment, years=years), cells)
    pool_year = assessment.design.pool_year
    typical = middling.mean(axis=1)
    mean = np.stack(
        [
            without_luck(with_luck[row], middling[row], pool_year[cell.year], is_energy=cell.quantity != "bill")
            for row, cell in enumerate(cells)
        ]
    )
    size = np.maximum(np.abs(np.median(mean, axis=1)), _least(cells, typical))
    relative = weather_covariance(middling / size[:, None], cells)
    relative += np.diag(np.full(len(cells), METER_SHARE**2 + model_share**2))
    same = np.array([[one.quantity == other.quantity for other in cells] for one in cells])
    relative += model_share**2 * same
    return Expected(mean, with_luck, relative * np.outer(size, size))


def without_luck(months: Floats, middling: Floats, pool_year: NDArray[np.int64], *, is_energy: bool) -> Floats:
    """Return a month of each draw as it would be in a typical pool year, (draws,).

    `middling` holds the month of one household in every pool year. Energies lose the ratio of the draw's pool year to
    the typical one, a bill (which may be negative) the difference.
    """
    typical = middling.mean()
    if not is_energy:
        return months - (middling - typical)[pool_year]
    ratio = np.clip((middling + 1e-9) / (typical + 1e-9), 1.0 / MOST_LUCK, MOST_LUCK)
    return months / ratio[pool_year]


def middling_months(assessment: Assessment, *, years: int) -> Months:
    """Return the months of one household, every input at its median, in each pool year, (years, 12, pool years)."""
    scenario, world = assessment.scenario, assessment.world
    count = world.pools.weather.years
    values = {key: np.full(count, float(np.median(drawn))) for key, drawn in assessment.values.items()}
    pool_year = np.tile(np.arange(count), (scenario.study.horizon_years, 1))
    plant = Plant(scenario, world.pools, world.plan, values, pool_year)
    course = simulate(plant, years=years)
    still = np.ones((scenario.study.horizon_years, count))
    paths = PricePaths((still,) * len(scenario.tariff.rates), still, still, still)
    return months_of(scenario, world, values, pool_year=pool_year, course=course, paths=paths, years=years)


def weather_covariance(months: Floats, cells: Sequence[Cell]) -> Floats:
    """Return the covariance of cells (cells, pool years) between pool years; cells of different years do not correlate.

    Between cells it is drawn towards none by pool years / (pool years + cells): few years cannot tell many
    correlations. A pool of one year has no covariance.
    """
    count, years = months.shape
    if years < 2:
        return np.zeros((count, count))
    centred = months - months.mean(axis=1)[:, None]
    found = np.array([[float((one * other).sum()) for other in centred] for one in centred]) / (years - 1)
    together = np.array([[one.year == other.year for other in cells] for one in cells])
    shrunk = found * together * (years / (years + count))
    np.fill_diagonal(shrunk, np.diag(found))
    return shrunk


def _picked(months: Months, cells: Sequence[Cell]) -> Floats:
    return np.stack([getattr(months, cell.quantity)[cell.year, cell.month] for cell in cells])


def _least(cells: Sequence[Cell], typical: Floats) -> Floats:
    """Return the smallest size that each cell's error is reckoned from, (cells,)."""
    names = np.array([cell.quantity for cell in cells])
    return np.array([max(LEAST_SHARE * np.abs(typical[names == name]).mean(), 0.1) for name in names])
