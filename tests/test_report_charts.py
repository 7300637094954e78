"""Drawings: what they count, how they look on both papers, what they weigh."""

import json
import re
import runpy
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.pages import data
from riskcalc.pages.charts.drawing import drawing, drawing_file
from riskcalc.pages.charts.energy import demand_chart, solar_chart
from riskcalc.pages.charts.futures import dots_per_year, futures_chart
from riskcalc.pages.charts.look import NARROW, PAPER, WIDE, rows
from riskcalc.pages.charts.money import cash_chart, worth_chart
from riskcalc.pages.charts.odds import odds_chart
from riskcalc.pages.charts.ranking import share_chart, swing_chart, swings
from riskcalc.pages.charts.sketch import BINS, HEIGHT, WIDTH, sketch_path
from riskcalc.pages.charts.week import top_watts, week_chart

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("report_example.py")))
REPORT = EXAMPLE["example_report"](draws=256)


def charts(width: int) -> dict[str, object]:
    """Return every chart of the page."""
    week = REPORT.weeks[0]
    return {
        "futures": futures_chart(REPORT.payback, width=width),
        "odds": odds_chart(REPORT.payback, width=width),
        "cash": cash_chart(REPORT.cash, currency="GBP", width=width),
        "worth": worth_chart(REPORT.worth, currency="GBP", width=width),
        "share": share_chart(REPORT.ranking, width=width),
        "swing": swing_chart(REPORT.ranking, currency="GBP", width=width),
        "demand": demand_chart(REPORT.months, width=width),
        "solar": solar_chart(REPORT.months, width=width),
        "week": week_chart(week, top_w=top_watts(REPORT.weeks), width=width),
    }


def payback_with(shares: list[float]) -> data.Payback:
    """Return a payback whose yearly and never shares are those, scaled to 1."""
    share = np.array(shares) / sum(shares)
    years = np.arange(1, len(share))
    return data.Payback(
        years=years,
        share_within=share[:-1].cumsum(),
        share_within_se=np.zeros(len(years)),
        discounted_within=share[:-1].cumsum(),
        never_share=data.Estimate(1 - float(share[:-1].sum()), 0.0),
        discounted_never_share=data.Estimate(float(share[-1]), 0.0),
        **{f"p{level}": data.Estimate(None) for level in (5, 25, 50, 75, 95)},
    )


@given(st.lists(st.floats(0, 1), min_size=2, max_size=41).filter(lambda shares: sum(shares) > 1e-3))
def test_dots_always_make_a_hundred_and_none_is_off_by_one(shares: list[float]) -> None:
    """Dots add up to a hundred and each column is within one dot of its share."""
    payback = payback_with(shares)
    dots = dots_per_year(payback)
    exact = 100 * np.append(np.diff(payback.share_within, prepend=0), payback.never_share.value)
    assert dots.sum() == 100
    assert (np.abs(dots - exact) < 1 + 1e-6).all()


def test_dots_by_hand() -> None:
    """Shares of 10.4, 20.3, 29.3 and 40 in a hundred: the one dot left over goes to the largest rest."""
    assert dots_per_year(payback_with([10.4, 20.3, 29.3, 40.0])).tolist() == [11, 20, 29, 40]


@pytest.mark.parametrize("shares", [[1.0, 0.0], [0.0, 1.0], [0.0] * 40 + [1.0], [1.0] * 40 + [0.0], [0.0, 1.0, 0.0]])
@pytest.mark.parametrize("width", [NARROW, 400])
def test_every_dot_is_drawn_within_the_width(shares: list[float], width: int) -> None:
    """All in one year, none ever, forty years: a hundred circles, never wider than asked."""
    svg = drawing_file(futures_chart(payback_with(shares), width=width), title="x")
    arcs = re.findall(r"A[\d.]+,[\d.]+,0,1,1", svg)
    assert len(arcs) == 2 * 100  # a circle is two arcs
    assert float(re.search(r'width="([\d.]+)"', svg).group(1)) <= width + 40


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_drawings_are_valid_and_light(width: int) -> None:
    """Each chart obeys the schema of Vega-Lite, parses as XML, fits its width and weighs less than 60 kB."""
    for name, chart in charts(width).items():
        chart.to_dict()  # validates
        svg = drawing(chart, name=name)
        root = ET.fromstring(svg)
        assert float(root.get("width")) <= width + 24, name
        assert len(svg) < 60_000, name


def test_colours_of_the_page_are_variables_and_of_the_file_are_not() -> None:
    """Inside the page every colour can turn dark; a saved file carries its own."""
    chart = charts(NARROW)["odds"]
    assert not re.search(r'(?:fill|stroke)="#', drawing(chart, name="odds"))
    saved = drawing_file(chart, title="A title")
    assert "var(" not in saved
    assert PAPER["never"].lower() in saved.lower()
    assert "A title" in saved


def test_ids_of_two_drawings_never_meet() -> None:
    """The same chart drawn twice gives the same text, and under two names no common id."""
    chart = charts(NARROW)["week"]
    first, again, other = drawing(chart, name="a"), drawing(chart, name="a"), drawing(chart, name="b")
    ids = [set(re.findall(r' id="([^"]+)"', svg)) for svg in (first, other)]
    assert first == again
    assert not ids[0] & ids[1]


def test_text_of_a_scenario_cannot_break_out_of_a_drawing() -> None:
    """A label with markup is drawn as text."""
    row = data.RankingRow("a.b", "<script>alert(1)</script>&", "", "kit", data.Estimate(0.5, 0.1))
    for svg in (
        drawing(share_chart([row], width=NARROW), name="x"),
        drawing_file(share_chart([row], width=NARROW), title="<b>"),
    ):
        assert "<script" not in svg
        assert "<b>" not in svg
        ET.fromstring(svg)


def test_the_never_bar_is_as_high_as_the_never_share() -> None:
    """The bar of futures that never pay back runs from the last odds to one."""
    spec = json.dumps(odds_chart(payback_with([1, 2, 3, 4]), width=WIDE).to_dict())
    low, high = re.search(r'\\"low\\": ([\d.]+), \\"high\\": ([\d.]+)\}\]', spec[spec.index('\\"left\\"') :]).groups()
    assert (float(low), float(high)) == (0.6, 1.0)


def test_a_bin_across_zero_is_cut_there() -> None:
    """A bar from -50 to 50 becomes a loss up to zero and a gain from it, of one height."""
    worth = EXAMPLE["worth_of"]({"worth": np.array([-60.0, 40.0] * 160)})
    one_bin = replace(worth, bin_edges=np.array([-50.0, 50.0]), bin_share=np.array([1.0]))
    spec = json.dumps(worth_chart(one_bin, currency="GBP", width=WIDE).to_dict())
    assert '\\"left\\": -50.0, \\"right\\": 0.0, \\"share\\": 1.0, \\"side\\": \\"loss\\"' in spec
    assert '\\"left\\": 0.0, \\"right\\": 50.0, \\"share\\": 1.0, \\"side\\": \\"gain\\"' in spec


def test_a_refused_purchase_is_neither_a_loss_nor_a_gain() -> None:
    """A quarter refused: taken out of the bin at zero and shown as a bar of its own, a quarter high."""
    edges, shares = np.array([-50.0, 0.0, 50.0]), np.array([0.5, 0.5])
    worth = replace(REPORT.worth, bin_edges=edges, bin_share=shares, refused_share=0.25)
    spec = json.dumps(worth_chart(worth, currency="GBP", width=WIDE).to_dict())
    assert '\\"left\\": -50.0, \\"right\\": 0.0, \\"share\\": 0.5, \\"side\\": \\"loss\\"' in spec
    assert '\\"left\\": 0.0, \\"right\\": 50.0, \\"share\\": 0.25, \\"side\\": \\"gain\\"' in spec
    assert '\\"left\\": -10.0, \\"right\\": 10.0, \\"share\\": 0.25}' in spec


def test_luck_has_a_share_and_no_swing() -> None:
    """The row without ends is ranked and left out of the swings; swings come widest first."""
    moving = swings(REPORT.ranking)
    assert "luck" not in [swing.row.key for swing in moving]
    assert [swing.width for swing in moving] == sorted((swing.width for swing in moving), reverse=True)


def sketch_tops(quantiles: np.ndarray) -> np.ndarray:
    """Return the heights of the steps of a sketch, 0 at the ground."""
    return HEIGHT - np.array([float(top) for top in re.findall(r"V([\d.]+)H", sketch_path(quantiles))])


def test_sketch_of_a_uniform_is_flat_and_of_a_triangle_is_peaked() -> None:
    """A uniform has steps of one height; a triangle with its peak in the middle rises and falls."""
    flat = sketch_tops(data.SKETCH_LEVELS)
    assert np.allclose(flat, HEIGHT, atol=0.1)
    level = data.SKETCH_LEVELS
    triangle = np.where(level < 0.5, np.sqrt(level / 2), 1 - np.sqrt((1 - level) / 2))
    tops = sketch_tops(triangle)
    assert tops.argmax() in {BINS // 2 - 1, BINS // 2}
    assert tops[0] < HEIGHT / 2 > tops[-1]


def test_sketch_of_a_discrete_input_has_lumps_in_proportion() -> None:
    """A quarter, a half, a quarter at three values: three steps, the middle one twice as high."""
    values = np.repeat([1.0, 2.0, 3.0], [25, 49, 25])
    tops = sketch_tops(values)
    assert np.count_nonzero(tops > 0.2) == 3
    assert tops[0] / tops.max() == pytest.approx(0.5, abs=0.03)


def test_sketch_of_a_single_value_is_one_bar_in_the_middle() -> None:
    """No spread: a bar at half the width."""
    assert sketch_path(np.full(99, 3.0)).startswith(f"M{WIDTH / 2 - 2},")


def test_chart_rows_keep_six_digits() -> None:
    """Numbers are shortened, text is not."""
    assert json.loads(rows(a=[1.23456789], b=["x"]).values) == [{"a": 1.23457, "b": "x"}]
