"""The terminal says what the page says, in the same words and with the same rounding."""

import io
import json
import re
import sys
from pathlib import Path

import pytest

from riskcalc.answers.assess import result
from riskcalc.answers.page_dict import page_dict
from riskcalc.pages.exhibits.payback import paid_share
from riskcalc.pages.figures import PLAIN, money, percent, years
from riskcalc.pages.page import assess_page
from riskcalc.pages.progress import steps_shown
from riskcalc.pages.screen import summary_lines
from riskcalc.study.model import assessment


@pytest.fixture
def run(read_small):
    """Return a small assessment in which some futures pay back."""
    changes = (
        "study.draws=64",
        'title="A flat in the south"',
        'purchase.price={distribution="uniform", low=100, high=400}',
        'tariff.rates.day.import_price_per_kwh={distribution="uniform", low=0.25, high=0.4}',
    )
    return assessment(read_small(*changes))


def test_the_summary_has_the_figures_of_the_page(run) -> None:
    """Odds, half-way payback and worth in the terminal are the same text as on the page."""
    shown = page_dict(run, command="")
    lines, worth = "\n".join(summary_lines(shown)), shown["net_present_value"]
    for figure in (
        percent(paid_share(shown), with_error=True),
        years(shown["payback_years"]["p50"], horizon=3),
        money(worth["mean"], shown["currency"]),
        percent(worth["loss_probability"]),
    ):
        assert figure.translate(PLAIN) in lines
    assert lines.startswith("A flat in the south: 64 possible futures of")


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (5000, 9000, "fewer than one in twenty pay back"),
        (100, 1000, "fewer than half pay back; the best 5 % within"),
        (50, 300, "half of the futures pay back within"),
    ],
)
def test_a_quantile_that_is_never_reached_is_said_so(read_small, low, high, said) -> None:
    """No "after never": too few pay back for that quantile, and that is what is said."""
    price = f'purchase.price={{distribution="uniform", low={low}, high={high}}}'
    lines = summary_lines(result(assessment(read_small("study.draws=64", price))))
    assert any(line.startswith(said) for line in lines)


def test_claims_are_judged_in_the_terminal(run) -> None:
    """Each statement with the share of futures in which it is true; one that was not measured is said so."""
    claims = [
        {"sentence": "Pays back.", "probability": {"value": 0.25, "standard_error": 0.01}},
        {"sentence": "Bridges a day.", "probability": None},
    ]
    lines = summary_lines({**result(run), "claims": claims})
    assert "claimed: Pays back. True in 25 % of futures." in lines
    assert "claimed: Bridges a day. Not measured." in lines


def test_what_decides_is_said_in_words(run) -> None:
    """No dotted key reaches the terminal; each name stands on the page too."""
    text = "\n".join(summary_lines(result(run)))
    assert not re.search(r"\b[a-z_]+\.[a-z_]+", text), text
    named = re.findall(r"^ +\S+ %  (.+)$", text, flags=re.MULTILINE)
    assert named
    page = assess_page(page_dict(run, command=""))
    assert all(name in page for name in named)


def test_progress_is_quiet_away_from_a_terminal(capsys) -> None:
    """Nothing is written to a pipe."""
    with steps_shown("years simulated", 3) as done:
        done()
    assert capsys.readouterr() == ("", "")


def test_progress_on_a_terminal_counts_rates_and_foresees(monkeypatch) -> None:
    """On a terminal: steps done of all, a rate and the time left, erased at the end."""

    class Screen(io.StringIO):
        def isatty(self) -> bool:
            return True

    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    with steps_shown("years simulated", 3) as done:
        done()
        done()
        done()
    text = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", screen.getvalue())
    assert "years simulated" in text
    assert "3/3" in text
    assert re.search(r"[\d.]+/s|[\d.]+ s each", text)
    assert re.search(r"\d:\d\d:\d\d", text)


def test_the_summary_names_the_cost() -> None:
    """What is paid on the day of purchase stands among the first lines, in the words of the page."""
    figures = json.loads(Path("reports/examples/terrace-portable/result.json").read_text(encoding="utf-8"))
    assert "paid on the day of purchase: £1,353 (kit and installation)" in summary_lines(figures)[:8]
