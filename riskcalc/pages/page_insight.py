"""Odds, information, break-even and claims for the page, from the content of result.json."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from riskcalc.pages import insight_data as page
from riskcalc.pages.estimate import Estimate

Figures = Mapping[str, Any]


def page_insight(figures: Figures) -> page.Insight | None:
    """Return what the page shows, None when the figures hold nothing of the kind."""
    if "odds_ranking" not in figures:
        return None
    odds, information = figures["odds_ranking"], figures["value_of_information"]
    return page.Insight(
        within_years=odds["within_years"],
        odds=odds["odds"],
        gap_of_no_effect=odds["gap_of_no_effect"],
        odds_rows=tuple(
            page.OddsRow(
                row["label"], row["family"], row["odds_gap"], row["odds_at_10_percent"], row["odds_at_90_percent"]
            )
            for row in odds["factors"]
            if row["odds_gap"] > odds["gap_of_no_effect"]
        ),
        everything=_estimate(information["everything"]),
        information=tuple(
            page.InformationRow(row["label"], is_family, _estimate(row))
            for is_family, rows in ((True, information["families"]), (False, information["factors"]))
            for row in rows
            if row["certain"]
        ),
        break_even=_tables(figures["break_even"]),
        claims=tuple(_claim(row) for row in figures["claims"]),
    )


def _tables(rows: Sequence[Figures]) -> tuple[page.BreakEvenTable, ...]:
    tables = []
    # With one scramble no error is known at all; values are then shown without.
    errors_known = any(row["standard_error"] is not None for row in rows)
    for statement in dict.fromkeys(row["statement"] for row in rows):
        own = [row for row in rows if row["statement"] == statement]
        found = [row for row in own if row["value"] is not None]
        tables.append(
            page.BreakEvenTable(
                statement,
                own[0]["odds"],
                tuple(_break_even(row) for row in found if row["settled"] or not errors_known),
                tuple(row["label"] for row in own if row["value"] is None),
                tuple(row["label"] for row in found if errors_known and not row["settled"]),
            )
        )
    return tuple(tables)


def _break_even(row: Figures) -> page.BreakEvenRow:
    return page.BreakEvenRow(row["label"], row["unit"], _estimate(row), row["method"])


def _claim(row: Figures) -> page.ClaimRow:
    chance, move = row["probability"], row["even_chance"]
    return page.ClaimRow(
        sentence=row["sentence"],
        measure=row["measure_in_words"],
        unit=row["unit"],
        probability=None if chance is None else _estimate(chance),
        p10=row["p10"],
        p50=row["p50"],
        p90=row["p90"],
        move=None if move is None else _break_even(move),
        is_even=row["is_even_chance"],
    )


def _estimate(row: Figures) -> Estimate:
    return Estimate(row["value"], float("nan") if row["standard_error"] is None else row["standard_error"])
