"""What an assessment says, as plain figures with standard errors: the content of result.json and draws.csv."""

from __future__ import annotations

import math
import platform
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from riskcalc import __version__
from riskcalc.answers.check import load_figures, questions_of, understood_files
from riskcalc.answers.curves import curve_figures
from riskcalc.answers.factors import worth_fit
from riskcalc.answers.foresight import running_figures
from riskcalc.answers.limits import PRICE_LUCK, YEAR_LUCK, limits
from riskcalc.answers.paid_back import payback_result
from riskcalc.dispatch import Flow
from riskcalc.money.alternative import cable_choice, cable_figures, loss_of_load_figures
from riskcalc.money.price_history import HISTORIES, drawn_growth, growth_statistics, read_price_history
from riskcalc.money.returns import measure_figures, worth_by_kind
from riskcalc.money.valuation import Valuation
from riskcalc.scenario import Quantity, Scenario, assumptions, family_of
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.uncertainty import summary
from riskcalc.uncertainty.ranking import Ranking, ranking
from riskcalc.uncertainty.summary import Estimate
from riskcalc.years.failures import FAILURE_LUCK
from riskcalc.years.pools import Pools
from riskcalc.years.schedule import price_series
from riskcalc.years.simulation import Simulation, bridged_outages
from riskcalc.years.store import library_version
from riskcalc.years.tenure import HOME_LUCK, MOVE_LUCK, PERMISSION_LUCK

#: Draws whose rows are made together.
DRAWS_AT_ONCE = 4096
#: Libraries whose version can move a figure.
LIBRARIES = ("numpy", "scipy", "numba", "pvlib", "pandas", "pydantic")

#: Names in words of what chance does and no input describes; each stands before a verb: "... decides most".
LUCK = {
    PRICE_LUCK: "jumps of electricity prices from year to year",
    YEAR_LUCK: "whether weather years are good or bad",
    PERMISSION_LUCK: "whether permission is granted",
    MOVE_LUCK: "when the household moves",
    HOME_LUCK: "whether the next home has sun",
    FAILURE_LUCK: "when the electronics fail",
}
#: Rows of the yearly and the monthly energy behind figures of the first year.
FLOWS_OF = {
    "demand_kwh": (Flow.DEMAND_REACHABLE, Flow.DEMAND_WIRED),
    "reachable_demand_kwh": (Flow.DEMAND_REACHABLE,),
    "import_kwh": (Flow.GRID_IMPORT,),
    "export_kwh": (Flow.GRID_EXPORT,),
    "solar_available_kwh": (Flow.PV_AVAILABLE,),
    "solar_used_kwh": (Flow.PV_USED,),
    "solar_to_load_kwh": (Flow.PV_TO_LOAD,),
    "battery_to_load_kwh": (Flow.BATTERY_TO_LOAD,),
    "grid_to_battery_kwh": (Flow.GRID_TO_BATTERY,),
    "battery_throughput_kwh": (Flow.BATTERY_DISCHARGE,),
    "losses_kwh": (Flow.LOSSES,),
    "unmet_kwh": (Flow.UNMET,),
}


def result(assessment: Assessment) -> dict[str, Any]:
    """Return the figures that the charts need and that take no time; `page_dict.whole_result` adds the others."""
    money, scrambles = assessment.valuation, assessment.design.scrambles
    scenario, pools = assessment.scenario, assessment.world.pools
    found = worth_ranking(assessment)
    return {
        "scenario": assessment.scenario.name,
        "title": assessment.scenario.called,
        "currency": assessment.scenario.currency,
        "horizon_years": assessment.scenario.study.horizon_years,
        **payback_result(assessment),
        "net_present_value": summary.as_dicts(summary.worth_figures(money.net_present_value, scrambles=scrambles)),
        "bought_share": bought_share(assessment).as_dict(),
        "worth_by_kind": summary.as_dicts(worth_by_kind(money, assessment.values, scrambles=scrambles)),
        "measures": {
            name: summary.as_dicts(figures)
            for name, figures in measure_figures(
                money, assessment.simulation, assessment.values, scrambles=scrambles
            ).items()
        },
        **growth_figures(assessment),
        **off_grid_figures(assessment),
        **outage_figures(assessment),
        **running_figures(assessment),
        "first_year": summary.as_dicts(first_year(assessment)),
        **curve_figures(assessment),
        "first_year_p10_p90": first_year_ends(assessment),
        "ranking": ranking_rows(found, assessment.scenario),
        "limits": list(limits(assessment, found)),
        "notes": list(notes(assessment)),
        "understood": understood_files(meter_file=pools.demand, weather_file=pools.weather, solar_file=pools.measured),
        "questions": questions_of(scenario, pools),
        "loads": load_figures(scenario),
        "assumptions": assumption_rows(assessment.scenario),
        "provenance": provenance(assessment),
    }


def notes(assessment: Assessment) -> Iterator[str]:
    """Yield what was done to the data that the run rests on."""
    yield from assessment.world.pools.weather.notes
    yield from assessment.world.pools.demand.notes
    measured = assessment.world.pools.measured
    yield from measured.notes if measured is not None else ()
    series = price_series(assessment.scenario)
    yield from series.notes if series is not None else ()


def bought_share(assessment: Assessment) -> Estimate:
    """Return the share of draws in which the purchase happens: permission may be refused."""
    bought = assessment.simulation.course.bought.astype(np.float64)
    return summary.estimate(bought, summary.mean, scrambles=assessment.design.scrambles)


def growth_figures(assessment: Assessment) -> dict[str, Any]:
    """Return yearly log growth of the drawn import prices beside that of the shipped histories, and the fan of prices.

    `price_fan`: quantiles of the price of each year over the first year's, and the history that the paths are calibrated
    to (the longest one unless `prices.history` names another) over its own last year. {} for a path that does not move.
    """
    path = assessment.valuation.import_path
    drawn = drawn_growth(path)
    if drawn is None:
        return {}
    histories = {name: asdict(growth_statistics(read_price_history(name)[1])) for name in HISTORIES}
    name = assessment.scenario.prices.history or "bls_city_average"
    years, price = read_price_history(name)
    fan = {level: np.quantile(path, share, axis=1).tolist() for level, share in summary.QUANTILES.items()}
    past = {"name": name, "years": years.tolist(), "price_over_last": (price / price[-1]).tolist()}
    return {"price_growth": {"drawn": asdict(drawn), "histories": histories}, "price_fan": {**fan, "history": past}}


def outage_figures(assessment: Assessment) -> dict[str, Any]:
    """Return the hours without supply in the first year and how many of them the kit bridges, if the scenario says."""
    bridged = bridged_outages(assessment.scenario, assessment.simulation, assessment.values)
    if bridged is None:
        return {}
    hours, met = bridged.hours[0], bridged.hours_bridged[0]
    arrays = {
        "hours_per_year": hours,
        "hours_bridged_per_year": met,
        "bridged_share": np.where(hours > 0.0, met / np.where(hours > 0.0, hours, 1.0), 0.0),
        "kwh_served_per_year": bridged.kwh_served[0],
    }
    return {"outages": summary.as_dicts(summary.mean_figures(arrays, scrambles=assessment.design.scrambles))}


def off_grid_figures(assessment: Assessment) -> dict[str, Any]:
    """Return the loss of load of a kit without a supply, and its cost against a cable's if the scenario weighs one."""
    scenario, scrambles = assessment.scenario, assessment.design.scrambles
    if scenario.kit is None or scenario.kit.coupling.traits.on_grid:
        return {}
    figures: dict[str, Any] = {"loss_of_load": loss_of_load_figures(assessment.simulation, scrambles=scrambles)}
    choice = cable_choice(scenario, assessment.valuation, assessment.simulation, assessment.values)
    if choice is not None:
        figures["alternative"] = cable_figures(choice, scrambles=scrambles)
    return {key: {name: summary.as_dicts(part) for name, part in parts.items()} for key, parts in figures.items()}


def first_year_arrays(assessment: Assessment) -> dict[str, Floats]:
    """Return the first year of every draw, (draws,) each: money, energy in kWh, time in minutes."""
    kwh = assessment.simulation.yearly_kwh[:, 0]
    return {
        "saving": assessment.valuation.saving[0],
        "bill_without": assessment.valuation.bill_without[0],
        "bill_with": assessment.valuation.bill_with[0],
        **{name: kwh[list(flows)].sum(axis=0) for name, flows in FLOWS_OF.items()},
        "short_hours": assessment.simulation.short_hours[0],
        "short_days": assessment.simulation.short_days[0],
        "overload_minutes": assessment.simulation.overload_minutes,
        "overload_kwh": assessment.simulation.overload_kwh,
    }


def first_year(assessment: Assessment) -> dict[str, Estimate]:
    """Return the mean of the first year's figures with their standard errors."""
    return summary.mean_figures(first_year_arrays(assessment), scrambles=assessment.design.scrambles)


def first_year_ends(assessment: Assessment) -> dict[str, list[float]]:
    """Return the 10 % and 90 % points over the draws of the first-year figures that vary; saving of those that buy."""
    arrays, bought = first_year_arrays(assessment), assessment.simulation.course.bought
    if bought.any():
        arrays["saving"] = arrays["saving"][bought]
    return {name: np.quantile(drawn, [0.1, 0.9]).tolist() for name, drawn in arrays.items() if np.ptp(drawn) > 0.0}


def worth_ranking(assessment: Assessment) -> Ranking:
    """Return what decides the net present value."""
    return ranking(*worth_fit(assessment))


def labels(scenario: Scenario) -> dict[str, str]:
    """Return the name in words of every setting, and of the luck that is ranked beside the inputs."""
    return {row.key: row.label for row in assumptions(scenario)} | LUCK


def ranking_rows(found: Ranking, scenario: Scenario) -> list[dict[str, Any]]:
    """Return the ranking as plain rows, strongest first; luck has no points of its own."""
    words, quantities = labels(scenario), scenario.quantities()
    rows = [
        {
            "key": row.key,
            "label": words[row.key],
            "family": family_of_ranked(row.key),
            "share_of_variance": {"value": row.share, "standard_error": _known(row.share_se)},
            "input_at_10_and_90_percent": _points(quantities.get(row.key), 0.1, 0.9),
            "worth_at_10_percent": row.low,
            "worth_at_90_percent": row.high,
            "effect": {"value": row.effect, "standard_error": _known(row.effect_se)},
        }
        for row in found.inputs
    ]
    return rows if not rows else [*rows, {"key": "interactions", "share_of_variance": {"value": found.remainder}}]


def family_of_ranked(key: str) -> str:
    """Return the family of a ranked input, luck included."""
    return {PRICE_LUCK: "prices", YEAR_LUCK: "weather"}.get(key) or family_of(key)


def provenance(assessment: Assessment) -> dict[str, Any]:
    """Return what it takes to get the same figures again; nothing in it depends on the day or the machine."""
    return provenance_of(assessment.scenario, assessment.world.pools, draws=assessment.draws)


def provenance_of(scenario: Scenario, pools: Pools, *, draws: int) -> dict[str, Any]:
    """Return the same of a scenario with its pools."""
    return {
        **made_with(scenario, draws=draws),
        "weather": pools.weather.source,
        "demand": pools.demand.source,
        "files": [{"path": used.path, "sha256": used.sha256} for used in scenario.files],
        "overrides": list(scenario.overrides),
    }


def made_with(scenario: Scenario, *, draws: int) -> dict[str, Any]:
    """Return the versions and the numbers of a study with which any answer is made."""
    study = scenario.study
    return {
        "riskcalc": __version__,
        "python": platform.python_version(),
        "libraries": {name: library_version(name) for name in LIBRARIES},
        "seed": study.seed,
        "draws": draws,
        "scrambles": study.scrambles,
        "pool_years": study.pool_years,
        "step_minutes": study.step_minutes,
    }


def draw_table(assessment: Assessment) -> tuple[list[str], Iterable[list[object]]]:
    """Return columns and rows of draws.csv: one row per draw, an empty payback where it never comes."""
    columns = draw_columns(assessment.scenario, assessment.values, assessment.simulation, assessment.valuation)
    return ["draw", *columns], _rows(list(columns.values()))


def _rows(columns: list[Floats]) -> Iterator[list[object]]:
    """Yield a row for each draw, its number first; some draws at a time, since numbers of Python take five times the memory."""
    for first in range(0, len(columns[0]), DRAWS_AT_ONCE):
        some = (column[first : first + DRAWS_AT_ONCE].tolist() for column in columns)
        for draw, cells in enumerate(zip(*some, strict=True), start=first):
            yield [draw, *("" if math.isinf(cell) else cell for cell in cells)]


def draw_columns(
    scenario: Scenario, values: Mapping[str, Floats], simulation: Simulation, money: Valuation
) -> dict[str, Floats]:
    """Return what is written down of each draw, (draws,) each; a payback that never comes is infinite."""
    return {key: values[key] for key in scenario.uncertain()} | {
        "payback_years": money.payback_years,
        "lasting_payback_years": money.lasting_payback_years,
        "discounted_payback_years": money.discounted_payback_years,
        "net_present_value": money.net_present_value,
        "first_year_saving": money.saving[0],
        "bought": simulation.course.bought.astype(np.float64),
        "working_years": simulation.working.sum(axis=0).astype(np.float64),
    }


def assumption_rows(scenario: Scenario) -> list[dict[str, Any]]:
    """Return every setting as a plain row; uncertain ones with the points between which nine in ten lie."""
    names = ("key", "label", "given", "kind", "unit", "source", "is_default", "family")
    quantities = scenario.quantities()
    return [
        {name: getattr(row, name) for name in names} | {"p5_and_p95": _points(quantities.get(row.key), 0.05, 0.95)}
        for row in assumptions(scenario)
    ]


def _points(quantity: Quantity | None, *levels: float) -> list[float] | None:
    if quantity is None or not quantity.is_uncertain:
        return None
    return quantity.quantile(np.array(levels)).tolist()


def _known(error: float) -> float | None:
    return None if np.isnan(error) else error
