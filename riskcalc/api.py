"""riskcalc from Python: what every command does, as a function. What each returns stands in `notebook.py`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from riskcalc.errors import one_problem
from riskcalc.notebook import Assessed, Compared, Ranked, Told, frame_of
from riskcalc.scenario import Scenario, read_scenario
from riskcalc.scenario.new.text import toml_value

if TYPE_CHECKING:
    import pandas as pd

#: Words of a keyword argument that stand for the dots of a key: purchase__price is purchase.price.
DOT = "__"


def load(path: str | Path, changes: Mapping[str, Any] | None = None, **also: Any) -> Scenario:
    """Return the scenario in a file, with changes laid over it.

    Parameters
    ----------
    path
        The scenario file.
    changes
        Dotted key -> value: a number, a text, a list, or a table such as
        `{"distribution": "uniform", "low": 1, "high": 2}`.
    also
        More changes, with two underscores for each dot: `purchase__price=800`.

    Raises
    ------
    InputError
        With every problem found.
    """
    every = {**(changes or {}), **{name.replace(DOT, "."): value for name, value in also.items()}}
    return read_scenario(path, [f"{key}={toml_value(value)}" for key, value in every.items()])


def assess(scenario: Scenario | str | Path, *, foresight: bool = False, **changes: Any) -> Assessed:
    """Return what becomes of the purchase in every future; `changes` as for `load`, where a path is given.

    With `foresight` its figures also say how near the rule comes to the best there is, which takes some seconds more.
    """
    from riskcalc.study.model import assessment

    return Assessed(assessment(_scenario(scenario, changes)), foresight)


def rank(scenario: Scenario | str | Path, *, points: int = 256, level: float = 0.5, **changes: Any) -> Ranked:
    """Return which assumption decides and which is worth finding out.

    Parameters
    ----------
    points
        Base points of the design, a power of two.
    level
        Odds that break-even values are sought for.
    changes
        As for `load`, where a path is given.
    """
    from riskcalc.answers.ranked import ranked
    from riskcalc.answers.rows import ranked_figures

    if points < 2 or points & (points - 1):
        raise one_problem("rank", "points", points, "a power of two, such as 256")
    found = ranked(
        _scenario(scenario, changes), points=points, most_points=points, until_settled=False, screen=False, level=level
    )
    return Ranked(ranked_figures(found))


def compare(*scenarios: Scenario | str | Path, **changes: Any) -> Compared:
    """Return which of several purchases is best on common futures; doing nothing is always among the choices."""
    from riskcalc.answers.options import comparison

    return Compared(comparison([_scenario(scenario, changes) for scenario in scenarios]))


def check(scenario: Scenario | str | Path, **changes: Any) -> Told:
    """Return what can be said without simulating: settings, electrical fit, loads, questions. Its frame is the fit.

    Raises
    ------
    InputError
        With every problem found, those of the files that the scenario names included.
    """
    from riskcalc.answers.check import check_figures

    found = check_figures(_scenario(scenario, changes))
    return Told(found, ("what", "value", "unit", "bound", "limit", "verdict"), tuple(found["fit"]), "what")


def match(
    homes: Sequence[str | Path] = (),
    kits: Sequence[str | Path] = (),
    *,
    modules: Sequence[int] = (),
    batteries: Sequence[int] = (),
    **changes: Any,
) -> Told:
    """Return every home with every kit, files each, and the pick of each home; its frame has a row per home, kit and size.

    Homes or kits that are not given are those that come with riskcalc. `modules` and `batteries` are numbers to try;
    `changes` as for `load`. As many draws as the command takes unless they are changed.
    """
    from riskcalc.answers import MATCH_DRAWS, MATCH_POOL_YEARS
    from riskcalc.answers.match import cell_table, matching, result
    from riskcalc.scenario.sources import shelf_folder

    quick = {"study.pool_years": MATCH_POOL_YEARS, "study.draws": MATCH_DRAWS}
    every = {**quick, **{name.replace(DOT, "."): value for name, value in changes.items()}}
    found = matching(
        *(
            [Path(path) for path in given] or sorted((shelf_folder() / kind).glob("*.toml"))
            for kind, given in (("homes", homes), ("kits", kits))
        ),
        modules=modules,
        batteries=batteries,
        changes=[f"{key}={toml_value(value)}" for key, value in every.items()],
    )
    columns, rows = cell_table(found)
    return Told(result(found), tuple(columns), tuple(dict(zip(columns, row, strict=True)) for row in rows), "home")


def trace(scenario: Scenario | str | Path, *, draw: int, year: int, **changes: Any) -> pd.DataFrame:
    """Return one future and year step by step, as the command writes it; the times are its index."""
    from riskcalc.answers.trace import step_times, traced_year
    from riskcalc.years.schedule import clock_of

    read = _scenario(scenario, changes)
    columns = traced_year(read, draw=draw, year=year)
    times = step_times(clock_of(read), step_minutes=read.study.step_minutes)
    return frame_of(["time", *columns], zip(times, *columns.values(), strict=True), index="time")


def update(
    scenario: Scenario | str | Path,
    measured: str | Path,
    *,
    bought: str | None = None,
    error: float = 0.05,
    **changes: Any,
) -> Told:
    """Return odds, payback and worth revised by months measured after the purchase; its frame has a row per quantity.

    Parameters
    ----------
    measured
        CSV of months: month, import_kwh, generation_kwh, bill.
    bought
        First whole month of use, such as 2026-04; None: the first in the file.
    error
        What the model leaves out of a month's figure, a share.
    changes
        As for `load`, where a path is given.
    """
    from riskcalc.answers.measured import month_number, read_measured
    from riskcalc.answers.update import update_figures, updated
    from riskcalc.study.model import assessment

    first = None if bought is None else month_number(bought)
    if bought is not None and first is None:
        raise one_problem("update", "bought", bought, "a month such as 2026-04")
    months = read_measured(Path(measured))
    found = update_figures(updated(assessment(_scenario(scenario, changes)), months, bought=first, model_share=error))
    return Told(found, ("quantity", "figures", "measured"), tuple(found["tracks"]), "quantity")


def replay(result: str | Path, *, scenario: str | Path | None = None) -> Told:
    """Return a recorded run, run again and compared; its frame has a row per entry that differs by more than rounding.

    `scenario` says where the scenario lies now, if it was moved.
    """
    from riskcalc.answers.page_dict import whole_result
    from riskcalc.answers.replay import check_unchanged, read_result, recorded_files, replay_figures
    from riskcalc.study.model import assessment

    recorded = read_result(result)
    files = recorded_files(recorded, None if scenario is None else Path(scenario))
    check_unchanged(files)
    again = assessment(read_scenario(files[0][0], recorded["provenance"]["overrides"]))
    found = replay_figures(recorded, whole_result(again, foresight="foresight" in recorded))
    return Told(found, ("key", "recorded", "again"), tuple(found["differences"]), "key")


def sites() -> pd.DataFrame:
    """Return the built-in climates: place, kWh of light a year on the level, source of the figures."""
    from riskcalc.weather.climates import climate, climate_names

    found = [(name, climate(name)) for name in climate_names()]
    columns = ["region", "latitude_deg", "longitude_deg", "altitude_m", "source"]
    rows = ([name, *(getattr(place, key) for key in columns[1:])] for name, place in found)
    return frame_of(columns, rows, index="region")


def _scenario(given: Scenario | str | Path, changes: Mapping[str, Any]) -> Scenario:
    if not isinstance(given, Scenario):
        return load(given, **changes)
    if changes:
        raise TypeError("changes are laid over a file: load(path, ...) gives the changed scenario")
    return given
