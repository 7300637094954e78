"""The page in a real browser: quiet, alone, as wide as the screen, and right when an assumption is narrowed."""

import runpy
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from riskcalc.pages.figures import money, percent
from riskcalc.pages.page import assess_page

HEADLESS = runpy.run_path(str(Path(__file__).parents[1] / "headless.py"))
REASON = HEADLESS["missing"]()
pytestmark = [pytest.mark.browser, pytest.mark.skipif(bool(REASON), reason=REASON)]
BINS = 40


@pytest.fixture(scope="module")
def address(only: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the address of the page as a file."""
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(assess_page(only), encoding="utf-8")
    return path.as_uri()


def narrow(page: Any, key: str, low: int, high: int) -> None:
    """Move the two handles of an input to these bins."""
    sliders = page.locator(f'[data-key="{key}"] input')
    for slider, value in ((sliders.nth(0), low), (sliders.nth(1), high)):
        slider.evaluate("(e, v) => { e.value = v; e.dispatchEvent(new Event('input')); }", value)


def kept_by_numpy(table: dict[str, Any], ranges: dict[str, tuple[int, int]]) -> np.ndarray:
    """Return the draws inside every range, edges reckoned from the float32 values that the page holds."""
    inside = np.ones(len(table["net_present_value"]), dtype=bool)
    for key, (low, high) in ranges.items():
        row = [name for name, _, _ in table["inputs"]].index(key)
        values = table["values"][row].astype(np.float32).astype(np.float64)
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
        {"purchase.price": (0, 20)},
        {"home.surfaces.balcony.shading": (0, 20), "kit.inverter.idle_w": (10, 40)},
    ],
    ids=["all", "one input", "two inputs"],
)
def test_narrowed_distribution_is_what_numpy_finds(
    browser: Any, only: dict[str, Any], address: str, ranges: dict[str, tuple[int, int]]
) -> None:
    """Number left, odds, average worth, loss share and every bar of the payback histogram."""
    page = browser.new_page()
    page.goto(address)
    for key, (low, high) in ranges.items():
        narrow(page, key, low, high)
    table = only["page"]["draws"]
    inside = kept_by_numpy(table, ranges)
    payback, worth = table["payback_years"][inside], table["net_present_value"][inside]
    count, horizon = int(inside.sum()), only["horizon_years"]
    assert int(page.locator("#explorer").get_attribute("data-left")) == count
    assert page.locator("[data-part=left]").text_content().startswith(f"{count:,} of 512 futures left")

    def shown(key: str) -> str:
        return page.locator(f"[data-figure={key}] td").nth(0).text_content()

    def share(values: np.ndarray) -> str:
        part = float(values.mean())
        return percent(part, se=float(np.sqrt(part * (1 - part) / count)))

    assert shown("paid") == share(payback <= horizon)
    assert shown("loss") == share(worth < 0)
    error = worth.std(ddof=1) / np.sqrt(count)
    assert shown("mean") == money(float(worth.mean()), "EUR", se=float(error))
    for key, level in (("low", 0.05), ("high", 0.95)):
        assert shown(key) == money(float(np.quantile(worth, level)), "EUR", se=float(2 * error))
    middle = np.sort(payback)[[(count - 1) // 2, count // 2]].mean()
    assert shown("half") == (f"{middle:.1f}\u00a0years" if np.isfinite(middle) else f"not within {horizon}\u00a0years")

    bars = page.locator("[data-part=payback] rect").evaluate_all("all => all.map(e => +e.getAttribute('height'))")
    expected = [((payback > year - 1) & (payback <= year)).mean() for year in range(1, horizon + 1)]
    expected.append(np.isinf(payback).mean())
    assert np.argmax(bars) == np.argmax(expected)
    # Bars are drawn to a tenth of a pixel of 120, which is a fifth of one draw.
    assert np.array(bars) / np.sum(bars) == pytest.approx(np.array(expected), abs=3e-4)
    page.close()


def test_a_drag_brushes_a_click_lets_back_in_and_keys_move_the_handles(
    browser: Any, only: dict[str, Any], address: str
) -> None:
    """Pointer and keyboard reach the same thing."""
    page = browser.new_page(viewport={"width": 1600, "height": 900})
    page.goto(address)
    left = lambda: int(page.locator("#explorer").get_attribute("data-left"))  # noqa: E731
    shape = page.locator('[data-key="home.surfaces.balcony.shading"] svg')
    shape.scroll_into_view_if_needed()
    box = shape.bounding_box()
    middle = box["y"] + box["height"] / 2
    page.mouse.move(box["x"] + 0.30 * box["width"], middle)
    page.mouse.down()
    page.mouse.move(box["x"] + 0.60 * box["width"], middle, steps=4)
    page.mouse.up()
    brushed = left()
    assert 0.2 * 512 < brushed < 0.45 * 512
    page.mouse.click(box["x"] + 0.5 * box["width"], middle)
    assert left() == 512
    handle = page.locator('[data-key="home.surfaces.balcony.shading"] input').nth(1)
    handle.focus()
    for _ in range(10):
        page.keyboard.press("ArrowLeft")
    assert left() == kept_by_numpy(only["page"]["draws"], {"home.surfaces.balcony.shading": (0, 30)}).sum()
    page.get_by_role("button", name="Reset").click()
    assert left() == 512
    page.close()


def test_too_few_futures_say_nothing(browser: Any, address: str) -> None:
    """A handful of draws is counted and not made into odds."""
    page = browser.new_page()
    page.goto(address)
    narrow(page, "purchase.price", 0, 2)
    narrow(page, "home.surfaces.balcony.shading", 0, 2)
    assert "too few to say anything" in page.locator("[data-part=left]").text_content()
    assert page.locator("[data-figure=paid] td").nth(0).text_content() == ""
    page.close()
