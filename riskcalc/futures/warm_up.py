"""The kernel is compiled, or its compiled code loaded, while the pools are still being made.

On the very first run that takes some seconds, later a tenth of one. The year that is run here is empty; what matters is
that its arrays are of the kinds that pools bring, since the kernel is compiled for those.
"""

from __future__ import annotations

from threading import Thread
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import DispatchInputs, dispatch_year, param_rows
from riskcalc.errors import InputError
from riskcalc.scenario import Scenario
from riskcalc.world.hardware import coupling_of
from riskcalc.world.schedule import clock_of, slot_plan


def start_warm_up(scenario: Scenario) -> Thread:
    """Start getting the kernel ready beside other work; whoever needs it meanwhile waits for it by itself."""
    thread = Thread(target=warm_up, args=(scenario,), name="riskcalc warm-up")
    thread.start()
    return thread


def warm_up(scenario: Scenario) -> None:
    """Run one empty year of one draw through the kernel."""
    try:
        plan = slot_plan(scenario, clock_of(scenario))
    except InputError:
        return  # the run itself will say so
    steps = plan.slots * plan.slot_minutes // scenario.study.step_minutes
    inputs = DispatchInputs(
        solar_w=_read_only(np.zeros((1, 1, 8760), dtype=np.float32)),
        reachable_w=_read_only(np.zeros((1, 1, steps), dtype=np.float32)),
        wired_w=_read_only(np.zeros((1, 1, plan.slots), dtype=np.float32)),
        input_of_plane=np.zeros(1, dtype=np.int64),
        rank_row=_read_only(np.full(1, -1)),
        rank_below=_read_only(np.ones(1, dtype=bool)),
        scale_row=_read_only(np.zeros(1, dtype=np.int64)),
        day_rank=_read_only(np.zeros((1, 2, 365))),
        charge_allowed=np.ones((1, 365)),
        step_minutes=scenario.study.step_minutes,
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


def _read_only(array: NDArray[Any]) -> NDArray[Any]:
    array.flags.writeable = False
    return array
