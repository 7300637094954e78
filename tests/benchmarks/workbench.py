"""How long the workbench takes to answer a change: median and 95th percentile of 50 changes of each kind.

python tests/benchmarks/workbench.py [SCENARIO] [--changes 50]

Changes of money alone (a price, the outlay) and changes that need dispatch (the battery) are timed from the question to
the first answer and to the settled one, by the clock, in one process with pools at hand.
"""

from __future__ import annotations

import argparse
import queue
import statistics
import time
from pathlib import Path
from typing import Any

from riskcalc.live.answering import Answering
from riskcalc.live.desk import Desk

ROOT = Path(__file__).parents[2]


def answered(
    answering: Answering, told: queue.Queue[dict[str, Any]], desk: Desk, key: str, value: str
) -> tuple[float, float]:
    """Return seconds from a change to the first and to the settled answer."""
    began = time.perf_counter()
    number = answering.ask(desk.change(key, value))
    first = None
    while True:
        answer = told.get(timeout=600)
        if answer["question"] != number:
            continue
        first = first or time.perf_counter() - began
        if answer["last"]:
            return first, time.perf_counter() - began


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("scenario", nargs="?", default=str(ROOT / "scenarios" / "tenant-balcony.toml"))
    parser.add_argument("--changes", type=int, default=50)
    given = parser.parse_args()
    desk, told = Desk(Path(given.scenario)), queue.Queue[dict[str, Any]]()
    answering = Answering(told.put)
    kinds = {
        "outlay": ("purchase.price", lambda index: f"{500 + 7 * index}"),
        "trend of prices": ("prices.trend_per_year", lambda index: f"{0.001 * index:.4f}"),
        "capacity of the battery": ("kit.battery.capacity_kwh", lambda index: f"{1.0 + 0.02 * index:.3f}"),
    }
    answered(answering, told, desk, "purchase.price", "499")
    print(f"{'change of':<26}{'first: median':>15}{'95 %':>8}{'settled: median':>17}{'95 %':>8}  [s]")
    for name, (key, value) in kinds.items():
        times = [answered(answering, told, desk, key, value(index)) for index in range(given.changes)]
        cells = []
        for column in zip(*times, strict=True):
            ordered = sorted(column)
            cells += [statistics.median(ordered), ordered[min(len(ordered) - 1, int(0.95 * len(ordered)))]]
        print(f"{name:<26}{cells[0]:15.2f}{cells[1]:8.2f}{cells[2]:17.2f}{cells[3]:8.2f}", flush=True)


if __name__ == "__main__":
    main()
