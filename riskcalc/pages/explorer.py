"""The draws themselves, packed into the page, so that a reader can narrow an assumption and see what is left."""

from __future__ import annotations

import base64
import json

import numpy as np
from numpy.typing import NDArray

from riskcalc.pages.data import DrawTable, ReportData
from riskcalc.pages.labels import short, shown_unit
from riskcalc.pages.rounding import CURRENCY_SIGNS, NO_BREAK

#: More draws than this would only make the page heavier; an even stride through them is taken instead.
MOST_DRAWS = 4096


def thinned(table: DrawTable) -> DrawTable:
    """Return at most `MOST_DRAWS` draws, evenly spaced, so that every scramble keeps its part."""
    draws = len(table.net_present_value)
    if draws <= MOST_DRAWS:
        return table
    kept = np.linspace(0, draws - 1, MOST_DRAWS).round().astype(np.int64)
    return DrawTable(table.inputs, table.values[:, kept], table.payback_years[kept], table.net_present_value[kept])


def explorer_json(report: ReportData) -> str:
    """Return what the script on the page reads, safe inside a `<script>` element; "" if there is nothing to narrow.

    Inputs that do not vary are left out; the strongest in the ranking comes first. Numbers are packed as base64 of
    little-endian float32, one input after the other: exact enough for any figure shown and a quarter of the text.
    """
    if report.draws_table is None:
        return ""
    table = thinned(report.draws_table)
    order = {row.key: place for place, row in enumerate(report.ranking)}
    varying = [index for index, values in enumerate(table.values) if np.ptp(values) > 0]
    varying.sort(key=lambda index: order.get(table.inputs[index][0], len(order)))
    if not varying:
        return ""
    payload = {
        "sign": CURRENCY_SIGNS.get(report.currency, report.currency + NO_BREAK),
        "horizon": report.horizon_years,
        "inputs": [_named(*table.inputs[index]) for index in varying],
        "values": _packed(table.values[varying]),
        "payback": _packed(table.payback_years),
        "worth": _packed(table.net_present_value),
        "edges": [float(edge) for edge in report.worth.bin_edges],
    }
    # "<" must not end the script element early, whatever a label says.
    return json.dumps(payload, separators=(",", ":")).replace("<", "\\u003c")


def _named(key: str, label: str, unit: str) -> dict[str, str | float]:
    factor, said = shown_unit(unit)
    return {"key": key, "label": short(label), "unit": said, "factor": factor}


def _packed(values: NDArray[np.float64]) -> str:
    return base64.b64encode(np.ascontiguousarray(values, dtype="<f4").tobytes()).decode()
