"""What was assumed: every setting with its distribution as a small shape, and its source."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.language import told
from riskcalc.pages.exhibit import Block, fold, words
from riskcalc.pages.figures import capital, counted, say, shown_unit, significant, unit_after, with_unit
from riskcalc.types import Figures

WIDTH, HEIGHT, BINS = 96, 22, 24


def assumed_finding(figures: Figures) -> str:
    """Return how many inputs are uncertain, and how many are not."""
    sketches = figures.get("page", {}).get("sketches", {})
    drawn = sum(row["key"] in sketches for row in figures["assumptions"])
    return counted(
        "{count} input is uncertain, {fixed} have one value",
        "{count} inputs are uncertain, {fixed} have one value",
        drawn,
        fixed=len(figures["assumptions"]) - drawn,
    )


def assumption_blocks(figures: Figures) -> Iterator[Block]:
    """Yield the assumptions in three groups: uncertain, fixed by the scenario, left at a default; then the sources."""
    sketches = figures.get("page", {}).get("sketches", {})
    known = figures["provenance"]
    drawn = [row for row in figures["assumptions"] if row["key"] in sketches]
    fixed = [row for row in figures["assumptions"] if row["key"] not in sketches and not row["is_default"]]
    left = [row for row in figures["assumptions"] if row["key"] not in sketches and row["is_default"]]
    if drawn:
        yield words("Uncertain: drawn anew for every future", "h3")
        yield _table(drawn, sketches)
    for title, rows in (("Fixed by the scenario", fixed), ("Left at the default", left)):
        if rows:
            yield fold(say("{title}: {count}", title=say(title), count=len(rows)), _table(rows, {}))
    yield Block("sources", ((say("Weather"), known["weather"], False), (say("Demand"), known["demand"], False)))


def _table(rows: Sequence[Figures], sketches: Mapping[str, NDArray[np.float64]]) -> Block:
    header = ("input", "given", "shape", "source") if sketches else ("input", "given", "source")
    cells = [_cells(row, sketches.get(row["key"])) for row in rows]
    return Block("assumed", {"header": tuple(map(say, header)), "rows": cells, "size": (WIDTH, HEIGHT), "each": False})


def _cells(row: Figures, sketch: NDArray[np.float64] | None) -> dict[str, Any]:
    source = row["source"] or say("no source given")
    made: dict[str, Any] = {
        "label": capital(row["label"]),
        "key": row["key"],
        "cells": [f"{row['given']} {told(unit_after(row['given'], row['unit']))}".strip()],
        "path": None,
        "spread": "",
        "source": source,
    }
    if sketch is not None:
        factor = shown_unit(row["unit"])[0]
        low, high = significant(factor * float(sketch[4])), with_unit(float(sketch[94]), row["unit"])
        made["path"] = sketch_path(np.asarray(sketch))
        made["spread"] = say("nine in ten from {low} to {high}", low=low, high=high)
        made["source"] = say("{source} (default)", source=source) if row["is_default"] else source
    return made


def sketch_path(quantiles: NDArray[np.float64]) -> str:
    """Return the outline of the density as an SVG path in a box of `WIDTH` by `HEIGHT`, steps from left to right.

    `quantiles` stand at equal steps of probability. The share of each of `BINS` equal bins is read off the distribution
    function that they trace, so a lump of probability at one value becomes one high step. A single value becomes one
    bar in the middle.
    """
    low, high = float(quantiles[0]), float(quantiles[-1])
    if high <= low:
        return f"M{WIDTH / 2 - 2},{HEIGHT}V0h4V{HEIGHT}Z"
    levels = np.arange(1, len(quantiles) + 1) / (len(quantiles) + 1)
    edges = np.linspace(low, high, BINS + 1)
    # The last of equal quantiles is what the distribution function has reached there.
    below = np.searchsorted(quantiles, edges, side="right")
    values, first = np.unique(quantiles, return_index=True)
    last = np.append(first[1:], len(quantiles)) - 1
    lumps = values.size < len(quantiles) // 2
    reached = below / len(quantiles) if lumps else np.interp(edges, values, levels[last])
    share = np.diff(reached)
    if lumps:
        share[0] += reached[0]
    tops = HEIGHT * (1 - share / share.max())
    step = WIDTH / BINS
    path = "".join(f"V{top:.1f}H{(index + 1) * step:g}" for index, top in enumerate(tops))
    return f"M0,{HEIGHT}{path}V{HEIGHT}Z"
