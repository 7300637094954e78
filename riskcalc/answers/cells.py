"""One home with one kit in one size: a scenario, or the reason why there is none.

The home file gives site, home, tenure and what else it holds; the kit file gives kit and purchase. Three things are
settled here, because neither file can know the other:

- modules of a portable or plug-in kit go on the first surface that is not a roof and has room for them, unless the kit
  names its surface;
- a kit that cannot be charged from the supply, or cannot sell what it has stored, is not asked to, whatever the home's
  [dispatch] says, and one without modules is filled whole;
- a fixed system is not put into a rented home, nor an off-grid kit into a home with a supply.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from riskcalc.answers.shelf import Size, arrangements, taking
from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.scenario import Scenario, read_scenario
from riskcalc.scenario.new.shelf import traits_in
from riskcalc.scenario.new.text import toml_value
from riskcalc.years.planes import scenario_fit
from riskcalc.years.pools import YearsAtHand


@dataclass(frozen=True)
class Cell:
    """A kit in a size, in a home: `scenario`, or `reason` why it was not run; `title` is what a reader calls it."""

    kit_file: str
    size: Size
    name: str
    title: str
    scenario: Scenario | None = None
    reason: str = ""


@dataclass(frozen=True)
class Kit:
    """A kit of the shelf: its file, its tables as they stand, its name and what a reader calls it."""

    file: Path
    tables: Mapping[str, Any]
    name: str
    title: str

    def without(self, reason: str, size: Size | None = None) -> Cell:
        """Return the cell of this kit that was not run."""
        size = size or Size()
        name = self.name + (f" ({size.words})" if size.words else "")
        return Cell(self.file.as_posix(), size, name, size.titled(self.title), reason=reason)


#: Tables of a whole scenario that speak of its own kit.
OWN_KIT = ("kit", "purchase", "claims")


@dataclass(frozen=True)
class Household:
    """A home of the shelf: the file a scenario starts from, the changes that make it this home, and it without kit."""

    file: Path
    base: Path
    changes: tuple[str, ...]
    bare: Scenario
    leave_out: tuple[str, ...] = ()


def cell(household: Household, kit: Kit, size: Size, *, at_hand: YearsAtHand) -> Cell:
    """Return the cell of a home, a kit and a size."""
    kit_file, tables = kit.file, kit.tables
    label = kit.name + (f" ({size.words})" if size.words else "")
    found = Cell(kit_file.as_posix(), size, label, size.titled(kit.title))
    reasons: list[str] = []
    for changes in _attempts(household.bare, tables, size):
        try:
            scenario = read_scenario(
                household.base,
                [
                    *household.changes,
                    *(taking(table, kit_file) for table in ("kit", "purchase") if table in tables),
                    *changes,
                    f"name={toml_value(label)}",
                    f"title={toml_value(found.title)}",
                ],
                leave_out=household.leave_out,
            )
        except InputError as error:
            reasons.append(_reason(error))
            continue
        refused = [
            f"{line.what}: {line.value:.4g} {line.unit}, limit {line.limit:.4g} {line.unit}"
            for line in scenario_fit(scenario, at_hand.weather(scenario))
            if line.verdict == "refused"
        ]
        if not refused:
            return replace(found, scenario=scenario)
        reasons.append("; ".join(refused))
    return _refused(found, reasons[-1])


def coupling_problem(home: Scenario, tables: Mapping[str, Any]) -> str:
    """Return why a kit does not belong in a home, empty where it does."""
    traits = traits_in(tables)
    renting = home.tenure is not None and home.tenure.kind == "rent"
    if traits.fixed and renting:
        return "a fixed system belongs to the building, and this home is rented"
    if not traits.on_grid and home.home.supply == "grid":
        return "an off-grid kit, and this home has a supply from the grid"
    if traits.on_grid and home.home.supply == "none":
        return "a kit that needs the grid, and this home has no supply"
    return ""


def _attempts(home: Scenario, tables: Mapping[str, Any], size: Size) -> Iterator[list[str]]:
    """Yield changes to try, in order of preference: surfaces within arrangements."""
    common = [*_dispatch_changes(home, tables), *_battery_changes(size)]
    for arrangement in _arrangement_changes(tables, size):
        for surfaces in _surface_changes(home, tables):
            yield [*common, *arrangement, *surfaces]


def _battery_changes(size: Size) -> list[str]:
    return [] if size.batteries is None else [f"kit.battery.extra_batteries={size.batteries - 1}"]


def _arrangement_changes(tables: Mapping[str, Any], size: Size) -> list[list[str]]:
    if size.modules is None:
        return [[]]
    (name,) = tables["kit"]["arrays"]
    start = f"kit.arrays.{name}"
    return [
        [f"{start}.modules_in_series={series}", f"{start}.strings_in_parallel={parallel}"]
        for series, parallel in arrangements(size.modules)
    ]


def _surface_changes(home: Scenario, tables: Mapping[str, Any]) -> list[list[str]]:
    """Return which surface the arrays go on, best first; what the kit file names is left alone."""
    kit = tables.get("kit", {})
    arrays = kit.get("arrays", {})
    open_ended = [name for name, array in arrays.items() if isinstance(array, dict) and "surface" not in array]
    if not open_ended or not home.home.surfaces:
        return [[]]
    surfaces = [
        name
        for name, surface in home.home.surfaces.items()
        if not traits_in(tables).self_installed or surface.mounting != "roof"
    ]
    # A home with roofs only has no place for them; the scenario is then refused in its own words.
    if not surfaces:
        return [[f'kit.arrays.{name}.surface="a balcony, wall or garden"' for name in open_ended]]
    return [[f'kit.arrays.{name}.surface="{surface}"' for name in open_ended] for surface in surfaces]


def _dispatch_changes(home: Scenario, tables: Mapping[str, Any]) -> list[str]:
    kit = tables.get("kit", {})
    changes = []
    if home.dispatch.export_stored_at and ("battery" not in kit or not traits_in(tables).may_export):
        changes += ["dispatch.export_stored_at=[]", "dispatch.export_stored_hours_per_day=24"]
    chargeable = "charger" in kit and "battery" in kit and traits_in(tables).on_grid
    if not chargeable:
        charging = ["dispatch.charge_at=[]", "dispatch.cheapest_hours_per_day=24"]
        return changes + charging if home.dispatch.charge_at else changes
    return changes if kit.get("arrays") else [*changes, "dispatch.target_share=1.0"]


def _reason(error: InputError) -> str:
    return "; ".join(_said(problem) for problem in error.problems)


def _said(problem: Problem) -> str:
    """Return a problem of a kit in a home that is not its own, as a reader of the page can take it."""
    parts = problem.key.split(".")
    if parts[:2] == ["kit", "arrays"] and problem.accepted.startswith("a home with usable sun"):
        return "it needs a home with usable sun, and this one has none"
    if parts[:2] == ["kit", "arrays"] and parts[-1] == "surface" and ": " in problem.accepted:
        there = problem.accepted.partition(": ")[2]
        return f"its modules are meant for a surface called {problem.given}, and this home has {there}"
    return f"{problem.key}: {problem.given}; accepted: {problem.accepted}"


def _refused(found: Cell, reason: str) -> Cell:
    return replace(found, reason=reason)


def household(file: Path, *, base: Path | None, tables: Sequence[str], changes: Sequence[str]) -> Household:
    """Return a home of the shelf, checked by itself.

    Parameters
    ----------
    file
        The home file.
    base
        A scenario that gives what the home file lacks; None: the home file is complete by itself.
    tables
        The tables that the home file holds.
    changes
        Changes of every scenario, from the command line.

    Raises
    ------
    InputError
        If the home is not sound, or the base brings a kit of its own.
    """
    # A whole scenario is a home too: its own kit makes way for those of the shelf.
    leave_out = OWN_KIT if base is None else ()
    start = file if base is None else base
    own = [] if base is None else [taking(table, file) for table in tables]
    # Changes of kit and purchase have nothing to change yet.
    bare = read_scenario(
        start,
        [*own, *(change for change in changes if not change.startswith(("kit.", "purchase.")))],
        leave_out=leave_out,
    )
    if bare.kit is not None:
        accepted = "nothing: the kits are those of the shelf"
        raise one_problem(start.as_posix(), "kit", "a kit", accepted, "take [kit] and [purchase] out")
    return Household(Path(os.path.relpath(file)), start, (*own, *changes), bare, leave_out)
