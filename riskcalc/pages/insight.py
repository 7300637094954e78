"""Cells and sentences of odds, information, break-even and claims."""

from __future__ import annotations

from dataclasses import dataclass

from riskcalc.pages.estimate import Estimate
from riskcalc.pages.insight_data import BreakEvenRow, BreakEvenTable, ClaimRow, Insight
from riskcalc.pages.labels import capital, shown_unit
from riskcalc.pages.rounding import (
    NO_BREAK,
    error,
    money_estimate,
    number,
    percent,
    percent_estimate,
    supported_decimals,
    with_unit,
)
from riskcalc.uncertainty.quantity import counted

Cells = list[tuple[str, ...]]

METHODS = {
    "revalued": "valued anew",
    "simulated": "simulated anew",
    "shifted": "estimated from the draws",
}


@dataclass(frozen=True)
class ClaimWords:
    """One claim in words: verdict above, what was measured and what would have to change below."""

    sentence: str
    verdict: str
    measured: str
    change: str


@dataclass(frozen=True)
class InsightWords:
    """All that the template needs; empty lists leave their part out."""

    odds_title: str
    odds_note: str
    odds: Cells
    information_title: str
    information: Cells
    break_even: list[tuple[str, Cells, str]]
    claims: list[ClaimWords]


def insight_words(found: Insight, currency: str) -> InsightWords:
    """Return odds, information, break-even and claims as the page shows them."""
    return InsightWords(
        odds_title=f"The odds of payback within {counted(found.within_years, 'year')}: {percent(found.odds)}",
        odds_note="Futures in ten equal parts by each thing, from low to high: how far the odds of a part lie from those "
        f"of all futures, on average, and the odds near its low and high end. Below {percent(found.gap_of_no_effect)} "
        "it may be chance. Futures that never pay back count as such.",
        odds=[(capital(row.label), percent(row.gap), percent(row.low), percent(row.high)) for row in found.odds_rows],
        information_title=_information_title(found.everything, currency),
        information=[
            (
                f"All of {row.label}" if row.is_family else capital(row.label),
                money_estimate(row.worth, currency, with_error=True),
            )
            for row in found.information
        ],
        break_even=[_table(table, currency) for table in found.break_even],
        claims=[claim_words(claim, currency) for claim in found.claims],
    )


def claim_words(claim: ClaimRow, currency: str) -> ClaimWords:
    """Return one claim in words."""
    if claim.probability is None:
        return ClaimWords(claim.sentence, "Not measured by this run", "", "")
    ends = [_measure(value, claim.unit, currency) for value in (claim.p10, claim.p50, claim.p90)]
    measured = f"{claim.measure}: {ends[1]} in the middle future, {ends[0]} to {ends[2]} in eight of ten"
    change = "An even chance as it stands." if claim.is_even else "No single input brings it to an even chance."
    if claim.move is not None:
        how = f" ({METHODS[claim.move.method]})" if claim.move.method == "shifted" else ""
        value = value_text(claim.move, currency=currency, with_error=False)
        change = f"For an even chance: {claim.move.label} at {value}{how}."
    verdict = f"True in {percent_estimate(claim.probability, with_error=True)} of the futures"
    return ClaimWords(claim.sentence, verdict, measured, change)


def _information_title(everything: Estimate, currency: str) -> str:
    assert everything.value is not None
    if everything.value <= 0.0:
        return "Nothing: every future gives the same advice"
    return f"Knowing everything before buying would be worth {money_estimate(everything, currency)}"


def _table(table: BreakEvenTable, currency: str) -> tuple[str, Cells, str]:
    title = f"{'Even' if table.odds == 0.5 else percent(table.odds)} odds of {table.statement}"
    cells: Cells = [(row.label, _about(row) + value_text(row, currency=currency)) for row in table.rows]
    notes = []
    if any(_about(row) for row in table.rows):
        notes.append("About: estimated from the draws; the others are worked out anew.")
    if table.unsettled:
        notes.append(f"The odds hardly change with: {'; '.join(table.unsettled)}.")
    if table.none:
        notes.append(f"No value within reach does it for: {'; '.join(table.none)}.")
    return title, cells, " ".join(notes)


def _about(row: BreakEvenRow) -> str:
    return "about " if row.method == "shifted" else ""


def value_text(row: BreakEvenRow, *, with_error: bool = True, currency: str = "") -> str:
    """Return a value to the digit its standard error supports, money as it is written."""
    assert row.value.value is not None
    if currency and row.unit == currency:
        return money_estimate(row.value, currency, with_error=with_error)
    factor, unit = shown_unit(row.unit)
    value, se = factor * row.value.value, factor * row.value.se
    if not se > 0.0:
        return with_unit(row.value.value, row.unit)
    decimals = max(0, supported_decimals(value, se))
    text = number(value, se=se, most_decimals=decimals) + (error(se, most_decimals=decimals) if with_error else "")
    return f"{text}{NO_BREAK}{unit}" if unit else text


def _measure(value: float | None, unit: str, currency: str) -> str:
    if value is None:
        return "never"
    if unit == currency:
        return money_estimate(Estimate(value), currency)
    return percent(value) if unit == "share" else with_unit(value, unit)
