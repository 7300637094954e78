"""Keep the figures of a handful of small runs, so that a change of any of them is seen.

    python tests/studies/kept_figures.py

Writes tests/data/kept_figures.json in some seconds; `tests/test_kept_figures.py` holds every figure against a new run.
This is a record of what the program says, not proof that it is right: other tests hold figures against hand calculations
and published values. A change that moves a figure here on purpose says so in its commit and in reports/changes.md.
"""

from __future__ import annotations

import dataclasses
import json
import os
import re
import runpy
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

import riskcalc.api
from riskcalc.answers.ranked import ranked
from riskcalc.answers.rows import ranked_figures
from riskcalc.clock import local_clock
from riskcalc.coupling import Coupling
from riskcalc.demand.appliances import appliance_table
from riskcalc.demand.events import appliance_years
from riskcalc.demand.meter import metered_year, read_meter
from riskcalc.dispatch import dispatch_slow, dispatch_year, trace_year
from riskcalc.money.price_history import HISTORIES, calibrated, growth_statistics, read_price_history
from riskcalc.uncertainty.factor_model import DrawnFactor, factor_model
from riskcalc.uncertainty.indices import Cube, sobol_indices, sobol_rows
from riskcalc.uncertainty.information import information
from riskcalc.uncertainty.odds import odds_ranking
from riskcalc.uncertainty.order import ranking_order
from riskcalc.uncertainty.ranking import factor_shares, ranking
from riskcalc.uncertainty.sampling import unit_cube

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "tests/data/kept_figures.json"
#: Lists of numbers longer than this are kept as their mean and their mean times place.
LONGEST = 6
DIGITS = 12
COARSE = {
    "study.draws": 16,
    "study.scrambles": 4,
    "study.pool_years": 2,
    "study.step_minutes": 30,
    "study.horizon_years": 5,
}

BALCONY = {
    "purchase.loan": {"financed_share": 0.6, "rate_per_year": 0.07, "term_years": 3},
    "purchase.incentive": 50,
    "purchase.discount_share": 0.1,
    "purchase.module_price": 60,
    "purchase.disposal_cost": 25,
    "kit.ageing.failure_chance_per_year": 0.2,
    "kit.ageing.electronics_life_years": 3,
    "purchase.when_worn": "replace",
    "purchase.electronics_replacement_price": 300,
    "purchase.battery_replacement_price": 500,
    "tariff.blocks.second": {"above_kwh": 150, "extra_per_kwh": 0.04},
    "prices.rate_correlation": 0.6,
    "prices.inflation_spread": 0.01,
    "prices.inflation_correlation": 0.4,
    "prices.savings_rate_per_year": 0.02,
    "prices.jump_chance_per_year": 0.4,
    "home.moved_share": 0.5,
    "home.moved_to": "cheap",
    "dispatch.sun_forecast_skill": 0.5,
    "dispatch.target_share": "optimise",
    "study.step_minutes": 15,
}
ROOFTOP = {
    "prices.import_path": [1, 1.2, 1.1, 1.3, 1.3],
    "dispatch.charge_at": ["night"],
    "tariff.rates.night": {"import_price_per_kwh": 0.12, "windows": ["23:00-05:00"]},
    "tariff.rates.peak": {"import_price_per_kwh": 0.5, "windows": ["16:00-19:00"], "days": "weekdays"},
    "dispatch.hold_back_share": 0.4,
    "dispatch.export_stored_at": ["peak"],
    "dispatch.export_stored_above_share": 0.3,
    "dispatch.cheapest_hours_per_day": 3,
    "kit.ageing.law": "nmc",
    "kit.inverter.export_limit_w": 1500,
    "home.car_kwh_per_year": 1800,
    "site.albedo": 0.5,
    "outages": {"per_year": 12, "hours_each": 3, "value_per_kwh": 2, "kit_bridges": True},
}
METERED = {
    "home.appliances": {},
    "home.demand": {"source": "meter", "reachable_share": 0.6, "label": "start"},
    "home.annual_use_kwh": 2600,
    "home.surfaces.balcony": {
        "tilt_deg": 30,
        "azimuth_deg": 120,
        "mounting": "open",
        "monthly_shading": [0.5, 0.4, 0.2, 0.1, 0, 0, 0, 0, 0.1, 0.2, 0.4, 0.5],
        "horizon": [[0, 5], [90, 25], [180, 0], [270, 15]],
    },
}


def _metered() -> dict[str, Any]:
    """Return the balcony metered for ten months of half hours, a night and two days of them missing."""
    times = np.arange("2023-01-01", "2023-11-01", 30, dtype="datetime64[m]")
    place = np.arange(len(times))
    watts = 120 + 90 * (place % 48 > 14) + 900 * (place * 7919 % 97 > 90) + 40 * np.cos(place / 2786.0)
    gone = (place // 48 == 45) | (place // 48 == 46) | ((place > 6002) & (place < 6015))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "meter.csv"
        rows = (
            f"{time},{power:.1f}\n".replace("T", " ") for time, power in zip(times[~gone], watts[~gone], strict=True)
        )
        path.write_text("time,power_w\n" + "".join(rows), encoding="utf-8")
        return _assessed("tenant-balcony", METERED | {"home.demand.file": path.as_posix()})


def _readings(folder: str, minutes: int) -> Path:
    """Write a meter file of the middle of a year: a short and a long gap, a day that lacks most, a peak above any supply."""
    times = np.arange("2023-03-20", "2023-09-10", minutes, dtype="datetime64[m]")
    minute = (times - times[0]).astype(int)
    watts = 90 + 200 * (minute % 1440 > 1000) + 2500 * (minute // 30 * 7919 % 97 > 92) + 60 * np.cos(minute / 9000.0)
    watts[len(watts) // 3] = 70_000
    day, of_day = minute // 1440, minute % 1440
    watts[(day > 90) & (day < 94)] = 0
    gone = (
        (day == 20) & (of_day >= 600) & (of_day < 600 + minutes)
        | (day == 31) & (of_day < 540)
        | (day == 40) & (of_day > 200)
    )
    path = Path(folder) / f"{minutes}.csv"
    rows = (f"{time},{power:.1f}\n".replace("T", " ") for time, power in zip(times[~gone], watts[~gone], strict=True))
    path.write_text("time,power_w\n" + "".join(rows), encoding="utf-8")
    return path


def _meters() -> dict[str, Any]:
    """Return what meter files hold that are read without a list of appliances: of five minutes and of half hours."""
    found: dict[str, Any] = {}
    clock = local_clock("Australia/Sydney", slot_minutes=30)
    with tempfile.TemporaryDirectory() as folder:
        for minutes in (5, 30):
            path = _readings(folder, minutes)
            pool = read_meter(path, clock=clock, years=2, seed=6, step_minutes=5, reachable_share=0.7, southern=True)
            found[f"pool of {minutes} minutes"] = _pool(pool)
            metered = metered_year(path, zone=clock.zone, southern=True)
            days = np.unique(metered.days.date)[::2]
            told = (metered.year_kwh, metered.year_sd_kwh, metered.notes, metered.doubts(4200.0), metered.understood)
            found[f"file of {minutes} minutes"] = {
                "all": _said(told),
                "half": _said(metered.on(days, southern=True).donors),
            }
    return found


def _homes() -> dict[str, Any]:
    """Return made demand of homes that no scenario has: every appliance, too few and too many for the year, a car."""
    every = {key: ("unit", "elsewhere")[place % 2] for place, key in enumerate(appliance_table())}
    few = dict.fromkeys(("lighting", "kettle", "fridge_freezer", "dishwasher"), "unit")
    south = {"clock": local_clock("Australia/Sydney", slot_minutes=30), "latitude_deg": -34.0, "longitude_deg": 151.0}
    north = {"clock": local_clock("Europe/London", slot_minutes=15), "latitude_deg": 57.0}
    car = {"car_kwh_per_year": 2500.0, "car_charger_w": 3000.0, "moved_window": (1320, 420)}
    homes = {
        "all things": (every, south | car | {"occupants": 3.4, "annual_use_kwh": 9000.0, "home_share": 0.7}),
        "unnamed use": (few, north | {"occupants": 1.0, "annual_use_kwh": 3000.0}),
        "scaled down": (few, north | {"annual_use_kwh": 300.0}),
        "as published": (few, north | {"occupants": 4.0}),
    }
    made = {name: appliance_years(owned, years=2, seed=3, step_minutes=5, **of) for name, (owned, of) in homes.items()}
    return {name: _pool(pool) for name, pool in made.items()}


def _pool(pool: Any) -> dict[str, Any]:
    """Return the arrays of a pool of demand, what it says, and the factors that bring it to a year."""
    shares = (np.array([0.0, 0.3, 1.0]), np.array([0.5, 0.0, 1.0]))
    scales = pool.household_scales([2000.0, 3000.0, 4000.0], *shares, [0.5, 1.0, 3.0])
    return {**_said(pool), "minutes": pool.minutes_w(1), "mean": pool.mean_kwh(*shares), "scales": list(scales)}


def _said(found: Any) -> Any:
    """Return an answer with every record as a dict and every sentence as the numbers in it."""
    if dataclasses.is_dataclass(found):
        return {field.name: _said(getattr(found, field.name)) for field in dataclasses.fields(found)}
    if isinstance(found, dict):
        return {name: _said(value) for name, value in found.items()}
    if isinstance(found, list | tuple):
        return [_said(value) for value in found]
    if isinstance(found, str):
        return [float(number.replace(",", "")) for number in re.findall(r"\d[\d,]*(?:\.\d+)?", found)]
    return found


def _functions() -> dict[str, Any]:
    """Return what the methods of sensitivity make of functions that are written down here."""
    place = unit_cube(6, draws=1024, scrambles=8, seed=5)
    level = np.floor(3.0 * place[2])
    members = place[3], 0.7 * place[3] + 0.3 * place[4]
    factors = [
        *(
            DrawnFactor(f"f{row}", "ab"[row], (f"f{row}",), place[row : row + 1], place[row : row + 1] ** 2)
            for row in (0, 1)
        ),
        DrawnFactor("level", "a", ("level",), place[2:3], level[None]),
        DrawnFactor("both", "b", ("one", "other"), np.stack(members), np.stack(members)),
        DrawnFactor("nothing", "b", ("nothing",), place[5:], place[5:]),
    ]
    worth = np.sin(5.0 * place[0]) + (place[1] > 0.7) + 0.3 * level * place[0] + members[0] * members[1] - 0.9
    found: dict[str, Any] = {}
    for name, scrambles, draws in (("scrambles", 8, 1024), ("one round", 1, 1024), ("too few", 8, 64)):
        few = np.concatenate([part[: draws // 8] for part in np.split(np.arange(1024), 8)])
        cut = [dataclasses.replace(each, places=each.places[:, few], values=each.values[:, few]) for each in factors]
        model, own = factor_model(cut, scrambles=scrambles), worth[few]
        fit = model.fit(own)
        payback = np.where(own > -0.4, 12.0 - 3.0 * own, np.inf)
        payback[::9] = np.nan
        with np.errstate(all="ignore"):
            found[name] = _said(
                {
                    "ranking": ranking(model, fit),
                    "shares": factor_shares(model, fit),
                    "information": information(own, model, fit),
                    "odds": [odds_ranking(payback, model, within_years=years, seed=2) for years in (8, 12)],
                    "never": odds_ranking(np.full(len(own), np.nan), model, within_years=8, seed=2),
                }
            )
    cube = Cube(tuple("aabcde"))
    rows = sobol_rows(cube, points=32, seed=4)
    outcome = rows[:, 0] + 2.0 * rows[:, 2] * rows[:, 3] + 0.8 * rows[:, 4] + 0.05 * rows[:, 5]
    indices = sobol_indices(cube, outcome)
    orders = {f"{most} points": ranking_order(indices, points=32, most_points=most, places=4) for most in (64, 2048)}
    return found | _said({"indices": indices, "orders": orders, "tiers": [order.tiers for order in orders.values()]})


def _histories() -> dict[str, Any]:
    """Return what price histories say, and a saving under prices that grow as given."""
    told = {name: [calibrated(name), growth_statistics(read_price_history(name)[1])] for name in HISTORIES}
    grown = {
        "prices.growth_path": [0.2, -0.1, 0.0, 0.3],
        "tariff.rates.winter": {"import_price_per_kwh": 0.4, "windows": ["17:00-20:00"], "months": [1, 2, 12]},
    }
    return {"told": _said(told), "grown": _assessed("night-only", grown)}


def _traces() -> dict[str, Any]:
    """Return a trace of every coupling."""
    asked = {"tenant-balcony": {}, "terrace-portable": {"dispatch.reserve_share": 0.3}, "terrace-rooftop": ROOFTOP}
    asked |= {"workshop-off-grid": {"kit.battery.floor_share": 0.2}, "terrace-tenant": {}}
    return {name: riskcalc.api.trace(_loaded(name, changes), draw=3, year=2) for name, changes in asked.items()}


def _random_days() -> dict[str, Any]:
    """Return what kernel and twin make of random kits and days, with every coupling, slot and period of the sun."""
    made = runpy.run_path(str(ROOT / "tests/dispatch/dispatch_cases.py"))["random_case"]
    found: dict[str, Any] = {}
    for seed, coupling in enumerate(4 * tuple(Coupling)):
        inputs, plan, params, arguments = made(
            40 + seed, days=1, draws=3, years=3, bases=1 + seed % 7, minutes=seed % 5
        )
        found[f"{coupling} {seed} kernel"] = _said(
            dispatch_year(coupling, inputs, plan, params, threads=1, **arguments)
        )
        found[f"{coupling} {seed} twin"] = _said(dispatch_slow(coupling, inputs, plan, params, **arguments))
        one = {name: arguments[name][:, 1] for name in ("plane_weight", "input_limit_w")}
        one |= {"pool_year": 1, "row_minutes": 2, "use_numba": False}
        found[f"{coupling} {seed} trace"] = trace_year(coupling, inputs, plan, params[:, 1], stored_wh=300.0, **one)
    return found


#: Name -> what is run, the quickest first. Together they reach the couplings, the kinds of demand and tariff, loans, moves
#: and outages, the meter files and homes that the scenarios lack, and the methods of sensitivity on functions.
RUNS: dict[str, Callable[[], Any]] = {
    "random days": _random_days,
    "functions": _functions,
    "histories": _histories,
    "homes": _homes,
    "compared": lambda: riskcalc.api.compare(_loaded("tenant-balcony"), _loaded("night-only")).figures,
    "ranked": lambda: ranked_figures(
        ranked(_loaded("night-only", {"study.draws": 64}), points=4, most_points=16, until_settled=True, screen=True)
    ),
    "metered": _metered,
    "meters": _meters,
    "night only": lambda: _assessed("night-only", {"study.draws": 512, "study.horizon_years": 8}),
    "traces": _traces,
    "workshop": lambda: _assessed("workshop-off-grid", {"kit.battery.floor_share": 0.2}),
    "portable": lambda: _assessed("terrace-portable", {"dispatch.reserve_share": 0.3}),
    "balcony": lambda: _assessed("tenant-balcony", BALCONY),
    "rooftop": lambda: _assessed("terrace-rooftop", ROOFTOP),
}


def _loaded(name: str, changes: dict[str, Any] | None = None) -> Any:
    return riskcalc.api.load(Path("scenarios") / f"{name}.toml", COARSE | (changes or {}))


def _assessed(name: str, changes: dict[str, Any]) -> dict[str, Any]:
    found = riskcalc.api.assess(_loaded(name, changes))
    return {"figures": found.figures, "frame": found.frame}


def figures_of(found: Any, path: str = "") -> Iterator[tuple[str, float | None]]:
    """Yield the name and value of every number in an answer but its provenance; what is no number, or endless, is None."""
    if isinstance(found, dict):
        for key, value in found.items():
            if key != "provenance":
                yield from figures_of(value, f"{path}.{key}".strip("."))
    elif hasattr(found, "columns"):
        for column in found.columns:
            yield from _in_brief(found[column].to_numpy(float), f"{path}.{column}")
    elif isinstance(found, np.ndarray):
        yield from _in_brief(found.astype(float).ravel(), path)
    elif isinstance(found, list | tuple):
        if len(found) > LONGEST and all(isinstance(value, int | float) for value in found):
            yield from _in_brief(np.array(found, float), path)
        else:
            for place, value in enumerate(found):
                yield from figures_of(value, f"{path}[{place}]")
    elif found is None or isinstance(found, int | float):
        yield path, None if found is None or not np.isfinite(found) else float(f"{found:.{DIGITS}g}")


def _in_brief(values: np.ndarray, path: str) -> Iterator[tuple[str, float | None]]:
    finite = np.isfinite(values)
    held = np.where(finite, values, 0.0)
    by_place = held * (1.0 + np.arange(len(held)) / len(held))
    for name, figure in (("finite", finite.sum()), ("mean", held.mean()), ("mean times place", by_place.mean())):
        yield f"{path}: {name}", float(f"{figure:.{DIGITS}g}")


def played(name: str) -> dict[str, dict[str, float | None]]:
    """Return the figures of a run by part of the answer, made from the folder that holds `scenarios/`."""
    parts: dict[str, dict[str, float | None]] = {}
    for path, value in figures_of(RUNS[name]()):
        parts.setdefault(".".join(path.split(".")[:2]).partition("[")[0].partition(":")[0], {})[path] = value
    return parts


def main() -> None:
    """Write every figure anew, names left out, and say how many parts moved."""
    os.chdir(ROOT)
    before = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}
    kept = {name: {part: list(row.values()) for part, row in played(name).items()} for name in RUNS}
    rows = (
        ",\n".join(f" {json.dumps(part)}: {json.dumps(row, allow_nan=False)}" for part, row in parts.items())
        for parts in kept.values()
    )
    text = ",\n".join(f"{json.dumps(name)}: {{\n{row}\n}}" for name, row in zip(kept, rows, strict=True))
    KEPT.write_text(f"{{\n{text}\n}}\n", encoding="utf-8")
    for name, parts in kept.items():
        old = before.get(name, {})
        moved = [part for part in parts.keys() | old.keys() if parts.get(part) != old.get(part)]
        sys.stdout.write(f"{name}: {len(parts)} parts, {len(moved)} of them new or moved\n")


if __name__ == "__main__":
    main()
