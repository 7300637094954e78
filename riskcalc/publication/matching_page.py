"""Fill the page of a matching."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from riskcalc.comparison.result import option_rows
from riskcalc.matching import Matching
from riskcalc.publication.comparison_page import scenario_cautions
from riskcalc.report.matching_page import MatchingPage


def matching_page(found: Matching, result: Mapping[str, Any], *, command: str) -> MatchingPage:
    """Return everything the page shows."""
    scenarios = [cell.scenario for home in found.homes for cell in home.cells if cell.scenario is not None]
    return MatchingPage(
        command=command,
        result=result,
        options=tuple(() if home.found is None else tuple(option_rows(home.found)) for home in found.homes),
        cautions=tuple(dict.fromkeys(said for scenario in scenarios for said in scenario_cautions(scenario))),
    )
