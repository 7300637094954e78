"""How far each input moves the worth: the mean near the low and the high end of its range."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from riskcalc.pages.exhibit import Block, table, words
from riskcalc.pages.figures import capital, error_of, estimate, money, say
from riskcalc.types import Figures


def effects_finding(figures: Figures) -> str:
    """Return the input that moves the worth most."""
    clear = clear_effects(figures["range_effects"])
    if not clear:
        return "No input moves the worth by more than the error of its effect"
    change = clear[0]["effect"]
    amount = money(estimate(abs(change["value"]), change["standard_error"]), figures["currency"])
    return say(
        "{input} moves the worth by {amount} from its low to its high end",
        input=capital(clear[0]["label"]),
        amount=amount,
    )


def effect_blocks(figures: Figures) -> Iterator[Block]:
    """Yield how the worth changes over the range of each input."""
    clear, currency = clear_effects(figures["range_effects"]), figures["currency"]
    if not clear:
        yield words("No effect exceeds its error.")
        return
    yield words(
        "Average worth near the low end (10 %) and the high end (90 %) of each input, with all else still uncertain.",
        "reading",
    )
    header = ("input", "at its low end", "at its high end", "change")
    yield table("Effect of each input on the worth", header, [effect_cells(row, currency) for row in clear])


def clear_effects(rows: Sequence[Figures]) -> list[Figures]:
    """Return the inputs whose effect exceeds two standard errors, strongest first."""
    clear = [
        row
        for row in rows
        if "effect" in row and abs(row["effect"]["value"]) > 2 * (row["effect"]["standard_error"] or 0.0)
    ]
    return sorted(clear, key=lambda row: -abs(row["effect"]["value"]))


def effect_cells(row: Figures, currency: str) -> tuple[str, str, str, str]:
    """Return input, worth at both ends and change as text."""
    change = row["effect"]
    low, high = (money(row[f"worth_at_{end}_percent"], currency, se=error_of(change)) for end in (10, 90))
    sign = "" if change["value"] < 0.0 else "+"
    return capital(row["label"]), low, high, f"{sign}{money(change, currency, with_error=True)}"
