"""The program that draws charts, run by `riskcalc.pages.engine` in a process of its own.

It reads requests from its input, one line of JSON each, and writes one line of JSON for each: a chart becomes SVG, an SVG
becomes PNG. It imports nothing of riskcalc, so it starts at once, and ends when its input ends.
"""

from __future__ import annotations

import base64
import json
import os
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
#: The first drawing takes half a second longer than the others, so it is made before anyone asks for one.
FIRST = {"mark": "point", "data": {"values": [{}]}}


def lightened(svg: str) -> str:
    """Return a drawing without what a still one does not need, its places cut to a tenth of a pixel."""
    svg = IDLE_ATTRIBUTES.sub("", svg)
    svg = PLACES.sub(lambda places: FINE_DIGITS.sub(r"\1", places.group(0)), svg)
    svg = EMPTY_PATHS.sub("", svg)
    before = None
    while before != svg:
        before, svg = svg, EMPTY_GROUPS.sub("", svg)
    return svg


def answer(asked: dict[str, Any]) -> dict[str, str]:
    """Return the drawing that is asked for: "svg" of a "chart", or "png" (in base 64) of an "svg"."""
    try:
        if "chart" in asked:
            return {"made": lightened(vl_convert.vegalite_to_svg(asked["chart"], format_locale=asked["locale"]))}
        return {"made": base64.b64encode(vl_convert.svg_to_png(asked["svg"], scale=asked["scale"])).decode()}
    except Exception as error:  # noqa: BLE001 - told to the process that asked, which raises it
        return {"error": f"{type(error).__name__}: {error}"}


def main() -> None:
    """Answer every line of the input."""
    # Ctrl-C is for the process that asks: when that ends, so does the input.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Whatever a library prints must not stand among the answers.
    with os.fdopen(os.dup(1), "wb") as answers:
        os.dup2(2, 1)
        vl_convert.vegalite_to_svg(FIRST)
        for line in sys.stdin.buffer:
            answers.write(json.dumps(answer(json.loads(line))).encode() + b"\n")
            answers.flush()


if __name__ == "__main__":
    main()
