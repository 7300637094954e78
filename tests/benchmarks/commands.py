"""How long whole commands take, from the key to the report, each in a process of its own.

python tests/benchmarks/commands.py [--times 3] [--only assess,match,rank,first]

Every time is the clock's, the least of some runs, and stands beside its ratio to `assess` of a kit that was not met before,
which simulates 1,024 futures at one minute. Without a quiet machine the figures are too high.
"""

from __future__ import annotations

import argparse
import itertools
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
SCENARIO = "scenarios/tenant-balcony.toml"
#: Capacities that no earlier run has met, so that nothing is at hand but weather and demand.
NEW = itertools.count(int(time.time()) % 10_000)


def riskcalc(*words: str, **more: str) -> float:
    """Return the seconds that a command takes; `more` is set in its environment."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"} | more
    began = time.perf_counter()
    done = subprocess.run(
        [sys.executable, *words], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    if done.returncode:
        sys.exit(done.stderr[-2000:])
    return time.perf_counter() - began


def command(*words: str, **more: str) -> float:
    """Return the seconds that `riskcalc ...` takes."""
    return riskcalc("-m", "riskcalc", *words, **more)


def unseen() -> str:
    """Return a change of the battery's capacity that no run has met."""
    return f"kit.battery.capacity_kwh={1.3 + next(NEW) * 1e-5:.5f}"


def subjects(out: Path) -> Iterator[tuple[str, str, Callable[[], float], bool]]:
    """Yield the part, what is timed, how, and whether it is run once only."""
    assess = ("assess", SCENARIO, "--out", str(out / "a"), "--overwrite")
    yield "assess", "assess, a new kit", lambda: command(*assess, "--set", unseen()), False
    yield "assess", "assess, a new kit, 256 draws", lambda: command(*assess, "--draws", "256", "--set", unseen()), False
    yield (
        "assess",
        "assess, another price",
        lambda: command(*assess, "--set", f"purchase.price={700 + next(NEW)}"),
        False,
    )
    yield "assess", "assess, 32 draws, steps of 30", lambda: command(*assess, "--draws", "32", "--step", "30"), False
    yield "assess", "check", lambda: command("check", SCENARIO), False
    yield "assess", "--help", lambda: command("--help"), False
    yield "assess", "import riskcalc, and Python", lambda: riskcalc("-c", "import riskcalc"), False
    yield "assess", "Python alone", lambda: riskcalc("-c", ""), False
    shelves = ("--homes", "scenarios/homes/*.toml", "--kits", "scenarios/kits/*.toml")
    yield (
        "match",
        "match, 8 homes and 7 kits",
        lambda: command("match", *shelves, "--out", str(out / "m"), "--overwrite"),
        True,
    )
    rank = ("rank", SCENARIO, "--points", "1024", "--out", str(out / "r"), "--overwrite")
    yield "rank", "rank, 1,024 points, all inputs", lambda: command(*rank, "--set", unseen()), True
    yield "first", "assess, nothing compiled or kept", lambda: first(out, assess), True


def first(out: Path, words: tuple[str, ...]) -> float:
    """Return the seconds of a first run: no compiled code, no years at hand."""
    return command(*words, NUMBA_CACHE_DIR=str(out / "code"), RISKCALC_CACHE=str(out / "cache"))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--only", default="assess,match,rank,first")
    given = parser.parse_args()
    print(f"{'command':<36}{'seconds':>9}{'ratio':>8}")
    with tempfile.TemporaryDirectory() as folder:
        whole = None
        for part, name, run, once in subjects(Path(folder)):
            if part not in given.only.split(","):
                continue
            if not once:
                run()
            seconds = min(run() for _ in range(1 if once else given.times))
            whole = whole or seconds
            print(f"{name:<36}{seconds:9.2f}{seconds / whole:8.3f}", flush=True)


if __name__ == "__main__":
    main()
