"""Drawings: what they count, how they look on both papers, what they weigh, and what is inside a saved one."""

from __future__ import annotations

import html
import json
import re
import struct
import zlib
from concurrent.futures import Future
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import vl_convert
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.pages.exhibit import SHAPES, Chart
from riskcalc.pages.exhibits.assumptions import BINS, HEIGHT, WIDTH, sketch_path
from riskcalc.pages.exhibits.cash import cash_chart
from riskcalc.pages.exhibits.energy import demand_chart, solar_chart
from riskcalc.pages.exhibits.futures import dots_per_year, futures_chart
from riskcalc.pages.exhibits.payback import odds_chart
from riskcalc.pages.exhibits.ranking import ranked, share_chart, swing_chart, swings, ties_words
from riskcalc.pages.exhibits.week import week_chart
from riskcalc.pages.exhibits.worth import worth_chart
from riskcalc.pages.figures import estimate
from riskcalc.pages.look import FONT, NARROW, PAPER, WIDE, page_drawing, rendered, rows
from riskcalc.pages.page import charts_in

LEVELS = np.linspace(0.01, 0.99, 99)
RESULT = Path(__file__).parents[2] / "reports/examples/terrace-portable/result.json"


def charts(figures: dict[str, Any], width: int) -> dict[str, Any]:
    """Return every chart of the page."""
    months, ranking = figures["first_year_by_month"], ranked(figures)
    within = np.array([row["value"] for row in figures["paid_back_within_years"]])
    labels, shares = ([row[name] for row in ranking] for name in ("label", "share_of_variance"))
    return {
        "futures": futures_chart(within, width=width),
        "odds": odds_chart(figures, width=width),
        "cash": cash_chart(figures, width=width),
        "worth": worth_chart(figures, width=width),
        "share": share_chart(labels, shares, width=width),
        "swing": swing_chart(swings(figures), currency="GBP", width=width),
        "demand": demand_chart(months, width=width),
        "solar": solar_chart(months, width=width),
        "week": week_chart(figures["page"]["weeks"][0], top_w=2500.0, width=width),
    }


def within(shares: list[float]) -> np.ndarray:
    """Return the shares paid back by each year; the last of `shares` does not pay back."""
    return (np.array(shares) / sum(shares))[:-1].cumsum()


@given(st.lists(st.floats(0, 1), min_size=2, max_size=41).filter(lambda shares: sum(shares) > 1e-3))
def test_dots_always_make_a_hundred_and_none_is_off_by_one(shares: list[float]) -> None:
    """Dots add up to a hundred and each column is within one dot of its share."""
    dots = dots_per_year(within(shares))
    exact = 100 * np.array(shares) / sum(shares)
    assert dots.sum() == 100
    assert (np.abs(dots - exact) < 1 + 1e-6).all()


def test_dots_by_hand() -> None:
    """Shares of 10.4, 20.3, 29.3 and 40 in a hundred: the one dot left over goes to the largest rest."""
    assert dots_per_year(within([10.4, 20.3, 29.3, 40.0])).tolist() == [11, 20, 29, 40]


@pytest.mark.parametrize("shares", [[1.0, 0.0], [0.0, 1.0], [0.0] * 40 + [1.0], [1.0] * 40 + [0.0], [0.0, 1.0, 0.0]])
@pytest.mark.parametrize("width", [NARROW, 400])
def test_every_dot_is_drawn_within_the_width(shares: list[float], width: int) -> None:
    """All in one year, none ever, forty years: a hundred circles, never wider than asked."""
    svg = rendered(futures_chart(within(shares), width=width))
    arcs = re.findall(r"A[\d.]+,[\d.]+,0,1,1", svg)
    assert len(arcs) == 2 * 100  # a circle is two arcs
    assert float(re.search(r'width="([\d.]+)"', svg).group(1)) <= width + 40


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_drawings_are_valid_and_light(only: dict[str, Any], width: int) -> None:
    """Each chart obeys the schema of Vega-Lite, parses as XML, fits its width and weighs less than 60 kB."""
    for name, chart in charts(only, width).items():
        chart.to_dict()  # validates
        svg = page_drawing(rendered(chart), name=name)
        root = ET.fromstring(svg)
        assert float(root.get("width")) <= width + 24, name
        assert len(svg) < 60_000, name
        assert not re.search(r'(?:fill|stroke)="#', svg), name


def test_ids_of_two_drawings_never_meet(only: dict[str, Any]) -> None:
    """The same chart drawn twice gives the same text, and under two names no common id."""
    chart = charts(only, NARROW)["week"]
    first, again, other = (page_drawing(rendered(chart), name=name) for name in ("a", "a", "b"))
    ids = [set(re.findall(r' id="([^"]+)"', svg)) for svg in (first, other)]
    assert first == again
    assert not ids[0] & ids[1]


def test_the_bar_of_the_rest_is_as_high_as_its_share(example: dict[str, Any]) -> None:
    """The bar of futures that do not pay back runs from the last odds to one."""
    example["paid_back_within_years"][-1]["value"] = 0.6
    spec = json.dumps(odds_chart(example, width=WIDE).to_dict())
    low, high = re.search(r'\\"low\\": ([\d.]+), \\"high\\": ([\d.]+)\}\]', spec[spec.index('\\"left\\"') :]).groups()
    assert (float(low), float(high)) == (0.6, 1.0)


def test_a_bin_across_zero_is_cut_there(example: dict[str, Any]) -> None:
    """A bar from -50 to 50 becomes a loss up to zero and a gain from it, of one height."""
    example |= {"worth_histogram": {"edges": [-50.0, 50.0], "share": [1.0]}, "bought_share": estimate(1.0, 0.0)}
    spec = json.dumps(worth_chart(example, width=WIDE).to_dict())
    assert '\\"left\\": -50.0, \\"right\\": 0.0, \\"share\\": 1.0, \\"side\\": \\"loss\\"' in spec
    assert '\\"left\\": 0.0, \\"right\\": 50.0, \\"share\\": 1.0, \\"side\\": \\"gain\\"' in spec


def test_a_refused_purchase_is_neither_a_loss_nor_a_gain(example: dict[str, Any]) -> None:
    """A quarter refused: taken out of the bin at zero and shown as a bar of its own, a quarter high."""
    bins = {"edges": [-50.0, 0.0, 50.0], "share": [0.5, 0.5]}
    spec = json.dumps(
        worth_chart(example | {"worth_histogram": bins, "bought_share": estimate(0.75, 0.0)}, width=WIDE).to_dict()
    )
    assert '\\"left\\": -50.0, \\"right\\": 0.0, \\"share\\": 0.5, \\"side\\": \\"loss\\"' in spec
    assert '\\"left\\": 0.0, \\"right\\": 50.0, \\"share\\": 0.25, \\"side\\": \\"gain\\"' in spec
    assert '\\"left\\": -10.0, \\"right\\": 10.0, \\"share\\": 0.25}' in spec


def test_swings_come_widest_first(only: dict[str, Any]) -> None:
    """By the distance between both ends."""
    widths = [abs(row["worth_at_90_percent"] - row["worth_at_10_percent"]) for row in swings(only)]
    assert len(widths) > 3
    assert widths == sorted(widths, reverse=True)


def test_ties_are_named_beside_the_shares() -> None:
    """30 % and 28 %, each ± 2, are a tie, and so are 28 % and 24 %; 24 % and 10 % are not, nor is 4 % worth a word."""

    def ranking(shares: tuple[float, ...], error: float) -> list[dict[str, Any]]:
        return [
            {"label": label, "share_of_variance": estimate(share, error)}
            for label, share in zip("ABCDE", shares, strict=True)
        ]

    # 10 and 9 % are a tie as well, but the fifth is not asked about.
    said = ties_words(ranking((0.30, 0.28, 0.24, 0.10, 0.09), 0.02))
    assert said == "Not sure which matters more: A, b or c."
    two = ties_words(ranking((0.40, 0.39, 0.20, 0.19, 0.09), 0.02))
    assert two == "Not sure which matters more: A or b. Not sure which matters more: C or d."
    assert ties_words(ranking((0.30, 0.28, 0.24, 0.10, 0.09), 0.001)) == ""
    assert ties_words(ranking((0.30, 0.04, 0.04, 0.04, 0.04), 0.02)) == ""


@pytest.fixture(scope="module")
def saved() -> list[Chart]:
    """Return the charts of a published result, as `riskcalc charts` draws them."""
    return charts_in(json.loads(RESULT.read_text(encoding="utf-8")))


def test_the_charts_of_a_result_are_all_there(saved: list[Chart]) -> None:
    """All of them, without a run and without a browser."""
    keys = ["futures", "odds", "cash", "prices", "worth", "share", "swing", "demand", "solar"]
    assert [chart.key for chart in saved] == keys


@pytest.mark.parametrize("shape", SHAPES)
def test_a_saved_drawing_holds_title_legend_and_source_inside_its_frame(saved: list[Chart], shape: str) -> None:
    """Every line of words begins and ends inside the frame, by a width of letters that no font of the stack exceeds."""
    for chart in saved:
        svg = chart.saved(shape)
        root = ET.fromstring(svg)
        wide, high = float(root.get("width")), float(root.get("height"))
        if SHAPES[shape] is not None:
            assert (wide, high) == SHAPES[shape]
        texts = [html.unescape(text) for text in re.findall(r">([^<]+)</text>", svg)]
        assert chart.title.split()[0] in " ".join(texts)
        assert "Made with riskcalc" in " ".join(texts).replace("  ", " ")
        assert all(said in texts for _, said in chart.legend)
        for size, line in re.findall(r'font-size="([\d.]+)px"[^>]*>((?:<text[^>]*>[^<]*</text>)+)</g>', svg):
            for y, text in re.findall(r'y="([\d.]+)">([^<]*)</text>', line):
                assert 0 <= float(y) <= high
                assert 0.5 * float(size) * len(text) < wide
        inner = re.search(r'transform="translate\(([\d.]+),([\d.]+)\) scale\(([\d.]+)\)"', svg)
        left, top, scale = (float(part) for part in inner.groups())
        size = re.search(r'width="([\d.]+)" height="([\d.]+)"', chart.wide_svg.result())
        assert left >= 0
        assert left + scale * float(size.group(1)) <= wide + 0.5
        assert top + scale * float(size.group(2)) <= high + 0.5


def png_chunks(png: bytes) -> dict[bytes, bytes]:
    """Return the content of a PNG by the kind of its chunks, those of one kind joined; every checksum holds."""
    found: dict[bytes, bytes] = {}
    at = 8
    while at < len(png):
        (long,), kind = struct.unpack(">I", png[at : at + 4]), png[at + 4 : at + 8]
        content = png[at + 8 : at + 8 + long]
        assert struct.unpack(">I", png[at + 8 + long : at + 12 + long]) == (zlib.crc32(kind + content),)
        found[kind] = found.get(kind, b"") + content
        at += 12 + long
    return found


def test_a_picture_is_drawn_at_twice_its_size(saved: list[Chart]) -> None:
    """A PNG of 2,560 by 1,440 pixels without a browser, with more than its paper on it."""
    content = saved[1].picture("16:9")
    assert content.startswith(b"\x89PNG")
    assert struct.unpack(">II", content[16:24]) == (2560, 1440)
    assert len(content) > 20_000
    drawn, packed = png_chunks(vl_convert.svg_to_png(saved[1].saved("16:9"), scale=2.0)), png_chunks(content)
    assert packed.pop(b"tEXt") == b"Software\0drawn by riskcalc"
    assert zlib.decompress(packed.pop(b"IDAT")) == zlib.decompress(drawn.pop(b"IDAT"))
    assert packed == drawn
    assert "sans-serif" in FONT


def test_text_of_a_scenario_cannot_break_out_of_a_drawing() -> None:
    """A label with markup is drawn as text."""
    svg = rendered(share_chart(["<script>alert(1)</script>&"], [estimate(0.5, 0.1)], width=NARROW))
    assert "<script" not in svg
    drawn: Future[str] = Future()
    drawn.set_result(svg)
    made = Chart("a", "<b>", "", "", (("paid", "<i>"),), (), (), drawn, drawn, "", "<u>", "half")
    for shape in SHAPES:
        text = made.saved(shape)
        assert not re.search("<[biu]>", text)
        ET.fromstring(text)
        assert PAPER["paper"] in text


def sketch_tops(quantiles: np.ndarray) -> np.ndarray:
    """Return the heights of the steps of a sketch, 0 at the ground."""
    return HEIGHT - np.array([float(top) for top in re.findall(r"V([\d.]+)H", sketch_path(quantiles))])


def test_sketch_of_a_uniform_is_flat_and_of_a_triangle_is_peaked() -> None:
    """A uniform has steps of one height; a triangle with its peak in the middle rises and falls."""
    assert np.allclose(sketch_tops(LEVELS), HEIGHT, atol=0.1)
    triangle = np.where(LEVELS < 0.5, np.sqrt(LEVELS / 2), 1 - np.sqrt((1 - LEVELS) / 2))
    tops = sketch_tops(triangle)
    assert tops.argmax() in {BINS // 2 - 1, BINS // 2}
    assert tops[0] < HEIGHT / 2 > tops[-1]


def test_sketch_of_a_discrete_input_has_lumps_in_proportion() -> None:
    """A quarter, a half, a quarter at three values: three steps, the middle one twice as high."""
    tops = sketch_tops(np.repeat([1.0, 2.0, 3.0], [25, 49, 25]))
    assert np.count_nonzero(tops > 0.2) == 3
    assert tops[0] / tops.max() == pytest.approx(0.5, abs=0.03)


def test_sketch_of_a_single_value_is_one_bar_in_the_middle() -> None:
    """No spread: a bar at half the width."""
    assert sketch_path(np.full(99, 3.0)).startswith(f"M{WIDTH / 2 - 2},")


def test_chart_rows_keep_six_digits() -> None:
    """Numbers are shortened, text is not."""
    assert json.loads(rows(a=[1.23456789], b=["x"]).values) == [{"a": 1.23457, "b": "x"}]


def test_the_dots_agree_with_the_odds_beside_them() -> None:
    """Shares of many years, each with a small remainder: 10.55 % paid back are 11 dots, not 10."""
    dots = dots_per_year(within([0.45] * 9 + [6.5, 89.45]))
    assert dots[-1] == 89
    assert dots.sum() == 100
