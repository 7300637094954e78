"""How much memory does a draw take, and where? Counted by the interpreter, arrays included, between two numbers of draws.

    python tests/studies/memory.py [--sizes 8192 16384] [--horizons 3 12]

"At most" is the highest an assessment comes to in each stage: simulation, figures, what the page reads, and files.
"Held" counts the arrays that an assessment keeps; up to 8,192 draws in memory, beyond that some of them in a temporary file.
Differences between two sizes leave out what does not grow with the draws: libraries and pools.
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
STAGES = ("simulation", "figures", "what the page reads", "page and files")
#: Arrays smaller than this a draw are not listed.
LISTED_BYTES = 150.0


def run(draws: int, years: int) -> tuple[Assessment, list[int]]:
    """Return an assessment, and the most bytes in each of STAGES."""
    changes = {"draws": draws, "horizon_years": years, "pool_years": 8, "step_minutes": 30}
    scenario = read_scenario(SCENARIO, [f"study.{key}={value}" for key, value in changes.items()])
    most: list[int] = []

    def stage(made: Any) -> Any:
        most.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.reset_peak()
        return made

    tracemalloc.start()
    try:
        found = stage(assessment(scenario))
        figures = stage(whole_result(found))
        shown = stage(page_dict(found, figures=figures, command="riskcalc assess"))
        texts = {"result.json": json_text(figures), "report.html": assess_page(shown)}
        with tempfile.TemporaryDirectory() as folder:
            stage(write_files(Path(folder), texts | {"draws.csv": csv_text(*draw_table(found))}))
        return found, most
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
    print(f"| horizon | {' | '.join(STAGES)} | most, at 65,536 draws |")
    print("|---" * (len(STAGES) + 2) + "|")
    for years in asked.horizons:
        _, most_few = run(few, years)
        found, most_many = run(many, years)
        slopes = [(b - a) / (many - few) for a, b in zip(most_few, most_many, strict=True)]
        cells = " | ".join(f"{slope / 1000:.1f} kB" for slope in slopes)
        print(f"| {years} years | {cells} | {max(slopes) * 65536 / 2**20:,.0f} MiB |", flush=True)
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
