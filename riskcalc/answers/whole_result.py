"""The content of result.json: the figures of an assessment, and what they say about odds, information and claims."""

from __future__ import annotations

from typing import Any

from riskcalc.answers.assess import result
from riskcalc.answers.insight import insight
from riskcalc.answers.rows import insight_figures
from riskcalc.study.model import Assessment


def whole_result(assessment: Assessment, *, foresight: bool = False) -> dict[str, Any]:
    """Return every figure under the names documented in the README, ready for JSON.

    With `foresight` also how near the rule comes to the best there is, which takes some seconds more.
    """
    figures = result(assessment) | insight_figures(insight(assessment), assessment.scenario)
    if not foresight:
        return figures
    from riskcalc.answers.foresight import foresight_figures  # meets scipy's optimisers, a third of a second

    return figures | foresight_figures(assessment)
