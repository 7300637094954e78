"""Speed of the whole pipeline: one table of ratios from one run.

python tests/benchmarks/pipeline.py [--scenario FILE] [--points 1024] [--only stages,growth,memory,start,rank]

Times are those of the processor (all threads of the process), so that other programs count less; the start-up alone is by
the clock on the wall. Ratios are what to hold: seconds move from machine to machine.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from riskcalc.answers.assess import draw_table
from riskcalc.answers.factors import factors_of
from riskcalc.answers.page_dict import page_dict, whole_result
from riskcalc.answers.sobol import sobol_run
from riskcalc.money.valuation import valuation
from riskcalc.output import csv_text, json_text
from riskcalc.pages.page import assess_page
from riskcalc.scenario import Scenario, read_scenario
from riskcalc.study.model import Assessment, World, assessment, design_of, drawn_values, evaluated, world_of
from riskcalc.uncertainty.indices import Cube, sobol_rows
from riskcalc.years.pools import YearsAtHand
from riskcalc.years.store import Store
from riskcalc.years.warm_up import warm_up

ROOT = Path(__file__).parents[2]
SCENARIO = ROOT / "scenarios/tenant-balcony.toml"
#: A small year for the growth: what is compared must not be dominated by what is done once.
QUICK = ("study.step_minutes=15", "study.horizon_years=4")
Row = tuple[str, float, str]


class Clock:
    """Processor seconds of named parts."""

    def __init__(self) -> None:
        self.rows: list[Row] = []

    @contextmanager
    def part(self, name: str) -> Iterator[None]:
        """Note what the block takes."""
        start = time.process_time()
        yield
        self.rows.append((name, time.process_time() - start, "s"))


def seconds(work: Callable[[], object], *, repeats: int = 3) -> float:
    """Return the shortest of several runs [s of the processor]."""
    found = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        found.append(time.process_time() - start)
    return min(found)


def printed(title: str, rows: list[Row], note: str = "") -> None:
    """Print names, figures and each figure as a multiple of the first."""
    print(f"\n{title}{f' ({note})' if note else ''}")
    for name, figure, unit in rows:
        print(f"  {name:<58} {figure:10.3f} {unit:<4} {figure / rows[0][1]:8.2f}", flush=True)


def stages(path: Path) -> None:
    """Print what each stage of `assess` costs, over the simulation."""
    clock = Clock()
    with clock.part("scenario read and checked"):
        scenario = read_scenario(path)
    with clock.part("kernel loaded, or compiled if it is the first time"):
        warm_up(scenario)
    with tempfile.TemporaryDirectory() as folder:
        with clock.part("pools made"):
            world_of(scenario, YearsAtHand(Store(Path(folder))))
        with clock.part("pools found on disk"):
            world = world_of(scenario, YearsAtHand(Store(Path(folder))))
        with clock.part("draws"):
            random = design_of(scenario)
            values = drawn_values(scenario, random)
        start = time.process_time()
        simulation, money = evaluated(scenario, world, random, values)
        simulated = time.process_time() - start
        with clock.part("money alone, for all draws"):
            valuation(scenario, simulation, values, random.path)
        found = Assessment(scenario, random, values, world, simulation, money)
        with clock.part("figures and what they say (odds, break-even, claims)"):
            figures = whole_result(found)
        with clock.part("data of the page, with its two weeks"):
            data = page_dict(found, figures=figures, command="riskcalc assess")
        with clock.part("page with its drawings"):
            assess_page(data)
        with clock.part("result.json and draws.csv as text"):
            json_text(figures)
            csv_text(*draw_table(found))
    study = scenario.study
    title = f"stages of assess: {found.draws} draws, {study.horizon_years} years, {study.step_minutes} min"
    printed(title, [("simulation and money", simulated, "s"), *clock.rows])
    steps = found.draws * study.horizon_years * 525_600 / study.step_minutes
    print(f"  the simulation takes {1e9 * simulated / steps:.2f} ns per step and draw")


def simulation_seconds(scenario: Scenario, world: World | None = None) -> float:
    """Return the time of simulation and money for all draws, pools at hand."""
    world = world or world_of(scenario)
    random = design_of(scenario)
    values = drawn_values(scenario, random)
    return seconds(lambda: evaluated(scenario, world, random, values), repeats=2)


def growth(path: Path) -> None:
    """Print how the time grows with draws, years and steps."""
    base = read_scenario(path, [*QUICK, "study.draws=1024"])
    assessment(base)
    one = simulation_seconds(base)
    rows: list[Row] = [("1,024 draws, 4 years, 15 min", one, "s")]
    for name, change in (
        ("8 times the draws (at most 8.4)", "study.draws=8192"),
        ("16 times the draws (at most 16.8)", "study.draws=16384"),
        ("3 times the years", "study.horizon_years=12"),
        ("5 min, 3 times the steps", "study.step_minutes=5"),
        ("1 min, 15 times the steps", "study.step_minutes=1"),
    ):
        rows.append((name, simulation_seconds(read_scenario(path, [*QUICK, "study.draws=1024", change])), "s"))
    printed("growth of simulation and money", rows, "10 times the draws: at most 10.5 times")


PEAK = """
import sys
from pathlib import Path
from riskcalc.study.model import assessment
from riskcalc.scenario import read_scenario
found = assessment(read_scenario(Path(sys.argv[1]), sys.argv[2:]))
status = Path("/proc/self/status").read_text(encoding="ascii")
print(int(status.split("VmHWM:")[1].split()[0]) / 1024)
"""


def memory(path: Path) -> None:
    """Print the peak of memory of a process with rising draws, over 15 years.

    From /proc, since the figure of getrusage begins with that of the process that started this one.
    """
    rows: list[Row] = []
    for draws in (1024, 8192, 32_768):
        changes = [f"study.draws={draws}", "study.step_minutes=15"]
        peak = float(run([sys.executable, "-c", PEAK, str(path), *changes]))
        rows.append((f"{draws:,} draws, 15 min", peak, "MiB"))
    peak = float(run([sys.executable, "-c", PEAK, str(path), "study.draws=1024", "study.step_minutes=1"]))
    rows.append(("1,024 draws, 1 min", peak, "MiB"))
    printed("peak of memory", rows, "flat in draws, below 1,024 MiB")


def start_up(path: Path) -> None:
    """Print what the user waits for before anything is computed, by the wall."""
    rows: list[Row] = []
    for name, words in (
        ("python -c pass", ["-c", "pass"]),
        ("riskcalc --help", ["-m", "riskcalc", "--help"]),
        ("riskcalc check", ["-m", "riskcalc", "check", str(path)]),
    ):
        found = []
        for _ in range(5):
            begun = time.perf_counter()
            run([sys.executable, *words])
            found.append(time.perf_counter() - begun)
        rows.append((name, min(found), "s"))
    printed("start-up, on the wall", rows)


def ranking(path: Path, points: int) -> None:
    """Print what the design costs, and the futures of a ranking at five-minute steps."""
    scenario = read_scenario(path, ["study.step_minutes=5"])
    world = world_of(scenario)
    warm_up(scenario)
    factors = factors_of(scenario)
    fifteen = Cube(tuple(f"input {index}" for index in range(15)))
    clock = Clock()
    with clock.part(f"Sobol' design of {points:,} x (15 + 2) through SALib"):
        sobol_rows(fifteen, points=points, seed=1)
    begun, start = time.perf_counter(), time.process_time()
    made = sobol_run(scenario, world, factors, points=points, most_points=points)
    wall, busy = time.perf_counter() - begun, time.process_time() - start
    rows = [*clock.rows, (f"rank: {points:,} points, {len(factors.entries)} factors and their families", busy, "s")]
    printed("ranking", rows, f"5 min, {scenario.study.horizon_years} years; on the wall {wall:.1f} s")
    random = design_of(scenario)
    values = drawn_values(scenario, random)
    simulation, _ = evaluated(scenario, world, random, values)
    alone = seconds(lambda: valuation(scenario, simulation, values, random.path))
    print(
        f"  {made.rows:,} futures asked for, {made.simulated:,} simulated ({made.simulated / made.rows:.0%}): the rest "
        f"differ in money alone\n  {1e6 * busy / made.rows:.0f} us a future asked for; 15 factors make "
        f"{17 * points:,} futures, about {busy * 17 * points / made.rows:.0f} s of the processor\n"
        f"  money alone: {1e6 * alone / random.draws:.0f} us a future"
    )


def run(words: list[str]) -> str:
    """Run a process in the repository and return what it prints."""
    return subprocess.run(words, cwd=ROOT, check=True, capture_output=True, text=True).stdout


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenario", type=Path, default=SCENARIO)
    parser.add_argument("--points", type=int, default=1024)
    parser.add_argument("--only", default="stages,growth,memory,start,rank")
    chosen = parser.parse_args()
    parts: dict[str, Callable[[], None]] = {
        "stages": lambda: stages(chosen.scenario),
        "growth": lambda: growth(chosen.scenario),
        "memory": lambda: memory(chosen.scenario),
        "start": lambda: start_up(chosen.scenario),
        "rank": lambda: ranking(chosen.scenario, chosen.points),
    }
    for name in chosen.only.split(","):
        parts[name]()


if __name__ == "__main__":
    main()
