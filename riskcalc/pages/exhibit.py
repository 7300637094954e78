"""What a page is made of: charts with their words, table and files, and the plainer blocks around them."""

from __future__ import annotations

import base64
import csv
import html
import io
import math
import struct
import textwrap
import zlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from riskcalc.language import language_now, translated
from riskcalc.output import DRAWN_BY
from riskcalc.pages.engine import asked_drawings, made, png
from riskcalc.pages.figures import grouped, say
from riskcalc.types import Figures

# Charts load their libraries when they are drawn: the screen shares the words of the exhibits and draws nothing.
if TYPE_CHECKING:
    import altair as alt

#: A spreadsheet takes text that starts so for a formula.
FORMULA_STARTS = ("=", "+", "-", "@")
#: Width and height of a saved drawing [px]; None: as wide and high as the chart asks for.
SHAPES: dict[str, tuple[int, int] | None] = {"page": None, "16:9": (1280, 720), "square": (1080, 1080)}
#: Mean width of a letter over its size, somewhat above that of any font of the stack; bold letters are wider.
LETTER, BOLD_LETTER = 0.58, 0.63
MARGIN = 14
PNG_SIGNATURE = b"\x89PNG\r\n\x1a\n"


@dataclass(frozen=True)
class Block:
    """One piece of a section: `kind` names the macro of the template that shows `value`."""

    kind: str
    value: Any


@dataclass(frozen=True)
class Section:
    """A part of a page: its topic stands in the list of contents, its finding is the heading.

    A part that is only looked up has no finding; its topic is the heading then.
    """

    key: str
    title: str
    blocks: tuple[Block, ...]
    needs_script: bool = False
    finding: str = ""


@dataclass(frozen=True)
class Chart:
    """A drawing with the title that states its finding, its text alternative, its table and its files."""

    key: str
    title: str
    reading: str
    alternative: str
    legend: tuple[tuple[str, str], ...]
    header: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]
    wide_svg: Future[str]
    narrow_svg: Future[str]
    csv: str
    source: str
    kind: str = ""

    @property
    def wide(self) -> str:
        """Return the drawing for wide screens as an element of the page, nothing where one drawing serves all."""
        return "" if self.kind else self._on_page(self.wide_svg, "wide")

    @property
    def narrow(self) -> str:
        """Return the drawing for narrow screens as an element of the page."""
        return self._on_page(self.narrow_svg, "narrow")

    def _on_page(self, svg: Future[str], width: str) -> str:
        from riskcalc.pages.look import page_drawing

        return page_drawing(made(svg), name=f"{self.key}-{width}")

    @property
    def csv_address(self) -> str:
        """Return the unrounded columns as an address."""
        return data_address(self.csv.encode(), "text/csv;charset=utf-8")

    @property
    def svg_address(self) -> str:
        """Return the drawing with all that belongs to it as an address."""
        return data_address(self.saved().encode(), "image/svg+xml")

    def saved(self, shape: str = "page") -> str:
        """Return the drawing as a document of its own, with title, legend and source line inside.

        Lines are broken by a letter width that no font of the stack exceeds, so that nothing is cut in any viewer.
        """
        from riskcalc.pages.look import FONT, OUTER_TAG, PAPER, own_ids

        drawing = made(self.wide_svg)
        tag = OUTER_TAG.search(drawing)
        assert tag is not None
        inner, size = (float(tag.group(1)), float(tag.group(2))), SHAPES[shape]
        letters = 1.0 if size is None else 1.7
        wide = max(inner[0], 420.0) + 2 * MARGIN if size is None else float(size[0])
        room, margin = wide - 2 * MARGIN * letters, MARGIN * letters
        head, y = _lines(self.title, 15 * letters, room, margin, bold=True, colour=PAPER["ink"])
        keys, y = _legend(self.legend, 12 * letters, room, (margin, y))
        foot, foot_high = _lines(self.source, 11 * letters, room, 0.0, bold=False, colour=PAPER["quiet"])
        if size is None:
            scale, high = 1.0, y + inner[1] + foot_high + margin
            left = margin
        else:
            high = float(size[1])
            scale = min(room / inner[0], (high - y - foot_high - 2 * margin) / inner[1])
            left = (wide - scale * inner[0]) / 2
        body = drawing[tag.end() : drawing.rindex("</svg>")]
        return own_ids(
            f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{wide:g}" height="{high:g}" '
            f'viewBox="0 0 {wide:g} {high:g}"><!-- {DRAWN_BY} --><rect width="100%" height="100%" fill="{PAPER["paper"]}"/>'
            f'<g font-family="{html.escape(FONT)}"><g transform="translate({margin:g},0)">{head}</g>{keys}'
            f'<g transform="translate({margin:g},{high - foot_high - margin / 2:g})">{foot}</g></g>'
            f'<g transform="translate({left:g},{y:g}) scale({scale:.4g})">{body}</g></svg>',
            "chart",
        )

    def picture(self, shape: str = "16:9", *, scale: float = 2.0) -> bytes:
        """Return the saved drawing as a PNG, drawn without a browser."""
        return repacked(png(self.saved(shape), scale=scale), says=("Software", DRAWN_BY))


def repacked(png: bytes, *, says: tuple[str, str]) -> bytes:
    """Return a PNG with its pixels deflated anew, a third of the size, and a text (keyword, words) after its header.

    Chunks are length, kind, content and checksum (PNG specification, third edition 2025, sections 5.3 and 11.3.3.3).
    """
    chunks, at = [], len(PNG_SIGNATURE)
    while at < len(png):
        long, kind = struct.unpack_from(">I4s", png, at)
        chunks.append((kind, png[at + 8 : at + 8 + long]))
        at += 12 + long
    pixels = zlib.decompress(b"".join(content for kind, content in chunks if kind == b"IDAT"))
    kept = [chunk for chunk in chunks if chunk[0] not in (b"IDAT", b"IEND")]
    text = (b"tEXt", says[0].encode("latin-1") + b"\0" + says[1].encode("latin-1"))
    whole = [kept[0], text, *kept[1:], (b"IDAT", zlib.compress(pixels, 9)), (b"IEND", b"")]
    parts = [
        struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
        for kind, content in whole
    ]
    return PNG_SIGNATURE + b"".join(parts)


def chart(
    figures: Figures,
    key: str,
    draw: Callable[..., alt.TopLevelMixin],
    *,
    title: str,
    reading: str,
    alternative: str,
    table: tuple[Sequence[str], Sequence[Sequence[str]]],
    columns: Mapping[str, Iterable[Any]],
    legend: Sequence[tuple[str, str]] = (),
    kind: str = "",
) -> Block:
    """Return a chart: drawn wide and narrow for the page, and kept for its files.

    Parameters
    ----------
    figures : mapping
        For the source line: what the drawing was made from. Holds drawings asked for before (`page.ask_drawings`).
    key : str
        Name in ids and file names.
    draw : callable
        Width in pixels -> chart, by the name `width`. Another process calls it, so it is a function of a module, or a
        `partial` of one.
    title, reading, alternative : str
        The finding; how to read the chart; the text for those who cannot see it.
    table : header and rows of text
        As shown, rounded.
    columns : mapping of name -> values
        As saved in the CSV, unrounded.
    legend : pairs of (colour name, words)
        Shown above the chart.
    kind : str
        "half" and "dots" draw one narrow version for every screen.
    """
    from riskcalc.pages.look import NARROW, WIDE

    asked = figures.get("page", {}).get("drawings", {}).get(key)
    if asked is None:
        asked = asked_drawings(draw, (NARROW,) if kind else (NARROW, WIDE), language=language_now())
    shown = Chart(
        key=key,
        title=translated(title),
        reading=translated(reading),
        alternative=alternative,
        legend=tuple((look, translated(said)) for look, said in legend),
        header=tuple(map(translated, table[0])),
        cells=tuple(tuple(row) for row in table[1]),
        wide_svg=asked[-1],
        narrow_svg=asked[0],
        csv=csv_text(columns),
        source=source_line(figures),
        kind=kind,
    )
    return Block("chart", shown)


def charts_of(sections: Iterable[Section]) -> list[Chart]:
    """Return every chart of a page, in its order, also those inside what folds."""

    def within(blocks: Iterable[Block]) -> Iterable[Chart]:
        for block in blocks:
            if block.kind == "chart":
                yield block.value
            elif isinstance(block.value, Mapping) and "blocks" in block.value:
                yield from within(block.value["blocks"])

    return [chart for section in sections for chart in within(section.blocks)]


def source_line(figures: Figures) -> str:
    """Return what a drawing says of where it comes from: scenario, futures, program and seed."""
    known = figures.get("provenance", {})
    name = (
        figures.get("title")
        or figures.get("scenario")
        or " / ".join(row["title"] for row in figures.get("compared", ()))
    )
    if "draws" not in known:
        return say("{name}. Made with riskcalc.", name=name)
    return say(
        "{name}. {draws} simulated futures, seed {seed}. Made with riskcalc {version}.",
        name=name or say("Homes and kits"),
        draws=grouped(known["draws"]),
        seed=known["seed"],
        version=known["riskcalc"],
    )


def words(text: str, kind: str = "p") -> Block:
    """Return a paragraph ("p", "small", "reading") or a heading ("h3", "h4"); a message of ours is translated here."""
    return Block(kind, translated(text))


def hero(
    answer: str, why: Sequence[str], *blocks: Block, rows: Sequence[tuple[str, str, str]] = (), check: str = ""
) -> Block:
    """Return the first screen: the answer, at most three sentences of why, figures in boxes, what to check, an exhibit."""
    said = {
        "answer": answer,
        "brief": " ".join(why),
        "rows": tuple(rows),
        "check": check_block(check) if check else None,
        "blocks": blocks,
    }
    return Block("hero", said)


def check_block(text: str) -> Block:
    """Return what to check before buying, under its title."""
    return Block("check", {"title": say("Check before you buy:"), "said": text})


def table(title: str, header: Sequence[str], cells: Sequence[Sequence[str]], *, stacked: bool = False) -> Block:
    """Return a table; a stacked one becomes a list on a phone."""
    value = {"title": translated(title), "header": tuple(map(translated, header)), "cells": cells}
    return Block("stacked" if stacked else "table", value)


def items(texts: Iterable[str]) -> Block:
    """Return a list of sentences."""
    return Block("items", tuple(map(translated, texts)))


def fold(summary: str, *blocks: Block) -> Block:
    """Return blocks that open at a click and are printed in full."""
    return Block("fold", {"summary": translated(summary), "blocks": blocks})


def section(key: str, title: str, *blocks: Block | None, finding: str = "") -> Section | None:
    """Return a section of the blocks that are there, None without any."""
    shown = tuple(block for block in blocks if block is not None)
    return Section(key, translated(title), shown, finding=translated(finding)) if shown else None


def csv_text(columns: Mapping[str, Iterable[Any]]) -> str:
    """Return a CSV with a header line; text that a spreadsheet would run as a formula gets an apostrophe in front."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(columns)
    for record in zip(*columns.values(), strict=True):
        writer.writerow([_cell(value) for value in record])
    return buffer.getvalue()


def data_address(content: bytes, media_type: str) -> str:
    """Return content as a `data:` address, so that a link saves it without a network."""
    return f"data:{media_type};base64,{base64.b64encode(content).decode()}"


def _lines(text: str, size: float, room: float, top: float, *, bold: bool, colour: str) -> tuple[str, float]:
    """Return text broken into lines that fit, and where the next thing may begin."""
    letters = max(8, int(room / (size * (BOLD_LETTER if bold else LETTER))))
    lines, step = textwrap.wrap(text, letters), 1.28 * size
    weight = ' font-weight="bold"' if bold else ""
    said = "".join(
        f'<text y="{top + size + index * step:g}">{html.escape(line)}</text>' for index, line in enumerate(lines)
    )
    return f'<g font-size="{size:g}px"{weight} fill="{colour}">{said}</g>', top + len(lines) * step + 0.4 * size


def _legend(
    legend: Sequence[tuple[str, str]], size: float, room: float, place: tuple[float, float]
) -> tuple[str, float]:
    """Return the keys of the legend in as many rows as they need, and where the drawing may begin."""
    from riskcalc.pages.look import PAPER

    left, top = place
    x, y, parts = left, top, []
    for look, said in legend:
        long = 1.9 * size + LETTER * size * len(said)
        if x > left and x + long > left + room:
            x, y = left, y + 1.5 * size
        parts.append(_key(look, x, y, size))
        parts.append(f'<text x="{x + 1.9 * size:g}" y="{y + 0.95 * size:g}">{html.escape(said)}</text>')
        x += long + 1.4 * size
    if not parts:
        return "", top
    return f'<g font-size="{size:g}px" fill="{PAPER["ink"]}">{"".join(parts)}</g>', y + 2.0 * size


def _key(look: str, x: float, y: float, size: float) -> str:
    from riskcalc.pages.look import PAPER

    name, _, form = look.partition(" ")
    colour = PAPER[name]
    if form in ("line", "dashed"):
        dash = ' stroke-dasharray="5 4"' if form == "dashed" else ""
        middle = y + 0.6 * size
        return f'<path d="M{x:g},{middle:g}h{1.4 * size:g}" stroke="{colour}" stroke-width="{size / 5:g}"{dash}/>'
    fill = f'fill="none" stroke="{colour}" stroke-width="1.5"' if form == "hollow" else f'fill="{colour}"'
    return f'<rect x="{x + 0.2 * size:g}" y="{y + 0.1 * size:g}" width="{size:g}" height="{size:g}" {fill}/>'


def _cell(value: object) -> object:
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA_STARTS) else value
    if isinstance(value, float | np.floating):
        return "" if not math.isfinite(value) else f"{float(value):.8g}"
    return value
