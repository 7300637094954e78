"""Fill the page of a matching."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from riskcalc.answers.comparison_result import option_rows
from riskcalc.answers.match import Matching
from riskcalc.pages.matching_page import MatchingPage
from riskcalc.pages.whole_comparison import scenario_cautions


def matching_page(found: Matching, result: Mapping[str, Any], *, command: str) -> MatchingPage:
    """Return everything the page shows."""
    scenarios = [cell.scenario for home in found.homes for cell in home.cells if cell.scenario is not None]
    return MatchingPage(
        command=command,
        result=result,
        options=tuple(() if home.found is None else tuple(option_rows(home.found)) for home in found.homes),
        cautions=tuple(dict.fromkeys(said for scenario in scenarios for said in scenario_cautions(scenario))),
    )
