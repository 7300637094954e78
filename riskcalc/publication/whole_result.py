"""The content of result.json: the figures of an assessment, and what they say about odds, information and claims."""

from __future__ import annotations

from typing import Any

from riskcalc.model import Assessment
from riskcalc.results.result import result
from riskcalc.sensitivity.insight import insight
from riskcalc.sensitivity.rows import insight_figures


def whole_result(assessment: Assessment) -> dict[str, Any]:
    """Return every figure under the names documented in the README, ready for JSON."""
    return result(assessment) | insight_figures(insight(assessment), assessment.scenario)
