"""Dispatch of a year for all draws: lane groups, threads, and the books back in the order of the draws."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.coupling import traits_of
from riskcalc.dispatch.kernel import rows
from riskcalc.dispatch.kernel.kit_rows import kit_rows
from riskcalc.dispatch.kernel.rows import LANES, VECTOR
from riskcalc.dispatch.kernel.year import run_groups
from riskcalc.dispatch.outcome import DispatchOutcome
from riskcalc.dispatch.plan import DispatchInputs, SlotPlan
from riskcalc.dispatch.request import check_request
from riskcalc.dispatch.terms import Billed, Flow, Param, is_absent

_CACHE_LINE = 64
_NOTHING = 1e-60


def dispatch_year(
    coupling: str,
    inputs: DispatchInputs,
    plan: SlotPlan,
    params: NDArray[np.float64],
    *,
    plane_weight: NDArray[np.float64],
    input_limit_w: NDArray[np.float64],
    pool_year: NDArray[np.int64],
    stored_wh: ArrayLike = 0.0,
    threads: int = 2,
) -> DispatchOutcome:
    """Return one year's energy flows of every draw.

    Parameters
    ----------
    coupling : str
        A word of `Coupling`.
        How the kit meets loads and grid.
    inputs : DispatchInputs
        Pools of sun and demand, shared by all draws.
    plan : SlotPlan
        Calendar, tariff and switching of each slot.
    params : float64 (len(Param), draws)
        Figures of the kit and the habits, rows named by `Param`; see `param_rows`.
    plane_weight : float64 (planes, draws)
        Factor on each plane's power: losses before the input, ageing, resource [-].
    input_limit_w : float64 (inputs, draws)
        Most power each solar input lets in, at its terminals [W]; may be inf.
    pool_year : int (draws,)
        Pool year of sun and demand that each draw meets.
    stored_wh : float64 (draws,) or float
        Stored energy at the start [Wh]; what exceeds the capacity is cut off.
    threads : int
        Number of threads; the result does not depend on it.

    Returns
    -------
    DispatchOutcome
        Energies per month and per rate, end state, use of the battery, overload.

    Raises
    ------
    ValueError
        If an array does not fit the others or a figure is out of range.

    Notes
    -----
    The equations are those of `riskcalc.dispatch.twin`. Without kit (all figures of `param_rows` left out) billed
    import equals billed demand bit for bit. A draw's result does not depend on its neighbours, their order or number.
    """
    meets = traits_of(coupling)
    stored = check_request(inputs, plan, params, plane_weight, input_limit_w, pool_year, stored_wh)
    absent = is_absent(params)
    draw_of_lane, group_year, group_lanes = lane_groups(np.asarray(pool_year, dtype=np.int64), absent)
    group_absent = absent[draw_of_lane[:, 0]]
    work = _workspace(len(group_year), rows.workspace_size(plan.rates))
    figures = kit_rows(params, off_grid=not meets.on_grid)
    _set(work, rows.LINEAR, figures[:, draw_of_lane])
    _set(
        work,
        rows.STORED,
        (np.minimum(stored, params[Param.CAPACITY_WH]) * params[Param.DISCHARGE_EFFICIENCY] * 60.0)[None, draw_of_lane],
    )
    _set(work, rows.PLANE_WEIGHTS, plane_weight[:, draw_of_lane])
    level, slope = plan.need_targets(inputs, params, plane_weight)
    _set(work, rows.LEVELS, level[:, draw_of_lane])
    _set(work, rows.SLOPES, slope[:, draw_of_lane])
    _set(work, rows.INPUT_LIMITS, input_limit_w[:, draw_of_lane])
    export = bool(np.any(params[Param.EXPORT_LIMIT_W] > 0.0))

    parallel = True if meets.parallel else None
    lag = plan.lag_minutes if parallel and plan.lag_minutes > 0.0 else None
    # With a lag the loop of selling is taken even if no draw may export, so that no draw depends on its neighbours.
    sells = parallel and (export or lag) and plan.export_stored_on.any()
    export_stored_on = plan.export_stored_on if sells else None

    def run(part: slice) -> None:
        run_groups(
            parallel, export_stored_on, export, not meets.on_grid, inputs.arrays(), plan.arrays(),
            group_year[part], group_lanes[part], group_absent[part], plan.slot_minutes, inputs.sun_minutes, work[part],
            plan.need is not None, lag, int(inputs.input_of_plane.max(initial=-1)) + 1,
        )  # fmt: skip

    parts = _parts(len(group_year), threads)
    if len(parts) == 1:
        run(parts[0])
    else:
        with ThreadPoolExecutor(len(parts)) as pool:
            list(pool.map(run, parts))
    has_run = np.arange(LANES) < group_lanes[:, None]
    return _outcome(work, draw_of_lane, has_run, params, plan)


def lane_groups(
    pool_year: NDArray[np.int64], absent: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Return which draw runs in which lane (groups, LANES), each group's pool year and its number of lanes (groups,).

    Draws of one pool year are put side by side in rising order, those whose kit is absent apart from the others: their
    groups need a small part of the time. A group that is not full runs as many lanes as it has draws, rounded up to
    whole vectors; lanes without a draw of their own repeat the last, whose books are written twice.
    """
    kind = 2 * pool_year + absent
    order = np.argsort(kind, kind="stable")
    kinds, first, count = np.unique(kind[order], return_index=True, return_counts=True)
    groups = -(-count // LANES)
    group_year = np.repeat(kinds // 2, groups)
    # Position of each lane within its year, held at the year's last draw.
    start = (np.arange(len(group_year)) - np.repeat(np.cumsum(groups) - groups, groups)) * LANES
    last = np.repeat(count - 1, groups)
    within = np.minimum(start[:, None] + np.arange(LANES), last[:, None])
    used = np.minimum(last + 1 - start, LANES)
    group_lanes = -(-used // VECTOR) * VECTOR
    return order[np.repeat(first, groups)[:, None] + within], group_year, group_lanes


def _workspace(groups: int, size: int) -> NDArray[np.float64]:
    """Return zeros (groups, size) that start on a cache line: a vector load across two lines costs twice."""
    spare = _CACHE_LINE // 8
    raw = np.zeros(groups * size + spare)
    start = (-raw.ctypes.data % _CACHE_LINE) // 8
    return raw[start : start + groups * size].reshape(groups, size)


def _set(work: NDArray[np.float64], row: int, values: NDArray[np.float64]) -> None:
    """Write `values` (rows, groups, LANES) into consecutive rows of the workspaces."""
    count = values.shape[0]
    work[:, row : row + count * LANES] = values.transpose(1, 0, 2).reshape(len(work), count * LANES)


def _parts(groups: int, threads: int) -> list[slice]:
    """Return contiguous parts of the groups, one per thread, none empty."""
    edges = np.linspace(0, groups, max(1, min(threads, groups)) + 1).astype(int)
    return [slice(int(a), int(b)) for a, b in pairwise(edges)]


def _outcome(
    work: NDArray[np.float64],
    draw_of_lane: NDArray[np.int64],
    has_run: NDArray[np.bool_],
    params: NDArray[np.float64],
    plan: SlotPlan,
) -> DispatchOutcome:
    draws = params.shape[1]

    def books(row: int, count: int = 1) -> NDArray[np.float64]:
        # (count, draws), each draw's numbers from the lane it ran in.
        values = work[:, row : row + count * LANES].reshape(len(work), count, LANES).transpose(1, 0, 2)
        result = np.empty((count, draws))
        result[:, draw_of_lane[has_run]] = values[:, has_run]
        return result

    capacity = params[Param.CAPACITY_WH]
    monthly_kwh = books(rows.MONTHLY, rows.MONTHLY_ROWS)
    minutes_on = books(rows.ON_SUM)[0]
    # What the kernels put in place of zero, so as not to divide by it, must not show.
    for sums in (monthly_kwh, minutes_on):
        sums[np.abs(sums) < _NOTHING] = 0.0
    stored = books(rows.STORED)[0] / 60.0 / params[Param.DISCHARGE_EFFICIENCY]
    return DispatchOutcome(
        monthly_kwh=monthly_kwh.reshape(len(Flow), 12, draws),
        billed_kwh=books(rows.BILLED, 3 * plan.rates).reshape(plan.rates, len(Billed), draws).transpose(1, 0, 2).copy(),
        stored_wh=np.clip(stored, 0.0, capacity),
        mean_stored_share=books(rows.SHARE_SUM)[0],
        mean_daily_swing=books(rows.SWING_SUM)[0],
        overload_minutes=books(rows.OVERLOAD_MINUTES)[0],
        overload_kwh=books(rows.OVERLOAD_ENERGY)[0] / 60_000.0,
        on_hours=minutes_on / 60.0,
        short_hours=books(rows.SHORT_SLOTS)[0] * plan.slot_minutes / 60.0,
        short_days=books(rows.SHORT_DAYS)[0],
    )
