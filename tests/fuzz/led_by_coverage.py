"""Let atheris look for an input that ends badly, led by the branches of our parsers that a file reaches.

    pip install -e '.[fuzz]'
    python tests/fuzz/led_by_coverage.py "measured months" --runs 100000

Files of a whole year are too long to be mutated whole and are refused at once when shortened: there atheris makes a
change, which is laid over the sound example (`changed`); `--changes` does the same with a short one. It stops at the
first case that ends in anything but figures or an InputError with words, warnings included, and keeps it in this folder.
Memory that grows with the cases is atheris' own record of comparisons: the same cases without it keep none.
"""

from __future__ import annotations

import argparse
import random
import resource
import sys
import tempfile
import warnings
from pathlib import Path

import atheris

sys.path.insert(0, str(Path(__file__).parent))

PARSERS = ("scenario", "money", "evidence", "results", "weather", "table_file", "demand.meter_file", "uncertainty")

with atheris.instrument_imports(include=["tomllib", *(f"riskcalc.{name}" for name in PARSERS)]):
    from inputs import ENTRIES, damaged
    from run import Count, tried_file

#: Longest input that atheris makes [bytes]; of a longer example it makes changes, each at most so long.
LONGEST, LONGEST_CHANGE = 20_000, 400
#: How a change begins: where it is laid, and how many bytes of the example it takes the place of [bytes each].
PLACE, TAKEN = 4, 2


def changed(example: bytes, change: bytes) -> bytes:
    """Return the example with one stretch of it exchanged for the bytes of a change."""
    start = int.from_bytes(change[:PLACE], "big") % (len(example) + 1)
    end = start + int.from_bytes(change[PLACE : PLACE + TAKEN], "big")
    return example[:start] + change[PLACE + TAKEN :] + example[end:]


def some_changes(example: bytes) -> list[bytes]:
    """Return changes to begin with: parts of a line left out, said again or filled with what numbers look like."""
    chance, found = random.Random(1), [bytes(PLACE + TAKEN)]
    for number in range(40):
        start = chance.randrange(min(len(example), 300) if number < 20 else len(example))
        taken = chance.choice((0, 1, 5, 40))
        piece = chance.choice((b"", b"-1", b"1e308", b"nan", b"\n", b",", example[start : start + 60]))
        found.append(start.to_bytes(PLACE, "big") + taken.to_bytes(TAKEN, "big") + piece)
    return found


def main() -> None:
    """Run the cases asked for; print what became of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("entry", choices=sorted(ENTRIES))
    parser.add_argument("--runs", type=int, default=10_000)
    parser.add_argument("--changes", action="store_true", help="lay one change over the sound example each time")
    wanted = parser.parse_args()
    entry, folder, count = ENTRIES[wanted.entry], Path(tempfile.mkdtemp()), Count()
    example = entry.example()
    by_change = wanted.changes or len(example) > LONGEST
    warnings.simplefilter("error")

    def one(made: bytes) -> None:
        content = changed(example, made) if by_change else made
        fault = tried_file(entry, content, folder, count)
        if fault:
            raise RuntimeError(fault)
        tried = count.read + count.refused
        if tried % 2000 == 0 or tried == wanted.runs:
            memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            said = f"{count.read} read, {count.refused} refused, slowest {count.slowest_s:.2f} s, {memory:.0f} MB"
            print(f"{wanted.entry}: {said}", flush=True)

    seeds = Path(tempfile.mkdtemp())
    begun = [example, *(damaged(example, random.Random(number))[:LONGEST] for number in range(40))]
    for number, content in enumerate(some_changes(example) if by_change else begun):
        (seeds / f"{number:02d}").write_bytes(content)
    longest = LONGEST_CHANGE if by_change else LONGEST
    options = [
        f"-runs={wanted.runs}",
        f"-max_len={longest}",
        "-len_control=0",
        "-rss_limit_mb=4000",
        "-timeout=20",
        str(seeds),
    ]
    atheris.Setup([sys.argv[0], *options], one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
