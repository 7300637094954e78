"""What is possible but unusual in the input, joined from the scenario and from the data it names."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from riskcalc.errors import Question
from riskcalc.scenario import Scenario
from riskcalc.scenario.plausible import questions as of_scenario


def question_rows(scenario: Scenario, *data: Any) -> list[dict[str, str]]:
    """Return every question as a plain row: of the scenario, then of weather, demand and price series.

    Parameters
    ----------
    data
        What was read from files; each may carry a tuple `questions`.
    """
    found: list[Question] = [*of_scenario(scenario)]
    for item in data:
        found += getattr(item, "questions", ())
    return [asdict(question) for question in dict.fromkeys(found)]
