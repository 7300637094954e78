"""The kernels are compiled, or their compiled code loaded, while the pools are still being made.

On the very first run that takes some seconds, later a tenth of one. The years that are run here are all but empty; what
matters is that their arrays are of the kinds that pools bring, since the kernels are compiled for those.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import warnings
from threading import Thread

import numpy as np

from riskcalc.demand.events import appliance_years
from riskcalc.dispatch import DispatchInputs, SlotPlan, dispatch_year, param_rows
from riskcalc.dispatch.kernel.year import run_groups
from riskcalc.errors import InputError
from riskcalc.jit import is_kept
from riskcalc.scenario import Scenario
from riskcalc.years.hardware import coupling_of
from riskcalc.years.schedule import clock_of, slot_plan

_COMPILE = (
    "import pickle, sys\n"
    "from riskcalc.years.warm_up import run_empty_year\n"
    "run_empty_year(pickle.load(sys.stdin.buffer))"
)


#: Threads that get the loops ready.
_warming: list[Thread] = []


def start_warm_up(scenario: Scenario) -> Thread:
    """Start getting the kernel ready beside other work; who needs it calls `loops_ready` first."""
    # pvlib imports requests, which silences a warning of no use here for the whole process; numba, which sets filters
    # and takes them back while it compiles, can undo that. A filter set before the thread begins is not undone.
    warnings.filterwarnings("ignore", message="SOCKS support in urllib3")
    thread = Thread(target=warm_up, args=(scenario,), name="riskcalc warm-up")
    thread.start()
    _warming[:] = [*(other for other in _warming if other.is_alive()), thread]
    return thread


def loops_ready() -> None:
    """Wait for a warm-up that runs: a caller that went on would compile the same loops once more, which takes as long."""
    running = _warming.copy()  # another thread may start one
    for thread in running:
        thread.join()


def warm_up(scenario: Scenario) -> None:
    """Run a year of one small load, then an empty year of one draw, through the kernels.

    numba compiles one thing at a time. On the very first run another process compiles dispatch, which takes longest, and
    keeps it where this one finds it; where nothing can be kept, this one compiles it then.
    """
    try:
        clock = clock_of(scenario)
        plan = slot_plan(scenario, clock)
    except InputError:
        return  # the run itself will say so
    compiling = None if is_kept(run_groups) else _compiled_elsewhere(scenario)
    if scenario.home.demand.source != "meter":
        appliance_years({"router_standby": "unit"}, clock=clock, years=1, seed=0, occupants=1.0, threads=1)
    if compiling is not None:
        compiling.wait()
    run_empty_year(scenario, plan)


def _compiled_elsewhere(scenario: Scenario) -> subprocess.Popen[bytes] | None:
    """Let a process of its own compile dispatch for a scenario; None where there can be none."""
    try:
        # The same interpreter with the same libraries. What lies in the folder of the call is not imported (-P).
        process = subprocess.Popen(
            [sys.executable, "-P", "-c", _COMPILE],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
        )
        assert process.stdin is not None
        with process.stdin as told:
            told.write(pickle.dumps(scenario))
    except (OSError, pickle.PicklingError):
        return None
    return process


def run_empty_year(scenario: Scenario, plan: SlotPlan | None = None) -> None:
    """Run an empty year of one draw through dispatch, with arrays of the kinds that the pools of a scenario bring."""
    plan = slot_plan(scenario, clock_of(scenario)) if plan is None else plan
    inputs = DispatchInputs(
        solar_w=np.zeros((1, 1, 8760), dtype=np.float32),
        run_w=np.zeros((plan.slots, 1), dtype=np.float32),
        run_minutes=np.full(plan.slots, plan.slot_minutes, dtype=np.uint8),
        first_run=np.arange(plan.slots + 1)[None],
        wired_w=np.zeros((1, 1, plan.slots), dtype=np.float32),
        input_of_plane=np.zeros(1, dtype=np.int64),
        rank_row=np.full(1, -1),
        rank_below=np.ones(1, dtype=bool),
        scale_row=np.zeros(1, dtype=np.int64),
        day_rank=np.zeros((1, 2, 365)),
        charge_allowed=np.ones((1, 365)),
    )
    dispatch_year(
        coupling_of(scenario),
        inputs,
        plan,
        param_rows(1),
        plane_weight=np.zeros((1, 1)),
        input_limit_w=np.zeros((1, 1)),
        pool_year=np.zeros(1, dtype=np.int64),
        threads=1,
    )
