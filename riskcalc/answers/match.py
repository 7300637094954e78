"""Every home with every kit on draws that the cells of a home share: which kit for which home, and how sure that is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from riskcalc.answers.assess import made_with
from riskcalc.answers.cells import Cell, Household, Kit, cell, coupling_problem, household
from riskcalc.answers.check import scenario_traits
from riskcalc.answers.compare import Pair, files, option_rows, pair, panel_of
from riskcalc.answers.options import Comparison, Option, comparison
from riskcalc.answers.shelf import OTHER, kit_tables, size_problem, sizes_asked, tables_of
from riskcalc.errors import one_problem
from riskcalc.scenario import Scenario
from riskcalc.years.pools import YearsAtHand

#: Tables that a home file may hold and that then replace those of the base.
HOME_TABLES = ("site", "home", "tariff", "prices", "tenure", "dispatch", "outages", "alternative")

#: Kits of a home for which a reader may type in own figures, the best on average: more would not fit into the page.
MOST_TYPED = 4

#: Applies a function to items and yields the results in the order of the items.
Over = Callable[[Callable[[Any], Any], Sequence[Any]], Iterable[Any]]


@dataclass(frozen=True)
class HomeMatch:
    """One home: the cells tried, and the comparison of those that could be run (None where none could)."""

    file: str
    home: Scenario
    cells: tuple[Cell, ...]
    found: Comparison | None

    @property
    def pick(self) -> Option | None:
        """The choice worth most on average, doing nothing included; None where no kit could be run."""
        return None if self.found is None else self.found.choices[0]


@dataclass(frozen=True)
class Matching:
    """All homes, sorted by file."""

    homes: tuple[HomeMatch, ...]
    kit_files: tuple[str, ...]


def matching(
    home_files: Sequence[Path],
    kit_files: Sequence[Path],
    *,
    base: Path | None = None,
    modules: Sequence[int] = (),
    batteries: Sequence[int] = (),
    changes: Sequence[str] = (),
    on_home: Callable[[], None] | None = None,
    over: Over = map,
) -> Matching:
    """Return every home with every kit and size.

    `over` applies a function to all homes and yields what comes of them in their order: `map`, or the workers of a
    cluster.

    Raises
    ------
    InputError
        If a home is not sound by itself, or no file is given; what does not fit together is no error but a reason.
    """
    for what, paths in (("homes", home_files), ("kits", kit_files)):
        if not paths:
            raise one_problem(f"--{what}", "", "no file", f"at least one file of {what}")
    homes = [
        household(path, base=base, tables=sorted(tables_of(path, HOME_TABLES)), changes=changes)
        for path in sorted(home_files, key=lambda path: path.as_posix())
    ]
    kits = kits_of(sorted(kit_files, key=lambda path: path.as_posix()))
    currency = common_currency([home.bare for home in homes])
    with_kits = partial(_matched, kits=kits, modules=modules, batteries=batteries, currency=currency, homes=len(homes))
    matched = []
    for found in over(with_kits, homes):
        matched.append(found)
        if on_home is not None:
            on_home()
    return Matching(tuple(matched), tuple(kit.file.as_posix() for kit in kits))


def common_currency(homes: Sequence[Scenario]) -> str:
    """Return the currency of most homes, the first in the alphabet of those that tie: kit files name none."""
    counted = Counter(home.currency for home in homes)
    return min(counted, key=lambda currency: (-counted[currency], currency))


def own_names(paths: Sequence[Path]) -> dict[Path, str]:
    """Return a name for each file: its stem, with the folder in front where two files share a stem."""
    stems = Counter(path.stem for path in paths)
    return {path: path.stem if stems[path.stem] == 1 else f"{path.parent.name}-{path.stem}" for path in paths}


def kits_of(paths: Sequence[Path]) -> list[Kit]:
    """Return the kits of the shelf; those that are called the same have their file's name behind."""
    names, every = own_names(paths), {path: kit_tables(path) for path in paths}
    called = {path: str(tables.get("kit", {}).get("name") or names[path]) for path, tables in every.items()}
    counted = Counter(called.values())
    titles = {path: name if counted[name] == 1 else f"{name} ({names[path]})" for path, name in called.items()}
    return [Kit(path, every[path], names[path], titles[path]) for path in paths]


def _matched(
    home: Household,
    kits: Sequence[Kit],
    *,
    modules: Sequence[int],
    batteries: Sequence[int],
    currency: str,
    homes: int,
) -> HomeMatch:
    # Pools are shared by the cells of one home and let go with it.
    at_hand = YearsAtHand()
    cells = []
    for kit in kits:
        tables = kit.tables
        problem = coupling_problem(home.bare, tables)
        if not problem and home.bare.currency != currency:
            problem = f"prices of this home are in {home.bare.currency}, those of the kits in {currency}"
        if problem:
            cells.append(kit.without(problem))
            continue
        sizes = sizes_asked(tables.get("kit", {}), modules=modules, batteries=batteries)
        sound = [size for size in sizes if not size_problem(tables, size)]
        cells += [cell(home, kit, size, at_hand=at_hand) for size in sound]
        reasons = dict.fromkeys(size_problem(tables, size) for size in sizes if size not in sound)
        if reasons:
            cells.append(kit.without("; ".join(reasons), OTHER))
    run = [tried.scenario for tried in cells if tried.scenario is not None]
    shown = homes * min(len(run), MOST_TYPED)
    found = comparison(run, at_hand=at_hand, page_options=shown) if run else None
    return HomeMatch(home.file.as_posix(), home.bare, tuple(cells), found)


COLUMNS = (
    "home", "kit", "modules", "batteries", "is_run", "reason", "currency", "worth_mean", "worth_standard_error",
    "worth_p5", "worth_p95", "loss_probability", "paid_back_share", "best_share", "expected_regret", "is_pick",
)  # fmt: skip


def result(found: Matching) -> dict[str, Any]:
    """Return every figure under the names documented in reports/README.md, ready for JSON."""
    home = found.homes[0].home
    draws = next((each.found.design.draws for each in found.homes if each.found), home.study.draws)
    return {
        "horizon_years": home.study.horizon_years,
        "homes": [home_row(home) for home in found.homes],
        "provenance": {
            **made_with(home, draws=draws),
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
            "paid_back_within_stay_share",
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
