"""The look all charts share: colours by meaning, type sizes, quiet axes.

Every colour stands for one thing throughout the page. The hues are those of Okabe and Ito (2008, "Color universal
design"), which people with any of the common colour deficiencies can tell apart; where two meet they also differ in
lightness or are labelled. In the page each becomes a CSS variable, so that the same drawing serves light and dark.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any, TypeVar

import altair as alt

WIDE, NARROW = 700, 330
FONT = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"

#: Meaning -> (colour on paper, colour on a dark screen). The name is that of the CSS variable.
COLOURS = {
    "ink": ("#1C1B19", "#ECE9E2"),
    "quiet": ("#66625A", "#A9A49A"),
    "rule": ("#DDD8CD", "#3A3833"),
    "paper": ("#FDFCF9", "#171614"),
    "paid": ("#0072B2", "#4DA9E0"),
    "never": ("#D55E00", "#F07F2E"),
    "solar": ("#E69F00", "#E9A919"),
    "battery": ("#009E73", "#25B58A"),
    "grid": ("#56B4E9", "#5F8FAF"),
    "beyond": ("#C4BEB1", "#5A574F"),
    "unmet": ("#CC79A7", "#CC79A7"),
}
PAPER = {name: pair[0] for name, pair in COLOURS.items()}


def rows(**columns: Iterable[Any]) -> alt.InlineData:
    """Return chart data from columns of equal length; numbers are cut to six digits, which no drawing can show.

    The rows go in as one string of JSON: altair would otherwise copy and check each of them many times over.
    """
    names = list(columns)
    values = [
        {name: _short(value) for name, value in zip(names, record, strict=True)}
        for record in zip(*columns.values(), strict=True)
    ]
    return alt.InlineData(values=json.dumps(values), format=alt.DataFormat(type="json"))


#: Every method of altair that changes a chart copies all of it; the look goes on in one piece.
LOOK = {
    "background": "transparent",
    "font": FONT,
    "aria": False,
    "padding": {"left": 4, "top": 4, "right": 10, "bottom": 4},
    "view": {"stroke": None},
    "axis": {
        "labelColor": PAPER["quiet"],
        "titleColor": PAPER["quiet"],
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "gridColor": PAPER["rule"],
        "domain": False,
        "ticks": False,
        "labelPadding": 6,
        "titlePadding": 8,
    },
    "axisX": {"grid": False, "domain": True, "domainColor": PAPER["quiet"]},
    "text": {"fontSize": 12, "color": PAPER["ink"]},
    "concat": {"spacing": 14},
}


Drawn = TypeVar("Drawn", alt.Chart, alt.LayerChart | alt.FacetChart, alt.VConcatChart)


def finished(chart: Drawn, **size: float) -> Drawn:
    """Return the chart with the shared look on it, and its width and height if it has none yet."""
    chart.config = LOOK
    return sized(chart, **size)


def sized(chart: Drawn, **size: float) -> Drawn:
    """Return the chart itself with width and height set: the method of altair that does this copies all of it."""
    for side, pixels in size.items():
        setattr(chart, side, pixels)
    return chart


def year_ticks(last: int, *, pixels: float) -> list[int]:
    """Return the years to name on an axis of that length, every first, second, fifth or tenth, so that none touch."""
    step = next((step for step in (1, 2, 5, 10) if step * pixels / last >= 26), 20)
    return list(range(0, last + 1, step))


def upright_title(text: str) -> dict[str, Any]:
    """Return axis settings that set the title of a y axis level, above the axis, where it can be read."""
    return {
        "title": text,
        "titleAngle": 0,
        "titleAlign": "left",
        "titleAnchor": "start",
        "titleBaseline": "bottom",
        "titleX": 0,
        "titleY": -8,
    }


def _short(value: Any) -> Any:
    if isinstance(value, str | bool | int):
        return value
    return float(f"{float(value):.6g}")
