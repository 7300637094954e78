"""Keep the figures of a handful of small runs, so that a change of any of them is seen.

    python tests/studies/kept_figures.py

Writes tests/data/kept_figures.json in some seconds; `tests/test_kept_figures.py` holds every figure against a new run.
This is a record of what the program says, not proof that it is right: other tests hold figures against hand calculations
and published values. A change that moves a figure here on purpose says so in its commit and in reports/changes.md.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

import riskcalc.api

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


#: Name -> what is run. Together they reach the couplings, the kinds of demand and tariff, loans, moves and outages.
RUNS: dict[str, Callable[[], Any]] = {
    "balcony": lambda: _assessed("tenant-balcony", BALCONY),
    "night only": lambda: _assessed("night-only", {"study.draws": 512, "study.horizon_years": 8}),
    "rooftop": lambda: _assessed("terrace-rooftop", ROOFTOP),
    "portable": lambda: _assessed("terrace-portable", {"dispatch.reserve_share": 0.3}),
    "workshop": lambda: _assessed("workshop-off-grid", {"kit.battery.floor_share": 0.2}),
    "metered": _metered,
    "trace": lambda: {"frame": riskcalc.api.trace(_loaded("tenant-balcony"), draw=3, year=2)},
    "compared": lambda: riskcalc.api.compare(_loaded("tenant-balcony"), _loaded("night-only")).figures,
    "ranked": lambda: riskcalc.api.rank(_loaded("night-only", {"study.draws": 64}), points=4).figures,
}


def _loaded(name: str, changes: dict[str, Any] | None = None) -> Any:
    return riskcalc.api.load(Path("scenarios") / f"{name}.toml", COARSE | (changes or {}))


def _assessed(name: str, changes: dict[str, Any]) -> dict[str, Any]:
    found = riskcalc.api.assess(_loaded(name, changes))
    return {"figures": found.figures, "frame": found.frame}


def figures_of(found: Any, path: str = "") -> Iterator[tuple[str, float | None]]:
    """Yield the name and value of every number in an answer but its provenance; no number is None."""
    if isinstance(found, dict):
        for key, value in found.items():
            if key != "provenance":
                yield from figures_of(value, f"{path}.{key}".strip("."))
    elif hasattr(found, "columns"):
        for column in found.columns:
            yield from _in_brief(found[column].to_numpy(float), f"{path}.{column}")
    elif isinstance(found, list | tuple):
        if len(found) > LONGEST and all(isinstance(value, int | float) for value in found):
            yield from _in_brief(np.array(found, float), path)
        else:
            for place, value in enumerate(found):
                yield from figures_of(value, f"{path}[{place}]")
    elif found is None or isinstance(found, int | float):
        yield path, None if found is None else float(f"{found:.{DIGITS}g}")


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
