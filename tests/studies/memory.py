"""How much memory does a draw take, and where? Counted by the interpreter, arrays included, between two numbers of draws.

    python tests/studies/memory.py [--sizes 8192 16384] [--horizons 3 12]

"Held" is what an assessment keeps once all futures are simulated, "at most" the highest it comes to while figures, page and
files are made of it. Differences between two sizes leave out what does not grow with the draws: libraries and pools.
"""

from __future__ import annotations

import argparse
import dataclasses
import tempfile
import tracemalloc
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from riskcalc.answers.assess import draw_table
from riskcalc.answers.page_dict import page_dict, whole_result
from riskcalc.output import csv_text, json_text, write_files
from riskcalc.pages.page import assess_page
from riskcalc.scenario import read_scenario
from riskcalc.study.model import Assessment, assessment

SCENARIO = Path(__file__).parents[2] / "scenarios" / "tenant-balcony.toml"
#: Arrays smaller than this a draw are not listed.
LISTED_BYTES = 150.0


def run(draws: int, years: int) -> tuple[Assessment, int, int]:
    """Return an assessment, the bytes held after it, and the most while it was written down."""
    changes = {"draws": draws, "horizon_years": years, "pool_years": 8, "step_minutes": 30}
    scenario = read_scenario(SCENARIO, [f"study.{key}={value}" for key, value in changes.items()])
    tracemalloc.start()
    try:
        found = assessment(scenario)
        held = tracemalloc.get_traced_memory()[0]
        tracemalloc.reset_peak()
        figures = whole_result(found)
        page = assess_page(page_dict(found, figures=figures, command="riskcalc assess"))
        texts = {"result.json": json_text(figures), "draws.csv": csv_text(*draw_table(found)), "report.html": page}
        with tempfile.TemporaryDirectory() as folder:
            write_files(Path(folder), texts)
        return found, held, tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def arrays(part: Any, name: str, draws: int, found: Counter[str], seen: set[int]) -> None:
    """Count the bytes of every array that has a row or column for each draw, each memory once."""
    if isinstance(part, np.ndarray):
        while isinstance(part.base, np.ndarray):
            part = part.base
        if id(part) not in seen and part.size >= draws:
            seen.add(id(part))
            found[name] += part.nbytes
    elif dataclasses.is_dataclass(part):
        for field in dataclasses.fields(part):
            arrays(getattr(part, field.name), f"{name}.{field.name}", draws, found, seen)
    elif isinstance(part, Mapping | list | tuple):
        for item in part.values() if isinstance(part, Mapping) else part:
            arrays(item, name, draws, found, seen)


def main() -> None:
    """Print bytes a draw for each horizon, and the largest arrays of the last."""
    arguments = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    arguments.add_argument("--sizes", type=int, nargs=2, default=[8192, 16384], metavar="DRAWS")
    arguments.add_argument("--horizons", type=int, nargs="+", default=[3, 12], metavar="YEARS")
    asked = arguments.parse_args()
    few, many = asked.sizes
    run(64, 3)  # what is read and kept on first use
    print("| horizon | held a draw | at most, figures and files made | at 65,536 draws |")
    print("|---|---|---|---|")
    for years in asked.horizons:
        _, held_few, most_few = run(few, years)
        found, held_many, most_many = run(many, years)
        held, most = ((b - a) / (many - few) for a, b in ((held_few, held_many), (most_few, most_many)))
        print(
            f"| {years} years | {held / 1000:.1f} kB | {most / 1000:.1f} kB | {most * 65536 / 2**20:,.0f} MiB |",
            flush=True,
        )
    listed: Counter[str] = Counter()
    seen: set[int] = set()
    for name in ("design", "values", "simulation", "valuation"):
        arrays(getattr(found, name), name, many, listed, seen)
    print(f"\nHeld over {years} years, bytes a draw ({sum(listed.values()) / many:,.0f} in all):\n")
    for name, size in listed.most_common():
        if size / many >= LISTED_BYTES:
            print(f"- {name}: {size / many:,.0f}")


if __name__ == "__main__":
    main()
