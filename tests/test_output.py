"""Files written whole or not at all."""

import os

import numpy as np
import pytest

from riskcalc.errors import InputError
from riskcalc.output import csv_text, json_text, write_files


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
    """A path that cannot become a folder is said plainly."""
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(InputError, match="cannot be written"):
        write_files(tmp_path / "taken", {"a.txt": "x"})


def test_json_refuses_what_json_does_not_have():
    """NaN never reaches a result file."""
    with pytest.raises(ValueError, match="JSON"):
        json_text({"figure": float("nan")})


def test_csv_numbers_read_back_to_the_same_bits():
    """A number in a CSV file is the same number when read again; None is an empty cell."""
    values = np.random.default_rng(4).normal(size=50).tolist()
    text = csv_text(["x", "y"], [[value, None] for value in values])
    lines = text.splitlines()
    assert lines[0] == "x,y"
    assert [float(line.split(",")[0]) for line in lines[1:]] == values
    assert all(line.endswith(",") for line in lines[1:])
