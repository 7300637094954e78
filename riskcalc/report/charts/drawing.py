"""From an altair chart to SVG: for the page (colours as CSS variables) and as a file of its own (plain colours)."""

from __future__ import annotations

import re
import textwrap

import altair as alt
import vl_convert

from riskcalc.report.charts.look import PAPER

#: What the renderer writes for scripts and styling that a still drawing does not need.
IDLE_ATTRIBUTES = re.compile(r' (?:class|role|aria-[a-z]+|pointer-events)="[^"]*"| (?:opacity="1"|xmlns:xlink="[^"]*")')
EMPTY_PATHS = re.compile(r'<path(?: d="(?:M[\d.,-]+h0v0h0Z)?"| display="none"| stroke="[^"]*")*/>')
#: What an empty pair of group tags looks like once the above is gone.
EMPTY_GROUPS = re.compile(r"<g(?: [^<>]*)?></g>")
OUTER_TAG = re.compile(r'<svg[^>]*width="([\d.]+)" height="([\d.]+)"[^>]*>')
#: Outlines and places, the attributes whose numbers may be cut to a tenth of a pixel.
PLACES = re.compile(r' (?:d|transform)="[^"]*"')
FINE_DIGITS = re.compile(r"(\.\d)\d+")
TITLE_LETTERS = 46


def drawing_file(chart: alt.TopLevelMixin, *, title: str) -> str:
    """Return the chart as a stand-alone SVG document on paper under its title, to be saved and used elsewhere."""
    heading = alt.Title(
        textwrap.wrap(title, TITLE_LETTERS), anchor="start", frame="bounds", fontSize=15, offset=14, color=PAPER["ink"]
    )
    svg = _tidy(vl_convert.vegalite_to_svg(chart.properties(title=heading).to_dict(validate=False)), name="chart")
    paper = f'<rect width="100%" height="100%" fill="{PAPER["paper"]}"/>'
    return OUTER_TAG.sub(lambda tag: tag.group(0) + paper, svg, count=1)


def drawing(chart: alt.TopLevelMixin, *, name: str) -> str:
    """Return the chart as an `<svg>` element for the page; `name` keeps the ids of several drawings apart.

    Colours become `var(--paid)` and so on; the size becomes a view box with the natural width as the greatest.
    """
    svg = _tidy(vl_convert.vegalite_to_svg(chart.to_dict(validate=False)), name=name)
    for meaning, colour in PAPER.items():
        svg = re.sub(re.escape(f'"{colour}"'), f'"var(--{meaning})"', svg, flags=re.IGNORECASE)

    def outer(tag: re.Match[str]) -> str:
        width, height = tag.group(1), tag.group(2)
        return f'<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" aria-hidden="true">'

    return OUTER_TAG.sub(outer, svg, count=1)


def _tidy(svg: str, *, name: str) -> str:
    svg = IDLE_ATTRIBUTES.sub("", svg)
    svg = PLACES.sub(lambda places: FINE_DIGITS.sub(r"\1", places.group(0)), svg)
    svg = EMPTY_PATHS.sub("", svg)
    before = None
    while before != svg:
        before, svg = svg, EMPTY_GROUPS.sub("", svg)
    return _own_ids(svg, name)


def _own_ids(svg: str, name: str) -> str:
    """Return the drawing with ids that start with its name and count from 0; the renderer counts on and on."""
    ids = list(dict.fromkeys(re.findall(r' id="([^"]+)"', svg)))
    for index, old in enumerate(ids):
        new = f"{name}-{index}"
        svg = svg.replace(f' id="{old}"', f' id="{new}"').replace(f"url(#{old})", f"url(#{new})")
    return svg
