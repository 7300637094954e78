"""Information, break-even and claims: words, rounding, and what is left out."""

from __future__ import annotations

from typing import Any

import pytest

from riskcalc.answers.break_even import says_something
from riskcalc.answers.rows import worth_finding_out
from riskcalc.pages.exhibits import findout
from riskcalc.pages.figures import PLAIN

ROW = {"label": "Price of the kit", "unit": "EUR", "value": 712.4, "standard_error": 12.0, "method": "revalued"}
CLAIM: dict[str, Any] = {
    "sentence": "Pays back in four years.",
    "measure_in_words": "years until the purchase has paid for itself",
    "unit": "years",
    "probability": {"value": 0.127, "standard_error": 0.011},
    "p10": 5.0,
    "p50": 9.04,
    "p90": None,
    "is_even_chance": False,
    "even_chance": {**ROW, "value": 402.3, "standard_error": 9.0},
}


def plain(texts: Any) -> str:
    """Return all texts in one, with ordinary blanks."""
    return " | ".join(": ".join(text) if isinstance(text, tuple) else str(text) for text in texts).translate(PLAIN)


def blocks(**figures: Any) -> str:
    """Return what the break-even blocks say."""
    found = findout.break_even_blocks({"currency": "EUR", **figures})
    texts = {
        "table": lambda value: value["cells"],
        "fold": lambda value: [": ".join((value["summary"], *value["blocks"][0].value))],
    }
    return plain(text for block in found for text in texts.get(block.kind, lambda value: [value])(block.value))


def test_break_even_values_to_the_digit_they_bear() -> None:
    """Money and shares rounded to their errors; estimates marked; what has no value and what hardly matters named."""
    base = {"statement": "payback within 10 years", "odds": 0.5, "settled": True}
    rows = [
        {**ROW, **base},
        {
            **ROW,
            **base,
            "label": "Shading",
            "unit": "share",
            "value": 0.1234,
            "standard_error": 0.012,
            "method": "shifted",
        },
        {**ROW, **base, "label": "Azimuth", "settled": False},
        {**ROW, **base, "label": "Inflation", "value": None, "standard_error": None},
    ]
    said = blocks(break_even=rows)
    assert "For 50:50 odds of payback within 10 years" in said
    assert "Price of the kit: €710 ± 10" in said
    assert "Shading: about 12 % ± 1" in said
    assert "Inputs that hardly change the odds: 1: Azimuth" in said
    assert "Inputs that cannot bring it there by themselves: 1: Inflation" in said


def test_claim_in_words() -> None:
    """How often it is true, what the futures bring, what is not reached included, and the way to 50:50."""
    said = plain(findout.claim_words(CLAIM, "EUR", 10).values())
    assert "True in 13 % ± 1 of the futures." in said
    assert "9.04 years in the middle future. Eight futures in ten: 5 years to not within 10 years." in said
    assert "To make it 50:50: price of the kit, €402." in said
    assert "No single change makes it 50:50." in plain(
        findout.claim_words({**CLAIM, "even_chance": None}, "EUR", 10).values()
    )
    assert "cannot tell this from 50:50" in plain(
        findout.claim_words({**CLAIM, "is_even_chance": True}, "EUR", 10).values()
    )
    assert findout.claim_words({**CLAIM, "probability": None}, "EUR", 10)["verdict"] == "Not measured by this run."


def test_only_what_is_worth_something_for_certain_is_shown() -> None:
    """Families first, then inputs; those not certain are left out; nothing to find out is said so."""
    row = {"label": "prices", "value": 40.0, "standard_error": 6.0, "certain": True}
    found = {
        "everything": {"value": 83.0, "standard_error": 4.0},
        "families": [row],
        "factors": [{**row, "label": "price of the kit", "certain": False}],
    }
    cells = [tuple(cell.translate(PLAIN) for cell in cells) for cells in findout.information_cells(found, "EUR")]
    assert cells == [("All of prices", "€40 ± 6")]
    assert findout.information_title(found, "EUR").endswith("€83")
    nothing = {**found, "everything": {"value": 0.0, "standard_error": 0.0}}
    assert findout.information_title(nothing, "EUR").startswith("Nothing to find out")


def test_only_values_that_the_draws_settle_are_shown() -> None:
    """An error that is not known, or more than an eighth of the range looked through, is no value to act on."""
    assert says_something(1.0, (0.0, 8.0))
    assert not says_something(1.01, (0.0, 8.0))
    assert not says_something(None, (0.0, 8.0))


@pytest.mark.parametrize(
    ("value", "error", "held_out", "shown"),
    [(20.0, 5.0, 12.0, True), (20.0, 11.0, 12.0, False), (20.0, 5.0, -1.0, False), (20.0, None, 3.0, False)],
)
def test_worth_finding_out(value: float, error: float | None, held_out: float, shown: bool) -> None:
    """Two standard errors above 0 and above 0 in held-out draws, or it is left out."""
    assert worth_finding_out(value, error, held_out) is shown
