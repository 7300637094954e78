"""What can be said of a scenario before anything is simulated: every named file read, the fit, the loads, questions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from itertools import combinations
from typing import Any

from riskcalc.demand.appliances import CAR, Appliance, appliance_table, cycle_phases
from riskcalc.errors import Question
from riskcalc.money.price_file import read_price_file
from riskcalc.scenario import Scenario, assumptions
from riskcalc.scenario.outages import bridges
from riskcalc.scenario.plausible import questions as of_scenario
from riskcalc.weather.doubts import place_questions, weather_questions
from riskcalc.weather.pool import WeatherPool
from riskcalc.years.measured_pv import measured_pv
from riskcalc.years.planes import plane_sets, scenario_fit
from riskcalc.years.pools import Pools, YearsAtHand, demand_years
from riskcalc.years.schedule import clock_of, price_series, slot_plan

#: Power at the start of a motor over its running power. Common practice: small single-phase motors start at three to
#: six times their rated current, universal motors (vacuum, tools) at about two; what heats or lights starts as it runs.
STARTS = {
    **dict.fromkeys(("fridge_freezer", "refrigerator", "chest_freezer", "upright_freezer"), 5.0),
    **dict.fromkeys(("washing_machine", "washer_dryer", "tumble_dryer", "dishwasher", "heating_pump"), 3.0),
    **dict.fromkeys(("vacuum", "power_tools", "hair_dryer"), 2.0),
}
#: Motors that start within a machine that also heats: running power of the motor alone [W]; judgement.
MOTORS = {
    "washing_machine": 350.0,
    "washer_dryer": 350.0,
    "tumble_dryer": 250.0,
    "dishwasher": 80.0,
    "hair_dryer": 100.0,
}
#: What a household socket carries for hours, by country: 10 A at 230 V to 16 A, or 12 A at 120 V (NEC 210.23(A), 80 % of 15 A).
SOCKETS_W = "1,440 W (120 V, 12 A) to 2,300 W (230 V, 10 A)"
MOST_PAIRS = 6


def load_figures(scenario: Scenario) -> dict[str, Any]:
    """Return the check of the loads within the kit's reach as plain figures; {} without a kit or beside the grid.

    Keys: `rating_w`, `surge_w`; `appliances` (name, watts, start_w, verdict "ok", "tight", "start" or "too_much",
    hours_on_full_battery, says); `together` (watts of all at once, verdict, pairs that exceed the rating); `socket`
    (most watts through the wall socket, limit_w or None, verdict); `runtime` (hours of the whole list at its mean
    power, and of what is always on); `usable_kwh`; `metered` where a meter file hides the appliances.
    """
    kit, home = scenario.kit, scenario.home
    if kit is None or kit.coupling == "plug_in":
        return {}
    inverter = kit.inverter
    surge_w = inverter.surge_w or inverter.rating_w
    found: dict[str, Any] = {"rating_w": inverter.rating_w, "surge_w": surge_w, "appliances": []}
    found["socket"] = _socket(scenario)
    usable_kwh = _usable_kwh(scenario)
    found["usable_kwh"] = usable_kwh
    if home.demand.source == "meter":
        found["metered"] = True
        return found
    whole = not kit.coupling.traits.between_mains
    table = appliance_table()
    named = [table[name] for name, place in home.appliances.items() if whole or place == "unit"]
    for appliance in named:
        found["appliances"].append(_row(scenario, appliance, surge_w, usable_kwh))
    found["together"] = _together(found["appliances"], inverter.rating_w)
    mean_w = sum(appliance.kwh_per_year for appliance in named if appliance.key != CAR) / 8.76
    steady = [appliance for appliance in named if appliance.appliance_class == "always_on"]
    steady_w = sum(appliance.kwh_per_year for appliance in steady) / 8.76
    found["runtime"] = {
        "list_mean_w": mean_w,
        "list_hours": _hours(scenario, mean_w, usable_kwh),
        "always_on_mean_w": steady_w,
        "always_on_hours": _hours(scenario, steady_w, usable_kwh),
    }
    return found


def watts_of(appliance: Appliance, *, car_charger_w: float) -> float:
    """Return the most an appliance draws for minutes [W]: the highest phase of its cycle."""
    if appliance.key == CAR:
        return car_charger_w
    phases = cycle_phases().get(appliance.key)
    if not phases:
        return max(appliance.mean_cycle_power_w, appliance.standby_w)
    mean_shape = sum(minutes * power for minutes, power in phases) / sum(minutes for minutes, _ in phases)
    return appliance.mean_cycle_power_w * max(power for _, power in phases) / mean_shape


def _row(scenario: Scenario, appliance: Appliance, surge_w: float, usable_kwh: float) -> dict[str, Any]:
    assert scenario.kit is not None
    rating_w = scenario.kit.inverter.rating_w
    watts = watts_of(appliance, car_charger_w=scenario.home.car_charger_w)
    factor = STARTS.get(appliance.key, 1.0)
    start_w = max(watts, factor * MOTORS.get(appliance.key, watts))
    verdict, says = "ok", ""
    if watts > rating_w:
        verdict = "too_much"
        says = (
            "it runs on the mains, past the unit; in a power cut the unit switches off"
            if scenario.kit.coupling.traits.between_mains
            else "the unit switches off"
            if not scenario.kit.coupling.traits.on_grid
            else "the grid carries the rest; in a power cut the inverter switches off"
        )
    elif start_w > surge_w:
        verdict, says = "start", "its start may switch the unit off: look up the starting current"
    elif watts > 0.8 * rating_w:
        verdict, says = "tight", "hardly anything else may run beside it"
    return {
        "name": appliance.key,
        "watts": watts,
        "start_w": start_w,
        "verdict": verdict,
        "hours_on_full_battery": None if watts > rating_w else _hours(scenario, watts, usable_kwh),
        "says": says,
    }


def _together(rows: list[dict[str, Any]], rating_w: float) -> dict[str, Any]:
    total = sum(row["watts"] for row in rows)
    alone = [row for row in rows if row["watts"] <= rating_w]
    pairs = [
        {"names": [a["name"], b["name"]], "watts": a["watts"] + b["watts"]}
        for a, b in combinations(alone, 2)
        if a["watts"] + b["watts"] > rating_w
    ]
    pairs.sort(key=lambda pair: -pair["watts"])
    return {
        "watts": total,
        "verdict": "ok" if total <= rating_w else "too_much",
        "pairs_too_much": pairs[:MOST_PAIRS],
        "pairs_not_shown": max(len(pairs) - MOST_PAIRS, 0),
    }


def _socket(scenario: Scenario) -> dict[str, Any] | None:
    """Return what the wall socket and its lead may have to carry: loads passed through, and the charger beside them."""
    kit = scenario.kit
    assert kit is not None
    if not kit.coupling.traits.between_mains:
        return None
    charger_w = kit.charger.power_w if kit.charger else 0.0
    watts = kit.inverter.rating_w + charger_w
    limit_w = kit.charger.socket_limit_w if kit.charger else None
    if limit_w is None:
        says = f"no limit is given (kit.charger.socket_limit_w); a household socket and its lead carry {SOCKETS_W} for hours"
        return {"watts": watts, "limit_w": None, "verdict": "not_known", "says": says}
    says = "charging waits while loads pass through" if watts > limit_w else ""
    return {"watts": min(watts, limit_w), "limit_w": limit_w, "verdict": "ok", "says": says}


def _usable_kwh(scenario: Scenario) -> float:
    """Return what the loads get of a full battery [kWh], at half load, before the inverter's own draw."""
    kit = scenario.kit
    assert kit is not None
    battery = kit.battery
    if battery is None:
        return 0.0
    capacity = battery.capacity_kwh.expected() * (1 + battery.extra_batteries) * (1.0 - battery.floor_share.expected())
    return capacity * battery.discharge_efficiency.expected()


def _hours(scenario: Scenario, watts: float, usable_kwh: float) -> float | None:
    """Return how long a full battery carries a steady load [h]; None without a battery or load.

    The inverter takes idle + a out + b out^2, fixed by its efficiency at half and full load, as the simulation has it.
    """
    assert scenario.kit is not None
    inverter = scenario.kit.inverter
    if usable_kwh <= 0.0 or watts <= 0.0:
        return None
    idle = inverter.idle_w.expected() / inverter.rating_w
    half, full = inverter.efficiency_half_load.expected(), inverter.efficiency_full_load.expected()
    out = watts / inverter.rating_w
    taken = idle + (2 / half - 1 / full - 3 * idle) * out + 2 * (1 / full - 1 / half + idle) * out * out
    return usable_kwh * 1000.0 / (taken * inverter.rating_w)


def understood_files(**read: Any) -> dict[str, dict[str, str]]:
    """Return how each file was understood, in words by subject, under the name that the keyword gives it."""
    words = {name.replace("_", " "): dict(getattr(item, "understood", {})) for name, item in read.items()}
    return {name: said for name, said in words.items() if said}


def question_rows(scenario: Scenario, weather: WeatherPool, *data: Any) -> list[dict[str, str]]:
    """Return every question as a plain row with the name of its key in words: of the scenario, its weather, other data.

    Parameters
    ----------
    data
        What else was read from files; each may carry a tuple `questions`.

    Raises
    ------
    InputError
        If the site lies too far from its weather.
    """
    site = scenario.site
    found: list[Question] = [
        *of_scenario(scenario),
        # Years made from a built-in climate are as it is: only what somebody brought is questioned.
        *(() if site.weather.source == "climate" else weather_questions(weather)),
        *place_questions(
            weather,
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            altitude_m=site.altitude_m,
            file=scenario.file,
        ),
    ]
    for item in data:
        found += getattr(item, "questions", ())
    names = {row.key: row.label for row in assumptions(scenario)}
    return [{"label": names.get(asked.key, asked.key), **asdict(asked)} for asked in dict.fromkeys(found)]


def questions_of(scenario: Scenario, pools: Pools) -> list[dict[str, str]]:
    """Return `question_rows` of a scenario and of everything that its pools were made from."""
    return question_rows(scenario, pools.weather, pools.demand, pools.measured, price_series(scenario))


def questions_of_options(asked: Iterable[tuple[str, list[dict[str, str]]]]) -> list[dict[str, Any]]:
    """Return the questions of several options, (name, rows) each: every question once, with the `options` it is asked of."""
    found: dict[tuple[str, ...], dict[str, Any]] = {}
    for name, rows in asked:
        for row in rows:
            found.setdefault(tuple(row.values()), {"options": [], **row})["options"].append(name)
    return list(found.values())


#: Appliances whose content spoils when the power goes unnoticed.
COLD_STORES = ("fridge_freezer", "refrigerator", "chest_freezer", "upright_freezer")


def scenario_traits(scenario: Scenario) -> dict[str, Any]:
    """Return what the cautions of a purchase go by."""
    kit, tenure = scenario.kit, scenario.tenure
    return {
        "coupling": "none" if kit is None else kit.coupling,
        "has_modules": kit is not None and bool(kit.arrays),
        "has_battery": kit is not None and kit.battery is not None,
        "modules_in_series": max((array.modules_in_series for array in kit.arrays.values()), default=0) if kit else 0,
        "renting": tenure is not None and tenure.kind == "rent",
        "exports_stored": bool(scenario.dispatch.export_stored_at),
        "bridges": kit is not None and scenario.outages is not None and bridges(scenario.outages, kit.coupling),
        "cold_store": any(place == "unit" and name in COLD_STORES for name, place in scenario.home.appliances.items()),
    }


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
