"""The look all charts share, and the way from an altair chart to SVG.

Every colour stands for one thing throughout the page. The hues are those of Okabe and Ito (2008, "Color universal
design"), which people with any of the common colour deficiencies can tell apart; where two meet they also differ in
lightness or are labelled. In the page each becomes a CSS variable, so that the same drawing serves light and dark.
"""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

from riskcalc.language import drawing_locale, translated
from riskcalc.pages.engine import asked_svg, made
from riskcalc.pages.figures import short, unbroken
from riskcalc.pages.grammar import alt

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
#: Height of a row with its name on one line, of every further line of the name, and the width of a letter [px].
ROW_HEIGHT, LINE_HEIGHT, LETTER_PX = 42, 15, 6.4
OUTER_TAG = re.compile(r'<svg[^>]*width="([\d.]+)" height="([\d.]+)"[^>]*>')

if TYPE_CHECKING:
    Drawn = TypeVar("Drawn", alt.Chart, alt.LayerChart | alt.FacetChart, alt.VConcatChart)


def rows(**columns: Iterable[Any]) -> alt.InlineData:
    """Return chart data from columns of equal length; numbers are cut to six digits, which no drawing can show.

    The rows go in as one string of JSON: altair would otherwise copy and check each of them many times over.
    """
    names = list(columns)
    values = [
        {name: _short_number(value) for name, value in zip(names, record, strict=True)}
        for record in zip(*columns.values(), strict=True)
    ]
    return alt.InlineData(values=json.dumps(values), format=alt.DataFormat(type="json"))


def layered(*layers: Any) -> alt.LayerChart:
    """Return charts drawn in layers. They are set, not passed: the constructor copies each several times."""
    chart = alt.LayerChart()
    chart.layer = list(layers)
    return chart


def finished(chart: Drawn, **size: float) -> Drawn:
    """Return the chart with the shared look on it, and its width and height if it has none yet."""
    chart.config = LOOK
    return sized(chart, **size)


def sized(chart: Drawn, **size: float) -> Drawn:
    """Return the chart itself with width and height set: the method of altair that does this copies all of it."""
    for side, pixels in size.items():
        setattr(chart, side, pixels)
    return chart


def years_axis(last: int, *, pixels: float, title: str, domain_end: float | None = None, line: bool = True) -> alt.X:
    """Return an axis of years from 0 to `last`, named every first, second, fifth or tenth, so that none touch."""
    step = next((step for step in (1, 2, 5, 10) if step * pixels / last >= 26), 20)
    scale = alt.Scale(domain=[0, last if domain_end is None else domain_end], nice=False)
    named = list(range(0, last + 1, step))
    extra: dict[str, Any] = {} if line else {"domain": False}
    return alt.X(
        "year:Q",
        scale=scale,
        axis=alt.Axis(
            title=translated(title), values=named, format="d", titleAnchor="start", labelFlush=False, **extra
        ),
    )


def upright_title(text: str) -> dict[str, Any]:
    """Return axis settings that set the title of a y axis level, above the axis, where it can be read."""
    return {
        "title": translated(text),
        "titleAngle": 0,
        "titleAlign": "left",
        "titleAnchor": "start",
        "titleBaseline": "bottom",
        "titleX": 0,
        "titleY": -8,
    }


def row_scale(count: int, field: str = "place:Q") -> alt.Y:
    """Return the scale of charts with one row for each name."""
    return alt.Y(field, scale=alt.Scale(domain=[-0.65, count - 0.65], reverse=True, nice=False), axis=None)


def row_names(names: Sequence[Sequence[str]]) -> alt.LayerChart | alt.FacetChart:
    """Return the names, each on lines of its own above its row, with a rim so that no line crosses them out."""
    y = row_scale(len(names))
    marks = []
    for above in range(max(map(len, names))):
        shown = [(place, lines[-1 - above]) for place, lines in enumerate(names) if above < len(lines)]
        data = alt.Chart(rows(place=[place for place, _ in shown], text=[text for _, text in shown]))
        where: dict[str, Any] = {"align": "left", "baseline": "bottom", "dy": -9 - 15 * above}
        rim = data.mark_text(color=PAPER["paper"], stroke=PAPER["paper"], strokeWidth=4, **where)
        words = data.mark_text(color=PAPER["ink"], **where)
        marks += [mark.encode(x=alt.XValue(0), y=y, text=alt.Text("text:N")) for mark in (rim, words)]
    return layered(*marks)


def wrapped(names: Sequence[str], pixels: int) -> tuple[list[list[str]], int]:
    """Return the names broken into lines that fit, and the height of the chart."""
    texts = [textwrap.wrap(unbroken(name), int(pixels / LETTER_PX)) or [""] for name in names]
    most = max((len(lines) for lines in texts), default=1)
    return texts, len(names) * (ROW_HEIGHT + LINE_HEIGHT * (most - 1))


def short_names(labels: Sequence[str]) -> alt.LayerChart | alt.FacetChart:
    """Return labels of inputs as names of rows, short enough for a phone."""
    return row_names([[short(label)] for label in labels])


def rendered(chart: alt.TopLevelMixin) -> str:
    """Return the chart as SVG with plain colours: the page and the file are both made from it.

    Raises
    ------
    EngineMissing
        Where no chart can be drawn.
    """
    return made(asked_svg(chart.to_dict(validate=False), locale=drawing_locale()))


def page_drawing(svg: str, *, name: str) -> str:
    """Return a rendered chart as an element for the page; `name` keeps the ids of several drawings apart.

    Colours become `var(--paid)` and so on; the size becomes a view box with the natural width as the greatest.
    """
    svg = own_ids(svg, name)
    for meaning, colour in PAPER.items():
        svg = re.sub(re.escape(f'"{colour}"'), f'"var(--{meaning})"', svg, flags=re.IGNORECASE)

    def outer(tag: re.Match[str]) -> str:
        width, height = tag.group(1), tag.group(2)
        return f'<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" aria-hidden="true">'

    return OUTER_TAG.sub(outer, svg, count=1)


def own_ids(svg: str, name: str) -> str:
    """Return the drawing with ids that start with its name and count from 0; the renderer counts on and on."""
    ids = list(dict.fromkeys(re.findall(r' id="([^"]+)"', svg)))
    for index, old in enumerate(ids):
        new = f"{name}-{index}"
        svg = svg.replace(f' id="{old}"', f' id="{new}"').replace(f"url(#{old})", f"url(#{new})")
    return svg


def _short_number(value: Any) -> Any:
    if isinstance(value, str | bool | int):
        return value
    return float(f"{float(value):.6g}")
