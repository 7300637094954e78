"""End runs of the command line at random moments, fill disks and run two at once; see that reports stay whole.

python tests/fuzz/files.py --times 20
"""

from __future__ import annotations

import argparse
import os
import random
import runpy
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

SMALL = runpy.run_path(str(Path(__file__).parents[1] / "conftest.py"))["SMALL"]
NAMES = ("draws.csv", "report.html", "result.json")
WAITING = ".riskcalc-"


def command(scenario: Path, folder: Path, seed: int) -> list[str]:
    """Return the command that assesses the scenario with a seed into a folder."""
    return [sys.executable, "-m", "riskcalc", "assess", str(scenario), "--seed", str(seed), "--out", str(folder)]


def content(folder: Path) -> tuple[bytes, ...]:
    """Return what the three files hold."""
    return tuple((folder / name).read_bytes() for name in NAMES)


def left(folder: Path) -> list[str]:
    """Return the names in a folder besides the three files."""
    return sorted(path.name for path in folder.iterdir() if path.name not in NAMES)


class Trial:
    """A scenario, and what its runs with two seeds write."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.scenario = folder / "small.toml"
        self.scenario.write_text(SMALL, encoding="utf-8")
        self.whole = {}
        # The first may compile kernels and make pools; how long a run takes is what the last says.
        for seed in (1, 2, 2):
            place, start = folder / "out", time.monotonic()
            subprocess.run(command(self.scenario, place, seed), check=True, capture_output=True)
            self.whole[content(place)] = seed
            self.run_s = time.monotonic() - start

    def of_one_run(self, folder: Path) -> bool:
        """Return whether the three files are those of one run, and nothing lies beside them."""
        return content(folder) in self.whole and not left(folder)

    def put_back(self) -> Path:
        """Return the folder with the earlier report of seed 1 in it."""
        place = self.folder / "out"
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir()
        earlier = next(files for files, seed in self.whole.items() if seed == 1)
        for name, text in zip(NAMES, earlier, strict=True):
            (place / name).write_bytes(text)
        return place

    def ended(self, ending: str, chance: random.Random, *, late: bool) -> str:
        """End a run over an earlier report at a random moment, or, `late`, while it writes; return what became of it."""
        place = self.put_back()
        process = subprocess.Popen(
            command(self.scenario, place, 2), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        if late:
            while process.poll() is None and not left(place) and content(place) in self.whole:
                time.sleep(0.0005)
            time.sleep(0.02 * chance.random())
        else:
            time.sleep(self.run_s * chance.random())
        process.send_signal(getattr(signal, ending))
        _, errors = process.communicate()
        if "Traceback" in errors:
            return "traceback"
        if ending == "SIGKILL":
            whole = all(file in {files[place] for files in self.whole} for place, file in enumerate(content(place)))
            if not whole:
                return "half a file"
            subprocess.run(command(self.scenario, place, 2), check=True, capture_output=True)
        return "whole" if self.of_one_run(place) else "mixed"

    def on_a_disk_of(self, kilobytes: int) -> str:
        """Run over an earlier report on a disk of so many kilobytes."""
        self.put_back()
        script = (
            f"mkdir -p disk && mount -t tmpfs -o size={kilobytes}k none disk && mkdir disk/out && "
            f"cp out/* disk/out/ || exit 77; {' '.join(command(self.scenario, Path('disk/out'), 2))} >/dev/null; "
            "echo code $?; rm -rf out; cp -r disk/out out"
        )
        done = subprocess.run(
            ["unshare", "-rm", "sh", "-c", script], cwd=self.folder, capture_output=True, text=True, check=False
        )
        if done.returncode == 77:
            return "no room for the earlier report"
        whole = self.of_one_run(self.folder / "out")
        said = "cannot be written: No space left on device" in done.stderr or "code 0" in done.stdout
        if not whole or not said or "Traceback" in done.stderr:
            return f"bad: {done.stdout} {done.stderr}"
        return "written" if "code 0" in done.stdout else "refused in words, earlier report whole"

    def two_at_once(self, chance: random.Random) -> str:
        """Run both seeds into one folder at once."""
        place = self.folder / "both"
        shutil.rmtree(place, ignore_errors=True)
        pair = []
        for seed in (1, 2):
            pair.append(subprocess.Popen(command(self.scenario, place, seed), stdout=subprocess.DEVNULL))
            time.sleep(0.05 * chance.random())
        codes = [process.wait() for process in pair]
        return "whole" if codes == [0, 0] and self.of_one_run(place) else f"mixed, codes {codes}"


def main() -> int:
    """Run the trials asked for and print what became of them."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    chance, found = random.Random(given.seed), Counter()
    # A shell that starts this behind `&` has Ctrl-C ignored, and the runs would inherit that.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    os.environ.setdefault("RISKCALC_CACHE", tempfile.mkdtemp())
    with tempfile.TemporaryDirectory() as folder:
        trial = Trial(Path(folder))
        print(f"a run takes {trial.run_s:.1f} s", flush=True)
        for number in range(given.times):
            found += one_round(trial, chance, (number + 1) / given.times)
            print(
                f"{number + 1:>3} rounds: {found.total()} trials, {sum(map(found.get, filter(is_bad, found)))} bad",
                flush=True,
            )
    for (what, when, ended), count in sorted(found.items()):
        print(f"{what:<12} {when:<14} {ended:<44} {count:>5}")
    return 1 if any(map(is_bad, found)) else 0


def one_round(trial: Trial, chance: random.Random, share: float) -> Counter[tuple[str, str, str]]:
    """End a run in every way, run two at once and one on a small disk; `share` of the room of two reports is there."""
    found: Counter[tuple[str, str, str]] = Counter()
    for ending in ("SIGINT", "SIGTERM", "SIGKILL"):
        for late in (False, True):
            found[ending, "while writing" if late else "any moment", trial.ended(ending, chance, late=late)] += 1
    found["two at once", "", trial.two_at_once(chance)] += 1
    most = 2 * sum(map(len, next(iter(trial.whole)))) // 1024 + 200
    found["small disk", "", trial.on_a_disk_of(int(most * share))] += 1
    return found


def is_bad(outcome: tuple[str, str, str]) -> bool:
    """Return whether a trial ended in half a report, a mixed one or a traceback."""
    return outcome[2].startswith(("traceback", "half a file", "mixed", "bad"))


if __name__ == "__main__":
    sys.exit(main())
