"""Refusal of a dispatch request whose arrays do not fit each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.dispatch.kit import COUPLINGS, check_params
from riskcalc.dispatch.plan import DispatchInputs, SlotPlan


def check_request(
    coupling: str,
    inputs: DispatchInputs,
    plan: SlotPlan,
    params: NDArray[np.float64],
    plane_weight: NDArray[np.float64],
    input_limit_w: NDArray[np.float64],
    pool_year: NDArray[np.int64],
    stored_wh: ArrayLike,
) -> NDArray[np.float64]:
    """Return `stored_wh` as (draws,) or raise ValueError naming the argument that does not fit."""
    if coupling not in COUPLINGS:
        raise ValueError(f"coupling: {coupling!r}; accepted: {', '.join(COUPLINGS)}")
    check_params(params)
    draws = params.shape[1]
    if inputs.step_minutes < 1 or plan.slot_minutes % inputs.step_minutes != 0:
        raise ValueError(
            f"step_minutes: {inputs.step_minutes}; accepted: a divisor of slot_minutes {plan.slot_minutes}"
        )
    steps = plan.slots * plan.slot_minutes // inputs.step_minutes
    if inputs.reachable_w.shape[2] != steps:
        raise ValueError(
            f"inputs: reachable_w: {inputs.reachable_w.shape[2]} steps; accepted: {steps}, as the plan says"
        )
    if inputs.wired_w.shape[2] != plan.slots:
        raise ValueError(f"inputs: wired_w: {inputs.wired_w.shape[2]} slots; accepted: {plan.slots}, as the plan says")
    if plan.slots and inputs.solar_w.shape[2] <= plan.hour.max():
        raise ValueError(f"plan: hour: up to {plan.hour.max()}; accepted: below {inputs.solar_w.shape[2]}")
    planes = inputs.solar_w.shape[1]
    if plane_weight.shape != (planes, draws):
        raise ValueError(f"plane_weight: shape {plane_weight.shape}; accepted: ({planes}, {draws})")
    if input_limit_w.ndim != 2 or input_limit_w.shape[1] != draws:
        raise ValueError(f"input_limit_w: shape {input_limit_w.shape}; accepted: (inputs, {draws})")
    if planes and not 0 <= inputs.input_of_plane.min() <= inputs.input_of_plane.max() < input_limit_w.shape[0]:
        raise ValueError(
            f"inputs: input_of_plane: {inputs.input_of_plane}; accepted: 0 to {input_limit_w.shape[0] - 1}"
        )
    if np.any(~(plane_weight >= 0.0)) or np.any(~(input_limit_w >= 0.0)):
        raise ValueError("plane_weight and input_limit_w must be 0 or more")
    if pool_year.shape != (draws,):
        raise ValueError(f"pool_year: shape {pool_year.shape}; accepted: ({draws},)")
    if draws and not 0 <= pool_year.min() <= pool_year.max() < inputs.years:
        raise ValueError(f"pool_year: {pool_year.min()} to {pool_year.max()}; accepted: 0 to {inputs.years - 1}")
    stored = np.array(np.broadcast_to(np.asarray(stored_wh, dtype=np.float64), (draws,)))
    if not np.all(stored >= 0.0) or not np.all(np.isfinite(stored)):
        raise ValueError("stored_wh must be 0 or more")
    return stored
