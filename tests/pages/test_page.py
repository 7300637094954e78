"""The page as a whole: one safe file, every chart with words, table and files, for everybody."""

from __future__ import annotations

import base64
import csv
import hashlib
import io
import json
import re
import runpy
import struct
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest

from riskcalc.pages.exhibit import csv_text
from riskcalc.pages.exhibits import worth
from riskcalc.pages.exhibits.cautions import cautions
from riskcalc.pages.exhibits.fit import fit_title
from riskcalc.pages.figures import PLAIN, estimate
from riskcalc.pages.page import assess_page

TESTS = Path(__file__).parents[1]
HEADLESS = runpy.run_path(str(TESTS / "headless.py"))
IN_BROWSER = pytest.mark.skipif(
    bool(REASON := HEADLESS["missing"]("axe_playwright_python")), reason=REASON or "there is a browser"
)
EXAMPLES = sorted((TESTS.parent / "reports/examples").glob("*/result.json"))
VOID = {"meta", "br", "input", "link", "img", "hr", "path", "rect", "line"}


@pytest.fixture(scope="module")
def page(only: dict[str, Any]) -> str:
    """Return the page of the small assessment."""
    return assess_page(only)


class Balance(HTMLParser):
    """Collects every element and refuses a closing tag that does not match."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element."""
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        """Close an element."""
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Note text."""
        self.texts.append(data)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element that closes itself."""
        self.elements.append((tag, {name: value or "" for name, value in attrs}))


def read(page: str) -> Balance:
    """Return the page taken apart."""
    parsed = Balance()
    parsed.feed(page)
    parsed.close()
    assert parsed.open == []
    return parsed


def test_nothing_comes_from_outside_the_file(page: str) -> None:
    """Every address is inside the page or part of it; the only http text is the name of the SVG language."""
    for tag, settings in read(page).elements:
        assert "src" not in settings, tag
        assert not any(name.startswith("on") or name == "style" for name in settings), (tag, settings)
        if "href" in settings:
            assert settings["href"].startswith(("#", "data:")), settings["href"][:60]
    assert set(re.findall(r"https?://[^\"' <)]+", page)) <= {"http://www.w3.org/2000/svg"}
    assert "url(http" not in page
    assert "@import" not in page
    assert len(page.encode()) < 1_500_000


def test_the_policy_admits_our_style_and_script_and_nothing_else(page: str) -> None:
    """The hashes in the content security policy are those of the style and the script in the page."""
    policy = next(s["content"] for t, s in read(page).elements if s.get("http-equiv") == "Content-Security-Policy")
    blocks = [re.search(rf"<{tag}>(.*?)</{tag}>", page, flags=re.DOTALL).group(1) for tag in ("style", "script")]
    hashes = ["sha256-" + base64.b64encode(hashlib.sha256(block.encode()).digest()).decode() for block in blocks]
    assert policy == (
        f"default-src 'none'; style-src '{hashes[0]}'; script-src '{hashes[1]}'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def test_the_head_carries_what_a_shared_link_shows(page: str) -> None:
    """Title, description and a picture of the chart of the answer, all in the file."""
    settings = {s.get("property") or s.get("name"): s.get("content", "") for _, s in read(page).elements}
    assert settings["og:title"] == "A flat in the south: does it pay back?"
    assert "it pays for itself within" in settings["og:description"]
    assert settings["description"] == settings["og:description"]
    kind, data = settings["og:image"].split(",")
    assert kind == "data:image/png;base64"
    wide, high = struct.unpack(">II", base64.b64decode(data)[16:24])
    assert wide / high == pytest.approx(16 / 9, rel=0.01)


def test_scenario_text_cannot_become_markup(example: dict[str, Any]) -> None:
    """Markup in every text of a scenario arrives as text, also inside drawings, data and attributes."""
    nasty = "</script><script>alert('x')</script>\"><img src=x onerror=alert(1)>"
    only = example["page"]
    example["title"] = nasty
    only |= dict.fromkeys(("description", "place", "kit", "home", "tariff", "command"), nasty) | {"weeks": []}
    for name in ("ranking", "assumptions", "electrical_fit"):
        for row in example[name]:
            row |= {key: nasty for key in ("label", "family", "given", "source", "advice", "method") if key in row}
    only["draws"]["inputs"] = [[nasty, nasty, nasty] for _ in only["draws"]["inputs"]]
    example["limits"] = [nasty]
    example["questions"] = [{"key": nasty, "given": nasty, "usual": nasty, "effect": nasty, "source": nasty}]
    example["provenance"]["files"] = [{"path": nasty, "sha256": nasty}]
    parsed = read(assess_page(example))
    tags = [tag for tag, _ in parsed.elements]
    assert "img" not in tags
    assert tags.count("script") == 3
    assert nasty in "".join(parsed.texts)


def test_every_drawing_has_words_a_table_and_files(page: str) -> None:
    """Each figure is named by its finding, described for those who cannot see it, and has its table, CSV and SVG."""
    figures = re.findall(r"<figure.*?</figure>", page, flags=re.DOTALL)
    assert len(figures) == 11
    for figure in figures:
        parsed = read(figure)
        settings = [s for _, s in parsed.elements]
        assert any(s.get("id") == settings[0]["aria-labelledby"] for s in settings)
        assert any(s.get("role") == "img" and len(s["aria-label"]) > 40 for s in settings)
        tags = [tag for tag, _ in parsed.elements]
        assert tags.count("table") == 1
        assert tags.count("tr") >= 2
        saved = {s["download"].rsplit(".")[-1]: s["href"] for s in settings if "download" in s}
        assert set(saved) == {"csv", "svg"}
        lines = list(csv.reader(io.StringIO(base64.b64decode(saved["csv"].split(",")[1]).decode())))
        assert len({len(line) for line in lines}) == 1
        svg = base64.b64decode(saved["svg"].split(",")[1]).decode()
        assert svg.startswith("<svg xmlns=")
        assert "A flat in the south. 512 simulated futures, seed 1. Made with riskcalc" in " ".join(
            re.findall(r">([^<]+)<", svg)
        )


def test_ids_are_unique_and_links_arrive(page: str) -> None:
    """No id is used twice; every link within the page has its target."""
    settings = [s for _, s in read(page).elements]
    ids = [s["id"] for s in settings if "id" in s]
    assert len(ids) == len(set(ids))
    assert {s["href"][1:] for s in settings if s.get("href", "").startswith("#")} <= set(ids)
    assert {name for s in settings for name in s.get("aria-labelledby", "").split()} <= set(ids)


def test_the_answer_comes_before_the_evidence_and_the_words_at_the_foot(page: str) -> None:
    """Asked, answered, drawn; more about it with the limits; then the evidence; the glossary and the command last."""
    text = page[page.index("<main>") :]
    parts = ('class="facts"', 'class="opening"', 'class="figures"', 'id="futures-chart"', 'id="more"', 'id="when"')
    order = [text.index(part) for part in (*parts, 'id="cautions"', 'id="terms"', 'id="again"')]
    assert order == sorted(order)
    assert "±" not in text[: text.index('id="when"')].split('class="beside"')[0]


def test_sections_without_content_are_left_out(example: dict[str, Any]) -> None:
    """No odds, no claims, no ranking, no fit, nothing to narrow: no heading without a body."""
    for name in ("odds_ranking", "value_of_information", "break_even", "claims"):
        del example[name]
    example |= {"ranking": [], "electrical_fit": []}
    example["page"] |= {"draws": None, "weeks": [], "headline_years": 6}
    page = assess_page(example)
    for key in ("claims", "findout", "decides", "narrow", "weeks", "fit"):
        assert f'id="{key}"' not in page
    read(page)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.parent.name)
def test_the_table_of_the_worth_adds_up(path: Path) -> None:
    """Every kind of flow of a published result has its row, so that the rows sum to the mean worth."""
    figures = json.loads(path.read_text(encoding="utf-8"))
    blocks = list(worth.made_of(figures))
    cells = dict(blocks[-1].value["cells"])
    kinds = {name: row["value"] for name, row in figures["worth_by_kind"].items() if row["value"]}
    assert sum(kinds.values()) == pytest.approx(figures["net_present_value"]["mean"]["value"], abs=1e-6)
    assert len(cells) == len(kinds) + 1
    for kind in kinds:
        assert worth.KINDS[kind] in cells
    assert worth.KINDS.keys() >= figures["worth_by_kind"].keys()


def test_an_unknown_kind_of_flow_keeps_its_row(example: dict[str, Any]) -> None:
    """A flow that nobody gave words to stands under its own name; none is dropped."""
    example["worth_by_kind"]["grid_fee"] = estimate(-5.0, 0.0)
    cells = dict(list(worth.made_of(example))[-1].value["cells"])
    assert cells["Grid fee"].translate(PLAIN) == "−€5.00"


def test_fit_is_told_worst_first() -> None:
    """None wrong, one wrong, several."""
    rows = [{"verdict": name} for name in ("ok", "tight", "refused", "ok")]
    assert fit_title(rows) == "Of 4 checks of the solar modules, 1 failed and 1 tight"
    assert fit_title(rows[:1] * 3) == "All 3 checks of the solar modules pass"


@pytest.mark.parametrize("coupling", ["none", "sockets", "plug_in", "whole_home", "off_grid"])
def test_cautions_defer_to_codes_and_licensed_practice(coupling: str) -> None:
    """Whatever the kit: local codes first, a licensed electrician, and never that one is not needed."""
    traits = {"coupling": coupling, "has_modules": True, "has_battery": True, "modules_in_series": 2, "renting": True}
    said = " ".join(cautions(**traits, bridges=True))
    assert "Local codes" in said
    assert "licensed electrician" in said
    assert "no electrician" not in said.lower()
    assert ("carbon monoxide" in said) == (coupling == "off_grid")
    assert ("changeover switch" in said) == (coupling in ("whole_home", "plug_in"))
    assert ("switches itself off" in said) == (coupling == "sockets")
    assert "medical equipment" in said


def test_csv_text_disarms_formulas() -> None:
    """Text that a spreadsheet would run gets an apostrophe; numbers do not."""
    assert csv_text({"a": ["=1+1", "x"], "b": [-1.5, float("inf")]}) == "a,b\n'=1+1,-1.5\nx,\n"


@pytest.mark.browser
@IN_BROWSER
@pytest.mark.parametrize(("width", "scheme"), [(360, "dark"), (900, "light"), (1600, "light")])
def test_quiet_alone_no_wider_than_the_screen_and_for_everybody(
    opened: Any, page: str, width: int, scheme: str
) -> None:
    """No console message, no request but the file, no sideways scrolling, nothing that axe-core finds, all unfolded."""
    window, said, asked = opened(page, width=width, scheme=scheme)
    for summary in window.locator("summary").all():
        # A page of few inputs has no more of them to unfold.
        if summary.is_visible():
            summary.click()
    assert window.evaluate("document.documentElement.scrollWidth") <= width
    assert said == []
    assert asked == [window.url]
    assert HEADLESS["violations"](window) == []


@pytest.mark.browser
@IN_BROWSER
def test_axe_would_notice(opened: Any, page: str) -> None:
    """The check can fail: a button without a name and grey words on grey are found."""
    window, _, _ = opened(page)
    window.evaluate(
        "document.querySelector('main').insertAdjacentHTML('afterbegin',"
        " '<button></button><p style=\"color:#999;background:#aaa\">faint words</p>')"
    )
    found = " ".join(HEADLESS["violations"](window))
    assert "button-name" in found
    assert "color-contrast" in found


@pytest.mark.browser
@IN_BROWSER
@pytest.mark.parametrize(
    ("name", "ratio"),
    [
        ("Picture (PNG)", None),
        ("Wide picture (PNG 16:9)", 1280 / 720),
        ("Square picture (PNG 1:1)", 1.0),
    ],
)
def test_a_chart_saves_as_a_picture(opened: Any, page: str, name: str, ratio: float | None) -> None:
    """Under the page's own policy a click gives a PNG at twice the size of the drawing, or of the frame."""
    window, said, _ = opened(page, bypass_csp=False)
    window.locator("#when summary", has_text="Save").click()
    with window.expect_download() as download:
        window.locator("#when").get_by_role("button", name=name, exact=True).click()
    content = Path(download.value.path()).read_bytes()
    assert content.startswith(b"\x89PNG")
    wide, high = struct.unpack(">II", content[16:24])
    if ratio is None:
        svg = re.search(r'download="odds.svg" href="data:[^,]+,([^"]+)"', page).group(1)
        size = re.search(r'width="([\d.]+)" height="([\d.]+)"', base64.b64decode(svg).decode())
        assert (wide, high) == tuple(2 * round(float(length)) for length in size.groups())
    else:
        assert wide / high == pytest.approx(ratio, rel=1e-3)
        assert wide >= 2160
    assert said == []


@pytest.mark.browser
@IN_BROWSER
def test_printed_it_is_whole_short_and_dark_on_light(opened: Any, page: str) -> None:
    """A PDF on A4 of few sheets, nothing cut in two, ink on paper for those who prefer dark screens too."""
    window, _, _ = opened(page, scheme="dark")
    pdf = window.pdf(format="A4", print_background=True)
    assert 6 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 20
    window.emulate_media(media="print", color_scheme="dark")
    breaks = window.evaluate(
        "[...document.querySelectorAll('figure')].map(e => getComputedStyle(e).breakInside)"
        ".concat([...document.querySelectorAll('h2,h3')].map(e => getComputedStyle(e).breakAfter))"
    )
    assert set(breaks) == {"avoid"}
    for selector in ("nav", "#narrow", ".beside"):
        assert not window.locator(selector).first.is_visible()
    ink, paper = window.evaluate(
        "['color', 'backgroundColor'].map(name => getComputedStyle(document.body)[name].match(/[\\d.]+/g).map(Number))"
    )
    assert sum(ink[:3]) < 200
    assert sum(paper[:3]) > 700 or (len(paper) > 3 and paper[3] == 0)


@pytest.mark.browser
@IN_BROWSER
def test_without_scripts_the_page_is_whole_and_offers_nothing_dead(opened: Any, page: str) -> None:
    """With scripts off what needs them stays away; everything else is there."""
    window, _, _ = opened(page, java_script_enabled=False)
    assert not window.locator("#narrow").is_visible()
    assert not window.locator("button.save").first.is_visible()
    assert window.locator("figure svg").count() >= 10


@pytest.mark.browser
@IN_BROWSER
def test_everything_that_acts_is_reached_by_keyboard(opened: Any, page: str) -> None:
    """Tab goes through links, tables, handles and buttons, and shows where it is."""
    window, _, _ = opened(page, width=1600)
    reached, ringed = set(), 0
    for _ in range(140):
        window.keyboard.press("Tab")
        kind, ring = window.evaluate(
            "(() => { const e = document.activeElement, s = getComputedStyle(e);"
            " return [e.tagName, s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) > 0] })()"
        )
        reached.add(kind)
        ringed += ring
    assert {"A", "SUMMARY", "INPUT", "BUTTON"} <= reached
    assert ringed > 100
