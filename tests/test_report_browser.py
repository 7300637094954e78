"""The page in a real browser: quiet, alone, as wide as the screen, and right when an assumption is narrowed."""

import runpy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from riskcalc.pages.page import report_html
from riskcalc.pages.rounding import money, percent

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("report_example.py")))
HEADLESS = runpy.run_path(str(Path(__file__).with_name("headless.py")))
REASON = HEADLESS["missing"]()
pytestmark = [pytest.mark.browser, pytest.mark.skipif(bool(REASON), reason=REASON)]
REPORT = EXAMPLE["example_report"](draws=1024)
BINS = 40


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Return a headless Chromium."""
    with HEADLESS["chromium"]() as started:
        yield started


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the address of the page as a file."""
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(report_html(REPORT), encoding="utf-8")
    return path.as_uri()


@pytest.mark.parametrize("width", [360, 900, 1600])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_quiet_alone_and_no_wider_than_the_screen(browser: Any, address: str, width: int, scheme: str) -> None:
    """No console message, no request but the file itself, no sideways scrolling."""
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=scheme)
    messages: list[str] = []
    requests: list[str] = []
    page.on("console", lambda message: messages.append(message.text))
    page.on("pageerror", lambda error: messages.append(str(error)))
    page.on("request", lambda request: requests.append(request.url))
    page.goto(address)
    for summary in page.locator("summary").all():
        summary.click()
    assert page.locator("[data-part=more] .input").count() == len(REPORT.draws_table.inputs) - 8
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert messages == []
    assert requests == [address]
    page.close()


def narrow(page: Any, key: str, low: int, high: int) -> None:
    """Move the two handles of an input to these bins."""
    sliders = page.locator(f'[data-key="{key}"] input')
    for slider, value in ((sliders.nth(0), low), (sliders.nth(1), high)):
        slider.evaluate("(e, v) => { e.value = v; e.dispatchEvent(new Event('input')); }", value)


def kept_by_numpy(ranges: dict[str, tuple[int, int]]) -> np.ndarray:
    """Return the draws inside every range, edges reckoned from the float32 values that the page holds."""
    table = REPORT.draws_table
    inside = np.ones(len(table.net_present_value), dtype=bool)
    for key, (low, high) in ranges.items():
        row = [name for name, _, _ in table.inputs].index(key)
        values = table.values[row].astype(np.float32).astype(np.float64)
        edges = values.min() + np.ptp(values) * np.arange(BINS + 1) / BINS
        edges[-1] = values.max()
        if low > 0:
            inside &= values >= edges[low]
        if high < BINS:
            inside &= values <= edges[high]
    return inside


@pytest.mark.parametrize(
    "ranges",
    [
        {},
        {"prices.trend_per_year": (20, 40)},
        {"home.surfaces.rail.shading": (0, 13), "home.moved_share": (10, 40)},
        {"kit.battery.capacity_kwh": (0, 10)},
    ],
    ids=["all", "one input", "two inputs", "a discrete one"],
)
def test_narrowed_distribution_is_what_numpy_finds(
    browser: Any, address: str, ranges: dict[str, tuple[int, int]]
) -> None:
    """Number left, odds, average worth, loss share and every bar of the payback histogram."""
    page = browser.new_page()
    page.goto(address)
    for key, (low, high) in ranges.items():
        narrow(page, key, low, high)
    inside = kept_by_numpy(ranges)
    payback = REPORT.draws_table.payback_years[inside]
    worth = REPORT.draws_table.net_present_value[inside]
    count, horizon = int(inside.sum()), REPORT.horizon_years
    assert int(page.locator("#explorer").get_attribute("data-left")) == count
    assert page.locator("[data-part=left]").text_content().startswith(f"{count:,} of 1,024 futures left")

    def shown(key: str) -> str:
        return page.locator(f"[data-figure={key}] td").nth(0).text_content()

    def share(values: np.ndarray) -> str:
        part = float(values.mean())
        return percent(part, se=float(np.sqrt(part * (1 - part) / count)))

    assert shown("paid") == share(payback <= horizon)
    assert shown("loss") == share(worth < 0)
    error = worth.std(ddof=1) / np.sqrt(count)
    assert shown("mean") == money(float(worth.mean()), "GBP", se=float(error))
    for key, level in (("low", 0.05), ("high", 0.95)):
        assert shown(key) == money(float(np.quantile(worth, level)), "GBP", se=float(2 * error))
    middle = np.sort(payback)[[(count - 1) // 2, count // 2]].mean()
    assert shown("half") == (f"{middle:.1f}\u00a0years" if np.isfinite(middle) else "never")

    bars = page.locator("[data-part=payback] rect").evaluate_all("all => all.map(e => +e.getAttribute('height'))")
    expected = [((payback > year - 1) & (payback <= year)).mean() for year in range(1, horizon + 1)]
    expected.append(np.isinf(payback).mean())
    assert np.argmax(bars) == np.argmax(expected)
    # Bars are drawn to a tenth of a pixel of 120, which is a fifth of one draw.
    assert np.array(bars) / np.sum(bars) == pytest.approx(np.array(expected), abs=2e-4)
    page.close()


def test_a_drag_brushes_a_click_lets_back_in_and_keys_move_the_handles(browser: Any, address: str) -> None:
    """Pointer and keyboard reach the same thing."""
    page = browser.new_page(viewport={"width": 1600, "height": 900})
    page.goto(address)
    left = lambda: int(page.locator("#explorer").get_attribute("data-left"))  # noqa: E731
    shape = page.locator('[data-key="home.surfaces.rail.shading"] svg')
    shape.scroll_into_view_if_needed()
    box = shape.bounding_box()
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 0.30 * box["width"], middle)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.60 * box["width"], middle, steps=4)
    page.mouse.up()
    brushed = left()
    assert 0.2 * 1024 < brushed < 0.45 * 1024
    page.mouse.click(box["x"] + 0.5 * box["width"], middle)
    assert left() == 1024
    handle = page.locator('[data-key="home.surfaces.rail.shading"] input').nth(1)
    handle.focus()
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    assert left() == kept_by_numpy({"home.surfaces.rail.shading": (0, 30)}).sum()
    page.get_by_role("button", name="Let all futures back in").click()
    assert left() == 1024
    page.close()


def test_too_few_futures_say_nothing(browser: Any, address: str) -> None:
    """A handful of draws is counted and not made into odds."""
    page = browser.new_page()
    page.goto(address)
    narrow(page, "prices.trend_per_year", 0, 2)
    narrow(page, "home.surfaces.rail.shading", 0, 2)
    assert "too few to say anything" in page.locator("[data-part=left]").text_content()
    assert page.locator("[data-figure=paid] td").nth(0).text_content() == ""
    page.close()


def test_without_scripts_the_page_is_whole_and_offers_nothing_dead(browser: Any, address: str) -> None:
    """With scripts off the section that needs them stays away; everything else is there."""
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(address)
    assert not page.locator("#narrow").is_visible()
    assert page.locator("figure svg").count() >= 10
    context.close()


def test_print_leaves_out_what_paper_cannot_do(browser: Any, address: str) -> None:
    """On paper there is no navigation, no handle, no link to save."""
    page = browser.new_page()
    page.goto(address)
    page.emulate_media(media="print")
    for selector in ("nav", "#narrow", ".beside"):
        assert not page.locator(selector).first.is_visible()
    assert page.locator("#assumed").is_visible()
    page.close()
