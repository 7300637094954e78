"""Cells of the tables of details: figures to the digit their standard error supports."""

from __future__ import annotations

from riskcalc.pages import rounding
from riskcalc.pages.data import Detail, DetailRow
from riskcalc.pages.estimate import Estimate

#: Tables that stand with the money; all others stand with the energy.
WITH_MONEY = ("worth", "investment")


def detail_tables(details: tuple[Detail, ...], currency: str, *, with_money: bool) -> list[dict[str, object]]:
    """Return title, note, heading and rows of each table of one place on the page."""
    return [
        {
            "title": detail.title,
            "note": detail.note,
            "heading": ("figure", *detail.columns),
            "rows": [_cells(row, currency) for row in detail.rows],
        }
        for detail in details
        if (detail.key in WITH_MONEY) == with_money
    ]


def _cells(row: DetailRow, currency: str) -> tuple[str, ...]:
    return (row.label, *(_cell(figure, row.unit, currency) for figure in row.figures))


def _cell(figure: Estimate, unit: str, currency: str) -> str:
    if figure.value is None:
        return "none"
    if unit == "money":
        return rounding.money_estimate(figure, currency)
    if unit in ("share", "share/year"):
        return rounding.percent_estimate(figure) + (" a year" if unit == "share/year" else "")
    if unit == "kWh":
        return rounding.energy(figure.value, se=figure.se)
    text = rounding.number(figure.value, se=figure.se, most_decimals=2)
    return f"{text}{rounding.NO_BREAK}{unit}" if unit else text
