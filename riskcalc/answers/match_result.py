"""The content of a matching's result.json and cells.csv."""

from __future__ import annotations

import platform
from collections.abc import Iterable, Mapping
from typing import Any

from riskcalc import __version__
from riskcalc.answers.assess import LIBRARIES, library_version
from riskcalc.answers.cells import Cell
from riskcalc.answers.comparison_result import files, option_rows, panel_of
from riskcalc.answers.matched import MOST_TYPED, HomeMatch, Matching
from riskcalc.answers.option_figures import Pair, pair
from riskcalc.answers.traits import scenario_traits

COLUMNS = (
    "home", "kit", "modules", "batteries", "is_run", "reason", "currency", "worth_mean", "worth_standard_error",
    "worth_p5", "worth_p95", "loss_probability", "paid_back_share", "best_share", "expected_regret", "is_pick",
)  # fmt: skip


def result(found: Matching) -> dict[str, Any]:
    """Return every figure under the names documented in the README, ready for JSON."""
    study = found.homes[0].home.study
    return {
        "horizon_years": study.horizon_years,
        "homes": [home_row(home) for home in found.homes],
        "provenance": {
            "riskcalc": __version__,
            "python": platform.python_version(),
            "libraries": {name: library_version(name) for name in LIBRARIES},
            "seed": study.seed,
            "draws": next((home.found.design.draws for home in found.homes if home.found), study.draws),
            "scrambles": study.scrambles,
            "pool_years": study.pool_years,
            "step_minutes": study.step_minutes,
            "kit_files": list(found.kit_files),
            "files": [
                {"path": path, "sha256": digest}
                for path, digest in sorted(
                    {pair for home in found.homes if home.found is not None for pair in files(home.found)}
                )
            ],
        },
    }


def page_dict(found: Matching, *, figures: Mapping[str, Any], command: str) -> dict[str, Any]:
    """Return everything the page shows: `figures` is `result`; `options` are those of each home as in a comparison."""
    scenarios = [cell.scenario for home in found.homes for cell in home.cells if cell.scenario is not None]
    options = [[] if home.found is None else option_rows(home.found) for home in found.homes]
    traits = [scenario_traits(scenario) for scenario in scenarios]
    own = [_panel(home, len(found.homes)) for home in found.homes]
    return {**figures, "page": {"command": command, "options": options, "traits": traits, "own": own}}


def _panel(home: HomeMatch, homes: int) -> dict[str, Any] | None:
    """Return the panel of one home: own figures for its best kits, which share its tariff."""
    if home.found is None:
        return None
    shown = homes * min(len(home.found.entries), MOST_TYPED)
    return panel_of(home.found, page_options=shown, most=MOST_TYPED)


def home_row(home: HomeMatch) -> dict[str, Any]:
    """Return one home: its pick, how sure that is, and every cell."""
    scenario = home.home
    rows = {} if home.found is None else {row["option"]: row for row in option_rows(home.found)}
    pick = home.pick
    lead = lead_of_pick(home)
    return {
        "file": home.file,
        "home": scenario.home.name,
        "place": scenario.site.place,
        "tenure": None if scenario.tenure is None else scenario.tenure.kind,
        "currency": scenario.currency,
        "pick": None if pick is None else pick.name,
        "pick_best_share": None if pick is None else rows[pick.name]["best_share"],
        "next_best": None if lead is None else lead.second,
        "lead_over_next": None if lead is None else lead.difference["mean"].as_dict(),
        "do_nothing_best_share": rows["do nothing"]["best_share"] if rows else None,
        "cells": [cell_row(cell, rows.get(cell.name), pick=pick.name if pick else None) for cell in home.cells],
        "limits": [] if home.found is None else list(home.found.limits),
        "questions": [] if home.found is None else list(home.found.questions),
    }


def lead_of_pick(home: HomeMatch) -> Pair | None:
    """Return the pick less the next best choice, on the draws they share."""
    if home.found is None or len(home.found.choices) < 2:
        return None
    first, second = home.found.choices[:2]
    return pair(first.name, second.name, first.worth, second.worth, scrambles=home.found.design.scrambles)


def cell_row(cell: Cell, figures: dict[str, Any] | None, *, pick: str | None) -> dict[str, Any]:
    """Return one cell: its figures, or why it was not run."""
    row: dict[str, Any] = {
        "kit": cell.name,
        "title": cell.title,
        "kit_file": cell.kit_file,
        "size": cell.size.words,
        "modules": modules_of(cell),
        "batteries": batteries_of(cell),
        "is_run": figures is not None,
        "reason": cell.reason,
        "is_pick": figures is not None and cell.name == pick,
    }
    if figures is not None:
        wanted = (
            "net_present_value",
            "paid_back_share",
            "payback_years",
            "first_year_saving",
            "outlay",
            "refused_share",
        )
        row |= {name: figures[name] for name in (*wanted, "best_share", "expected_regret")}
    return row


def cell_table(found: Matching) -> tuple[list[str], Iterable[list[object]]]:
    """Return columns and rows of cells.csv: one row per home, kit and size, empty figures where it was not run."""
    rows = (_csv_row(home, row) for home in map(home_row, found.homes) for row in home["cells"])
    return list(COLUMNS), rows


def modules_of(cell: Cell) -> int | None:
    """Return the number of modules of a cell that could be run."""
    if cell.scenario is None or cell.scenario.kit is None:
        return cell.size.modules
    return sum(array.modules for array in cell.scenario.kit.arrays.values())


def batteries_of(cell: Cell) -> int | None:
    """Return the number of batteries of a cell that could be run."""
    if cell.scenario is None or cell.scenario.kit is None:
        return cell.size.batteries
    battery = cell.scenario.kit.battery
    return 0 if battery is None else 1 + battery.extra_batteries


def _csv_row(home: dict[str, Any], row: dict[str, Any]) -> list[object]:
    start = [home["file"], row["kit"], row["modules"], row["batteries"], int(row["is_run"]), row["reason"]]
    if not row["is_run"]:
        return [*start, home["currency"], *[None] * 8, 0]
    worth = row["net_present_value"]
    figures = [worth["mean"]["value"], worth["mean"]["standard_error"]]
    figures += [worth[name]["value"] for name in ("p5", "p95", "loss_probability")]
    figures += [row[name]["value"] for name in ("paid_back_share", "best_share", "expected_regret")]
    return [*start, home["currency"], *figures, int(row["is_pick"])]
