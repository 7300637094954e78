"""How much memory does a draw take? Peak of whole runs of `assess`, each in a process of its own.

    python tests/studies/memory.py                        2,048 and 8,192 draws of one scenario, two horizons
    python tests/studies/memory.py --where                also what holds it after the run, by line (slower)

The slope between two sizes is what a draw takes; what is left at none is the interpreter, the libraries and the pools.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
SCENARIO = ROOT / "scenarios" / "tenant-balcony.toml"
SIZES, HORIZONS = (2048, 8192), (3, 12)

#: One run in a process of its own; `where` counts what is held at the end, line by line.
RUN = """
import json, resource, sys, tempfile, tracemalloc
from riskcalc.cli import app
where, words = sys.argv[1] == "where", sys.argv[2:]
if where:
    from riskcalc.pages import page
    usual = page.assess_page
    def held(*given, **named):
        lines = tracemalloc.take_snapshot().statistics("lineno")[:12]
        print(json.dumps([[str(row.traceback), row.size] for row in lines]), file=sys.stderr)
        return usual(*given, **named)
    page.assess_page = held
    tracemalloc.start()
with tempfile.TemporaryDirectory() as folder:
    app(["assess", *words, "--out", folder], standalone_mode=False)
print(json.dumps(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024), file=sys.stderr)
"""


def peak(draws: int, horizon_years: int, *, where: bool = False) -> list[str]:
    """Return what one run says of its memory: the peak in bytes last."""
    changes = {"draws": draws, "horizon_years": horizon_years, "pool_years": 8, "step_minutes": 30}
    words = [word for key, value in changes.items() for word in ("--set", f"study.{key}={value}")]
    command = [sys.executable, "-c", RUN, "where" if where else "peak", str(SCENARIO), *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False, cwd=ROOT)
    if done.returncode:
        sys.exit(done.stderr)
    return [line for line in done.stderr.splitlines() if line[:1] in "[0123456789"]


def main() -> None:
    """Print peaks, slopes and, where asked, what holds the memory."""
    arguments = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    arguments.add_argument("--where", action="store_true", help="What holds it, by line, at the smallest size.")
    arguments.add_argument("--sizes", type=int, nargs="+", default=list(SIZES), metavar="DRAWS")
    asked = arguments.parse_args()
    print("| horizon | " + " | ".join(f"{size:,} draws" for size in asked.sizes) + " | a draw |")
    print("|---|" + "---|" * (len(asked.sizes) + 1))
    for years in HORIZONS:
        peaks = [int(json.loads(peak(size, years)[-1])) for size in asked.sizes]
        slope = (peaks[-1] - peaks[0]) / (asked.sizes[-1] - asked.sizes[0])
        cells = " | ".join(f"{found / 2**20:.0f} MiB" for found in peaks)
        print(f"| {years} years | {cells} | {slope / 1000:.1f} kB |", flush=True)
    if asked.where:
        lines = json.loads(peak(asked.sizes[0], HORIZONS[-1], where=True)[0])
        print(f"\nHeld when the page is made, {asked.sizes[0]:,} draws, {HORIZONS[-1]} years, bytes a draw:\n")
        for line, size in lines:
            print(f"- {line.replace(str(ROOT) + '/', '')}: {size / asked.sizes[0]:,.0f}")


if __name__ == "__main__":
    main()
