"""An assessment with one input of money set to a value: valued again only when money is asked for, and once a value.

Several statements look for their break-even over the same values of the same inputs; a statement about the energy of a
season asks for no valuation at all. What is kept of a value are its paybacks and its worth, one number a draw each.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from typing import Any, cast

import numpy as np

from riskcalc.money.prices import PricePaths, paths_of
from riskcalc.money.valuation import Valuation, valuation
from riskcalc.study.model import Assessment

KEPT = ("payback_years", "lasting_payback_years", "discounted_payback_years", "net_present_value")
#: Memory for what is kept: some two thousand values with a thousand draws.
ROOM_BYTES = 64 * 2**20


class LazyValuation:
    """Stands for a `Valuation` that is worked out when a figure of it is asked for."""

    def __init__(self, make: Callable[[], Valuation]) -> None:
        self._make = make
        self._kept: dict[str, Any] = {}

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_"):
            raise AttributeError(name)
        if name in self._kept:
            return self._kept[name]
        money = self._make()
        self._kept = {kept: getattr(money, kept) for kept in KEPT}
        return getattr(money, name)


def varied(assessment: Assessment, key: str, point: float) -> Assessment:
    """Return the assessment with `key` at `point` in every draw, its energy unchanged; kept as long as the assessment is."""
    found: OrderedDict[tuple[str, float], Assessment] = assessment.kept.setdefault("varied", OrderedDict())
    if (key, point) not in found:
        values = {**assessment.values, key: np.broadcast_to(np.float64(point), (assessment.draws,))}

        def make() -> Valuation:
            paths = None if key.startswith("prices.") else _paths(assessment)
            return valuation(assessment.scenario, assessment.simulation, values, assessment.design.path, paths=paths)

        found[key, point] = replace(assessment, values=values, valuation=cast("Valuation", LazyValuation(make)))
        while len(found) > max(1, ROOM_BYTES // (len(KEPT) * 8 * assessment.draws)):
            found.popitem(last=False)
    return found[key, point]


def _paths(assessment: Assessment) -> PricePaths:
    """Return the price paths of an assessment, which no input but those of `prices` moves; kept as long as it is."""
    if "paths" not in assessment.kept:
        assessment.kept["paths"] = paths_of(assessment.scenario, assessment.values, assessment.design.path)
    paths: PricePaths = assessment.kept["paths"]
    return paths
