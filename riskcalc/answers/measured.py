"""Months measured after the purchase: read from a CSV file, one line a month, and compared with what each draw expects.

A measured month had its own weather. So the luck of a draw's pool year is taken out of its prediction, and put into the
error instead: how much the months differ between pool years is seen by running one middling household through all of
them. The errors of meter and model come on top.
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.dispatch import Billed, Flow, SlotPlan
from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.money.bill import Energy, bill, prices_of
from riskcalc.money.prices import PricePaths, paths_of
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment, World
from riskcalc.table_file import csv_rows
from riskcalc.types import Floats, Values
from riskcalc.years.simulation import Plant, Simulation, run_year, simulate

#: Columns that may be measured, with what each holds.
QUANTITIES = {
    "import_kwh": "electricity taken from the grid in the month",
    "generation_kwh": "solar energy that went into the kit in the month, as its display or inverter shows it",
    "bill": "bill of the month, standing charge included, in the scenario's currency",
}
LARGEST_BYTES = 1_000_000
MOST_MONTHS = 720
WHAT = "a CSV file with the columns month (2026-04) and at least one of " + ", ".join(QUANTITIES)
_MONTH = re.compile(r"(\d{4})-(\d{2})")


@dataclass(frozen=True)
class Measured:
    """Measured calendar months in rising order; NaN where a month's figure is missing.

    `months` counts from January of year 0 (12 year + month - 1); `values` maps each quantity to (months,).
    """

    path: str
    sha256: str
    months: NDArray[np.int64]
    values: Mapping[str, NDArray[np.float64]]


def month_number(text: str) -> int | None:
    """Return 12 year + month - 1 for a month such as 2026-04, None for what is none."""
    match = _MONTH.fullmatch(text.strip())
    if match is None or not 1 <= int(match[2]) <= 12 or not 1990 <= int(match[1]) <= 2200:
        return None
    return 12 * int(match[1]) + int(match[2]) - 1


def month_name(number: int) -> str:
    """Return a month as it is written, such as 2026-04."""
    return f"{number // 12:04d}-{number % 12 + 1:02d}"


def read_measured(path: str | Path) -> Measured:
    """Return the months in a CSV file.

    Raises
    ------
    InputError
        With every fault and its line: no such file, no CSV, unknown columns, months that repeat or run backwards,
        figures that are no numbers or negative (a bill may be negative), no figure at all.
    """
    file = Path(path).as_posix()
    content = _content(Path(path))
    try:
        rows = list(csv_rows(file, content.decode("utf-8-sig"), WHAT, strict=True))
    except UnicodeDecodeError as error:
        raise one_problem(file, "", f"byte 0x{content[error.start]:02x} is not UTF-8", WHAT) from error
    header = [cell.strip() for cell in rows[0]] if rows else []
    _check_header(file, header)
    problems: list[Problem] = []
    months: list[int] = []
    table: list[list[float]] = []
    for line, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        cells = dict(zip(header, [*row, *[""] * len(header)], strict=False))
        number = month_number(cells["month"])
        if len(row) > len(header):
            problems.append(Problem(file, f"line {line}", f"{len(row)} cells", f"{len(header)}, as in the first line"))
        elif number is None:
            problems.append(Problem(file, f"line {line}, month", repr(cells["month"]), "a month such as 2026-04"))
        elif months and number <= months[-1]:
            accepted = "months in rising order, each once"
            problems.append(Problem(file, f"line {line}, month", cells["month"].strip(), accepted))
        else:
            months.append(number)
            table.append([_figure(cells.get(name, ""), name, file, line, problems) for name in QUANTITIES])
    if not problems and not any(math.isfinite(value) for row in table for value in row):
        problems.append(Problem(file, "", "no figure", "at least one measured month"))
    if len(months) > MOST_MONTHS:
        problems.append(Problem(file, "", f"{len(months)} months", f"at most {MOST_MONTHS}"))
    if problems:
        raise InputError(problems[:100])
    values = np.array(table)
    held = {name: values[:, place] for place, name in enumerate(QUANTITIES) if np.isfinite(values[:, place]).any()}
    return Measured(file, hashlib.sha256(content).hexdigest(), np.array(months), held)


def _content(path: Path) -> bytes:
    file = path.as_posix()
    try:
        if path.exists() and not path.is_file():
            raise one_problem(file, "", "a folder" if path.is_dir() else "no regular file", WHAT)
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            raise one_problem(file, "", f"{size} bytes", f"{WHAT}; at most {LARGEST_BYTES} bytes")
        return path.read_bytes()
    except FileNotFoundError as error:
        raise one_problem(file, "", "no such file", WHAT) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise one_problem(file, "", f"cannot be read: {reason}", WHAT) from error


def _check_header(file: str, header: list[str]) -> None:
    unknown = [name for name in header if name not in ("month", *QUANTITIES)]
    twice = sorted({name for name in header if header.count(name) > 1})
    if "month" not in header or unknown or twice or not set(header) & set(QUANTITIES):
        raise one_problem(file, "line 1", ", ".join(header) or "nothing", WHAT)


def _figure(text: str, name: str, file: str, line: int, problems: list[Problem]) -> float:
    if not text.strip():
        return math.nan
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    least = -math.inf if name == "bill" else 0.0
    if not math.isfinite(value) or value < least or abs(value) > 1e9 or "_" in text:
        accepted = "a number" if name == "bill" else "a number of 0 or more"
        hint = "write decimals with a point" if re.fullmatch(r"\s*-?\d+,\d+\s*", text) else ""
        problems.append(Problem(file, f"line {line}, {name}", repr(text[:60]), f"{accepted}, or an empty cell", hint))
        return math.nan
    return value


MONTHS = 12


@dataclass(frozen=True)
class Months:
    """Figures of every month, each (years, 12, draws): months of the calendar, years since the purchase.

    `bill` is None where the tariff has blocks, whose charges depend on more than the month's energy.
    """

    import_kwh: Floats
    generation_kwh: Floats
    bill: Floats | None


def predicted_months(assessment: Assessment, *, years: int) -> Months:
    """Return the months of the first `years` of every draw of an assessment."""
    paths = paths_of(assessment.scenario, assessment.values, assessment.design.path)
    return months_of(
        assessment.scenario,
        assessment.world,
        assessment.values,
        pool_year=assessment.design.pool_year,
        course=assessment.simulation,
        paths=paths,
        years=years,
    )


def months_of(
    scenario: Scenario,
    world: World,
    values: Values,
    *,
    pool_year: NDArray[np.int64],
    course: Simulation,
    paths: PricePaths,
    years: int,
) -> Months:
    """Return the months of draws whose wear, failures and moves are known from a simulation.

    Each year is dispatched once more, with the rates told apart by month. `paths` are the prices of
    each year over the first year's.
    """
    plan = plan_by_month(world.plan)
    plant = Plant(scenario, world.pools, plan, values, pool_year)
    shape = (years, MONTHS, plant.draws)
    imported, generated, bills = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    for year in range(years):
        request = plant.year_request(
            year,
            capacity_share=course.capacity_share[year],
            working=course.working[year],
            stored_wh=course.stored_wh[year],
        )
        outcome = run_year(request)
        imported[year] = outcome.monthly_kwh[Flow.GRID_IMPORT]
        generated[year] = outcome.monthly_kwh[Flow.PV_USED]
        billed = outcome.billed_kwh.reshape(len(Billed), len(scenario.tariff.rates), MONTHS, -1)
        energy = Energy(billed, outcome.monthly_kwh[Flow.GRID_EXPORT], MONTH_LENGTHS[:, None])
        bills[year] = bill(prices_of(scenario, values, paths, year=year), energy).with_kit
    return Months(imported, generated, None if scenario.tariff.blocks else bills)


def plan_by_month(plan: SlotPlan) -> SlotPlan:
    """Return the plan with rate r of month m under the index 12 r + m, so that what is billed comes month by month."""
    return replace(plan, rate=plan.rate * MONTHS + plan.month, rates=plan.rates * MONTHS)


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
