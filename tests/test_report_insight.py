"""Odds, information, break-even and claims on the page: words, rounding, escaping, and what is left out."""

from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from runpy import run_path

import pytest

from riskcalc.answers.break_even import says_something
from riskcalc.answers.rows import worth_finding_out
from riskcalc.pages.estimate import Estimate
from riskcalc.pages.insight import claim_words, insight_words
from riskcalc.pages.insight_data import BreakEvenRow, BreakEvenTable, ClaimRow, InformationRow, Insight, OddsRow
from riskcalc.pages.page import report_html
from riskcalc.pages.page_insight import page_insight

EXAMPLE = run_path(str(Path(__file__).parent / "report_example.py"))

INSIGHT = Insight(
    within_years=10,
    odds=0.42,
    gap_of_no_effect=0.06,
    odds_rows=(OddsRow("price <of> the kit", "kit", 0.2, 0.7, 0.15),),
    everything=Estimate(83.0, 4.0),
    information=(
        InformationRow("prices", True, Estimate(40.0, 6.0)),
        InformationRow("price of the kit", False, Estimate(21.0, 3.0)),
    ),
    break_even=(
        BreakEvenTable(
            "payback within 10 years",
            0.5,
            (
                BreakEvenRow("Price of the kit", "GBP", Estimate(712.4, 12.0), "revalued"),
                BreakEvenRow("Shading", "share", Estimate(0.1234, 0.012), "shifted"),
            ),
            ("Inflation",),
            ("Azimuth",),
        ),
    ),
    claims=(
        ClaimRow(
            "Pays back in <b>four</b> years.",
            "years until the purchase has paid for itself",
            "years",
            Estimate(0.127, 0.011),
            5.0,
            9.04,
            None,
            BreakEvenRow("Price of the kit", "GBP", Estimate(402.3, 9.0), "revalued"),
        ),
        ClaimRow("Bridges a day.", "hours of outages bridged", "hours", None, None, None, None, None),
    ),
)


def page(insight):
    return report_html(replace(EXAMPLE["example_report"](), insight=insight))


def test_words_carry_the_figures_to_the_digit_they_bear():
    """Money, shares and years appear rounded to what their standard errors support."""
    words = insight_words(INSIGHT, "GBP")
    plain = [tuple(cell.replace("\u00a0", " ").replace("\u202f", " ") for cell in row) for row in words.information]
    assert words.information_title.endswith("£83")
    assert plain == [("All of prices", "£40 ± 6"), ("Price of the kit", "£21 ± 3")]
    title, cells, none = words.break_even[0]
    assert title == "Even odds of payback within 10 years"
    assert [cell[1].replace("\u00a0", " ").replace("\u202f", " ") for cell in cells] == ["£710 ± 10", "about 12 ± 1 %"]
    assert none == (
        "About: estimated from the draws; the others are worked out anew. The odds hardly change with: Azimuth. "
        "No value within reach does it for: Inflation."
    )


def test_only_values_that_the_draws_settle_are_shown():
    """An error that is not known, or more than an eighth of the range looked through, is no value to act on."""
    assert says_something(1.0, (0.0, 8.0))
    assert not says_something(1.01, (0.0, 8.0))
    assert not says_something(None, (0.0, 8.0))


def test_claim_in_words():
    """A claim says how often it is true, what the futures bring, never included, and the way to an even chance."""
    words = claim_words(INSIGHT.claims[0], "GBP")
    plain = f"{words.verdict} {words.measured} {words.change}".replace("\u00a0", " ").replace("\u202f", " ")
    assert "True in 13 % ± 1 of the futures" in plain
    assert "9.04 years in the middle future, 5 years to never in eight of ten" in plain
    assert "For an even chance: Price of the kit at £402" in plain
    assert claim_words(INSIGHT.claims[1], "GBP").verdict == "Not measured by this run"
    alone = claim_words(replace(INSIGHT.claims[0], move=None), "GBP")
    even = claim_words(replace(INSIGHT.claims[0], move=None, is_even=True), "GBP")
    assert even.change == "An even chance as it stands."
    assert alone.change == "No single input brings it to an even chance."


def test_page_shows_and_escapes_it():
    """Sections stand on the page with their links; text of the scenario is escaped."""
    html = page(INSIGHT)
    assert '<section id="claims"' in html
    assert '<section id="findout"' in html
    assert html.count('href="#claims"') == 1
    assert "&lt;b&gt;four&lt;/b&gt;" in html
    assert "<b>four</b>" not in html
    HTMLParser().feed(html)


def test_page_without_insight_leaves_its_sections_out():
    """A report without insight has neither section nor link; without claims only that part is missing."""
    assert 'id="findout"' not in page(None)
    html = page(replace(INSIGHT, claims=()))
    assert 'id="claims"' not in html
    assert 'id="findout"' in html


def test_nothing_to_find_out():
    """Where every future gives the same advice the page says so instead of an amount of 0."""
    words = insight_words(replace(INSIGHT, everything=Estimate(0.0, 0.0), information=()), "GBP")
    assert words.information_title == "Nothing: every future gives the same advice"


@pytest.mark.parametrize(
    ("value", "error", "held_out", "shown"),
    [(20.0, 5.0, 12.0, True), (20.0, 11.0, 12.0, False), (20.0, 5.0, -1.0, False), (20.0, None, 3.0, False)],
)
def test_only_what_is_worth_something_for_certain_is_shown(value, error, held_out, shown):
    """Two standard errors above 0 and above 0 in held-out draws, or it is left out."""
    assert worth_finding_out(value, error, held_out) is shown


def test_figures_without_insight():
    """A result of an earlier version, without odds ranking, gives no insight rather than an error."""
    assert page_insight({"ranking": []}) is None
