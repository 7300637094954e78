"""Work spread over two processes of a real cluster: the bits of one process, also when a worker is killed in mid-run."""

from __future__ import annotations

import builtins
import json
import os
import pickle
import runpy
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from riskcalc.answers import dask_border
from riskcalc.answers.assess import draw_table
from riskcalc.answers.dask_border import NAME, UNFINISHED, check_same, checked_address, cluster_at, draws_file
from riskcalc.answers.match import matching
from riskcalc.answers.match import result as matching_result
from riskcalc.answers.ranked import ranked
from riskcalc.answers.rows import ranked_figures
from riskcalc.cli import app
from riskcalc.errors import InputError, one_problem
from riskcalc.output import csv_text, json_text
from riskcalc.study import draw_blocks
from riskcalc.study.model import assessment
from riskcalc.study.precision import settled

distributed = pytest.importorskip("distributed")
parquet = pytest.importorskip("pyarrow.parquet")

pytestmark = [
    pytest.mark.slow,
    # The cluster's own threads and sockets are none of ours.
    pytest.mark.filterwarnings("default"),
]

BLOCKS = runpy.run_path(str(Path(__file__).parents[1] / "study/test_draw_blocks.py"))
assert_same = BLOCKS["assert_same"]
CHANGES = [change for change in BLOCKS["UNCERTAIN"] if not change.startswith(("outages", "study.draws"))]
HERE = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def address():
    """A scheduler with two worker processes of one thread each."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        yield cluster.scheduler_address


@pytest.fixture
def _small_blocks(monkeypatch, tmp_path):
    """Blocks so small that a small run has many, and a cache of their own: what another test kept would do their work."""
    monkeypatch.setattr(dask_border, "FEWEST_DRAWS", 16)
    monkeypatch.setenv("RISKCALC_CACHE", str(tmp_path / "cache"))


@pytest.mark.usefixtures("_small_blocks")
def test_a_killed_worker_costs_its_blocks_and_no_bit(read_small, tmp_path, address):
    """One of two workers is killed when the first of 16 blocks is done: every figure is that of one process to the last bit.

    The blocks are in the Parquet file too, each draw once.
    """
    scenario = read_small(*CHANGES, "study.draws=256")
    local = assessment(scenario)
    with cluster_at(address) as workers:
        workers.most_draws = 16
        pids = workers.client.run(os.getpid)
        assert len(set(pids.values()) - {os.getpid()}) == 2
        years, seen = [], []
        with workers.draws_file(tmp_path, scenario) as written:

            def block_done(which, *parts):
                seen.append(which)
                if len(seen) == 1:
                    os.kill(next(iter(pids.values())), signal.SIGKILL)
                written(which, *parts)
                assert (tmp_path / UNFINISHED).exists()

            spread = assessment(scenario, workers=workers, on_year=years.append, on_block=block_done)
    assert len(seen) == 16
    assert years == [1, 2, 3]
    assert_same(local.simulation, spread.simulation)
    assert_same(local.valuation, spread.valuation)
    table = parquet.read_table(tmp_path / NAME)
    assert not (tmp_path / UNFINISHED).exists()
    order = np.argsort(table["draw"].to_numpy())
    assert np.array_equal(table["draw"].to_numpy()[order], np.arange(256))
    for name, drawn in (
        ("net_present_value", local.valuation.net_present_value),
        ("payback_years", local.valuation.payback_years),
        ("purchase.price", local.values["purchase.price"]),
    ):
        assert np.array_equal(table[name].to_numpy()[order], drawn), name


def run(*words):
    """Run a command in this process."""
    done = CliRunner().invoke(app, list(map(str, words)), catch_exceptions=False)
    assert done.exit_code == 0, done.output


def test_assess_until_is_the_same_with_a_scheduler(small_file, read_small, tmp_path, address):
    """The command with a scheduler writes the draws and the doublings that this process finds without, to the byte."""
    price = 'purchase.price={distribution="uniform", low=100, high=400}'
    changes = [*CHANGES[:1], price, "study.pool_years=8", "study.step_minutes=30"]
    words = [word for change in changes for word in ("--set", change)]
    run("assess", small_file, *words, "--draws", 16, "--until", 0.05, "--out", tmp_path, "--scheduler", address)
    local = settled(read_small(*changes, "study.draws=16"), tolerance=0.05, most_draws=65_536)
    result = json.loads((tmp_path / "result.json").read_text())
    assert result["provenance"]["until"] == local.as_dict()
    assert len(local.rounds) > 1
    assert (tmp_path / "draws.csv").read_text() == csv_text(*draw_table(local.assessment))


def test_rank_is_the_same_with_a_scheduler(small_file, read_small, tmp_path, address):
    """The command with a scheduler writes the ranking that this process finds without, to the byte."""
    changes = [*CHANGES[:1], *CHANGES[5:6], "study.pool_years=8", "study.step_minutes=30", "study.draws=16"]
    words = [word for change in changes for word in ("--set", change)]
    run("rank", small_file, *words, "--step", 30, "--points", 2, "--out", tmp_path, "--scheduler", address)
    scenario = read_small(*changes, "study.step_minutes=30")
    local = ranked(scenario, points=2, most_points=2048)
    assert (tmp_path / "ranking.json").read_text() == json_text(ranked_figures(local))


def test_match_is_the_same_on_the_workers(address):
    """Two homes with a kit, home by home on the workers: the same figures, homes in their order."""
    homes = [HERE / f"scenarios/homes/{name}.toml" for name in ("balcony-flat", "terrace")]
    kits = [HERE / "scenarios/kits/portable-1kwh.toml"]
    study = ["study.draws=16", "study.step_minutes=30", "study.pool_years=2", "study.horizon_years=2"]
    with cluster_at(address) as workers:
        spread = matching(homes, kits, changes=study, over=workers.in_order)
    local = matching(homes, kits, changes=study)
    assert len(local.homes) == 2
    assert json_text(matching_result(local)) == json_text(matching_result(spread))


def test_what_is_wrong_with_an_input_comes_back_as_itself(read_small, address):
    """An error of ours on a worker is that error here, not a failure of the cluster."""
    with cluster_at(address) as workers, pytest.raises(InputError, match="nobody-wrote-this"):
        list(workers.in_order(checked_address, ["nobody-wrote-this"]))


@pytest.mark.parametrize(
    "given",
    ["tcp://127.0.0.1:9", "no address at all", "foo::bar", "tcp://127.0.0.1:port", "tcp://127.0.0.1:99999", ""],
)
def test_an_address_where_nobody_answers_is_bad_input(given):
    """The option, the address and an example are named, and no client is left that tries on."""
    with (
        pytest.raises(InputError, match=r"--scheduler\n.*given: .*\n.*such as tcp://127.0.0.1:8786"),
        cluster_at(given),
    ):
        pass


def test_something_else_that_listens_is_bad_input(monkeypatch):
    """A port that takes connections and says nothing holds nobody up."""
    monkeypatch.setattr(dask_border, "CONNECT_S", 0.2)
    with (
        socket.create_server(("127.0.0.1", 0)) as mute,
        pytest.raises(InputError, match=r"--scheduler\n.*given: .*timed out"),
        cluster_at(f"tcp://127.0.0.1:{mute.getsockname()[1]}"),
    ):
        pass


@pytest.fixture
def mortal(tmp_path):
    """The address of a scheduler with one worker, and the scheduler's process."""
    known, quiet = tmp_path / "scheduler.json", {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    words = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0"]
    scheduler = subprocess.Popen([*words, "--no-dashboard", "--scheduler-file", known], **quiet)
    words = [sys.executable, "-m", "distributed.cli.dask_worker", "--nthreads", "1", "--no-nanny", "--no-dashboard"]
    ends = time.monotonic() + 30
    while not known.exists() and time.monotonic() < ends:
        time.sleep(0.05)
    worker = subprocess.Popen([*words, "--death-timeout", "5", "--scheduler-file", known], cwd=tmp_path, **quiet)
    yield json.loads(known.read_text())["address"], scheduler
    for process in (scheduler, worker):
        process.kill()
        process.wait()


@pytest.mark.usefixtures("_small_blocks")
@pytest.mark.parametrize("kind", ["blocks", "items"])
def test_a_lost_scheduler_leaves_the_rest_to_this_machine(read_small, mortal, kind):
    """Killed when the first part is done: the run ends all the same, says so, and has the bits of one process."""
    address, scheduler = mortal

    def block_done(*_):
        scheduler.kill()
        scheduler.wait()

    if kind == "items":

        def counted(workers):
            for item in workers.in_order(abs, range(0, -60, -1)):
                block_done()
                yield item

        with cluster_at(address) as workers, pytest.warns(dask_border.SchedulerLost, match="this machine"):
            found = list(counted(workers))
        assert found == list(range(60))
        return
    scenario = read_small(*CHANGES, "study.draws=128")
    local = assessment(scenario)
    with (
        cluster_at(address, most_draws=16) as workers,
        pytest.warns(dask_border.SchedulerLost, match="this machine"),
    ):
        spread = assessment(scenario, workers=workers, on_block=block_done)
    assert_same(local.simulation, spread.simulation)
    assert_same(local.valuation, spread.valuation)


@pytest.mark.parametrize(("library", "needed"), [("dask", "Dask"), ("pyarrow", "pyarrow")])
def test_without_the_extra_it_is_named(read_small, tmp_path, monkeypatch, library, needed):
    """What is not installed is bad input with the command that installs it."""
    real = builtins.__import__

    def missing(name, *rest, **named):
        if name.split(".")[0] == library:
            raise ImportError(f"No module named {library!r}")
        return real(name, *rest, **named)

    monkeypatch.setattr(builtins, "__import__", missing)
    opened = (
        cluster_at("tcp://127.0.0.1:9")
        if library == "dask"
        else draws_file(tmp_path, read_small(), option="--scheduler")
    )
    with (
        pytest.raises(InputError, match=rf"without {needed} [\s\S]*pip install -e '\.\[cluster\]' in the copy"),
        opened,
    ):
        pass


def test_a_worker_that_differs_refuses():
    """Another fingerprint of sources and libraries is no worker for this run."""
    check_same(dask_border.fingerprint())
    with pytest.raises(InputError, match="another riskcalc"):
        check_same("0" * 64)


def test_problems_travel_between_processes():
    """An error of ours is itself again after pickling, every problem with it."""
    error = one_problem("a.toml", "key", "3", "4", "hint")
    again = pickle.loads(pickle.dumps(error))
    assert (type(again), again.problems, str(again)) == (InputError, error.problems, str(error))


def test_blocks_suit_the_workers():
    """Two blocks for each thread, within the bounds that lanes and memory set."""
    cluster = dask_border.Cluster(None, "")
    for threads, draws, block in ((2, 8192, 1024), (2, 2048, 512), (64, 2048, draw_blocks.FEWEST_DRAWS)):
        cluster.client = type("Client", (), {"nthreads": lambda _, threads=threads: {"one": threads}})()
        assert cluster.block_draws(draws) == block
