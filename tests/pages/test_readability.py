"""Plain English: no banned turn, no sentence above 32 words, the median at most 14, on pages and on the screen."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import pytest

STUDY = runpy.run_path(str(Path(__file__).parents[1] / "studies/readability.py"))


@pytest.fixture(scope="module")
def sentences(only: dict[str, Any]) -> list[str]:
    """Return every sentence of the page and the screen of a small assessment, and of all cautions and methods."""
    found: list[str] = STUDY["sentences_of_assessment"](only)
    return found


def test_no_banned_turn(sentences: list[str]) -> None:
    """None of the turns that read as if translated."""
    assert len(sentences) > 200
    assert STUDY["banned"](sentences) == []


def test_sentences_are_short(sentences: list[str]) -> None:
    """At most 32 words each, 14 in the middle."""
    lengths = sorted(len(sentence.split()) for sentence in sentences)
    assert [sentence for sentence in sentences if len(sentence.split()) > 32] == []
    assert lengths[len(lengths) // 2] <= 14


def test_the_check_would_notice() -> None:
    """A long sentence and a banned turn are found."""
    assert STUDY["banned"](["Whoever buys it, gains."]) != []
    assert STUDY["in_sentences"]("One thing. Two things? Yes, e.g. 3.5 kWh!") == [
        "One thing.",
        "Two things?",
        "Yes, e.g. 3.5 kWh!",
    ]
