"""Work spread over two processes of a real cluster: the bits of one process, also when a worker is killed in mid-run."""

from __future__ import annotations

import builtins
import json
import os
import pickle
import runpy
import signal
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from riskcalc.cli import app
from riskcalc.cluster import dask_border
from riskcalc.cluster.dask_border import check_same, cluster_at
from riskcalc.cluster.parquet import NAME, UNFINISHED, draws_file
from riskcalc.errors import InputError, one_problem
from riskcalc.futures import draw_blocks
from riskcalc.model import assessment

distributed = pytest.importorskip("distributed")
parquet = pytest.importorskip("pyarrow.parquet")

pytestmark = [
    pytest.mark.slow,
    # The cluster's own threads and sockets are none of ours.
    pytest.mark.filterwarnings("default"),
]

BLOCKS = runpy.run_path(str(Path(__file__).with_name("test_draw_blocks.py")))
assert_same = BLOCKS["assert_same"]
CHANGES = [change for change in BLOCKS["UNCERTAIN"] if not change.startswith(("outages", "study.draws"))]
HERE = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def address():
    """A scheduler with two worker processes of one thread each."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, host="127.0.0.1"
    ) as cluster:
        yield cluster.scheduler_address


@pytest.fixture
def _small_blocks(monkeypatch):
    """Blocks so small that a small run has many."""
    monkeypatch.setattr(dask_border, "FEWEST_DRAWS", 16)


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
    """Run a command in this process and return what it prints."""
    done = CliRunner().invoke(app, list(map(str, words)), catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def test_assess_until_and_rank_are_the_same_with_and_without_a_scheduler(small_file, tmp_path, address):
    """Every file of assess --until, and ranking.json, agree to the byte."""
    changes = [word for change in CHANGES[:1] + CHANGES[5:6] for word in ("--set", change)]
    changes += ["--set", "study.pool_years=8", "--step", 30, "--draws", 16]
    for name, where in (("local", ()), ("spread", ("--scheduler", address))):
        run("assess", small_file, *changes, "--until", 0.2, "--out", tmp_path / name, *where)
        run("rank", small_file, *changes, "--points", 4, "--out", tmp_path / name, *where)
    for name in ("result.json", "draws.csv", "ranking.json"):
        assert (tmp_path / "local" / name).read_bytes() == (tmp_path / "spread" / name).read_bytes(), name
    assert not (tmp_path / "local" / NAME).exists()


def test_match_is_the_same_with_and_without_a_scheduler(tmp_path, monkeypatch, address):
    """Two homes with two kits, home by home on the workers: the same figures."""
    monkeypatch.chdir(HERE)
    homes = [f"--homes=scenarios/homes/{name}.toml" for name in ("balcony-flat", "terrace")]
    kits = [f"--kits=scenarios/kits/{name}.toml" for name in ("portable-1kwh", "plug-in-800w")]
    study = ["--draws", 16, "--step", 30, "--set", "study.pool_years=4", "--set", "study.horizon_years=3"]
    for name, where in (("local", ()), ("spread", ("--scheduler", address))):
        run("match", *homes, *kits, *study, "--out", tmp_path / name, *where)
    for name in ("result.json", "cells.csv"):
        assert (tmp_path / "local" / name).read_bytes() == (tmp_path / "spread" / name).read_bytes(), name
    assert len(json.loads((tmp_path / "local/result.json").read_text())["homes"]) == 2


def test_what_is_wrong_with_an_input_comes_back_as_itself(read_small, address):
    """An error of ours on a worker is that error here, not a failure of the cluster."""
    with cluster_at(address) as workers, pytest.raises(InputError, match=r"a\.toml: key"):
        list(workers.in_order(refuse, ["a.toml"]))


def refuse(name):
    """Refuse an input."""
    raise one_problem(name, "key", "3", "4")


@pytest.mark.parametrize("given", ["tcp://127.0.0.1:9", "no address at all"])
def test_an_address_where_nobody_answers_is_bad_input(given, monkeypatch):
    """The option, the address and an example are named."""
    monkeypatch.setattr(dask_border, "CONNECT_S", 0.5)
    with (
        pytest.raises(InputError, match=r"--scheduler\n.*given: .*\n.*such as tcp://127.0.0.1:8786"),
        cluster_at(given),
    ):
        pass


@pytest.mark.parametrize(("library", "needed"), [("dask", "Dask"), ("pyarrow", "pyarrow")])
def test_without_the_extra_it_is_named(read_small, tmp_path, monkeypatch, library, needed):
    """What is not installed is bad input with the command that installs it."""
    real = builtins.__import__

    def missing(name, *rest):
        if name.split(".")[0] == library:
            raise ImportError(f"No module named {library!r}")
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", missing)
    opened = (
        cluster_at("tcp://127.0.0.1:9")
        if library == "dask"
        else draws_file(tmp_path, read_small(), option="--scheduler")
    )
    with pytest.raises(InputError, match=rf"without {needed} [\s\S]*pip install 'riskcalc\[cluster\]'"), opened:
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
