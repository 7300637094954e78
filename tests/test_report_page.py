"""The page as a whole: one safe file, every chart with words and table, extreme cases drawn."""

import base64
import csv
import hashlib
import io
import re
import runpy
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from riskcalc.pages.cautions import cautions
from riskcalc.pages.check import check_report
from riskcalc.pages.data import FitRow, ReportData
from riskcalc.pages.estimate import Estimate
from riskcalc.pages.exhibit import csv_text
from riskcalc.pages.page import report_html, write_report

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("report_example.py")))
VOID = {"meta", "br", "input", "link", "img", "hr", "path", "rect", "line"}


def example(**changes: object) -> ReportData:
    """Return the made-up report, changed; without its weeks, which take longest to draw, unless asked for."""
    return EXAMPLE["example_report"](draws=256, **{"weeks": (), **changes})


WEEKS = EXAMPLE["example_report"](draws=256).weeks


@pytest.fixture(scope="module")
def page() -> str:
    """Return the page of the made-up report."""
    return report_html(example(weeks=WEEKS))


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
    parsed = read(page)
    for tag, settings in parsed.elements:
        assert "src" not in settings, tag
        assert not any(name.startswith("on") or name == "style" for name in settings), (tag, settings)
        if "href" in settings:
            assert settings["href"].startswith(("#", "data:")), settings["href"][:60]
    assert set(re.findall(r"https?://[^\"' <)]+", page)) <= {"http://www.w3.org/2000/svg"}
    assert "url(http" not in page
    assert "@import" not in page


def test_the_policy_admits_our_style_and_script_and_nothing_else(page: str) -> None:
    """The hashes in the content security policy are those of the style and the script in the page."""
    policy = next(s["content"] for t, s in read(page).elements if s.get("http-equiv") == "Content-Security-Policy")
    blocks = [re.search(rf"<{tag}>(.*?)</{tag}>", page, flags=re.DOTALL).group(1) for tag in ("style", "script")]
    hashes = ["sha256-" + base64.b64encode(hashlib.sha256(block.encode()).digest()).decode() for block in blocks]
    assert policy == (
        f"default-src 'none'; style-src '{hashes[0]}'; script-src '{hashes[1]}'; base-uri 'none'; form-action 'none'"
    )


def test_scenario_text_cannot_become_markup() -> None:
    """Markup in every text of a scenario arrives as text, also inside drawings, data and attributes."""
    nasty = "</script><script>alert('x')</script>\"><img src=x onerror=alert(1)>"
    report = example()
    table = report.draws_table
    ranking = tuple(replace(row, label=nasty, unit=nasty, family=nasty) for row in report.ranking)
    report = replace(
        report,
        **dict.fromkeys(
            ("name", "description", "place", "kit", "home", "tariff", "weather_source", "ranking_method"), nasty
        ),
        notes=(nasty,),
        cautions=(nasty,),
        ranking=ranking,
        fit=(FitRow(nasty, 1.0, 2.0, 0.5, nasty, "refused", nasty, nasty),),
        assumptions=tuple(
            replace(row, label=nasty, given=nasty, source=nasty, key=nasty) for row in report.assumptions
        ),
        first_year=tuple(replace(figure, label=nasty) for figure in report.first_year),
        provenance=replace(report.provenance, command=nasty, versions=((nasty, nasty),), files=((nasty, nasty),)),
        draws_table=replace(table, inputs=tuple((nasty, nasty, nasty) for _ in table.inputs)),
    )
    parsed = read(report_html(report))
    tags = [tag for tag, _ in parsed.elements]
    assert "img" not in tags
    assert tags.count("script") == 2
    assert nasty in "".join(parsed.texts)


def test_every_drawing_has_words_and_a_table_and_files(page: str) -> None:
    """Each figure is named by its finding, described for whoever cannot see it, and has its table, CSV and SVG."""
    figures = re.findall(r"<figure.*?</figure>", page, flags=re.DOTALL)
    assert len(figures) == 10
    for figure in figures:
        parsed = read(figure)
        settings = [s for _, s in parsed.elements]
        named_by = settings[0]["aria-labelledby"]
        assert any(s.get("id") == named_by for s in settings)
        assert any(s.get("role") == "img" and len(s["aria-label"]) > 40 for s in settings)
        tags = [tag for tag, _ in parsed.elements]
        assert tags.count("table") == 1
        assert tags.count("tr") >= 2
        saved = {s["download"].rsplit(".")[-1]: s["href"] for s in settings if "download" in s}
        assert set(saved) == {"csv", "svg"}
        lines = list(csv.reader(io.StringIO(base64.b64decode(saved["csv"].split(",")[1]).decode())))
        assert len({len(line) for line in lines}) == 1
        assert base64.b64decode(saved["svg"].split(",")[1]).startswith(b"<svg xmlns=")


def test_ids_are_unique_and_links_arrive(page: str) -> None:
    """No id is used twice; every link within the page has its target."""
    settings = [s for _, s in read(page).elements]
    ids = [s["id"] for s in settings if "id" in s]
    assert len(ids) == len(set(ids))
    assert {s["href"][1:] for s in settings if s.get("href", "").startswith("#")} <= set(ids)
    assert {name for s in settings for name in s.get("aria-labelledby", "").split()} <= set(ids)


def test_the_answer_comes_first_and_its_limits_with_it(page: str) -> None:
    """The odds, then the never-share, then what limits them, all before the first section of evidence."""
    text = page[page.index("<main>") :]
    order = [
        text.index(part) for part in ('class="opening"', "still not done so", "one typical year only", 'id="when"')
    ]
    assert order == sorted(order)


def test_a_refused_fit_is_said_at_the_very_top() -> None:
    """A string that must not be connected is no line lost further down."""
    refused = FitRow(
        "Open-circuit voltage at the record low", 78.0, 60.0, -0.3, "V", "refused", "2 in series would fit", "m"
    )
    page = report_html(example(fit=(refused,)))
    assert page.index("Do not connect this as described") < page.index('class="opening"')
    assert "Of 1 checks, 1 refused" in page


def fixed_report() -> ReportData:
    """Return a report in which nothing varies."""
    report = example(ranking=(), draws_table=None, notes=())
    value, horizon = 210.0, report.horizon_years
    same = {f"p{level}": Estimate(value, 0.0) for level in (5, 25, 50, 75, 95)}
    worth = replace(
        report.worth,
        **same,
        mean=Estimate(value, 0.0),
        sd=Estimate(0.0, 0.0),
        loss_probability=Estimate(0.0, 0.0),
        mean_of_worst_5_percent=Estimate(value, 0.0),
        bin_edges=np.array([value - 0.5, value + 0.5]),
        bin_share=np.array([1.0]),
    )
    within = (np.arange(1, horizon + 1) >= 10).astype(float)
    payback = replace(
        report.payback,
        **{f"p{level}": Estimate(9.4, 0.0) for level in (5, 25, 50, 75, 95)},
        share_within=within,
        share_within_se=np.zeros(horizon),
        discounted_within=within,
        never_share=Estimate(0.0, 0.0),
        discounted_never_share=Estimate(0.0, 0.0),
    )
    line = np.linspace(-900.0, 600.0, horizon + 1)
    cash = replace(report.cash, cash=np.tile(line, (5, 1)), share_above_zero=(line >= 0).astype(float))
    first_year = tuple(replace(f, p10=None, p90=None, mean=Estimate(f.mean.value, 0.0)) for f in report.first_year)
    assumptions = tuple(replace(row, sketch=None, kind="fixed") for row in report.assumptions)
    return replace(report, worth=worth, payback=payback, cash=cash, first_year=first_year, assumptions=assumptions)


def test_a_scenario_without_uncertainty_makes_a_page() -> None:
    """No ranking, nothing to narrow, no script; the one answer."""
    page = report_html(fixed_report())
    parsed = read(page)
    assert "script" not in [tag for tag, _ in parsed.elements]
    assert "With every input fixed, the kit pays for itself after" in page
    assert 'id="decides"' not in page
    assert "script-src" not in page


@pytest.mark.parametrize(
    "changes",
    [
        {"price": 150.0},
        {"price": 20000.0},
        {"currency": "CHF"},
        {"coupling": "none", "fit": ()},
        {"draws_table": None, "notes": (), "description": "", "kit": "", "tariff": ""},
    ],
    ids=["all pay back", "none pays back", "francs", "no kit", "bare"],
)
def test_extreme_cases_make_a_page(changes: dict[str, object]) -> None:
    """Whatever the odds, whatever is missing: a page that parses, without a stray nan or None."""
    text = " ".join(read(report_html(example(**changes))).texts)
    assert not re.search(r"\b(nan|None|inf)\b", text.split('"values"')[0])


def test_luck_has_ends_without_numbers() -> None:
    """The luck of the pools has a low and a high end that no number names."""
    report = example()
    luck = next(row for row in report.ranking if row.key == "luck")
    swung = replace(luck, worth_at_p10=Estimate(-90.0, 12.0), worth_at_p90=Estimate(70.0, 12.0))
    ranking = tuple(swung if row is luck else row for row in report.ranking)
    page = report_html(replace(report, ranking=ranking))
    assert "<td>low end</td><td>−\u2060£90</td><td>high end</td><td>£70</td>" in page


def test_no_grid_no_sun_and_export_are_drawn() -> None:
    """Off grid with unmet demand; no modules at all; a roof that exports."""
    report = example()
    zero = np.zeros(12)
    off_grid = replace(report.months, from_grid_kwh=zero, out_of_reach_kwh=zero, unmet_kwh=np.full(12, 7.0))
    week = replace(WEEKS[0], grid_import_w=np.zeros(336), unmet_w=np.full(336, 20.0), capacity_wh=0.0)
    page = report_html(replace(report, months=off_grid, weeks=(week,)))
    assert "is not met" in page
    assert "kWh not met" in page
    sunless = {f"solar_used{end}_kwh": zero for end in ("", "_p10", "_p90")}
    no_sun = replace(report.months, **sunless, from_solar_kwh=zero, curtailed_kwh=zero)
    assert 'id="solar-title"' not in report_html(replace(report, months=no_sun))
    exporting = replace(WEEKS[0], export_w=np.full(336, 50.0))
    assert "to the grid" in report_html(replace(report, weeks=(exporting,)))


def test_the_page_is_small_and_the_same_every_time(page: str, tmp_path: Path) -> None:
    """Under 1.5 MB with its draws, and byte for byte repeatable."""
    write_report(example(weeks=WEEKS), tmp_path / "report.html")
    text = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert text == page
    assert len(text.encode()) < 1_500_000


@pytest.mark.parametrize(
    ("part", "changes", "message"),
    [
        ("payback", {"never_share": Estimate(0.5, 0.01)}, "do not make up 1"),
        ("worth", {"bin_share": np.full(40, 0.1)}, "worth.bin_share: does not sum to 1"),
        ("cash", {"cash": np.zeros((5, 3))}, r"cash.cash: shape \(5, 3\), not \(5, 16\)"),
        ("months", {"export_kwh": np.full(12, np.nan)}, "months.export_kwh: not finite"),
    ],
)
def test_figures_that_contradict_one_another_are_refused(part: str, changes: dict[str, object], message: str) -> None:
    """The page is not made from figures that cannot all be true."""
    report = example()
    broken = replace(report, **{part: replace(getattr(report, part), **changes)})
    with pytest.raises(ValueError, match=message):
        check_report(broken)


def test_a_spreadsheet_is_not_given_formulas() -> None:
    """Text that a spreadsheet would run is saved as text; numbers keep eight digits; what is not there is empty."""
    assert csv_text({"a": ["=1+1", "x"], "b": [-1.25, np.nan]}) == "a,b\n'=1+1,-1.25\nx,\n"


@pytest.mark.parametrize("coupling", ["sockets", "plug_in", "whole_home", "off_grid", "none"])
def test_cautions_defer_to_codes_and_electricians(coupling: str) -> None:
    """Every list begins with local codes and licensed electricians and never calls one unnecessary."""
    lines = cautions(coupling=coupling, has_modules=True, has_battery=True, modules_in_series=3, renting=True)
    assert "Local codes" in lines[0]
    assert "licensed" in lines[0]
    assert "landlord" in lines[-1]
    assert "insurer" in lines[-1]
    said = " ".join(lines)
    assert "3 modules in series" in said
    assert not re.search(
        r"no (?:electrician|professional|installer) (?:is )?(?:needed|necessary)|without (?:an )?electrician", said
    )


def test_cautions_fit_the_kit() -> None:
    """A portable unit is warned of feeding a socket and of leads; without modules nobody is told of wind."""
    lines = " ".join(
        cautions(coupling="sockets", has_modules=False, has_battery=True, modules_in_series=0, renting=False)
    )
    assert "Never feed a wall socket" in lines
    assert "Overloaded leads" in lines
    assert "give off heat" in lines
    assert "wind" not in lines
