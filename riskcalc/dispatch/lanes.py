"""Dispatch of a year for all draws."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.dispatch.outcome import DispatchOutcome
from riskcalc.dispatch.plan import DispatchInputs, SlotPlan
from riskcalc.dispatch.slow import dispatch_slow


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
    coupling : {"sockets", "plug_in", "whole_home", "off_grid"}
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
    The equations are those of `riskcalc.dispatch.twin`. Without kit (all figures of `param_rows` left out) billed import equals
    billed demand bit for bit. A draw's result does not depend on its neighbours, their order or their number.
    """
    del threads
    return dispatch_slow(
        coupling,
        inputs,
        plan,
        params,
        plane_weight=plane_weight,
        input_limit_w=input_limit_w,
        pool_year=pool_year,
        stored_wh=stored_wh,
        use_numba=True,
    )
