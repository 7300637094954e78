"""From an altair chart to SVG: for the page (colours as CSS variables) and as a file of its own (plain colours)."""

from __future__ import annotations

import html
import re
import textwrap

import altair as alt
import vl_convert

from riskcalc.pages.charts.look import FONT, PAPER, finished, rows

#: What the renderer writes for scripts and styling that a still drawing does not need.
IDLE_ATTRIBUTES = re.compile(r' (?:class|role|aria-[a-z]+|pointer-events)="[^"]*"| (?:opacity="1"|xmlns:xlink="[^"]*")')
EMPTY_PATHS = re.compile(r'<path(?: d="(?:M[\d.,-]+h0v0h0Z)?"| display="none"| stroke="[^"]*")*/>')
#: What an empty pair of group tags looks like once the above is gone.
EMPTY_GROUPS = re.compile(r"<g(?: [^<>]*)?></g>")
OUTER_TAG = re.compile(r'<svg[^>]*width="([\d.]+)" height="([\d.]+)"[^>]*>')
#: Outlines and places, the attributes whose numbers may be cut to a tenth of a pixel.
PLACES = re.compile(r' (?:d|transform)="[^"]*"')
FINE_DIGITS = re.compile(r"(\.\d)\d+")
#: The title of a saved drawing: letters of its narrowest line, their mean width, line height and margin [px].
TITLE_LETTERS, LETTER_WIDTH, LINE_HEIGHT, MARGIN = 40, 8.2, 19, 10


def rendered(chart: alt.TopLevelMixin) -> str:
    """Return the chart as SVG with plain colours; the page and the file are both made from it, since it takes a while."""
    return _tidy(vl_convert.vegalite_to_svg(chart.to_dict(validate=False)))


def start_renderer() -> None:
    """Draw a single point, so that no later drawing waits until the renderer has started."""
    rendered(finished(alt.Chart(rows(x=[0.0])).mark_point().encode(x=alt.X("x:Q"))))


def drawing_file(chart: alt.TopLevelMixin, *, title: str) -> str:
    """Return the chart as a stand-alone SVG document on paper under its title, to be saved and used elsewhere."""
    return saved_drawing(rendered(chart), title=title)


def saved_drawing(svg: str, *, title: str) -> str:
    """Return a rendered chart as a document of its own, its title above it in as many lines as its width asks for."""
    tag = OUTER_TAG.search(svg)
    assert tag is not None
    width, height = float(tag.group(1)), float(tag.group(2))
    lines = textwrap.wrap(title, max(TITLE_LETTERS, int((width - 2 * MARGIN) / LETTER_WIDTH)))
    wide = max(width, 2 * MARGIN + LETTER_WIDTH * max((len(line) for line in lines), default=0))
    top = MARGIN + LINE_HEIGHT * len(lines)
    words = "".join(
        f'<text x="{MARGIN}" y="{MARGIN + LINE_HEIGHT * index + 10}">{html.escape(line)}</text>'
        for index, line in enumerate(lines)
    )
    inner = svg[tag.end() : svg.rindex("</svg>")]
    return _own_ids(
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{wide:g}" height="{height + top:g}" '
        f'viewBox="0 0 {wide:g} {height + top:g}"><rect width="100%" height="100%" fill="{PAPER["paper"]}"/>'
        f'<g font-family="{html.escape(FONT)}" font-size="15px" font-weight="bold" fill="{PAPER["ink"]}">{words}</g>'
        f'<g transform="translate(0,{top})">{inner}</g></svg>',
        "chart",
    )


def drawing(chart: alt.TopLevelMixin, *, name: str) -> str:
    """Return the chart as an `<svg>` element for the page; `name` keeps the ids of several drawings apart."""
    return page_drawing(rendered(chart), name=name)


def page_drawing(svg: str, *, name: str) -> str:
    """Return a rendered chart as an element for the page.

    Colours become `var(--paid)` and so on; the size becomes a view box with the natural width as the greatest.
    """
    svg = _own_ids(svg, name)
    for meaning, colour in PAPER.items():
        svg = re.sub(re.escape(f'"{colour}"'), f'"var(--{meaning})"', svg, flags=re.IGNORECASE)

    def outer(tag: re.Match[str]) -> str:
        width, height = tag.group(1), tag.group(2)
        return f'<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" aria-hidden="true">'

    return OUTER_TAG.sub(outer, svg, count=1)


def _tidy(svg: str) -> str:
    svg = IDLE_ATTRIBUTES.sub("", svg)
    svg = PLACES.sub(lambda places: FINE_DIGITS.sub(r"\1", places.group(0)), svg)
    svg = EMPTY_PATHS.sub("", svg)
    before = None
    while before != svg:
        before, svg = svg, EMPTY_GROUPS.sub("", svg)
    return svg


def _own_ids(svg: str, name: str) -> str:
    """Return the drawing with ids that start with its name and count from 0; the renderer counts on and on."""
    ids = list(dict.fromkeys(re.findall(r' id="([^"]+)"', svg)))
    for index, old in enumerate(ids):
        new = f"{name}-{index}"
        svg = svg.replace(f' id="{old}"', f' id="{new}"').replace(f"url(#{old})", f"url(#{new})")
    return svg
