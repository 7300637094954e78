"""Labels fit above a bar and stay apart; shares are shown in per cent."""

import pytest

from riskcalc.pages.labels import LONGEST, short, shown_unit
from riskcalc.pages.rounding import with_unit

NB = "\u00a0"


@pytest.mark.parametrize(
    ("label", "said"),
    [
        ("price of the kit", "Price of the kit"),
        ("nominal discount rate: what the money could earn", "Nominal discount rate"),
        ("kWh sent to the grid", "KWh sent to the grid"),
        (
            "price of a kWh from the grid, all taxes and all fees included (day)",
            "Price of a kWh from the grid, all taxes and…(day)",
        ),
        ("a" * 40 + " " + "b" * 40, "A" + "a" * 39 + "…"),
    ],
)
def test_labels_are_cut_and_keep_what_tells_them_apart(label: str, said: str) -> None:
    """Before the colon, at a word, never longer than the room; a bracket at the end survives."""
    assert short(label).replace("… (", "…(") == said
    assert len(short(label)) <= LONGEST


def test_shares_are_shown_in_per_cent() -> None:
    """A share of 0.042 is 4.2 %, other units stay."""
    assert with_unit(0.042, "share") == f"4.2{NB}%"
    assert with_unit(0.042, "share/year") == f"4.2{NB}% a year"
    assert with_unit(0.042, "GBP/kWh") == f"0.042{NB}GBP/kWh"
    assert shown_unit("") == (1.0, "")
