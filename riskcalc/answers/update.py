"""What months measured after the purchase say about the futures drawn before it: which of them count, and how much.

Every draw is a future that was thought possible before the purchase. Those that expected the measured months count
more from now on, the others less (`weights`). Nothing is simulated again, so the answer is refused where too few draws
carry it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.assess import labels, provenance
from riskcalc.answers.factors import worth_fit
from riskcalc.answers.measured import METER_SHARE, MODEL_SHARE, Cell, Expected, Measured, expected_cells, month_name
from riskcalc.answers.rows import joined_label
from riskcalc.errors import one_problem
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.uncertainty.summary import QUANTILES, jackknife
from riskcalc.uncertainty.weights import (
    effective_sample_size,
    likelihood_weights,
    misfit,
    weighted_estimate,
    weighted_mean,
    weighted_quantile,
    weighted_share,
)

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


#: Whether more of it is good.
MORE_IS_GOOD = {"import_kwh": False, "generation_kwh": True, "bill": False}
#: Fewer months than this leave seasons out.
WHOLE_YEAR = 12
BEHIND, ON_TRACK, AHEAD = "behind", "on track", "ahead"


def update_figures(update: Update) -> dict[str, Any]:
    """Return everything the update says, as plain figures with standard errors."""
    found, measured = update.assessment, update.measured
    scenario, months = found.scenario, measured.months
    bought = found.simulation.course.bought
    equal = bought / bought.sum()
    tracks = [track_of(update, name) for name in measured.values]
    before, revised = outlook(found, equal), outlook(found, update.weights)
    return {
        "scenario": scenario.name,
        "currency": scenario.currency,
        "horizon_years": scenario.study.horizon_years,
        "measured": {
            "file": measured.path,
            "sha256": measured.sha256,
            "bought": month_name(update.bought),
            "from": month_name(int(months[0])),
            "to": month_name(int(months[-1])),
            "months": len(months),
            "figures": len(update.cells),
        },
        "errors": {"meter_share": METER_SHARE, "model_share": update.model_share},
        "draws": found.draws,
        "effective_draws": update.effective_draws,
        "verdict": verdict_of(tracks),
        "tracks": tracks,
        "bill_per_kwh": bill_per_kwh(update),
        "before": before,
        "revised": revised,
        "counts_later_homes": bool(found.simulation.course.moved_along[:, bought].any()),
        "odds_moved": odds_moved(update, before, revised),
        "inputs": input_rows(update),
        "limits": list(limits_of(update)),
        "provenance": provenance(found),
    }


def track_of(update: Update, name: str) -> dict[str, Any]:
    """Return the measured total of a quantity beside what was expected of the same months, with their own weather."""
    rows = [row for row, cell in enumerate(update.cells) if cell.quantity == name]
    total = float(sum(update.cells[row].value for row in rows))
    own = update.assessment.simulation.course.bought
    drawn = update.expected.with_luck[rows].sum(axis=0)[own]
    low, middle, high = np.quantile(drawn, [0.1, 0.5, 0.9]).tolist()
    place = "above" if total > high else "below" if total < low else "within"
    good = place == "within" or (place == "above") == MORE_IS_GOOD[name]
    return {
        "quantity": name,
        "figures": len(rows),
        "measured": total,
        "expected": {"p10": low, "p50": middle, "p90": high},
        "place": place,
        "verdict": ON_TRACK if place == "within" else AHEAD if good else BEHIND,
    }


def bill_per_kwh(update: Update) -> dict[str, Any] | None:
    """Return the bill per kWh taken from the grid as measured and as expected, where both were measured.

    It tells prices from use: a bill may be as expected because fewer kWh were bought at dearer prices. It holds the
    standing charge. Months without either figure are left out.
    """
    row_of = {(cell.quantity, cell.year, cell.month): row for row, cell in enumerate(update.cells)}
    pairs = [
        (row, row_of["import_kwh", cell.year, cell.month])
        for row, cell in enumerate(update.cells)
        if cell.quantity == "bill" and ("import_kwh", cell.year, cell.month) in row_of
    ]
    own = update.assessment.simulation.course.bought
    if not pairs:
        return None
    bills, imports = (list(rows) for rows in zip(*pairs, strict=True))
    bought = update.expected.with_luck[imports].sum(axis=0)[own]
    measured = [sum(update.cells[row].value for row in rows) for rows in (bills, imports)]
    if measured[1] <= 0.0 or not (bought > 0.0).all():
        return None
    low, middle, high = np.quantile(
        update.expected.with_luck[bills].sum(axis=0)[own] / bought, [0.1, 0.5, 0.9]
    ).tolist()
    return {"measured": float(measured[0] / measured[1]), "expected": {"p10": low, "p50": middle, "p90": high}}


def odds_moved(update: Update, before: dict[str, Any], revised: dict[str, Any]) -> dict[str, Any]:
    """Return by how much the odds of payback moved, and which factor moved them by how much, largest first.

    A sum of smooth functions of the factors is fitted to payback (yes or no) over the draws before the purchase. The
    change of its mean under the new weights is, factor by factor, the change of the odds; what the sum does not follow
    is the rest. Errors: scrambles left out one at a time.
    """
    found, within = update.assessment, revised["paid_back_within"]["years"]
    change = revised["paid_back_within"]["value"] - before["paid_back_within"]["value"]
    bought = found.simulation.course.bought
    model = worth_fit(found)[0].among(bought)
    fit = model.fit((found.valuation.payback_years <= within) * 1.0)
    words, followed = labels(found.scenario), 0.0
    rows: list[dict[str, Any]] = []
    for factor in model.factors:
        if fit is None:
            break
        own = fit.parts[:, model.positions(factor.members)].sum(axis=1)
        moved = [_moved(part, update.weights[model.used], seen) for part, seen in zip(own, fit.seen, strict=True)]
        followed += moved[0]
        label = joined_label(factor.members, words)
        change_of = {"value": moved[0], "standard_error": float(jackknife(np.array(moved[1:])))}
        rows.append({"key": factor.name, "label": label, "change": change_of})
    rows.sort(key=lambda row: -abs(row["change"]["value"]))
    return {"within_years": within, "change": change, "rows": rows, "rest": change - followed}


def _moved(part: Floats, weights: Floats, seen: Floats) -> float:
    """Return the mean of a part under the weights less its plain mean, over the draws that a round has seen."""
    return weighted_mean(part, weights * seen) - weighted_mean(part, seen)


def verdict_of(tracks: list[dict[str, Any]]) -> str:
    """Return behind if any quantity is, else ahead if any is, else on track."""
    verdicts = [track["verdict"] for track in tracks]
    return next((verdict for verdict in (BEHIND, AHEAD) if verdict in verdicts), ON_TRACK)


def outlook(found: Assessment, weights: Floats) -> dict[str, Any]:
    """Return odds, payback and worth under these weights of the draws, each with its standard error."""
    money, study = found.valuation, found.scenario.study
    within = min(study.odds_within_years or study.horizon_years, study.horizon_years)
    payback, worth = money.payback_years, money.net_present_value

    def said(values: NDArray[Any], statistic: Any) -> dict[str, float | None]:
        return weighted_estimate(values, weights, statistic, scrambles=found.design.scrambles).as_dict()

    def quantiles(values: Floats) -> dict[str, dict[str, float | None]]:
        return {
            name: said(values, lambda part, weight, share=share: weighted_quantile(part, weight, share))
            for name, share in QUANTILES.items()
        }

    return {
        "paid_back_within": {"years": within, **said((payback <= within) * 1.0, weighted_share)},
        "payback_years": {**quantiles(payback), "never_share": said(np.isinf(payback) * 1.0, weighted_share)},
        "net_present_value": {
            "mean": said(worth, weighted_mean),
            **quantiles(worth),
            "loss_probability": said((worth < 0) * 1.0, weighted_share),
        },
    }


def input_rows(update: Update) -> list[dict[str, Any]]:
    """Return what is now thought of each uncertain input, most changed first.

    `shift` is the change of its mean over its standard deviation before, `narrowed` how much of that deviation is left.
    """
    rows, words = [], labels(update.assessment.scenario)
    bought = update.assessment.simulation.course.bought
    equal = bought / bought.sum()
    for key in update.assessment.scenario.uncertain():
        drawn = update.assessment.values[key]
        before, now = (_mean_sd(drawn, weights) for weights in (equal, update.weights))
        rows.append(
            {
                "key": key,
                "label": words[key],
                "before": _three(drawn, equal),
                "revised": _three(drawn, update.weights),
                "shift": (now[0] - before[0]) / before[1] if before[1] > 0.0 else 0.0,
                "narrowed": now[1] / before[1] if before[1] > 0.0 else 1.0,
            }
        )
    return sorted(rows, key=lambda row: (-abs(row["shift"]), row["key"]))


def limits_of(update: Update) -> Iterator[str]:
    """Yield what this update cannot say, in words for the answer itself."""
    months = len({(cell.year, cell.month) for cell in update.cells})
    if months == 1:
        yield "1 month was measured: what the other seasons bring is still as uncertain as before"
    elif months < WHOLE_YEAR:
        yield f"{months} months were measured: what the other seasons bring is still as uncertain as before"
    if update.assessment.world.pools.weather.years == 1:
        yield "one pool year: how far a month's weather may lie from the usual is not known; revised too sharply"
    if "generation_kwh" not in update.measured.values:
        yield "generation was not measured, so more sun and lower use are hard to tell apart"
    if not update.assessment.simulation.course.bought.all():
        yield "only futures in which you buy count here, so the figures before may differ from those of the first report"


def _three(drawn: Floats, weights: Floats) -> dict[str, float]:
    return {
        name: weighted_quantile(drawn, weights, share) for name, share in (("p10", 0.1), ("p50", 0.5), ("p90", 0.9))
    }


def _mean_sd(drawn: Floats, weights: Floats) -> tuple[float, float]:
    mean = weighted_mean(drawn, weights)
    return mean, float(np.sqrt(weighted_mean((drawn - mean) ** 2, weights)))
