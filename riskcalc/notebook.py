"""What the functions of `api.py` return: figures, a frame, charts, and a card in a notebook.

`figures` is what the command writes as JSON, `frame` a pandas frame, `chart` an altair chart. Nothing is written to disk
unless `save` is called.
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

if TYPE_CHECKING:
    import altair as alt
    import pandas as pd

    from riskcalc.answers.options import Comparison
    from riskcalc.study.model import Assessment

WIDTH = 640


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
        return frame_of(self.columns, ([row[name] for name in self.columns] for row in self.rows), index=self.index)

    def __repr__(self) -> str:
        return f"<{self.figures.get('scenario', 'riskcalc')}: {', '.join(self.figures)}>"


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

        return frame_of(*draw_table(self.assessment), index="draw").replace("", float("inf")).astype(float)

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
        from riskcalc.pages.exhibits import cash, energy, futures, payback, ranking, worth

        page, months = self.page, self.page["first_year_by_month"]
        ranked, currency = ranking.ranked(page), page["currency"]
        drawn: dict[str, Callable[[], alt.TopLevelMixin]] = {
            "futures": lambda: futures.futures_chart(
                *payback.dot_shares(page), width=width, by_stay=payback.by_stay(page)
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
        from riskcalc.pages.exhibits.answer import answer_words
        from riskcalc.pages.exhibits.boxes import key_figures

        page = self.page
        card = card_html(page["title"], answer_words(page), key_figures(page))
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
        return frame_of(columns, rows, index="factor")

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

        return frame_of(*draw_table(self.comparison), index="draw")

    def chart(self, name: str = "spread", *, width: int = WIDTH) -> alt.TopLevelMixin:
        """Return the spread of worth of each choice, or the chart of the first screen ("best")."""
        from riskcalc.pages.exhibits.best import gains_picture
        from riskcalc.pages.exhibits.spread import spread_chart

        drawn = {"spread": spread_chart, "best": gains_picture}
        return _named(drawn, name)(self.figures, width=width)

    def _repr_html_(self) -> str:
        from riskcalc.pages.document import card_html
        from riskcalc.pages.exhibits.options import choices, labels, opening, reasons
        from riskcalc.pages.figures import money, percent

        currency, called = self.figures["currency"], labels(self.figures)
        rows = [
            (
                called[row["option"]],
                money(row["net_present_value"]["mean"], currency),
                f"best in {percent(row['best_share'])}",
            )
            for row in choices(self.figures)
        ]
        card = card_html("Compared", " ".join([opening(self.figures), *reasons(self.figures)]), rows)
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


def frame_of(columns: Sequence[str], rows: Any, *, index: str) -> pd.DataFrame:
    """Return a frame with one of its columns as the index."""
    import pandas as pd

    return pd.DataFrame(list(rows), columns=list(columns)).set_index(index)
