"""A result can be had again, anywhere, and replay tells when it cannot."""

import json
import os
import shutil
import subprocess
import sys

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riskcalc.answers.replay import (
    check_unchanged,
    differences,
    figures_in,
    read_result,
    recorded_files,
    replay_figures,
    versions_that_differ,
)
from riskcalc.errors import InputError
from riskcalc.pages.screen import replay_lines


def run(*words, cwd, **environment):
    """Run riskcalc in a process of its own, with changes to its environment."""
    return subprocess.run(
        [sys.executable, "-m", "riskcalc", *map(str, words)],
        cwd=cwd,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Return a folder with a scenario, the tariff it takes from another file, and its result."""
    import runpy
    from pathlib import Path

    folder = tmp_path_factory.mktemp("made")
    small = runpy.run_path(str(Path(__file__).parents[1] / "conftest.py"))["SMALL"]
    start, end = small.index("[tariff]"), small.index("[prices]")
    (folder / "small.toml").write_text(f'{small[:start]}[tariff]\nfrom = "bill.toml"\n\n{small[end:]}')
    (folder / "bill.toml").write_text(small[start:end])
    done = run("assess", "small.toml", "--set", "purchase.price=650", "--seed", 5, "--out", "r", cwd=folder)
    assert done.returncode == 0, done.stderr
    return folder


#: Two machines that differ from this one and each other in all that must not matter.
THREADS = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
ELSEWHERE = {
    "time zone, locale, one thread": {
        "TZ": "Pacific/Chatham",
        "LC_ALL": "de_DE.UTF-8",
        "LANG": "tr_TR.UTF-8",
        "PYTHONUTF8": "0",
        **dict.fromkeys(THREADS, "1"),
    },
    "plain locale, hash seed, four threads": {
        "LC_ALL": "C",
        "PYTHONIOENCODING": "ascii",
        "PYTHONHASHSEED": "12345",
        **dict.fromkeys(THREADS, "4"),
    },
}


@pytest.mark.slow
@pytest.mark.parametrize("where", ELSEWHERE)
def test_same_files_elsewhere(made, tmp_path, where):
    """Another folder, time zone, locale, number of threads or hash seed: result.json and draws.csv to the byte.

    Nothing is kept from the run here, so that all is worked out again.
    """
    for file in ("small.toml", "bill.toml"):
        shutil.copy(made / file, tmp_path)
    words = ("assess", "small.toml", "--set", "purchase.price=650", "--seed", 5, "--out", "r")
    done = run(*words, cwd=tmp_path, RISKCALC_CACHE="off", **ELSEWHERE[where])
    assert done.returncode == 0, done.stderr
    for file in ("result.json", "draws.csv"):
        assert (tmp_path / "r" / file).read_bytes() == (made / "r" / file).read_bytes()


def test_replay_of_an_untouched_run_finds_everything_again(here, made):
    """Options and overrides are in the record: replay says that all came out again and ends with 0."""
    record = read_result(made / "r" / "result.json")
    assert record["provenance"]["overrides"] == ["purchase.price=650", "study.seed=5"]
    done = here("replay", "r/result.json", cwd=made)
    assert done.returncode == 0, done.stderr
    assert f"all {len(list(figures_in(record)))} entries were reproduced exactly" in done.stdout


def test_replay_names_the_files_that_changed(here, made, tmp_path):
    """A changed tariff and a missing scenario are both named, nothing is computed, exit code 2."""
    for file in ("bill.toml", "r/result.json"):
        shutil.copy(made / file, tmp_path)
    (tmp_path / "bill.toml").write_text((made / "bill.toml").read_text() + "\n")
    done = here("replay", "result.json", cwd=tmp_path)
    assert done.returncode == 2
    assert "2 problems" in done.stderr
    assert "small.toml\n  given:    no such file" in done.stderr
    assert "bill.toml\n  given:    SHA-256 " in done.stderr
    assert "the file has changed since" in done.stderr


@pytest.mark.slow
def test_replay_reports_figures_that_differ_and_finds_a_moved_scenario(here, made, tmp_path):
    """A record with one figure changed by hand: that figure alone is named, with both values; exit code 3."""
    (tmp_path / "moved").mkdir()
    for file in ("small.toml", "bill.toml"):
        shutil.copy(made / file, tmp_path / "moved")
    record = read_result(made / "r" / "result.json")
    true = record["first_year"]["saving"]["value"]
    record["first_year"]["saving"]["value"] = true * (1 + 1e-8)
    record["provenance"]["libraries"]["numpy"] = "0.0.1"
    (tmp_path / "record.json").write_text(json.dumps(record))
    done = here("replay", "record.json", "--scenario", "moved/small.toml", "--json", cwd=tmp_path)
    assert done.returncode == 3, done.stderr
    found = json.loads(done.stdout)
    assert [row["key"] for row in found["differences"]] == ["first_year.saving.value"]
    assert found["differences"][0]["again"] == true
    assert found["largest_relative_difference"] == pytest.approx(1e-8, rel=1e-4)
    assert [row["name"] for row in found["versions"]] == ["numpy"]
    said = here("replay", "record.json", "--scenario", "moved/small.toml", cwd=tmp_path)
    assert "1 of" in said.stdout
    assert "versions: numpy 0.0.1 then" in said.stdout


def test_files_are_looked_for_beside_a_moved_scenario(tmp_path):
    """The companions of a moved scenario keep their places relative to it."""
    record = {
        "provenance": {"files": [{"path": "a/b/s.toml", "sha256": "0"}, {"path": "a/kits/k.toml", "sha256": "1"}]}
    }
    files = recorded_files(record, tmp_path / "x" / "s.toml")
    assert [path.resolve() for path, _ in files] == [tmp_path / "x" / "s.toml", tmp_path / "kits" / "k.toml"]


def test_differences_by_hand():
    """Changed, missing and new entries, numbers, texts and nulls; provenance does not count."""
    before = {"a": 1.0, "b": [1, {"c": "x"}], "gone": None, "provenance": {"python": "3.11"}}
    now = {"a": 1.0, "b": [2, {"c": "y"}], "new": 0, "provenance": {"python": "3.12"}}
    found = differences(before, now)
    assert [(row.key, row.recorded, row.again) for row in found] == [
        ("b[1]", 1, 2),
        ("b[2].c", "x", "y"),
        ("gone", None, None),
        ("new", None, 0),
    ]
    assert found[0].relative == 0.5
    assert found[1].relative is None
    assert [row.key for row in versions_that_differ(before, now)] == ["python"]


def test_rounding_is_counted_apart_and_is_no_failure():
    """Within 1e-9 of a number, or of nothing at all; a text, a missing entry or a truth value is never rounding."""
    before = {"scenario": "s", "a": 1.0, "b": 2.0, "c": 0.0, "d": 5, "provenance": {}}
    now = {"scenario": "s", "a": 1.0 + 5e-14, "b": 2.0, "c": 1e-17, "d": 5, "provenance": {"python": "3.13"}}
    found = replay_figures(before, now)
    assert (found["same"], found["exact"], found["rounding"], found["differing"]) == (True, 3, 2, 0)
    assert found["differences"] == []
    (first, second, *_) = replay_lines(found)
    assert "3 of 5 entries were reproduced exactly, 2 but for rounding" in first
    assert "another order" in second
    for changed in ({"b": 2.0 + 1e-8}, {"d": "5"}, {"d": None}, {"d": True}, {"e": 1}):
        found = replay_figures(before, now | changed)
        assert (found["same"], found["rounding"], found["differing"]) == (False, 2, 1), changed
    gone = {key: value for key, value in now.items() if key != "b"}
    assert not replay_figures(before, gone)["same"]


GOOD = {"scenario": "s", "provenance": {"overrides": [], "files": [{"path": "s.toml", "sha256": "0" * 64}]}}
FAULTS = {
    "empty": (b"", "not JSON"),
    "cut off": (json.dumps(GOOD).encode()[:-9], "not JSON"),
    "not UTF-8": (b'{"scenario": "\xff"}', "is not UTF-8"),
    "a list": (b"[1, 2]", "[1, 2]"),
    "NaN": (b'{"a": NaN}', "NaN is no number of JSON"),
    "infinite": (b'{"a": 1e999}', "too large for a number"),
    "ten thousand digits": (b'{"a": ' + b"9" * 10_000 + b"}", "not JSON"),
    "deep": (b'{"a": ' + b"[" * 100_000 + b"]" * 100_000 + b"}", "nested too deeply"),
    "no provenance": (b'{"scenario": "s"}', "provenance"),
    "of an older version": (
        json.dumps({**GOOD, "provenance": {"files": GOOD["provenance"]["files"]}}).encode(),
        "provenance.overrides",
    ),
    "files without hashes": (
        json.dumps({**GOOD, "provenance": {"overrides": [], "files": [{"path": "s.toml"}]}}).encode(),
        "provenance.files",
    ),
    "a program": (b"import os", "not JSON"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_results_that_are_none(tmp_path, fault):
    """A damaged or foreign result is refused with its name and what is wrong with it."""
    content, said = FAULTS[fault]
    path = tmp_path / "result.json"
    path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        read_result(path)
    assert said in str(caught.value)
    assert "result.json" in str(caught.value)


def test_folders_devices_and_nothing_are_no_results(tmp_path):
    """A folder, a device that never ends and a missing file are refused at once, as results and as recorded files."""
    for path in (tmp_path, tmp_path / "none.json", "/dev/zero"):
        with pytest.raises(InputError):
            read_result(path)
        with pytest.raises(InputError):
            check_unchanged([(tmp_path / path, "0" * 64)])


@settings(max_examples=300, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.binary(max_size=80)
    | st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=8),
        lambda inner: (
            st.lists(inner, max_size=3)
            | st.dictionaries(
                st.sampled_from(["scenario", "provenance", "files", "overrides", "path", "sha256", "x"]),
                inner,
                max_size=4,
            )
        ),
        max_leaves=12,
    ).map(lambda content: json.dumps(content).encode())
)
def test_any_bytes_are_a_result_or_refused(tmp_path_factory, content):
    """Whatever stands in the file, it is read or refused in words."""
    path = tmp_path_factory.getbasetemp() / "any.json"
    path.write_bytes(content)
    problems = ()
    try:
        read_result(path)
    except InputError as error:
        problems = error.problems
    assert all(problem.file and problem.given and problem.accepted for problem in problems)
