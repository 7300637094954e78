"""Run every command of an installed riskcalc in an empty folder, as somebody without a clone would."""

import json
import re
import subprocess
import sys
import time
from pathlib import Path

RISKCALC = [sys.executable, "-m", "riskcalc"]
QUICK = ["--set", "study.horizon_years=3", "--set", "study.pool_years=8"]
done = set()


def run(command, *words, code=0):
    """Run one command; anything but the code that is expected ends it all."""
    done.add(command)
    began = time.monotonic()
    ended = subprocess.run([*RISKCALC, command, *words], capture_output=True, text=True, check=False)
    print(f"{time.monotonic() - began:6.1f} s  riskcalc {command} {' '.join(words)}")
    if ended.returncode != code or "Traceback" in ended.stderr:
        sys.exit(f"exit code {ended.returncode}\n{ended.stdout[-3000:]}\n{ended.stderr[-3000:]}")
    return ended.stdout


def live():
    """Start the workbench, wait for its address, ask for the page, end it."""
    from urllib.request import urlopen

    done.add("live")
    server = subprocess.Popen([*RISKCALC, "live", "home.toml", "--no-open"], stdout=subprocess.PIPE, text=True)
    try:
        address = server.stdout.readline().splitlines()[0]
        for _ in range(60):  # it says its address a moment before it listens
            try:
                page = urlopen(address, timeout=60).read()
                break
            except OSError:
                time.sleep(0.5)
        else:
            sys.exit(f"nobody answers at {address}")
    finally:
        server.kill()
        server.wait()
    assert b"<html" in page.lower(), page[:200]


assert not any(Path().iterdir()), "not an empty folder"
listed = subprocess.run([*RISKCALC, "--help"], capture_output=True, text=True, check=True).stdout
commands = set(re.findall(r"^  ([a-z]+)  ", listed.partition("Commands:")[2], re.MULTILINE))
assert len(commands) > 10, listed
run("new", "home.toml", "--yes")
run("check", "home.toml")
run("assess", "home.toml", "--draws", "64", *QUICK, "--out", "report")
run("replay", "report/result.json")
run("charts", "report/result.json", "--out", "pictures")
run("rank", "home.toml", "--points", "4", *QUICK)
run("compare", "home.toml", "--draws", "32", "--no-stay", *QUICK)
run("match", "home.toml", "--draws", "16", *QUICK)
run("trace", "home.toml", "--draw", "0", "--year", "1", "--out", "trace.csv", *QUICK)
Path("months.csv").write_text("month,import_kwh\n2026-01,150\n2026-02,140\n", encoding="utf-8")
run("update", "home.toml", "--measured", "months.csv", "--error", "0.3", "--draws", "256", *QUICK)
run("open", "report")
run("sites")
json.loads(run("schema"))
run("cache")
run("weather", "95", "0", code=2)  # needs a network to do more than refuse
live()
missing = commands - done
assert not missing, f"not run: {sorted(missing)}"
print(f"{len(done)} commands run")
