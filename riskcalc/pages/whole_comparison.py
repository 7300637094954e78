"""Fill the page of a comparison: result, curves, what differs between the options, cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.answers.compare import Comparison, Entry, StayCurve
from riskcalc.answers.compare import result as result_of
from riskcalc.pages.cautions import cautions
from riskcalc.pages.comparison_page import ComparisonPage, StayLines
from riskcalc.scenario import Scenario, assumptions


def comparison_page(
    found: Comparison, curves: Sequence[StayCurve], result: Mapping[str, Any], *, command: str
) -> ComparisonPage:
    """Return everything the page shows; `result` is that of `whole_comparison`."""
    by_name = {row["option"]: row for row in result["compared"]}
    shown = [by_name[curve.name] for curve in curves]
    cautions_each = (scenario_cautions(entry.scenario) for entry in in_order(found))
    return ComparisonPage(
        title=listed([row["title"] for row in result["compared"]]),
        command=command,
        result=result,
        stay=StayLines(
            tuple(row["letter"] for row in shown),
            tuple(row["title"] for row in shown),
            curves[0].stays,
            _mean_worth(curves),
        )
        if curves
        else None,
        cautions=tuple(dict.fromkeys(caution for each in cautions_each for caution in each)),
    )


def whole_comparison(found: Comparison, curves: Sequence[StayCurve] = ()) -> dict[str, Any]:
    """Return the content of result.json: every figure, the options under the letters of the page, and what differs."""
    entries = in_order(found)
    compared = [
        {
            "letter": letter(place),
            "option": entry.name,
            "title": entry.title,
            "description": entry.scenario.description,
            "file": entry.scenario.files[0].path if entry.scenario.files else None,
        }
        for place, entry in enumerate(entries)
    ]
    rows = differing([entry.scenario for entry in entries])
    unlike = [{"key": key, "label": label, "given": list(given)} for key, label, given in rows]
    return result_of(found, curves) | {"compared": compared, "differing": unlike}


def in_order(found: Comparison) -> list[Entry]:
    """Return the options by name, whatever order they were given in."""
    return sorted(found.entries, key=lambda entry: entry.name)


def letter(place: int) -> str:
    """Return A, B, C ... Z, A2, B2 ..."""
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[place % 26] + (str(place // 26 + 1) if place >= 26 else "")


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
        exports_stored=bool(scenario.dispatch.export_stored_at),
    )
