"""Fill the page of a comparison: result, curves, what differs between the options, cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.comparison import Comparison, StayCurve
from riskcalc.report.cautions import cautions
from riskcalc.report.comparison_page import ComparisonPage, StayLines
from riskcalc.scenario import Scenario, assumptions


def comparison_page(
    found: Comparison, curves: Sequence[StayCurve], result: Mapping[str, Any], *, command: str
) -> ComparisonPage:
    """Return everything the page shows."""
    compared = sorted(((entry.name, entry.scenario) for entry in found.entries), key=lambda pair: pair[0])
    names = tuple(name for name, _ in compared)
    return ComparisonPage(
        title=listed(names),
        command=command,
        result=result,
        stay=StayLines(
            tuple(curve.name for curve in curves),
            curves[0].stays,
            _mean_worth(curves),
        )
        if curves
        else None,
        compared=names,
        differing=differing([scenario for _, scenario in compared]),
        cautions=tuple(dict.fromkeys(caution for _, scenario in compared for caution in scenario_cautions(scenario))),
    )


def differing(scenarios: Sequence[Scenario]) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """Return (key, words, what each scenario gives) of every setting in which the scenarios differ."""
    given: dict[str, dict[int, str]] = {}
    labels: dict[str, str] = {}
    for index, scenario in enumerate(scenarios):
        for row in assumptions(scenario):
            given.setdefault(row.key, {})[index] = f"{row.given} {row.unit}".strip()
            labels.setdefault(row.key, row.label)
    cells = {key: tuple(row.get(index, "–") for index in range(len(scenarios))) for key, row in given.items()}
    return tuple((key, labels[key], row) for key, row in cells.items() if len(set(row)) > 1)


def listed(names: Sequence[str]) -> str:
    """Return names as a choice: "a or b", "a, b or c"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def _mean_worth(curves: Sequence[StayCurve]) -> NDArray[np.float64]:
    return np.stack([curve.worth.mean(axis=1) for curve in curves])


def scenario_cautions(scenario: Scenario) -> tuple[str, ...]:
    """Return the cautions that go with one option."""
    kit, tenure = scenario.kit, scenario.tenure
    return cautions(
        coupling="none" if kit is None else kit.coupling,
        has_modules=kit is not None and bool(kit.arrays),
        has_battery=kit is not None and kit.battery is not None,
        modules_in_series=max((array.modules_in_series for array in kit.arrays.values()), default=0) if kit else 0,
        renting=tenure is not None and tenure.kind == "rent",
    )
