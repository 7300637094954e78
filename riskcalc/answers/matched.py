"""Every home with every kit on draws that the cells of a home share."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from riskcalc.answers.cells import Cell, Household, Kit, cell, coupling_problem, household
from riskcalc.answers.compare import Comparison, Option, comparison
from riskcalc.answers.shelf import kit_tables, tables_of
from riskcalc.answers.sizes import OTHER, size_problem, sizes_asked
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
    homes = [_household(path, base, changes) for path in sorted(home_files, key=lambda path: path.as_posix())]
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


def _household(path: Path, base: Path | None, changes: Sequence[str]) -> Household:
    return household(path, base=base, tables=sorted(tables_of(path, HOME_TABLES)), changes=changes)


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
