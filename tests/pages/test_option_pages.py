"""The pages of a comparison and of a matching, in a real browser and held against their result.json."""

import base64
import csv
import io
import json
import re
import runpy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from riskcalc.answers.compare import page_dict, result
from riskcalc.answers.match import matching
from riskcalc.answers.match import page_dict as match_dict
from riskcalc.answers.match import result as matching_result
from riskcalc.answers.options import comparison
from riskcalc.answers.stay import stay_curves
from riskcalc.output import json_text
from riskcalc.pages.exhibits.matching import pick_cells
from riskcalc.pages.page import compare_page, match_page
from riskcalc.scenario import read_scenario

HERE = Path(__file__).parents[1]
HEADLESS = runpy.run_path(str(HERE / "headless.py"))
NUMBERS = runpy.run_path(str(HERE / "pages/test_numbers.py"))
SMALL = runpy.run_path(str(HERE / "conftest.py"))["SMALL"]
in_browser = (
    pytest.mark.browser,
    pytest.mark.skipif(bool(REASON := HEADLESS["missing"]("axe_playwright_python")), reason=REASON),
)
STUDY = ("study.draws=64", "study.pool_years=4", "study.scrambles=4", "study.step_minutes=30", "study.horizon_years=3")
PRICE = 'purchase.price={distribution="uniform", low=50, high=900}'
#: Words whose numbers are no figures of the result: "1 in 20" in a heading and the like.
WORDS = re.compile(r"1 in 20|SHA-256")
#: Sections whose numbers are checksums, versions and words of the law of the land.
ELSEWHERE = {"again", "cautions", "terms"}


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[str, dict[str, Any]]]:
    """Return page and result, as read back from its JSON, of a comparison and of a matching."""
    folder = tmp_path_factory.mktemp("options")
    file = folder / "small.toml"
    file.write_text(SMALL, encoding="utf-8")
    rented = ('name="rented"', 'title="Rented: the unit is sold at a move"', "tenure.kind=rent", "tenure.at_move=sell")
    owned = ('name="owned"', 'title="Owned: two batteries, <kept>"', "tenure.kind=own", "kit.battery.extra_batteries=1")
    study = (*STUDY, PRICE, "prices.savings_rate_per_year=0.03")
    found = comparison([read_scenario(file, (*study, *changes)) for changes in (rented, owned)])
    curves = stay_curves(found.entries)
    figures = result(found, curves)
    asked = page_dict(found, curves, figures=figures, command="riskcalc compare rented owned")
    compared = compare_page(asked)
    shelf = HERE.parent / "scenarios"
    matched = matching(
        [shelf / "homes" / f"{name}.toml" for name in ("studio", "cabin")],
        [shelf / "kits" / f"{name}.toml" for name in ("plug-in-800w", "portable-1kwh")],
        modules=[2],
        changes=STUDY,
    )
    row = matching_result(matched)
    match = match_page(match_dict(matched, figures=row, command="riskcalc match"))
    return {"compare": (compared, json.loads(json_text(figures))), "match": (match, json.loads(json_text(row)))}


@pytest.fixture(scope="module")
def addresses(pages: dict[str, tuple[str, dict[str, Any]]], tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Return the addresses of the pages as files."""
    folder = tmp_path_factory.mktemp("pages")
    for name, (html, _) in pages.items():
        (folder / f"{name}.html").write_text(html, encoding="utf-8")
    return {name: (folder / f"{name}.html").as_uri() for name in pages}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Return a headless Chromium."""
    with HEADLESS["chromium"]() as started:
        yield started


@pytest.mark.parametrize("name", ["compare", "match"])
@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (360, "dark"), (900, "light"), (1600, "dark")])
@pytest.mark.browser
@in_browser[1]
def test_quiet_alone_as_wide_as_the_screen_and_for_everybody(
    browser: Any, addresses: dict[str, str], name: str, width: int, scheme: str
) -> None:
    """No console message, no request but the file itself, no sideways scrolling, nothing that axe-core finds."""
    context = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(addresses[name])
    assert page.locator("summary").count() >= 2
    for summary in page.locator("summary").all():
        summary.click()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert (said, asked) == ([], [addresses[name]])
    assert HEADLESS["violations"](page) == []
    context.close()


@pytest.mark.parametrize("name", ["compare", "match"])
@pytest.mark.browser
@in_browser[1]
def test_on_paper_it_is_whole(browser: Any, addresses: dict[str, str], name: str) -> None:
    """Printed there is no navigation and no link to save; drawings are not cut in two."""
    page = browser.new_page()
    page.goto(addresses[name])
    page.emulate_media(media="print")
    assert not page.locator("nav").is_visible()
    assert not page.locator(".beside").first.is_visible()
    kept = page.evaluate("[...document.querySelectorAll('figure')].map(e => getComputedStyle(e).breakInside)")
    assert set(kept) == {"avoid"}
    page.close()


@pytest.mark.parametrize("name", ["compare", "match"])
def test_every_drawing_has_words_a_table_and_files(pages: dict[str, tuple[str, dict[str, Any]]], name: str) -> None:
    """A text alternative, a table with the same rows as the CSV, and links that save CSV and SVG."""
    html, _ = pages[name]
    figures = re.findall(r"<figure.*?</figure>", html, flags=re.DOTALL)
    assert figures
    for figure in figures:
        assert re.search(r'role="img" aria-label="[^"]{40,}"', figure)
        data = re.search(r'\.csv" href="data:[^,]+,([^"]+)"', figure).group(1)
        rows = list(csv.reader(io.StringIO(base64.b64decode(data).decode())))
        assert len(rows) == figure.count("<tr>")
        svg = re.search(r'\.svg" href="data:[^,]+,([^"]+)"', figure).group(1)
        assert base64.b64decode(svg).startswith(b"<svg")


def test_options_are_called_by_their_titles(pages: dict[str, tuple[str, dict[str, Any]]]) -> None:
    """Titles, safely written, in the answer, the drawings and the tables; the names of files are no labels."""
    html, figures = pages["compare"]
    assert {row["title"] for row in figures["options"]} >= {"Rented: the unit is sold at a move"}
    assert "Owned: two batteries, &lt;kept&gt;" in html
    assert "<kept>" not in html
    opening = re.search(r'class="opening">(.*?)</h2>', html).group(1)
    assert any(
        called in opening
        for called in ("hoice A", "hoice B", "oing nothing", "urchase A", "urchase B", "which purchase pays")
    )
    match, _ = pages["match"]
    seen = " ".join(data for _, _, data in texts(match))
    assert "Portable 1 kWh battery with one solar module, changed to 2 modules" in seen
    assert "portable-1kwh" not in seen


def test_the_page_says_what_each_option_costs(pages: dict[str, tuple[str, dict[str, Any]]]) -> None:
    """Beside each title stands what is paid on the day of purchase; beside each pick of a home its price, in round figures."""
    html, figures = pages["compare"]
    paid = {row["title"]: row["outlay"]["value"] for row in figures["options"] if "outlay" in row}
    listed = dict(re.findall(r"<b>[AB]</b><span>(.*?)</span><span>.*?([\d,]+) to buy</span>", html))
    assert {
        title.replace("&lt;", "<").replace("&gt;", ">"): float(amount.replace(",", ""))
        for title, amount in listed.items()
    } == {title: pytest.approx(value, abs=1.0) for title, value in paid.items()}
    estimate, gain = {"value": 482.3, "standard_error": 2.3}, {"value": 312.0, "standard_error": 2.0}
    cell = {"kit": "kit", "title": "A kit", "is_run": True, "outlay": estimate, "net_present_value": {"mean": gain}}
    home = {"pick": "kit", "cells": [cell], "currency": "EUR", "lead_over_next": estimate}
    assert pick_cells(home) == ("A kit", "€480", "€312")
    close = {"lead_over_next": {"value": 3.0, "standard_error": 2.0}}
    assert pick_cells(home | close)[2] == "€312, too close to call"
    assert pick_cells(home | {"pick": "do nothing"}) == ("do nothing (no kit pays off)", "–", "–")
    assert pick_cells(home | {"pick": None}) == ("the kit cannot be used (reasons below)", "–", "–")


def texts(html: str) -> list[tuple[str, str, str]]:
    """Return (section, "", text) of all visible words but those of the last section, which names files."""
    words = NUMBERS["Words"]()
    words.feed(html)
    return [(section, "", text) for section, text in words.found if section not in ELSEWHERE]


def strange(html: str, known: np.ndarray) -> list[str]:
    """Return the numbers on the page that are none of those known, to the digits shown."""
    found = []
    for section, _, text in texts(html):
        tokens = NUMBERS["NUMBER"].findall(WORDS.sub(" ", NUMBERS["PHRASES"].sub(" ", text)))
        unknown = [token for token in tokens if not NUMBERS["is_shown"](token, known)]
        found += [f"{section}: {token} in {text.strip()}" for token in unknown]
    return found


def known_numbers(figures: dict[str, Any]) -> np.ndarray:
    """Return every number of a result, and each share as a percentage."""
    plain = np.abs(np.fromiter(NUMBERS["leaves"](figures), dtype=float))
    return np.unique(np.concatenate([plain, 100 * plain[plain <= 1.0], [0.0, 100.0]]))


@pytest.mark.parametrize("name", ["compare", "match"])
def test_every_number_seen_is_in_the_result(pages: dict[str, tuple[str, dict[str, Any]]], name: str) -> None:
    """To the digits shown, each number of the page is in result.json; against other figures most are not found."""
    html, figures = pages[name]
    known = known_numbers(figures)
    assert strange(html, known) == []
    seen = [token for _, _, text in texts(html) for token in NUMBERS["NUMBER"].findall(text)]
    assert len(seen) > 60
    assert len(strange(html, known * 1.07)) > 5
