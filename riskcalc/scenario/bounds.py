"""What a key of the scenario accepts, asked by those who vary it."""

from __future__ import annotations

import math
from typing import Any, get_args

from riskcalc.scenario.problems import declared_at
from riskcalc.scenario.schema import Scenario
from riskcalc.scenario.uncertain import Bounds


def bounds_of(key: str) -> tuple[float, float]:
    """Return the least and the greatest number that a dotted key accepts, infinite where there is none."""
    _, field = declared_at(Scenario, tuple(key.split(".")))
    if field is None:
        return -math.inf, math.inf
    found = next((item for item in (*field.metadata, *_inside(field.annotation)) if isinstance(item, Bounds)), None)
    return (-math.inf, math.inf) if found is None else (found.low, found.high)


def _inside(annotation: Any) -> list[Any]:
    """Return everything that is named within an annotation such as `Annotated[Quantity, Uncertain(0, 1)] | None`."""
    parts = list(get_args(annotation))
    return [*parts, *(item for part in parts for item in _inside(part))]
