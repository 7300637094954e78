"""The page for everybody: axe-core finds nothing against it; on paper it is whole, in order, and on few sheets."""

import re
import runpy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from riskcalc.pages.data import Detail, DetailRow
from riskcalc.pages.estimate import Estimate
from riskcalc.pages.method import method
from riskcalc.pages.page import report_html

INSIGHT = runpy.run_path(str(Path(__file__).with_name("test_report_insight.py")))["INSIGHT"]
DETAILS = tuple(
    Detail(
        key,
        f"Table {key}",
        "A line of words.",
        ("average",),
        (DetailRow("Purchase", "money", (Estimate(-900.0, 9.0),)),),
    )
    for key in ("worth", "outages")
)
METHOD = {
    "generated_weather": True,
    "metered": False,
    "coupling": "sockets",
    "has_modules": True,
    "has_battery": True,
    "ageing_law": "lfp",
    "moves": True,
    "outages": True,
}
HEADLESS = runpy.run_path(str(Path(__file__).with_name("headless.py")))
EXAMPLE = runpy.run_path(str(Path(__file__).with_name("report_example.py")))
REASON = HEADLESS["missing"]("axe_playwright_python")
pytestmark = [pytest.mark.browser, pytest.mark.skipif(bool(REASON), reason=REASON)]


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Return a headless Chromium."""
    with HEADLESS["chromium"]() as started:
        yield started


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the address of the page as a file."""
    path = tmp_path_factory.mktemp("page") / "report.html"
    parts = {"insight": INSIGHT, "details": DETAILS, "method": method(**METHOD)}
    path.write_text(report_html(EXAMPLE["example_report"](draws=1024, **parts)), encoding="utf-8")
    return path.as_uri()


@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (900, "light"), (1600, "light"), (1600, "dark")])
def test_axe_finds_nothing(browser: Any, address: str, width: int, scheme: str) -> None:
    """No violation of any weight, with every table and list unfolded."""
    context = browser.new_context(viewport={"width": width, "height": 900}, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    page.goto(address)
    for summary in page.locator("summary").all():
        summary.click()
    assert HEADLESS["violations"](page) == []
    context.close()


def test_axe_would_notice(browser: Any, address: str) -> None:
    """The check can fail: a button without a name and grey words on grey are found."""
    context = browser.new_context(bypass_csp=True)
    page = context.new_page()
    page.goto(address)
    page.evaluate(
        "document.querySelector('main').insertAdjacentHTML('afterbegin',"
        " '<button></button><p style=\"color:#999;background:#aaa\">faint words</p>')"
    )
    found = " ".join(HEADLESS["violations"](page))
    assert "button-name" in found
    assert "color-contrast" in found
    context.close()


def test_everything_that_acts_is_reached_by_keyboard(browser: Any, address: str) -> None:
    """Tab goes through links, tables, handles and the button, and shows where it is."""
    page = browser.new_page(viewport={"width": 1600, "height": 900})
    page.goto(address)
    reached, ringed = set(), 0
    for _ in range(140):
        page.keyboard.press("Tab")
        kind, ring = page.evaluate(
            "(() => { const e = document.activeElement, s = getComputedStyle(e);"
            " return [e.tagName, s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) > 0] })()"
        )
        reached.add(kind)
        ringed += ring
    assert {"A", "SUMMARY", "INPUT", "BUTTON"} <= reached
    assert ringed > 100
    page.close()


def test_printed_it_is_whole_and_short(browser: Any, address: str) -> None:
    """A PDF on A4 of few sheets; no drawing is cut in two, no heading left alone at the foot of a sheet."""
    page = browser.new_page()
    page.goto(address)
    pdf = page.pdf(format="A4", print_background=True)
    sheets = len(re.findall(rb"/Type\s*/Page\b", pdf))
    assert 6 <= sheets <= 20
    page.emulate_media(media="print")
    breaks = page.evaluate(
        "[...document.querySelectorAll('figure')].map(e => getComputedStyle(e).breakInside)"
        ".concat([...document.querySelectorAll('h2,h3')].map(e => getComputedStyle(e).breakAfter))"
    )
    assert breaks
    assert set(breaks) == {"avoid"}
    page.close()


def test_printed_on_paper_it_is_dark_on_light(browser: Any, address: str) -> None:
    """A reader who prefers dark screens still gets ink on paper."""
    page = browser.new_page(color_scheme="dark")
    page.goto(address)
    page.emulate_media(media="print", color_scheme="dark")
    ink, paper = page.evaluate(
        "['color', 'backgroundColor'].map(name => getComputedStyle(document.body)[name].match(/[\\d.]+/g).map(Number))"
    )
    assert sum(ink[:3]) < 200
    assert sum(paper[:3]) > 700 or (len(paper) > 3 and paper[3] == 0)
    page.close()
