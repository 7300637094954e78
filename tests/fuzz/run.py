"""Damage every input thousands of times and see that it is read or refused in words, in bounded time and memory.

    python tests/fuzz/run.py --cases 12000      every input and whole runs, led by hypothesis

A case ends well if the file is read, or an InputError names file, what was given and what is accepted. Anything else
is printed once per kind, with the folder that keeps the damaged files, and the exit code is 1.
"""

from __future__ import annotations

import argparse
import random
import resource
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from extremes import changes, whole_run
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from inputs import ENTRIES, Entry, damaged

from riskcalc.errors import InputError

#: Longest that a damaged file may take to be read or refused, by the clock of the processor [s].
LONGEST_S = 10.0
#: Address space beyond which a case is refused memory and counts as a fault [bytes].
MOST_MEMORY = 8_000_000_000
#: Parts of the cases that go to entries whose example is a whole year of lines, or to whole runs: they take longest.
PARTS = {"weather CSV": 0.4, "EPW": 0.3, "TMY3": 0.3, "price series": 0.5, "meter CSV": 0.5, "packed meter": 0.5}
WHOLE_RUNS = "whole runs"
PARTS[WHOLE_RUNS] = 0.6


@dataclass
class Count:
    """What became of the cases of one entry."""

    read: int = 0
    refused: int = 0
    failed: int = 0
    slowest_s: float = 0.0
    faults: list[str] = field(default_factory=list)


def tried(read: Callable[[], object], count: Count) -> str | None:
    """Read one thing; return what went wrong, None if it ended well."""
    start = time.process_time()
    fault = None
    try:
        read()
        count.read += 1
    except InputError as error:
        count.refused += 1
        if not all(problem.file and problem.given and problem.accepted for problem in error.problems):
            fault = f"a problem without words: {error}"
    except Exception:  # noqa: BLE001 - whatever it is, it is what we look for
        fault = traceback.format_exc(limit=-4)
    spent = time.process_time() - start
    count.slowest_s = max(count.slowest_s, spent)
    if fault:
        count.failed += 1
        count.faults.append(fault)
    return fault


def tried_file(entry: Entry, content: bytes, folder: Path, count: Count) -> str | None:
    """Read one damaged file; return what went wrong, None if it ended well."""
    path = folder / entry.file
    path.write_bytes(content)
    return tried(lambda: entry.read(path), count)


def by_rule(entry: Entry, cases: int, *, seed: int, folder: Path) -> Count:
    """Try `cases` damaged examples of one entry, the same for the same seed."""
    count, chance, example = Count(), random.Random(seed), entry.example()
    for _ in range(cases):
        tried_file(entry, damaged(example, chance), folder, count)
    return count


def by_hypothesis(name: str, cases: int, *, seeded: int, folder: Path, keep: Path) -> Count:
    """Let hypothesis choose the damage, or the figures of whole runs; a case that ends badly is kept, and the rest go on."""
    count = Count()
    only = settings(
        max_examples=cases,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    if name == WHOLE_RUNS:
        whole_run(folder, [])  # kernels are compiled once, which is no case's time

        @seed(seeded)
        @only
        @given(changes())
        def one(overrides: list[str]) -> None:
            slowest_s = count.slowest_s
            bad = tried(lambda: whole_run(folder, overrides), count) is not None
            if bad or count.slowest_s > max(slowest_s, LONGEST_S):
                (keep / f"run.{count.read + count.refused + count.failed}").write_text("\n".join(overrides), "utf-8")
    else:
        entry = ENTRIES[name]
        example = entry.example()

        @seed(seeded)
        @only
        @given(st.randoms(use_true_random=False))
        def one(chance: random.Random) -> None:
            content = damaged(example, chance)
            if tried_file(entry, content, folder, count):
                (keep / f"{entry.file}.{count.failed}").write_bytes(content)

    one()
    return count


def main() -> int:
    """Run the cases asked for and print what became of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=12_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--entry", choices=sorted([*ENTRIES, WHOLE_RUNS]))
    wanted = parser.parse_args()
    warnings.simplefilter("error")
    names = [wanted.entry] if wanted.entry else [*ENTRIES, WHOLE_RUNS]
    unlimited = resource.getrlimit(resource.RLIMIT_AS)[1]
    parts = {name: PARTS.get(name, 2.0) for name in names}
    keep = Path(tempfile.mkdtemp(prefix="fuzz-"))
    print(f"{'input':<16} {'cases':>6} {'read':>6} {'refused':>8} {'failed':>7} {'slowest':>9} {'peak':>8}")
    bad = 0
    for name in names:
        # What draws the charts reserves far more addresses than it uses.
        most = unlimited if name == WHOLE_RUNS else MOST_MEMORY
        resource.setrlimit(resource.RLIMIT_AS, (most, unlimited))
        cases = max(1, round(wanted.cases * parts[name] / sum(parts.values())))
        with tempfile.TemporaryDirectory() as folder:
            count = by_hypothesis(name, cases, seeded=wanted.seed, folder=Path(folder), keep=keep)
        bad += count.failed + (count.slowest_s > LONGEST_S)
        tried_in_all = count.read + count.refused + sum("a problem without" not in fault for fault in count.faults)
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{name:<16} {tried_in_all:>6} {count.read:>6} {count.refused:>8} {count.failed:>7} "
            f"{count.slowest_s:>7.2f} s {memory:>5.0f} MB",
            flush=True,
        )
        for fault in dict.fromkeys(count.faults):
            print(fault, flush=True)
    print(f"kept in {keep}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
