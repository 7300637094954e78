"""Let atheris look for an input that ends badly, led by the branches of our parsers that a file reaches.

    pip install -e '.[fuzz]'
    python tests/fuzz/led_by_coverage.py "measured months" --runs 100000

It stops at the first case that ends in anything but figures or an InputError with words, and keeps it in this folder.
"""

from __future__ import annotations

import argparse
import random
import resource
import sys
import tempfile
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).parent))

PARSERS = ("scenario", "money", "evidence", "results", "weather", "table_file", "demand.meter_file", "uncertainty")

with atheris.instrument_imports(include=["tomllib", *(f"riskcalc.{name}" for name in PARSERS)]):
    from inputs import ENTRIES, damaged
    from run import Count, tried_file

#: Longest input that is tried [bytes].
LONGEST = 20_000


def main() -> None:
    """Run the cases asked for; print what became of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("entry", choices=sorted(ENTRIES))
    parser.add_argument("--runs", type=int, default=10_000)
    wanted = parser.parse_args()
    entry, folder, count = ENTRIES[wanted.entry], Path(tempfile.mkdtemp()), Count()

    def one(content: bytes) -> None:
        fault = tried_file(entry, content, folder, count)
        if fault:
            raise RuntimeError(fault)
        tried = count.read + count.refused
        if tried % 2000 == 0 or tried == wanted.runs:
            memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            said = f"{count.read} read, {count.refused} refused, slowest {count.slowest_s:.2f} s, {memory:.0f} MB"
            print(f"{wanted.entry}: {said}", flush=True)

    seeds = Path(tempfile.mkdtemp())
    (seeds / "sound").write_bytes(entry.example()[:LONGEST])
    for number in range(40):
        (seeds / f"damaged{number}").write_bytes(damaged(entry.example(), random.Random(number))[:LONGEST])
    options = [f"-runs={wanted.runs}", f"-max_len={LONGEST}", "-rss_limit_mb=4000", "-timeout=20", str(seeds)]
    atheris.Setup([sys.argv[0], *options], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
