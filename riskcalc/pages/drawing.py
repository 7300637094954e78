"""The program that builds charts and draws them, run by `riskcalc.pages.engine` in a process of its own.

It reads requests from its input, pickled by the process that asks, and writes one line of JSON for each: a chart becomes
SVG, an SVG becomes PNG. It ends when its input ends.
"""

from __future__ import annotations

import base64
import json
import os
import pickle
import re
import signal
import sys
from typing import Any

import vl_convert

#: What the engine writes for scripts and styling that a still drawing does not need.
IDLE_ATTRIBUTES = re.compile(r' (?:class|role|aria-[a-z]+|pointer-events)="[^"]*"| (?:opacity="1"|xmlns:xlink="[^"]*")')
EMPTY_PATHS = re.compile(r'<path(?: d="(?:M[\d.,-]+h0v0h0Z)?"| display="none"| stroke="[^"]*")*/>')
#: What an empty pair of group tags looks like once the above is gone.
EMPTY_GROUPS = re.compile(r"<g(?: [^<>]*)?></g>")
#: Outlines and places, the attributes whose numbers may be cut to a tenth of a pixel.
PLACES = re.compile(r' (?:d|transform)="[^"]*"')
FINE_DIGITS = re.compile(r"(\.\d)\d+")
#: The first charts take long, so a few are made before anyone asks: with layers, axes, a scale of names and an area.
_ENCODING = {
    "x": {"field": "x", "type": "quantitative", "axis": {"values": [0, 1], "format": "d"}, "scale": {"domain": [0, 1]}},
    "y": {"field": "y", "type": "quantitative", "axis": {"tickCount": 4, "titleAngle": 0}},
    "y2": {"field": "x"},
    "color": {"field": "name", "type": "nominal", "legend": None},
}
FIRST = {
    "data": {"values": [{"x": 0.1 * step, "y": step, "name": "ab"[step % 2]} for step in range(9)]},
    "layer": [{"mark": mark, "encoding": _ENCODING} for mark in ("area", "line", "rule", "bar", "text", "circle")],
}


def lightened(svg: str) -> str:
    """Return a drawing without what a still one does not need, its places cut to a tenth of a pixel."""
    svg = IDLE_ATTRIBUTES.sub("", svg)
    svg = PLACES.sub(lambda places: FINE_DIGITS.sub(r"\1", places.group(0)), svg)
    svg = EMPTY_PATHS.sub("", svg)
    before = None
    while before != svg:
        before, svg = svg, EMPTY_GROUPS.sub("", svg)
    return svg


def built(draw: bytes, width: int) -> dict[str, Any]:
    """Return the chart that a pickled function makes for a width, in the grammar of the drawing library."""
    from altair.utils.schemapi import debug_mode

    # altair checks what it is given by default; the tests draw every chart with the checks on.
    with debug_mode(False):
        chart: dict[str, Any] = pickle.loads(draw)(width=width).to_dict(validate=False)  # noqa: S301 - from our parent
    return chart


def answer(asked: dict[str, Any]) -> dict[str, str]:
    """Return what is asked for: the SVG of a "chart", or of the chart that "draw" makes, or an "svg" as PNG (base 64)."""
    from riskcalc.language import drawing_locale, speaking

    try:
        if "svg" in asked:
            return {"made": base64.b64encode(vl_convert.svg_to_png(asked["svg"], scale=asked["scale"])).decode()}
        with speaking(asked.get("language")):
            chart = asked["chart"] if "chart" in asked else built(asked["draw"], asked["width"])
            locale = asked["locale"] if "chart" in asked else drawing_locale()
        return {"made": lightened(vl_convert.vegalite_to_svg(chart, format_locale=locale))}
    except Exception as error:  # noqa: BLE001 - told to the process that asked, which raises it
        return {"error": f"{type(error).__name__}: {error}"}


def main() -> None:
    """Answer every line of the input."""
    # Ctrl-C is for the process that asks: when that ends, so does the input.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Whatever a library prints must not stand among the answers.
    with os.fdopen(os.dup(1), "wb") as answers:
        os.dup2(2, 1)
        for _ in range(3):
            vl_convert.vegalite_to_svg(FIRST)
        import altair as alt  # noqa: F401 - the asked charts need it: read it before they come

        while True:
            try:
                asked = pickle.load(sys.stdin.buffer)  # noqa: S301 - from the process that started this one
            except (EOFError, pickle.UnpicklingError):  # it has ended, if need be in mid-sentence
                return
            answers.write(json.dumps(answer(asked)).encode() + b"\n")
            answers.flush()


if __name__ == "__main__":
    main()
    # Nothing is left to save, and taking the engine down in good order takes a fifth of a second.
    os._exit(0)
