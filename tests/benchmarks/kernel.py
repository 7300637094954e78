"""Speed of the dispatch kernel as ratios within one run, written to `reports/evidence/speed.md`.

    python tests/benchmarks/kernel.py [SCENARIO] [--write]

One year of 256 draws of a scenario: run by run, the same demand cut into minutes, the compiled twin, and the machine's
own limit of reading what the kernel reads. Seconds move from machine to machine; the ratios are what to hold.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from riskcalc.dispatch import DispatchInputs, dispatch_slow, dispatch_year
from riskcalc.scenario import read_scenario
from riskcalc.study.model import design_of, drawn_values, world_of
from riskcalc.years.simulation import Plant

REPORT = Path(__file__).parents[2] / "reports" / "evidence" / "speed.md"
SCENARIO = Path(__file__).parents[2] / "scenarios" / "tenant-balcony.toml"
DRAWS, TWINS = 256, 4


def by_minutes(inputs: DispatchInputs) -> DispatchInputs:
    """Return the same demand with every run cut into minutes."""
    lengths = inputs.run_minutes.astype(np.int64)
    until = np.concatenate([[0], np.cumsum(lengths)])
    return replace(
        inputs,
        run_w=np.repeat(inputs.run_w, lengths, axis=0),
        run_minutes=np.ones(int(until[-1])),
        first_run=until[inputs.first_run],
    )


def best_seconds(work: Callable[[], object], times: int = 3) -> float:
    """Return the least processor time of this thread, after one run that compiles."""
    work()
    best = np.inf
    for _ in range(times):
        start = time.thread_time()
        work()
        best = min(best, time.thread_time() - start)
    return float(best)


def report(path: Path) -> str:
    """Measure and return the page."""
    scenario = read_scenario(path, [f"study.draws={DRAWS}"])
    world, random = world_of(scenario), design_of(scenario)
    plant = Plant(scenario, world.pools, world.plan, drawn_values(scenario, random), random.pool_year)
    new = np.ones(random.draws)
    request = plant.year_request(0, capacity_share=new, working=new > 0.0, stored_wh=np.zeros(random.draws))
    given = {
        name: getattr(request, name) for name in ("plane_weight", "input_limit_w", "pool_year", "stored_wh")
    }  # fmt: skip
    inputs, minutes = request.inputs, by_minutes(request.inputs)

    def year(of: DispatchInputs) -> float:
        return best_seconds(
            lambda: dispatch_year(request.coupling, of, request.plan, request.params, **given, threads=1)
        )

    some = {name: values[..., :TWINS] for name, values in given.items()}
    runs, by_minute = year(inputs), year(minutes)
    twin = best_seconds(
        lambda: dispatch_slow(
            request.coupling, inputs, request.plan, request.params[:, :TWINS], use_numba=True, **some
        ),
        1,
    ) * (random.draws / TWINS)
    read = inputs.run_w.nbytes + inputs.run_minutes.nbytes + inputs.solar_w.nbytes + inputs.wired_w.nbytes
    stream = best_seconds(lambda: [array.sum() for array in (inputs.run_w, inputs.solar_w, inputs.wired_w)])
    per_run = 1e9 * runs / (len(inputs.run_minutes) * random.draws / inputs.years)
    lines = [
        f"# Speed of dispatch ({path.stem}, {random.draws} draws, one year, one thread)",
        "",
        "Written by `python tests/benchmarks/kernel.py SCENARIO --write`.",
        "",
        f"- runs in a slot of {request.plan.slot_minutes} minutes: {len(inputs.run_minutes) / inputs.years / inputs.slots:.2f}",
        f"- run by run: {runs:.3f} s, {per_run:.1f} ns a run and draw",
        f"- minute by minute, the same kernel: {by_minute / runs:.1f} times as long",
        f"- the twin, compiled, minute by minute: {twin / runs:.0f} times as long",
        f"- bytes of pools read: {read / 1e6:.0f} MB; summing them once takes {stream / runs:.2f} of the kernel's time",
        "",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    named = [word for word in sys.argv[1:] if not word.startswith("-")]
    page = report(Path(named[0]) if named else SCENARIO)
    print(page)
    if "--write" in sys.argv:
        REPORT.parent.mkdir(parents=True, exist_ok=True)
        REPORT.write_text(page, encoding="utf-8")
