"""Headless Chromium for the tests that need a browser, and what the accessibility rules of axe-core say of a page.

Without a browser those tests are skipped, unless RISKCALC_BROWSER=required says that they must run: then they fail.
"""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from importlib.util import find_spec
from typing import Any

CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), None
)
REQUIRED = os.environ.get("RISKCALC_BROWSER") == "required"
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update")


def missing(*modules: str) -> str:
    """Return why a test cannot run here, "" if it can or must."""
    absent = [name for name in ("playwright", *modules) if find_spec(name) is None]
    if REQUIRED or not (absent or CHROMIUM is None):
        return ""
    return f"not installed: {', '.join(absent)}" if absent else "no Chromium on this machine"


@contextmanager
def chromium() -> Iterator[Any]:
    """Start a browser and end it with the block."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=CHROMIUM, args=[*FLAGS, "--disable-sync", "--no-first-run"], timeout=60_000
        )
        yield browser
        browser.close()


def violations(page: Any) -> list[str]:
    """Return what axe-core holds against the page as it is shown now: rule, weight, the first element.

    axe-core comes with the test library axe-playwright-python. The page's own policy would keep it out, so the page
    must be opened in a context with `bypass_csp=True`.
    """
    page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8"))
    found = page.evaluate("axe.run()")
    assert len(found["passes"]) > 10, "axe looked at nothing"
    return [f"{row['id']} ({row['impact']}): {row['nodes'][0]['html'][:160]}" for row in found["violations"]]
