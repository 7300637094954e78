"""The answer in plain words says what the figures say, also where they are extreme."""

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from riskcalc.pages import words
from riskcalc.pages.data import ReportData
from riskcalc.pages.estimate import Estimate
from riskcalc.pages.findings import ties_words

EXAMPLE = runpy.run_path(str(Path(__file__).with_name("report_example.py")))
NB = "\u00a0"


def plain(text: str) -> str:
    """Return text with ordinary blanks."""
    return text.replace(NB, " ").replace("\u202f", " ").replace("\u2060", "")


def example(**changes: object) -> ReportData:
    """Return the made-up report, changed."""
    return EXAMPLE["example_report"](draws=256, **changes)


def with_share(paid: float) -> ReportData:
    """Return a report in which that share pays back, evenly over the years; the rest of it left as it is."""
    report = example()
    within = np.linspace(0, paid, report.horizon_years + 1)[1:]
    never = Estimate(1 - float(within[-1]), 0.01)
    return replace(report, payback=replace(report.payback, share_within=within, never_share=never))


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "none of the 1,000 futures drawn"),
        (0.0041, "about 1 in 250 futures"),
        (0.012, "about 1 in 80 futures"),
        (0.06, "about 1 in 15 futures"),
        (0.0476, "about 1 in 20 futures"),
        (0.24, "about 1 in 4 futures"),
        (0.34, "about 1 in 3 futures"),
        (0.41, "about 4 in 10 futures"),
        (0.5, "about half of all futures"),
        (0.66, "about 2 in 3 futures"),
        (0.71, "about 7 in 10 futures"),
        (0.9, "about 9 in 10 futures"),
        (0.975, "all but about 1 in 40 futures"),
        (1.0, "every one of the 1,000 futures drawn"),
    ],
)
def test_a_share_is_said_as_a_frequency(share: float, said: str) -> None:
    """The nearest frequency people can picture; none and all name the number of draws."""
    assert plain(words.frequency(Estimate(share, 0.01), 1000)) == said


@pytest.mark.parametrize("share", np.linspace(0.001, 0.999, 333))
def test_a_frequency_is_close_to_its_share(share: float) -> None:
    """What is said, read back as a number, is within 5 points of the share, or within a sixth of a small one."""
    said = plain(words.frequency(Estimate(share, 0.01), 1000)).replace(",", "")
    numbers = [int(word) for word in said.split() if word.isdigit()]
    read = 0.5 if "half" in said else numbers[0] / numbers[1]
    small = min(share, 1 - share)
    read_small = min(read, 1 - read)
    assert (read > 0.5) == (share > 0.5) or abs(share - 0.5) < 0.051 or said.startswith("all but")
    assert abs(read_small - small) <= (0.051 if small > 0.095 else small / 6)


def test_all_pay_back() -> None:
    """Where every draw pays back, nothing is said of futures that never do."""
    report = example(price=200.0)
    assert (
        plain(words.opening(report)) == "The kit pays for itself within 15 years in every one of the 256 futures drawn."
    )
    assert "still not done so" not in " ".join(words.answer(report))
    assert plain(words.worth_in_brief(report)).startswith("Counted in the money of today it brings, on average, £")


def test_none_pay_back() -> None:
    """Where no draw pays back, no payback time is named."""
    report = example(price=9000.0)
    said = plain(" ".join(words.answer(report)))
    assert plain(words.opening(report)) == "The kit pays for itself within 15 years in none of the 256 futures drawn."
    assert "paid it back after" not in said
    assert "It loses money in every one of the 256 futures drawn" in said
    assert "more than it brings" in plain(words.worth_in_brief(report))


def test_even_odds() -> None:
    """Odds of one half are said as half, and the never-share is said beside them."""
    report = with_share(0.5)
    assert plain(words.opening(report)) == "In about half of all futures the kit pays for itself within 15 years."
    assert "In about half of all futures (50 % ± 1) it has still not done so" in plain(words.answer(report)[0])


def test_the_never_share_is_always_said_where_there_is_one() -> None:
    """For any odds strictly between none and all the second sentence is about the futures that do not pay back."""
    for share in (0.02, 0.3, 0.77, 0.97):
        assert "still not done so when those 15 years are over" in words.answer(with_share(share))[0]


def test_a_middle_that_is_never_reached_is_not_given_a_number() -> None:
    """With fewer than half paid back, the quarter is named and the half said never to come."""
    report = example()
    payback = replace(
        report.payback, p50=Estimate(None), p75=Estimate(None), p95=Estimate(None), p25=Estimate(11.0, 0.2)
    )
    said = plain(" ".join(words.answer(replace(report, payback=payback))))
    assert "A quarter of all futures have paid it back after 11 ± 0.2 years; fewer than half ever do." in said.replace(
        "11.0", "11"
    )


def test_nothing_uncertain() -> None:
    """With every input fixed there is one future, and no talk of frequencies or averages."""
    report = example()
    worth = replace(report.worth, sd=Estimate(0.0, 0.0), mean=Estimate(210.0, 0.0))
    payback = replace(report.payback, p50=Estimate(9.44, 0.0), never_share=Estimate(0.0, 0.0))
    saving = replace(report.first_year[0], p10=None, p90=None, mean=Estimate(96.0, 0.0))
    fixed = replace(report, worth=worth, payback=payback, first_year=(saving,))
    said = plain(" ".join([words.opening(fixed), words.worth_in_brief(fixed), *words.answer(fixed)]))
    assert said == (
        "With every input fixed, the kit pays for itself after 9.4 years. Counted in the money of today it brings £210 "
        "more than it costs. Its net present value is £210. In its first year it saves £96."
    )


def test_both_crossings_are_said_where_they_differ() -> None:
    """A later replacement that pushes the balance below zero again is told."""
    report = example()
    lasting = replace(report, payback=replace(report.payback, lasting_share=Estimate(0.61, 0.02)))
    assert "in 61 % ± 2 of futures it stays paid back to the end" in plain(" ".join(words.answer(lasting)))
    assert "stays paid back" not in " ".join(words.answer(report))


def test_ties_are_named_beside_the_shares() -> None:
    """30 % and 28 %, each ± 2, are a tie, and so are 28 % and 24 %; 24 % and 10 % are not, nor is 4 % worth a word."""
    rows = example().ranking[:5]
    shares = (0.30, 0.28, 0.24, 0.10, 0.09)
    tied = tuple(
        replace(row, label=label, share=Estimate(share, 0.02))
        for row, label, share in zip(rows, "ABCDE", shares, strict=True)
    )
    assert ties_words(example(ranking=tied)) == " A tie by these draws: A and b; B and c."
    parted = tuple(replace(row, share=Estimate(row.share.value, 0.001)) for row in tied)
    assert ties_words(example(ranking=parted)) == ""
    small = (tied[0], *(replace(row, share=Estimate(0.04, 0.02)) for row in tied[1:]))
    assert ties_words(example(ranking=small)) == ""
