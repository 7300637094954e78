"""The workbench in a real browser, end to end: turn, get it wrong, undo, pin, save, and assess what was saved."""

import re
import runpy
import socket
import threading
import time
from pathlib import Path

import pytest

from riskcalc.errors import InputError
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
    page.wait_for_function(
        "!document.getElementById('keys').hasAttribute('aria-busy')"
        " && document.getElementById('stage').textContent.startsWith('Settled')",
        timeout=300_000,
    )


def turned(page, key, value):
    field = page.locator(f'[id="key-{key}"]')
    field.fill(value)
    field.press("Tab")
    settled(page)


def odds(page):
    return int(page.locator("#figures div", has_text="Odds of payback").locator("dd").inner_text().split()[0])


def test_a_sitting_from_the_first_change_to_the_saved_file(address, small_file):
    with HEADLESS["chromium"]() as browser:
        page = browser.new_context(bypass_csp=True, viewport={"width": 1400, "height": 900}).new_page()
        page.set_default_timeout(120_000)
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
        told = page.locator('[data-key="purchase.price"] .wrong').inner_text()
        with pytest.raises(InputError) as refused:
            read_scenario(small_file, ["purchase.price=cheap"])
        assert refused.value.problems[0].accepted in told
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


@pytest.mark.parametrize(("typed", "said"), [("0.5", "2 changes"), ("much", "1 change")])
def test_what_is_typed_while_a_reply_comes_is_not_lost(address, typed, said):
    """The reply to one figure arrives while the next is half typed: the text stays, and is taken or refused at its field."""
    with HEADLESS["chromium"]() as browser:
        page = browser.new_context(bypass_csp=True, viewport={"width": 1400, "height": 900}).new_page()
        page.goto(address)
        settled(page)
        page.evaluate("for (const table of document.querySelectorAll('details')) table.open = true")
        held = []
        page.route("**/turn/change", lambda route: route.continue_() if held else held.append(route))
        price, capacity = (page.locator(f'[id="key-{key}"]') for key in ("purchase.price", "kit.battery.capacity_kwh"))
        price.fill("60")
        with page.expect_request("**/turn/change"):
            price.press("Tab")
        capacity.fill(typed)
        held[0].continue_()
        page.wait_for_function("document.getElementById('file').textContent.includes('1 change')")
        assert capacity.input_value() == typed
        capacity.press("Tab")
        if typed == "much":
            page.wait_for_selector('[id="key-kit.battery.capacity_kwh"][aria-invalid]')
            assert capacity.input_value() == typed
        settled(page)
        assert said in page.locator("#file").inner_text()
        assert price.input_value() == "60"


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


def opened_editor(page, key):
    page.evaluate("for (const table of document.querySelectorAll('#keys > details')) table.open = true")
    row = page.locator(f'[data-key="{key}"]')
    row.locator(".shaping > summary").click()
    row.locator(".editor").wait_for()
    return row


def test_a_shape_is_chosen_dragged_and_typed_by_pointer_and_by_keys(address):
    """One number becomes a triangular distribution; a grip moves by keys and by the pointer; a figure is typed."""
    key = "tariff.rates.day.import_price_per_kwh"
    with HEADLESS["chromium"]() as browser:
        page = browser.new_context(bypass_csp=True, viewport={"width": 1400, "height": 900}).new_page()
        page.set_default_timeout(120_000)
        faults = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(address)
        settled(page)
        row = opened_editor(page, key)

        def written(name, *, other_than):
            page.wait_for_function(
                "([key, name, before]) => { const text = document.getElementById(`key-${key}`).value;"
                " const found = text.match(new RegExp(`${name} = ([0-9.]+)`)); return found && found[1] !== before; }",
                arg=[key, name, other_than],
            )
            return float(re.search(rf"{name} = ([\d.]+)", page.locator(f'[id="key-{key}"]').input_value())[1])

        row.locator(f'[id="kind-{key}"]').select_option("triangular")
        mode = written("mode", other_than="")
        low = written("low", other_than="")
        assert (low, mode) == (0.24, 0.3)
        grip = row.locator(f'[id="grip-{key}-high"]')
        high = written("high", other_than="")
        grip.focus()
        grip.press("ArrowRight")
        wider = written("high", other_than=f"{high:g}")
        assert wider > high
        assert page.evaluate("document.activeElement.id") == f"grip-{key}-high"
        field = row.locator(f'[id="part-{key}-low"]')
        field.fill("0.2")
        field.press("Tab")
        assert written("low", other_than="0.24") == 0.2
        settled(page)
        bar = row.locator(f'[id="grip-{key}-mode"] .bar')
        bar.scroll_into_view_if_needed()
        box = bar.bounding_box()
        page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 5)
        page.mouse.down()
        page.mouse.move(box["x"] - 30, box["y"] + 5, steps=4)
        page.mouse.up()
        assert 0.2 < written("mode", other_than="0.3") < 0.3
        settled(page)
        assert HEADLESS["violations"](page) == []
        assert faults == []
