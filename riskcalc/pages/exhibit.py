"""One exhibit: a drawing with the title that states its finding, its text alternative, its table and its files."""

from __future__ import annotations

import base64
import csv
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import numpy as np
from altair.utils.schemapi import debug_mode

from riskcalc.pages.charts.drawing import page_drawing, rendered, saved_drawing
from riskcalc.pages.charts.look import NARROW, WIDE

#: A spreadsheet takes text that starts so for a formula.
FORMULA_STARTS = ("=", "+", "-", "@")


@dataclass(frozen=True)
class Exhibit:
    """What the template needs to show one chart."""

    key: str
    title: str
    reading: str
    alternative: str
    legend: tuple[tuple[str, str], ...]
    header: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]
    wide: str
    narrow: str
    drawing_href: str
    csv_href: str


def exhibit(
    key: str,
    chart: Callable[[int], alt.TopLevelMixin],
    *,
    title: str,
    reading: str,
    alternative: str,
    table: tuple[Sequence[str], Sequence[Sequence[str]]],
    columns: Mapping[str, Iterable[Any]],
    legend: Sequence[tuple[str, str]] = (),
    small: bool = False,
) -> Exhibit:
    """Return the exhibit: drawn wide and narrow for the page and once more as a file.

    Parameters
    ----------
    key : str
        Name in ids and file names.
    chart : callable
        Width in pixels -> chart.
    title, reading, alternative : str
        The finding; how to read the chart; the text for whoever cannot see it.
    table : header and rows of text
        As shown, rounded.
    columns : mapping of name -> values
        As saved in the CSV, unrounded.
    legend : pairs of (colour name, words)
        Shown above the chart.
    small : bool
        True draws one narrow version for every screen.
    """
    # altair checks what it is given by default; the tests draw every chart with the checks on.
    with debug_mode(False):
        narrow = rendered(chart(NARROW))
        wide = narrow if small else rendered(chart(WIDE))
    return Exhibit(
        key=key,
        title=title,
        reading=reading,
        alternative=alternative,
        legend=tuple(legend),
        header=tuple(table[0]),
        cells=tuple(tuple(row) for row in table[1]),
        wide="" if small else page_drawing(wide, name=f"{key}-wide"),
        narrow=page_drawing(narrow, name=f"{key}-narrow"),
        drawing_href=data_address(saved_drawing(wide, title=title), "image/svg+xml"),
        csv_href=data_address(csv_text(columns), "text/csv;charset=utf-8"),
    )


def csv_text(columns: Mapping[str, Iterable[Any]]) -> str:
    """Return a CSV with a header line; text that a spreadsheet would run as a formula gets an apostrophe in front."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(columns)
    for record in zip(*columns.values(), strict=True):
        writer.writerow([_cell(value) for value in record])
    return buffer.getvalue()


def data_address(text: str, media_type: str) -> str:
    """Return text as a `data:` address, so that a link saves it without a network."""
    return f"data:{media_type};base64,{base64.b64encode(text.encode()).decode()}"


def _cell(value: object) -> object:
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA_STARTS) else value
    if isinstance(value, float | np.floating):
        return "" if not np.isfinite(value) else f"{float(value):.8g}"
    return value
