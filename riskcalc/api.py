"""riskcalc from Python: what every command does, as a function, with frames and charts to work on.

Each answer is a small object: `figures` is what the command writes as JSON, `frame` a pandas frame, `chart` an altair
chart, and a notebook shows it as a card. Nothing is written to disk unless `save` is called.
"""

from __future__ import annotations

import base64
import html
import shlex
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from riskcalc.errors import one_problem
from riskcalc.scenario import Scenario, read_scenario
from riskcalc.scenario.new.text import toml_value

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from riskcalc.answers.options import Comparison
    from riskcalc.study.model import Assessment

#: Words of a keyword argument that stand for the dots of a key: purchase__price is purchase.price.
DOT = "__"
WIDTH = 640


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
    return _frame(["time", *columns], zip(times, *columns.values(), strict=True), index="time")


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
    from riskcalc.answers.recorded import read_result
    from riskcalc.answers.replay import check_unchanged, recorded_files, replay_figures
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
    return _frame(columns, rows, index="region")


@dataclass(frozen=True)
class Told:
    """An answer that is all figures: `figures` is what the command prints with --json or writes."""

    figures: dict[str, Any]
    columns: tuple[str, ...] = ()
    rows: tuple[Mapping[str, Any], ...] = ()
    index: str = ""

    @cached_property
    def frame(self) -> pd.DataFrame:
        """The rows of the answer, where it has some."""
        return _frame(self.columns, ([row[name] for name in self.columns] for row in self.rows), index=self.index)

    def __repr__(self) -> str:
        return f"<{self.figures.get('scenario', 'riskcalc')}: {', '.join(self.figures)}>"


def _scenario(given: Scenario | str | Path, changes: Mapping[str, Any]) -> Scenario:
    if not isinstance(given, Scenario):
        return load(given, **changes)
    if changes:
        raise TypeError("changes are laid over a file: load(path, ...) gives the changed scenario")
    return given


@dataclass(frozen=True)
class Assessed:
    """A scenario whose futures have been played; `assessment` holds every array."""

    assessment: Assessment
    foresight: bool = False

    @cached_property
    def figures(self) -> dict[str, Any]:
        """Every figure with its standard error, as in result.json."""
        from riskcalc.answers.page_dict import whole_result

        return whole_result(self.assessment, foresight=self.foresight)

    @cached_property
    def frame(self) -> pd.DataFrame:
        """One row per future, as in draws.csv; payback is infinite where it never comes."""
        from riskcalc.answers.assess import draw_table

        return _frame(*draw_table(self.assessment), index="draw").replace("", float("inf")).astype(float)

    @cached_property
    def page(self) -> dict[str, Any]:
        """What the page shows: the figures, and under `page` what only the page needs."""
        from riskcalc.answers.page_dict import page_dict

        scenario = self.assessment.scenario
        words = ["riskcalc", "assess", scenario.files[0].path]
        for change in scenario.overrides:
            words += ["--set", change]
        words += ["--foresight"] * self.foresight
        return page_dict(self.assessment, command=shlex.join(words), figures=self.figures)

    def chart(self, name: str = "futures", *, width: int = WIDTH) -> alt.TopLevelMixin:
        """Return a chart of the page: futures, odds, cash, worth, shares, swings, demand or solar."""
        from riskcalc.pages.exhibits import cash, energy, payback, ranking, worth

        page, months = self.page, self.page["first_year_by_month"]
        ranked, currency = ranking.ranked(page), page["currency"]
        drawn: dict[str, Callable[[], alt.TopLevelMixin]] = {
            "futures": lambda: payback.futures_chart(
                payback.headline_shares(page), width=width, by_stay=payback.headline_stay(page) is not None
            ),
            "odds": lambda: payback.odds_chart(page, width=width),
            "cash": lambda: cash.cash_chart(page, width=width),
            "worth": lambda: worth.worth_chart(page, width=width),
            "shares": lambda: ranking.share_chart(
                [row["label"] for row in ranked], [row["share_of_variance"] for row in ranked], width=width
            ),
            "swings": lambda: ranking.swing_chart(ranking.swings(page), currency=currency, width=width),
            "demand": lambda: energy.demand_chart(months, width=width),
            "solar": lambda: energy.solar_chart(months, width=width),
        }
        return _named(drawn, name)()

    def html(self) -> str:
        """Return the whole page."""
        from riskcalc.language import speaking
        from riskcalc.pages.page import assess_page

        with speaking(self.assessment.scenario.study.language):
            return assess_page(self.page)

    def save(self, folder: str | Path) -> list[Path]:
        """Write result.json, draws.csv and report.html into a folder, as the command does."""
        from riskcalc.answers.assess import draw_table
        from riskcalc.output import csv_text, json_text, write_files

        table = csv_text(*draw_table(self.assessment))
        texts = {"result.json": json_text(self.figures), "draws.csv": table, "report.html": self.html()}
        return write_files(Path(folder), texts)

    def _repr_html_(self) -> str:
        from riskcalc.pages.document import card_html
        from riskcalc.pages.exhibits.answer import key_figures, verdict_words, worth_in_brief

        page = self.page
        card = card_html(page["title"], f"{verdict_words(page)} {worth_in_brief(page)}", key_figures(page))
        return _with_chart(card, self.chart, words="In how many futures it has paid back, by the year")

    def __repr__(self) -> str:
        return f"<{self.assessment.scenario.called}: {self.assessment.draws:,} futures>"


@dataclass(frozen=True)
class Ranked:
    """What decides the answer, as in ranking.json."""

    figures: dict[str, Any]

    @cached_property
    def frame(self) -> pd.DataFrame:
        """Indices of the worth by factor, strongest first: first and total order with their 95 % intervals."""
        rows = []
        for row in self._factors:
            (first_low, first_high), (total_low, total_high) = (
                row[order]["interval_95"] for order in ("first_order", "total_order")
            )
            first, total = row["first_order"]["value"], row["total_order"]["value"]
            rows.append(
                [
                    *(row["factor"], row["label"], row["family"]),
                    *(first, first_low, first_high, total, total_low, total_high),
                ]
            )
        columns = ["factor", "label", "family", "first", "first_low", "first_high", "total", "total_low", "total_high"]
        return _frame(columns, rows, index="factor")

    def chart(self, *, width: int = WIDTH) -> alt.TopLevelMixin:
        """Return a chart of the first-order shares."""
        from riskcalc.pages.exhibits.ranking import share_chart

        rows = sorted(self._factors, key=lambda row: -row["first_order"]["value"])
        return share_chart([row["label"] for row in rows], [row["first_order"] for row in rows], width=width)

    @property
    def _factors(self) -> list[dict[str, Any]]:
        outcomes = self.figures["sobol"]["outcomes"]
        return outcomes["net_present_value"]["factors"] if "net_present_value" in outcomes else []

    def _repr_html_(self) -> str:
        from riskcalc.pages.document import card_html

        rows = [(row.label, f"{row.first:.2f}", f"{row.total:.2f} in total") for row in self.frame.head(8).itertuples()]
        card = card_html(self.figures["scenario"], "What decides the worth: share of its spread, alone", rows)
        return _with_chart(card, self.chart, words="Share of the spread of the worth, by input")

    def __repr__(self) -> str:
        return f"<{self.figures['scenario']}: {len(self._factors)} factors ranked>"


@dataclass(frozen=True)
class Compared:
    """Choices on common futures; `comparison` holds every array."""

    comparison: Comparison

    @cached_property
    def figures(self) -> dict[str, Any]:
        """Every figure with its standard error, as in the comparison's result.json, lengths of stay left out."""
        from riskcalc.answers.compare import result

        return result(self.comparison)

    @cached_property
    def frame(self) -> pd.DataFrame:
        """Worth of each choice, one row per future, as in the comparison's draws.csv."""
        from riskcalc.answers.compare import draw_table

        return _frame(*draw_table(self.comparison), index="draw")

    def chart(self, name: str = "spread", *, width: int = WIDTH) -> alt.TopLevelMixin:
        """Return the spread of worth of each choice, or how often each is best ("best")."""
        from riskcalc.pages.exhibits.best import best_chart
        from riskcalc.pages.exhibits.spread import spread_chart

        drawn = {"spread": spread_chart, "best": best_chart}
        return _named(drawn, name)(self.figures, width=width)

    def _repr_html_(self) -> str:
        from riskcalc.pages.document import card_html
        from riskcalc.pages.exhibits.options import choices, opening
        from riskcalc.pages.figures import money, percent

        currency = self.figures["currency"]
        rows = [
            (row["title"], money(row["net_present_value"]["mean"], currency), f"best in {percent(row['best_share'])}")
            for row in choices(self.figures)
        ]
        card = card_html("Compared", opening(self.figures), rows)
        return _with_chart(card, self.chart, words="Spread of the worth, by choice")

    def __repr__(self) -> str:
        return f"<{len(self.comparison.options)} choices compared>"


def _with_chart(card: str, chart: Callable[[], alt.TopLevelMixin], *, words: str) -> str:
    """Return a card with a chart below it, as a picture of its own; without, where no chart can be drawn."""
    from riskcalc.pages.engine import EngineMissing
    from riskcalc.pages.look import rendered

    try:
        picture = base64.b64encode(rendered(chart()).encode()).decode()
    except EngineMissing:
        return card
    shown = f'<img alt="{html.escape(words)}" src="data:image/svg+xml;base64,{picture}">'
    return f"{card.removesuffix('</div>')}{shown}</div>"


def _named(drawn: Mapping[str, Any], name: str) -> Any:
    if name not in drawn:
        raise one_problem("chart", "name", name, "one of " + ", ".join(drawn))
    return drawn[name]


def _frame(columns: Sequence[str], rows: Any, *, index: str) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(list(rows), columns=list(columns)).set_index(index)
