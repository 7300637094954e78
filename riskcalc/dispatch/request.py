"""Refusal of a dispatch request whose arrays do not fit each other."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.dispatch.plan import DispatchInputs, SlotPlan
from riskcalc.dispatch.terms import check_params

#: What the kernels' workspace has room for.
MOST_RUNS = 60
MOST_BASES = 12
MOST_PLANES = 256
MOST_INPUTS = 16


def check_request(
    inputs: DispatchInputs,
    plan: SlotPlan,
    params: NDArray[np.float64],
    plane_weight: NDArray[np.float64],
    input_limit_w: NDArray[np.float64],
    pool_year: NDArray[np.int64],
    stored_wh: ArrayLike,
) -> NDArray[np.float64]:
    """Return `stored_wh` as (draws,) or raise ValueError naming the argument that does not fit."""
    check_params(params)
    _check_times(inputs, plan)
    target_years = len(np.atleast_2d(plan.target_share))
    if target_years not in (1, inputs.years):
        raise ValueError(f"plan: target_share: {target_years} pool years; accepted: {inputs.years}, or one for all")
    if plan.need is not None:
        light_years, bases = len(np.atleast_2d(plan.need.light)), len(plan.need.usual.need_wh)
        if light_years not in (1, inputs.years) or bases != inputs.bases:
            raise ValueError(f"plan: need: {light_years} pool years, {bases} bases; accepted: those of the inputs")
    draws = params.shape[1]
    _check_solar(inputs, plane_weight, input_limit_w, draws)
    if pool_year.shape != (draws,) or draws == 0:
        raise ValueError(f"pool_year: shape {pool_year.shape}; accepted: ({draws},), at least one draw")
    if not 0 <= pool_year.min() <= pool_year.max() < inputs.years:
        raise ValueError(f"pool_year: {pool_year.min()} to {pool_year.max()}; accepted: 0 to {inputs.years - 1}")
    stored = np.array(np.broadcast_to(np.asarray(stored_wh, dtype=np.float64), (draws,)))
    if not np.all((stored >= 0.0) & np.isfinite(stored)):
        raise ValueError("stored_wh: accepted: 0 or more, finite")
    return stored


def _check_times(inputs: DispatchInputs, plan: SlotPlan) -> None:
    if plan.slots != inputs.slots:
        raise ValueError(f"inputs: slots: {inputs.slots}; accepted: {plan.slots}, as the plan says")
    if plan.slot_minutes > MOST_RUNS:
        raise ValueError(f"plan: slot_minutes: {plan.slot_minutes}; accepted: at most {MOST_RUNS}")
    minutes = inputs.slot_run_minutes
    if minutes.min() != plan.slot_minutes or minutes.max() != plan.slot_minutes:
        given = f"{minutes.min():g} to {minutes.max():g} minutes in a slot"
        raise ValueError(f"inputs: run_minutes: {given}; accepted: {plan.slot_minutes}, as the plan says")
    if plan.slot_minutes % inputs.sun_minutes and inputs.sun_minutes % plan.slot_minutes:
        accepted = f"a divisor or a multiple of the slot, {plan.slot_minutes}"
        raise ValueError(f"inputs: sun_minutes: {inputs.sun_minutes}; accepted: {accepted}")
    last = (int(plan.start_minute.max()) + plan.slot_minutes - 1) // inputs.sun_minutes
    if inputs.solar_w.shape[2] <= last:
        accepted = f"below {inputs.solar_w.shape[2] * inputs.sun_minutes}, where the sun ends"
        raise ValueError(f"plan: start_minute: up to {plan.start_minute.max()}; accepted: {accepted}")
    if inputs.bases > MOST_BASES:
        raise ValueError(f"inputs: bases: {inputs.bases}; accepted: at most {MOST_BASES}")


def _check_solar(
    inputs: DispatchInputs, plane_weight: NDArray[np.float64], input_limit_w: NDArray[np.float64], draws: int
) -> None:
    planes = inputs.solar_w.shape[1]
    if planes > MOST_PLANES:
        raise ValueError(f"inputs: planes: {planes}; accepted: at most {MOST_PLANES}")
    if plane_weight.shape != (planes, draws):
        raise ValueError(f"plane_weight: shape {plane_weight.shape}; accepted: ({planes}, {draws})")
    if input_limit_w.ndim != 2 or input_limit_w.shape[1] != draws or input_limit_w.shape[0] > MOST_INPUTS:
        raise ValueError(
            f"input_limit_w: shape {input_limit_w.shape}; accepted: (inputs, {draws}), at most {MOST_INPUTS} inputs"
        )
    on_input = inputs.input_of_plane
    if planes and not 0 <= on_input.min() <= on_input.max() < input_limit_w.shape[0]:
        raise ValueError(f"inputs: input_of_plane: {on_input}; accepted: 0 to {input_limit_w.shape[0] - 1}")
    for name, values in (("plane_weight", plane_weight), ("input_limit_w", input_limit_w)):
        # A comparison with NaN is false, so NaN is refused as well.
        if not np.all(values >= 0.0):
            raise ValueError(f"{name}: accepted: 0 or more")
