"""Measure something and write what was seen to reports/evidence/, one page per subject, the command at its head.

    python tests/evidence.py                 the subjects and their commands
    python tests/evidence.py SUBJECT ...     run those commands and write their pages

A page holds what its command printed, with the date, the version and the kind of machine. Nothing is written when a
command fails.
"""

from __future__ import annotations

import platform
import subprocess
import sys
from dataclasses import dataclass
from datetime import date
from importlib.metadata import version
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGES = ROOT / "reports" / "evidence"


@dataclass(frozen=True)
class Subject:
    """What a page is about, how to read it, and the command that measures it, run in the root of the repository."""

    title: str
    reading: str
    command: tuple[str, ...]


SUBJECTS = {
    "step-length": Subject(
        "What the step does to the answer",
        "First-year saving of each shipped scenario at steps of 1 to 60 minutes, on the same draws. The columns show how far "
        "each step lies from one minute.",
        ("tests/studies/step_length.py",),
    ),
    "foresight": Subject(
        "How near the battery's rule comes to the best possible",
        "Share of the possible saving of the first year that the rule takes, on futures that the search for targets did not see. "
        "The best possible is a linear programme that knows every step beforehand.",
        ("tests/studies/foresight.py",),
    ),
    "rankings": Subject(
        "What decides the worth of each shipped scenario",
        "Total-order indices with 95 % intervals, and beside them the shares estimated from the draws of an assessment. A tie is "
        "what the points allowed cannot separate.",
        ("tests/studies/rankings.py", "--most-points", "1024"),
    ),
    "price-windows": Subject(
        "What is foretold of prices against the histories shipped",
        "Every history is foretold as well as stated by the figures calibrated to it. The defaults are calibrated to the United "
        "States and foretell both of its histories, but not the British one. So a scenario in pounds should name that one: "
        "`riskcalc new` and the shipped scenarios do, with a trend of their own, and an assessment asks where it is missing. "
        "For other countries no history is shipped: give trend, persistence and spread.",
        ("tests/studies/price_windows.py",),
    ),
    "long-record": Subject(
        "Good and bad years against a record of 67 years",
        "How often intervals foretold from some years of the record hold the others. Stated 50, 80 and 90 %.",
        ("tests/calibration/sunshine.py",),
    ),
    "standard-errors": Subject(
        "Stated standard errors against the scatter over seeds",
        "One household, many seeds: stated error over observed scatter. 1 is right, below 1 is too sure.",
        ("tests/calibration/seeds.py", "--seeds", "60", "--set", "study.draws=1024", "--set", "study.pool_years=32"),
    ),
    "kernel": Subject(
        "Speed of the dispatch kernel",
        "Ratios from one run. All variants give the same flows.",
        ("tests/benchmarks/kernel.py",),
    ),
    "pipeline": Subject(
        "Speed of the whole pipeline",
        "Ratios from one run; times are those of the processor unless said.",
        ("tests/benchmarks/pipeline.py",),
    ),
    "commands": Subject(
        "How long whole commands take",
        "From the key to the report, by the clock, on a quiet machine with two cores. The ratio is to the first line of the same "
        "run. Weather and demand are at hand except in the last line.",
        ("tests/benchmarks/commands.py",),
    ),
    "workbench": Subject(
        "Speed of the workbench",
        "Median and 95th percentile of 50 changes of each kind, from the change to the first and to the settled answer.",
        ("tests/benchmarks/workbench.py",),
    ),
    "panel": Subject(
        "Size of the page, and how soon it answers a typed figure",
        "Reports with 1,024 futures. From the key to the end of the script: money, figures, drawings and claims made anew.",
        ("tests/benchmarks/panel.py",),
    ),
    "readability": Subject(
        "How hard every sentence is to read",
        "Sentences of the pages and screens of every command, of messages, help, cautions and method. At most 32 words each, 14 "
        "in the middle, no turn that reads as if translated. Flesch reading ease by textstat: 60 and above is plain English.",
        ("tests/studies/readability.py", "--draws", "64"),
    ),
    "memory": Subject(
        "What a draw takes of the memory",
        "The most memory in each stage, counted by the interpreter, arrays included, between two numbers of draws: what does not "
        "grow with them, libraries and pools, is left out. Steps of half an hour; eight pool years. Tables of more than 16 MiB "
        "lie in a temporary file, which is not counted, so a stage can come out at nothing. Earlier on 28 November 2026 it was "
        "12.5 and 13.3 kB: figures and page ran the months of a claim for all draws at once.",
        ("tests/studies/memory.py",),
    ),
    "mutants": Subject(
        "Would a test notice?",
        "One place of the source changed at a time, a sample with a fixed seed. A mutant that survives changes nothing that a "
        "fast test of its room notices.",
        ("tests/studies/mutants.py", "--each", "16"),
    ),
    "recipes": Subject(
        "How many files a change touches",
        "Eight changes made as DEVELOPERS.md says, each on a fresh copy: the files touched, tests and generated files not "
        "counted, the most there may be, and whether the change worked when it was tried. A coupling with equations of its own "
        "touches two files more: its step in `dispatch/twin.py` and in `dispatch/kernel/`.",
        ("tests/studies/recipes.py",),
    ),
    "damaged-inputs": Subject(
        "Damaged inputs",
        "A case ends well if the input is read, or refused with the file, what was given and what is accepted. Warnings count "
        "as faults.",
        ("tests/fuzz/run.py", "--cases", "2000"),
    ),
}


def page(name: str, subject: Subject, printed: str) -> str:
    """Return the page of a subject from what its command printed."""
    command = " ".join(["python", *subject.command])
    machine = (
        f"{platform.machine()}, Python {platform.python_version()}, numpy {version('numpy')}, numba {version('numba')}"
    )
    return (
        f"# {subject.title}\n\nWritten by `python tests/evidence.py {name}`, which runs `{command}`. "
        f"{date.today().isoformat()}, riskcalc {version('riskcalc')}, {machine}.\n\n"
        f"{subject.reading}\n\n```text\n{printed.rstrip()}\n```\n"
    )


def main() -> int:
    """Run the commands that are asked for, or list them."""
    names = sys.argv[1:]
    if not names or set(names) - set(SUBJECTS):
        for name, subject in SUBJECTS.items():
            print(f"{name:<16} python {' '.join(subject.command)}")
        return 2 if names else 0
    for name in names:
        subject = SUBJECTS[name]
        done = subprocess.run([sys.executable, *subject.command], cwd=ROOT, capture_output=True, text=True, check=False)
        if done.returncode:
            print(f"{name}: the command failed, nothing is written\n{done.stderr[-2000:]}")
            return 1
        PAGES.mkdir(parents=True, exist_ok=True)
        (PAGES / f"{name}.md").write_text(page(name, subject, done.stdout), encoding="utf-8")
        print((PAGES / f"{name}.md").relative_to(ROOT))
    return 0


if __name__ == "__main__":
    sys.exit(main())
