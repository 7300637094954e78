"""Getting the loops ready: on the very first run another process compiles dispatch."""

from threading import Event, Thread
from unittest.mock import MagicMock

import pytest

from riskcalc.dispatch.kernel.year import run_groups
from riskcalc.years import simulation, warm_up


@pytest.fixture
def scenario(read_small):
    return read_small("study.step_minutes=30")


def test_another_process_gets_dispatch_ready(scenario, tmp_path, monkeypatch):
    """It reads the scenario as it is and ends well; a module in the folder of the call is not imported."""
    (tmp_path / "numpy.py").write_text("open('run', 'w')", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    warm_up.run_empty_year(scenario)  # in the tests the code is at hand, so the other process need not compile it
    process = warm_up._compiled_elsewhere(scenario)
    assert process is not None
    assert process.wait(60) == 0
    assert not (tmp_path / "run").exists()


@pytest.mark.parametrize("fails", ["to start", "on the way"])
def test_without_that_process_the_loops_are_ready_all_the_same(scenario, monkeypatch, fails):
    """Nothing is kept, and the other process cannot start or ends in an error: this one compiles, without a word."""
    asked = []

    def refused(*_, **__):
        asked.append("asked")
        raise OSError("no more processes")

    monkeypatch.setattr(warm_up, "is_kept", lambda function: function is not run_groups)
    if fails == "to start":
        monkeypatch.setattr(warm_up.subprocess, "Popen", refused)
    else:
        monkeypatch.setattr(warm_up, "_COMPILE", "raise SystemExit(3)")
    warm_up.warm_up(scenario)
    assert run_groups.signatures
    assert asked == (["asked"] if fails == "to start" else [])


def test_a_year_waits_for_the_loops_that_are_being_made_ready(read_small, monkeypatch):
    """What runs a year before the warm-up ends would compile the same loops a second time."""
    ended = Event()
    told = []

    def slow(_scenario):
        ended.wait(5)
        told.append("ready")

    monkeypatch.setattr(warm_up, "warm_up", slow)
    monkeypatch.setattr(simulation, "dispatch_year", lambda *_, **__: told.append("runs"))
    found = read_small("study.step_minutes=30")
    warm_up.start_warm_up(found)
    request = MagicMock()
    running = Thread(target=simulation.run_year, args=(request,))
    running.start()
    assert not told
    ended.set()
    running.join()
    assert told == ["ready", "runs"]
