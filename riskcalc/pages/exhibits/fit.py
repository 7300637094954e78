"""Does it fit electrically: strings of modules against the inputs of the kit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from riskcalc.pages.exhibit import Block, words
from riskcalc.pages.figures import NARROW_SPACE, capital, counted, joined, say, significant, with_unit

Figures = Mapping[str, Any]

VERDICTS = {"ok": "ok", "tight": "tight", "refused": "refused", "wasteful": "wasteful"}


def fit_blocks(figures: Figures) -> Iterator[Block]:
    """Yield the electrical fit of the modules."""
    fit = figures.get("electrical_fit") or ()
    if fit:
        yield words(fit_title(fit), "h3")
        yield Block("fit", tuple(fit_cells(row) for row in fit))


def fit_title(fit: Sequence[Figures]) -> str:
    """Return what the electrical fit came to, worst first."""
    tally = {verdict: sum(row["verdict"] == verdict for row in fit) for verdict in ("refused", "tight", "wasteful")}
    faults = [f"{count} {say(verdict)}" for verdict, count in tally.items() if count]
    if not faults:
        return counted("The one check passes", "All {count} checks pass", len(fit))
    return counted("The one check: {faults}", "Of {count} checks, {faults}", len(fit), faults=joined(faults))


def fit_cells(row: Figures) -> dict[str, str]:
    """Return one check as text: what, the value against its limit, the margin, advice and method."""
    unit, margin = row.get("unit", ""), row.get("margin")
    said = with_unit(row["value"], unit) + "."
    if row.get("limit") is not None:
        message = (
            "{value}, allowed at most {limit}; margin {margin}."
            if row.get("bound", "most") == "most"
            else "{value}, allowed at least {limit}; margin {margin}."
        )
        shown = "–" if margin is None else f"{significant(100 * margin, 2)}{NARROW_SPACE}%"
        said = say(message, value=with_unit(row["value"], unit), limit=with_unit(row["limit"], unit), margin=shown)
    advice = capital(row.get("advice") or "")
    return {
        "what": capital(row["what"]),
        "said": said,
        "verdict": row["verdict"],
        "word": say(VERDICTS[row["verdict"]]),
        "advice": f"{advice}." if advice and not advice.endswith(".") else advice,
        "method": row.get("method") or "",
    }
