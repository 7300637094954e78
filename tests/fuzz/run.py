"""Damage every input thousands of times and see that it is read or refused in words, in bounded time and memory.

    python tests/fuzz/run.py --cases 12000             damage by rule, seeded
    python tests/fuzz/run.py --atheris --entry result  guided by coverage, if atheris is installed

A case ends well if the file is read or an InputError names file, what was given and what is accepted. Anything else is
printed with the damaged file's path, and the exit code is 1.
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
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from inputs import ENTRIES, Entry, damaged

from riskcalc.errors import InputError

#: Longest that a damaged file may take to be read or refused [s].
LONGEST_S = 10.0
#: Parts of the cases that go to entries whose example is a whole year of lines, which take far longer to read.
SLOW = {"weather CSV": 0.4, "EPW": 0.4, "TMY3": 0.4, "price series": 0.6, "meter CSV": 0.6}


@dataclass
class Count:
    """What became of the cases of one entry."""

    read: int = 0
    refused: int = 0
    failed: int = 0
    slowest_s: float = 0.0
    faults: list[str] = field(default_factory=list)


def tried(entry: Entry, content: bytes, folder: Path, count: Count) -> str | None:
    """Read one damaged file; return what went wrong, None if it ended well."""
    path = folder / entry.file
    path.write_bytes(content)
    start = time.perf_counter()
    fault = None
    try:
        entry.read(path)
        count.read += 1
    except InputError as error:
        count.refused += 1
        if not all(problem.file and problem.given and problem.accepted for problem in error.problems):
            fault = f"a problem without words: {error}"
    except Exception:  # noqa: BLE001 - whatever it is, it is what we look for
        fault = traceback.format_exc(limit=-4)
    spent = time.perf_counter() - start
    count.slowest_s = max(count.slowest_s, spent)
    if spent > LONGEST_S:
        fault = f"{spent:.1f} s"
    return fault


def by_rule(entry: Entry, cases: int, *, seed: int, folder: Path, keep: Path | None = None) -> Count:
    """Try `cases` damaged examples of one entry; those that end badly are kept."""
    count, chance, example = Count(), random.Random(seed), entry.example()
    for number in range(cases):
        content = damaged(example, chance)
        fault = tried(entry, content, folder, count)
        if fault:
            count.failed += 1
            count.faults.append(fault)
            if keep is not None:
                (keep / f"{entry.file}.{seed}.{number}").write_bytes(content)
    return count


def by_coverage(name: str, runs: int) -> None:
    """Let atheris look for a file that ends badly; it stops with the traceback at the first."""
    import atheris

    entry, folder = ENTRIES[name], Path(tempfile.mkdtemp())
    count = Count()

    def one(content: bytes) -> None:
        fault = tried(entry, content, folder, count)
        if fault:
            raise RuntimeError(fault)
        if count.read + count.refused == runs - 1:
            print(f"{name}: {count.read} read, {count.refused} refused, slowest {count.slowest_s:.2f} s", flush=True)

    seeds = Path(tempfile.mkdtemp())
    (seeds / "sound").write_bytes(entry.example())
    for number in range(40):
        (seeds / f"damaged{number}").write_bytes(damaged(entry.example(), random.Random(number)))
    atheris.instrument_all()
    atheris.Setup([sys.argv[0], f"-runs={runs}", "-max_len=20000", "-rss_limit_mb=4000", str(seeds)], one)
    atheris.Fuzz()


def main() -> int:
    """Run the cases asked for and print what became of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=12_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--entry", choices=sorted(ENTRIES))
    parser.add_argument("--atheris", action="store_true")
    given = parser.parse_args()
    warnings.simplefilter("error")
    names = [given.entry] if given.entry else list(ENTRIES)
    if given.atheris:
        by_coverage(names[0], given.cases)
        return 0
    parts = {name: SLOW.get(name, 2.0) for name in names}
    keep = Path(tempfile.mkdtemp(prefix="fuzz-"))
    print(f"{'input':<16} {'cases':>6} {'read':>6} {'refused':>8} {'failed':>7} {'slowest':>8}")
    failed = 0
    for name in names:
        cases = max(1, round(given.cases * parts[name] / sum(parts.values())))
        with tempfile.TemporaryDirectory() as folder:
            count = by_rule(ENTRIES[name], cases, seed=given.seed, folder=Path(folder), keep=keep)
        failed += count.failed
        print(
            f"{name:<16} {cases:>6} {count.read:>6} {count.refused:>8} {count.failed:>7} {count.slowest_s:>6.2f} s",
            flush=True,
        )
        for fault in dict.fromkeys(count.faults):
            print(fault, flush=True)
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB; kept in {keep}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
