"""The page itself: one HTML file that needs nothing beside it, from the figures in `ReportData`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from riskcalc.pages import words
from riskcalc.pages.charts.drawing import start_renderer
from riskcalc.pages.charts.sketch import HEIGHT, WIDTH, sketch_path
from riskcalc.pages.check import check_report
from riskcalc.pages.data import Assumption, Figure, FitRow, ReportData
from riskcalc.pages.details import detail_tables
from riskcalc.pages.document import html_document, own_text, page_template
from riskcalc.pages.energy_exhibits import demand_exhibit, solar_exhibit, week_exhibits
from riskcalc.pages.exhibits import cash_exhibit, futures_exhibit, odds_exhibit, ranking_exhibits, worth_exhibit
from riskcalc.pages.explorer import explorer_json
from riskcalc.pages.insight import insight_words
from riskcalc.pages.labels import capital, shown_unit
from riskcalc.pages.rounding import (
    NARROW_SPACE,
    NO_BREAK,
    energy,
    error,
    money,
    money_estimate,
    percent,
    percent_error,
    percent_estimate,
    significant,
    with_unit,
    years,
)
from riskcalc.uncertainty.quantity import counted

UNKNOWN = float("nan")
TEMPLATE = "page.html.j2"


@dataclass(frozen=True)
class KeyFigure:
    """One of the large figures under the answer: words, the figure, its error, a line below."""

    label: str
    figure: str
    below: str


def write_report(report: ReportData, path: Path) -> None:
    """Write the page to `path`."""
    path.write_text(report_html(report), encoding="utf-8")


def get_ready() -> None:
    """Do what the first page of a process waits for, a second and a half: start the renderer, compile the template."""
    start_renderer()
    page_template(TEMPLATE)


def report_html(report: ReportData) -> str:
    """Return the whole page as one HTML document without a reference to anything outside it.

    Raises
    ------
    ValueError
        If the figures contradict one another or have the wrong shape: see `check_report`.
    """
    check_report(report)
    explorer = explorer_json(report)
    return html_document(
        TEMPLATE,
        script=own_text("explorer.js") if explorer else "",
        report=report,
        explorer=explorer,
        all_futures=_all_futures(report),
        opening=words.opening(report),
        brief=words.worth_in_brief(report),
        answer=words.answer(report),
        refusals=[row for row in report.fit if row.verdict == "refused"],
        key_figures=key_figures(report),
        futures=futures_exhibit(report),
        odds=odds_exhibit(report),
        cash=cash_exhibit(report),
        worth=worth_exhibit(report),
        ranking=ranking_exhibits(report),
        demand=demand_exhibit(report),
        solar=solar_exhibit(report),
        weeks=week_exhibits(report),
        money_details=detail_tables(report.details, report.currency, with_money=True),
        energy_details=detail_tables(report.details, report.currency, with_money=False),
        first_year=[_first_year_row(figure, report.currency) for figure in report.first_year],
        fit_title=_fit_title(report.fit),
        fit=[_fit_cells(row) for row in report.fit],
        insight=None if report.insight is None else insight_words(report.insight, report.currency),
        assumption_groups=_assumption_groups(report.assumptions),
        sketch_size=(WIDTH, HEIGHT),
    )


def key_figures(report: ReportData) -> list[KeyFigure]:
    """Return the large figures under the answer."""
    payback, worth, currency = report.payback, report.worth, report.currency
    saving = next(figure for figure in report.first_year if figure.key == "saving")
    paid = words.paid_share(report)
    never = percent_estimate(payback.never_share)
    half = years(payback.p50)
    quarter = payback.p25
    return [
        KeyFigure(
            f"paid back within {counted(report.horizon_years, 'year')}",
            percent_estimate(paid),
            f"{_error_words(percent_error(paid))}{never} never",
        ),
        KeyFigure(
            "half have paid back after",
            half,
            "fewer than half ever do" if payback.p50.value is None else f"a quarter after {years(quarter)}",
        ),
        KeyFigure(
            "worth in today’s money, average",
            money_estimate(worth.mean, currency),
            f"{_error_words(error(worth.mean.se))}{percent_estimate(worth.loss_probability)} lose money",
        ),
        KeyFigure(
            "saved in the first year, average",
            money_estimate(saving.mean, currency),
            "the same in every future"
            if saving.p10 is None or saving.p90 is None
            else f"{money(saving.p10, currency, se=UNKNOWN)} to {money(saving.p90, currency, se=UNKNOWN)} in 8 of 10",
        ),
    ]


def _all_futures(report: ReportData) -> list[tuple[str, str, str]]:
    """Return the lines to hold narrowed futures against: key known to the script, words, the figure over all draws."""
    worth, currency = report.worth, report.currency
    return [
        (
            "paid",
            f"paid back within {counted(report.horizon_years, 'year')}",
            percent_estimate(words.paid_share(report)),
        ),
        ("half", "half have paid back after", years(report.payback.p50)),
        ("mean", "average worth", money_estimate(worth.mean, currency)),
        ("loss", "lose money", percent_estimate(worth.loss_probability)),
        ("low", "1 in 20 is below", money_estimate(worth.p5, currency)),
        ("high", "1 in 20 is above", money_estimate(worth.p95, currency)),
    ]


def _error_words(text: str) -> str:
    return f"{text.strip(NO_BREAK)}; " if text else ""


def _first_year_row(figure: Figure, currency: str) -> tuple[str, str, str]:
    """Return label, mean and range of a figure as text."""
    mean = figure.mean
    if mean.value is None:
        return figure.label, "none", ""
    if figure.unit == "money":
        said, ends = (
            money_estimate(mean, currency, with_error=True),
            [money(v, currency, se=UNKNOWN) for v in _ends(figure)],
        )
    elif figure.unit == "share":
        said, ends = percent_estimate(mean, with_error=True), [percent(v, se=UNKNOWN) for v in _ends(figure)]
    else:
        said = f"{energy(mean.value, se=mean.se)}{error(mean.se)}"
        ends = [energy(v, se=UNKNOWN) for v in _ends(figure)]
    return figure.label, said, " to ".join(ends)


def _ends(figure: Figure) -> list[float]:
    return [] if figure.p10 is None or figure.p90 is None else [figure.p10, figure.p90]


def _fit_title(fit: tuple[FitRow, ...]) -> str:
    """Return what the electrical fit found, worst first."""
    counted = {verdict: sum(row.verdict == verdict for row in fit) for verdict in ("refused", "tight", "wasteful")}
    found = [f"{count} {verdict}" for verdict, count in counted.items() if count]
    if not found:
        return f"All {len(fit)} checks pass"
    return f"Of {len(fit)} checks, {' and '.join(found)}"


def _fit_cells(row: FitRow) -> dict[str, str]:
    return {
        "what": capital(row.what),
        "value": with_unit(row.value, row.unit),
        "limit": f"at {row.bound} {with_unit(row.limit, row.unit)}",
        "margin": f"{significant(100 * row.margin, 2)}{NARROW_SPACE}%",
        "verdict": row.verdict,
        "advice": capital(row.advice),
        "method": row.method,
    }


def _assumption_groups(assumptions: tuple[Assumption, ...]) -> list[tuple[str, list[dict[str, object]]]]:
    """Return the assumptions in three groups: uncertain, fixed by the scenario, left at a default."""
    groups = (
        ("Uncertain: drawn anew for every future", [a for a in assumptions if a.sketch is not None]),
        ("Fixed by the scenario", [a for a in assumptions if a.sketch is None and not a.is_default]),
        ("Left at the default", [a for a in assumptions if a.sketch is None and a.is_default]),
    )
    return [(title, [_assumption_cells(a) for a in rows]) for title, rows in groups if rows]


def _assumption_cells(row: Assumption) -> dict[str, object]:
    spread = ""
    if row.sketch is not None:
        factor = shown_unit(row.unit)[0]
        low, high = significant(factor * float(row.sketch[4])), with_unit(float(row.sketch[94]), row.unit)
        spread = f"nine in ten between {low} and {high}"
    return {
        "label": capital(row.label),
        "key": row.key,
        "given": row.given,
        "unit": row.unit,
        "source": row.source or "no source given",
        "default": row.is_default,
        "path": None if row.sketch is None else sketch_path(row.sketch),
        "spread": spread,
    }
