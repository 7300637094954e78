"""Files written whole or not at all, whatever ends the process that writes them."""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from riskcalc.answers.assess import DRAWS_AT_ONCE, _rows
from riskcalc.errors import InputError
from riskcalc.output import WAITING, check_writable, csv_text, json_text, write_files

NAMES = ("a.txt", "b.txt", "c.txt")

#: Writes version after version of three files until it is told to stop.
WRITER = """
import sys
from pathlib import Path
from riskcalc.output import write_files
print("ready", flush=True)
version = 0
while True:
    version += 1
    text = f"{sys.argv[2]} {version}\\n" * 2000
    write_files(Path(sys.argv[1]), {name: text for name in ("a.txt", "b.txt", "c.txt")})
"""


def started(words):
    """Start a process whose words are heard."""
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def writer(folder, name="one"):
    """Start a process that writes without end; returned once it has begun."""
    process = started([sys.executable, "-c", WRITER, str(folder), name])
    assert process.stdout.readline() == "ready\n"
    return process


def versions(folder):
    """Return what the files say they are; each file must hold one version only."""
    found = []
    for name in NAMES:
        lines = (folder / name).read_text().splitlines()
        assert len(lines) == 2000
        assert len(set(lines)) == 1
        found.append(lines[0])
    return found


def test_all_files_arrive_and_nothing_else_stays(tmp_path):
    """Every text is in place, no temporary file is left."""
    paths = write_files(tmp_path / "new", {"a.txt": "one", "b.txt": "two"})
    assert [path.read_text() for path in paths] == ["one", "two"]
    assert sorted(path.name for path in (tmp_path / "new").iterdir()) == ["a.txt", "b.txt"]


def test_a_failed_write_leaves_the_earlier_files(tmp_path, monkeypatch):
    """If one text cannot be written, none replaces what was there and no temporary file stays."""
    write_files(tmp_path, {"a.txt": "old", "b.txt": "old"})
    real, calls = os.fsync, []

    def full_disk(handle):
        calls.append(handle)
        if len(calls) == 2:
            raise OSError(28, "No space left on device")
        real(handle)

    monkeypatch.setattr(os, "fsync", full_disk)
    with pytest.raises(InputError, match="cannot be written: No space left on device"):
        write_files(tmp_path, {"a.txt": "new", "b.txt": "new"})
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.txt", "b.txt"]
    assert (tmp_path / "a.txt").read_text() == "old"


def test_a_file_where_the_folder_should_be(tmp_path):
    """A path that cannot become a folder is said plainly, before the work and after it."""
    (tmp_path / "taken").write_text("a file")
    for attempt in (lambda path: write_files(path, {"a.txt": "x"}), check_writable):
        with pytest.raises(InputError, match="cannot be written"):
            attempt(tmp_path / "taken")
        with pytest.raises(InputError, match="cannot be written"):
            attempt(tmp_path / "taken" / "below")


def test_a_folder_where_a_file_should_be(tmp_path):
    """A folder of a file's name is named, and no other file is replaced."""
    write_files(tmp_path, {"a.txt": "old"})
    (tmp_path / "b.txt").mkdir()
    with pytest.raises(InputError, match=r"Is a folder \(b.txt\)"):
        write_files(tmp_path, {"a.txt": "new", "b.txt": "new"})
    assert (tmp_path / "a.txt").read_text() == "old"


def test_checking_leaves_nothing_behind(tmp_path):
    """A folder that can be made is not made by asking."""
    check_writable(tmp_path / "new" / "below")
    assert list(tmp_path.iterdir()) == []


def test_what_a_killed_run_left_is_swept_away(tmp_path):
    """Half-written files of a killed run go with the next run, whole ones are put in place; other folders stay."""
    (tmp_path / f"{WAITING}dead").mkdir()
    (tmp_path / f"{WAITING}dead" / "a.txt").write_text("half")
    (tmp_path / f"{WAITING}counts.ready").mkdir()
    (tmp_path / f"{WAITING}counts.ready" / "b.txt").write_text("left to do")
    (tmp_path / ".other").mkdir()
    write_files(tmp_path, {"a.txt": "whole"})
    assert sorted(path.name for path in tmp_path.iterdir()) == [".other", "a.txt", "b.txt"]
    assert (tmp_path / "b.txt").read_text() == "left to do"


@pytest.mark.parametrize("ending", ["SIGINT", "SIGTERM", "SIGKILL"])
def test_a_signal_at_any_moment_leaves_files_of_one_run(tmp_path, ending):
    """Eight processes ended at random moments: every file whole, all of one version; Ctrl-C leaves nothing else.

    A process that is killed may leave files of two versions; the next run into the folder, of whatever, settles it.
    """
    chance = random.Random(8)
    for number in range(8):
        folder = tmp_path / str(number)
        process = writer(folder)
        time.sleep(0.02 + 0.05 * chance.random())
        process.send_signal(getattr(signal, ending))
        _, errors = process.communicate(timeout=30)
        assert process.returncode != 0
        assert ("KeyboardInterrupt" in errors) == (ending == "SIGINT")
        if not (folder / "c.txt").exists():
            continue
        if ending == "SIGKILL":
            versions(folder)
            write_files(folder, {"other.txt": ""})
        assert len(set(versions(folder))) == 1
        if ending == "SIGINT":
            assert sorted(path.name for path in folder.iterdir()) == list(NAMES)


def test_two_runs_at_once_do_not_mix(tmp_path):
    """Two processes write into one folder: whenever both have stopped, all files are of one run and version."""
    for _ in range(4):
        pair = [writer(tmp_path, name) for name in ("one", "two")]
        time.sleep(0.25)
        for process in pair:
            process.send_signal(signal.SIGINT)
        for process in pair:
            process.communicate(timeout=30)
        assert len(set(versions(tmp_path))) == 1
        assert sorted(path.name for path in tmp_path.iterdir()) == list(NAMES)


def test_a_folder_taken_for_good_is_said(tmp_path, monkeypatch):
    """A run that never lets go of the folder is named after the wait."""
    fcntl = pytest.importorskip("fcntl")
    monkeypatch.setattr("riskcalc.output.LONGEST_WAIT_S", 0.1)
    handle = os.open(tmp_path, os.O_RDONLY)
    fcntl.flock(handle, fcntl.LOCK_EX)
    with pytest.raises(InputError, match="another run is writing there"):
        write_files(tmp_path, {"a.txt": "x"})
    os.close(handle)
    assert list(tmp_path.iterdir()) == []


def with_disk(options, commands, *, cwd):
    """Run shell commands where `disk` is a small disk of its own, in a name space of its own."""
    if shutil.which("unshare") is None:
        pytest.skip("no unshare on this machine")
    script = f"mkdir -p disk && mount -t tmpfs -o {options} none disk || exit 77\n{commands}"
    done = subprocess.run(["unshare", "-rm", "sh", "-c", script], cwd=cwd, capture_output=True, text=True, check=False)
    if done.returncode in (1, 77) and "disk" not in done.stdout:
        pytest.skip("no disk may be made here")
    return done


@pytest.mark.slow
def test_full_and_read_only_disks_are_said_by_the_command_line(small_file, tmp_path):
    """A real full disk and a real read-only one: exit code 2, the reason in words, the earlier files untouched."""
    trace = f"{sys.executable} -m riskcalc trace {small_file} --draw 0 --year 1 --out disk/out/t.csv"
    full = with_disk(
        "size=200k",
        f"echo disk; mkdir disk/out; echo time,pv_available_w,old > disk/out/t.csv\n{trace}\n"
        "echo code $?; cat disk/out/*; ls -A disk/out",
        cwd=tmp_path,
    )
    assert full.stdout.split() == ["disk", "code", "2", "time,pv_available_w,old", "t.csv"]
    assert "disk/out" in full.stderr
    assert "cannot be written: No space left on device" in full.stderr
    assert "Traceback" not in full.stderr
    assess = f"{sys.executable} -m riskcalc assess {small_file} --out disk/out"
    closed = with_disk("ro", f"echo disk; {assess}; echo code $?; ls -A disk", cwd=tmp_path)
    assert closed.stdout.split() == ["disk", "code", "2"]
    assert "cannot be written: Read-only file system" in closed.stderr
    assert "Traceback" not in closed.stderr


def test_output_that_cannot_be_printed_is_said(small_file):
    """What is printed into a full device: exit code 2 and the reason, no traceback, nor a second complaint at the end."""
    if not Path("/dev/full").exists():
        pytest.skip("no full device here")
    with Path("/dev/full").open("w") as full:
        command = [sys.executable, "-m", "riskcalc", "check", str(small_file)]
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert done.stderr == "riskcalc: the output cannot be written: No space left on device\n"


#: Fills arrays that want to lie in files of twice the room there is, and says where they came to lie.
FILLER = """
import numpy as np
from riskcalc.uncertainty.draw_axis import in_a_file
for size in (1000, 2_000_000):
    array, held = in_a_file((2, size // 2), np.float64)
    array[...] = 7.0
    print("memory" if held is None else "file", array.sum() == 7.0 * size)
"""


@pytest.mark.slow
def test_temporary_files_without_room_lie_in_memory(tmp_path):
    """On a real small disk: an array that finds room lies in a file, a larger one in memory; nothing is killed."""
    (tmp_path / "filler.py").write_text(FILLER)
    done = with_disk("size=1m", f"echo disk; TMPDIR=disk {sys.executable} filler.py; echo code $?", cwd=tmp_path)
    assert done.stdout.split() == ["disk", "file", "True", "memory", "True", "code", "0"], done.stderr


def test_ctrl_c_leaves_the_earlier_report(small_file, tmp_path):
    """A run interrupted while it simulates: exit code 130, no traceback, every file of the earlier run as it was."""
    words = [sys.executable, "-m", "riskcalc", "assess", str(small_file), "--out", str(tmp_path / "r"), "--overwrite"]
    write_files(tmp_path / "r", dict.fromkeys(("result.json", "draws.csv", "report.html"), "earlier"))
    for wait_s in (1.0, 1.6):
        process = started([*words, "--set", "study.horizon_years=60", "--set", "study.draws=1024"])
        time.sleep(wait_s)
        process.send_signal(signal.SIGINT)
        _, errors = process.communicate(timeout=60)
        # Python ends itself by the signal where it came while text was being compiled; a shell calls both 130.
        assert process.returncode in (130, -signal.SIGINT)
        assert "Traceback" not in errors
        files = sorted(Path(tmp_path / "r").iterdir())
        assert [path.name for path in files] == ["draws.csv", "report.html", "result.json"]
        assert {path.read_text() for path in files} == {"earlier"}


def test_csv_numbers_read_back_to_the_same_bits():
    """A number in a CSV file is the same number when read again; None is an empty cell."""
    values = np.random.default_rng(4).normal(size=50).tolist()
    text = csv_text(["x", "y"], [[value, None] for value in values])
    lines = text.splitlines()
    assert lines[0] == "x,y"
    assert [float(line.split(",")[0]) for line in lines[1:]] == values
    assert all(line.endswith(",") for line in lines[1:])


def test_what_is_no_number_is_null_in_json():
    """NaN and infinity anywhere in a tree become null; texts, flags and numbers stay as they are, numpy's included."""
    tree = {
        "a": [float("nan"), 1.5, "nan", True],
        "b": {"c": (float("inf"), np.float64("-inf"), np.float64(2.0), None)},
    }
    assert json.loads(json_text(tree)) == {"a": [None, 1.5, "nan", True], "b": {"c": [None, None, 2.0, None]}}


def test_a_long_table_takes_little_more_than_its_text():
    """Text that grows in one piece takes four bytes a character, and numbers of Python come on top: five times the text."""
    draws = 40_000
    columns = [np.random.default_rng(4).random(draws) for _ in range(10)]
    tracemalloc.start()
    try:
        text = csv_text(["draw", *map(str, range(10))], _rows(columns))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert text.count("\n") == draws + 1
    assert text.splitlines()[20_000].split(",")[1] == repr(columns[0][19_999].item())
    assert peak < 3.5 * len(text)


def test_a_row_for_every_draw_in_order():
    """Across the parts too; a payback that never comes is an empty cell."""
    draws = 2 * DRAWS_AT_ONCE + 3
    found = list(_rows([np.arange(draws, dtype=float), np.where(np.arange(draws) % 2, np.inf, 1.0)]))
    assert [row[:2] for row in found] == [[draw, float(draw)] for draw in range(draws)]
    assert [row[2] for row in found[-3:]] == [1.0, "", 1.0]
