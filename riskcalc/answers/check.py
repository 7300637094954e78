"""What can be said of a scenario before anything is simulated: every named file read, the fit, the loads, questions."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from riskcalc.answers.loads import load_figures
from riskcalc.answers.questions import question_rows, understood_files
from riskcalc.answers.traits import scenario_traits
from riskcalc.money.price_file import read_price_file
from riskcalc.scenario import Scenario, assumptions
from riskcalc.years.electrical import scenario_fit
from riskcalc.years.measured_pv import measured_pv
from riskcalc.years.planes import plane_sets
from riskcalc.years.pools import YearsAtHand, demand_years
from riskcalc.years.schedule import clock_of, price_series, slot_plan


def check_figures(scenario: Scenario) -> dict[str, Any]:
    """Return settings, electrical fit, loads, questions, notes and how each file was understood, ready for JSON.

    Raises
    ------
    InputError
        With what is wrong in a file that the scenario names, or in what follows from several keys.
    """
    weather = YearsAtHand().weather(scenario)
    clock = clock_of(scenario)
    measured = measured_pv(scenario, weather, plane_sets(scenario), clock)
    series = price_series(scenario)
    slot_plan(scenario, clock)
    if scenario.prices.path_file is not None:
        read_price_file(scenario.data_path("prices.path_file"), years=scenario.study.horizon_years)
    demand = None
    if scenario.home.demand.source == "meter":
        place = {"latitude_deg": weather.latitude_deg, "longitude_deg": weather.longitude_deg}
        one_year = scenario.model_copy(update={"study": scenario.study.model_copy(update={"pool_years": 1})})
        demand = demand_years(one_year, clock, only=None if measured is None else measured.paired, **place)
    read = [item for item in (weather, demand, measured, series) if item is not None]
    rows = assumptions(scenario)
    return {
        "scenario": scenario.name,
        "settings": len(rows),
        "defaults": sum(row.is_default for row in rows),
        "files": [used.path for used in scenario.files],
        "uncertain": [asdict(row) for row in rows if row.key in scenario.uncertain()],
        "fit": [asdict(line) for line in scenario_fit(scenario, weather)],
        "loads": load_figures(scenario),
        "questions": question_rows(scenario, weather, demand, measured, series),
        "understood": understood_files(meter_file=demand, weather_file=weather, solar_file=measured),
        "traits": scenario_traits(scenario),
        "notes": [note for item in read for note in item.notes],
    }
