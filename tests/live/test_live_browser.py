"""The workbench in a real browser, end to end: turn, get it wrong, undo, pin, save, and assess what was saved."""

import re
import runpy
import socket
import threading
import time
from pathlib import Path

import pytest

from riskcalc.live.desk import Desk
from riskcalc.live.server import workbench
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment

HEADLESS = runpy.run_path(str(Path(__file__).parents[1] / "headless.py"))
MISSING = HEADLESS["missing"]()

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.skipif(bool(MISSING), reason=MISSING)]
TOKEN = "a-token"


@pytest.fixture
def address(small_file):
    """A workbench of the small scenario, with a shelf of one other kit, served by a thread."""
    import uvicorn

    text = small_file.read_text(encoding="utf-8").replace("draws = 16", "draws = 256")
    small_file.write_text(text.replace("price = 600", "price = 600 # as quoted"), encoding="utf-8")
    kit = text[text.index("[kit]") : text.index("[dispatch]")].replace("[kit.", "[").replace("[kit]\n", "")
    (small_file.parent / "kits").mkdir()
    (small_file.parent / "kits" / "larger.toml").write_text(kit.replace("capacity_kwh = 1.0", "capacity_kwh = 3.0"))
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    application = workbench(
        Desk(small_file), report=lambda *_: "<p>report</p>", host="127.0.0.1", port=port, token=TOKEN
    )
    server = uvicorn.Server(uvicorn.Config(application, port=port, log_level="critical", timeout_graceful_shutdown=1))
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{port}/?token={TOKEN}"
    server.should_exit = True
    thread.join()


def settled(page):
    page.wait_for_function("document.getElementById('stage').textContent.startsWith('Settled')", timeout=90_000)


def turned(page, key, value):
    field = page.locator(f'[id="key-{key}"]')
    field.fill(value)
    field.press("Tab")
    settled(page)


def odds(page):
    return int(re.search(r"in (\d+) in 100", page.locator("#sentence").inner_text())[1])


def test_a_sitting_from_the_first_change_to_the_saved_file(address, small_file):
    with HEADLESS["chromium"]() as browser:
        page = browser.new_context(bypass_csp=True, viewport={"width": 1400, "height": 900}).new_page()
        faults = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(address)
        settled(page)
        page.evaluate("for (const table of document.querySelectorAll('details')) table.open = true")
        first = odds(page)
        page.click("#pin")
        page.wait_for_selector("#pins td")
        turned(page, "purchase.price", "60")
        page.wait_for_function("document.getElementById('file').textContent.includes('1 change')")
        settled(page)
        assert odds(page) > first
        turned(page, "kit.battery.capacity_kwh", "0.5")
        page.select_option("#pick-kit", "larger.toml")
        page.wait_for_function("document.getElementById('pick-kit').value === 'larger.toml'")
        settled(page)
        before = page.locator("#sentence").inner_text()
        field = page.locator('[id="key-purchase.price"]')
        field.fill("cheap")
        field.press("Tab")
        page.wait_for_selector('[id="key-purchase.price"][aria-invalid]')
        assert "stale" in page.locator("#answer").get_attribute("class")
        assert page.locator("#sentence").inner_text() == before
        assert "accepted" in page.locator('[data-key="purchase.price"] .wrong').inner_text().lower()
        page.click("#undo")
        page.wait_for_function("document.getElementById('pick-kit').value === ''")
        page.click("#redo")
        page.wait_for_function("document.getElementById('pick-kit').value === 'larger.toml'")
        settled(page)
        shown = odds(page)
        page.fill("#name", "after.toml")
        page.click("#save")
        page.wait_for_function("document.getElementById('said').textContent.startsWith('Saved')")
        assert not faults
    saved = small_file.parent / "after.toml"
    assert "price = 60 # as quoted" in saved.read_text(encoding="utf-8")
    found = assessment(read_scenario(saved))
    paid = (found.valuation.payback_years <= found.scenario.study.horizon_years).mean()
    assert round(100 * paid) == shown


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_is_accessible_and_fits_at_three_widths(address, scheme):
    with HEADLESS["chromium"]() as browser:
        page = browser.new_context(bypass_csp=True, color_scheme=scheme).new_page()
        page.goto(address)
        settled(page)
        page.click("#pin")
        page.wait_for_selector("#pins td")
        for width in (360, 900, 1600):
            page.set_viewport_size({"width": width, "height": 900})
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert HEADLESS["violations"](page) == []


def test_a_grip_moves_a_distribution_by_the_keyboard(address, small_file):
    text = small_file.read_text(encoding="utf-8")
    small_file.write_text(
        text.replace(
            "import_price_per_kwh = 0.30", "import_price_per_kwh = { distribution = 'uniform', low = 0.2, high = 0.4 }"
        )
    )
    with HEADLESS["chromium"]() as browser:
        page = browser.new_context(bypass_csp=True, viewport={"width": 1400, "height": 900}).new_page()
        page.goto(address)
        settled(page)
        grip = page.locator('[data-key="tariff.rates.day.import_price_per_kwh"] .grip').first
        grip.focus()
        grip.press("ArrowRight")
        page.wait_for_selector('[data-key="tariff.rates.day.import_price_per_kwh"].changed')
        value = page.locator('[id="key-tariff.rates.day.import_price_per_kwh"]').input_value()
        assert float(re.search(r"low = ([\d.]+)", value)[1]) > 0.2
        assert re.search(r"high = 0\.4\b", value)
