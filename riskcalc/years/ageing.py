"""How a battery loses capacity from year to year.

`aged` is the one entry: a law by name, the state so far, and what the period held. It works on arrays of draws;
conditions may differ in every draw and every period.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from riskcalc.years import ageing_datasheet as datasheet
from riskcalc.years import ageing_lfp as lfp
from riskcalc.years import ageing_lfp_wang as lfp_wang
from riskcalc.years import ageing_nmc as nmc
from riskcalc.years.ageing_state import AgeingState, grown_loss, new_battery

__all__ = ["LAWS", "AgeingState", "aged", "new_battery", "validity_notes"]

LAWS = ("lfp", "lfp_wang", "nmc", "datasheet")

#: What each law was fitted on, by condition; beyond it the value at the edge is used.
_RANGES = {
    "lfp": {"temp_c": lfp.TEMPERATURE_C, "c_rate": lfp.C_RATE},
    "lfp_wang": {"temp_c": lfp_wang.TEMPERATURE_C, "c_rate": lfp_wang.C_RATE},
    "nmc": {"temp_c": nmc.TEMPERATURE_C},
    "datasheet": {},
}


def aged(
    law: str,
    state: AgeingState,
    *,
    full_cycles: ArrayLike,
    depth: ArrayLike,
    soc_mean: ArrayLike,
    temp_c: ArrayLike,
    c_rate: ArrayLike,
    scale: ArrayLike = 1.0,
    years: ArrayLike = 1.0,
    cycles_to_80_percent: ArrayLike | None = None,
    years_to_80_percent: ArrayLike = np.inf,
) -> AgeingState:
    """Return the state after a period, losses (draws,).

    Parameters
    ----------
    law
        "lfp", "lfp_wang", "nmc" or "datasheet".
    state
        Losses before the period.
    full_cycles
        Full equivalent cycles in the period (discharged energy over the capacity when new).
    depth
        Typical depth of a cycle, share of capacity, 0 to 1.
    soc_mean
        Mean state of charge, 0 to 1.
    temp_c
        Mean cell temperature. [C]
    c_rate
        Typical charge and discharge power over capacity. [1/h]
    scale
        Multiplies the loss under constant conditions (uncertainty of the law for this battery).
    years
        Length of the period.
    cycles_to_80_percent, years_to_80_percent
        Only for "datasheet", which needs the first; the second, infinite by default, leaves out calendar loss.

    Notes
    -----
    Calendar and cycle loss grow apart and add up; see `state.grown_loss` for changing conditions. Limits: no time and
    no cycles change nothing; scale 0 changes nothing.

    Raises
    ------
    ValueError
        For an unknown law, a share outside 0 to 1, negative cycles, years or scale, or a value that is no number.
    """
    _check_conditions(full_cycles=full_cycles, depth=depth, soc_mean=soc_mean, scale=scale, years=years)
    for name, values in (("temp_c", temp_c), ("c_rate", c_rate)):
        if not np.isfinite(values).all():
            raise ValueError(f"{name}: holds values that are not finite")
    if law == "lfp":
        calendar = (lfp.calendar_rate(soc_mean, temp_c), lfp.EXPONENT)
        cycle = (lfp.cycle_rate(depth, c_rate), lfp.EXPONENT)
    elif law == "lfp_wang":
        calendar = (np.zeros(1), 1.0)
        cycle = (lfp_wang.cycle_rate(temp_c, c_rate), lfp_wang.EXPONENT)
    elif law == "nmc":
        calendar = (nmc.calendar_rate(soc_mean, temp_c), nmc.CALENDAR_EXPONENT)
        cycle = (nmc.cycle_rate(soc_mean, depth), nmc.CYCLE_EXPONENT)
    elif law == "datasheet":
        if cycles_to_80_percent is None:
            raise ValueError("cycles_to_80_percent: the datasheet law needs it")
        calendar = (datasheet.calendar_rate(years_to_80_percent), datasheet.EXPONENT)
        cycle = (datasheet.cycle_rate(cycles_to_80_percent), datasheet.EXPONENT)
    else:
        raise ValueError(f"law: {law!r}; accepted: {', '.join(LAWS)}")
    scale = np.asarray(scale, dtype=np.float64)
    return AgeingState(
        calendar_loss=grown_loss(state.calendar_loss, rate=calendar[0] * scale, amount=years, exponent=calendar[1]),
        cycle_loss=grown_loss(state.cycle_loss, rate=cycle[0] * scale, amount=full_cycles, exponent=cycle[1]),
    )


def validity_notes(law: str, *, temp_c: ArrayLike, c_rate: ArrayLike) -> tuple[str, ...]:
    """Return a sentence for each condition that leaves the range the law was fitted on; none = all inside."""
    given = {"temp_c": temp_c, "c_rate": c_rate}
    notes = []
    for name, fitted in _RANGES[law].items():
        share = fitted.outside_share(given[name])
        if share > 0.0:
            notes.append(
                f"{name} lies outside {fitted.low:g} to {fitted.high:g} {fitted.unit}, where the {law} law was fitted, "
                f"in {share:.0%} of cases; the value at the edge is used"
            )
    return tuple(notes)


def _check_conditions(**conditions: ArrayLike) -> None:
    for name, given in conditions.items():
        values = np.asarray(given, dtype=np.float64)
        highest = 1.0 if name in ("depth", "soc_mean") else np.inf
        if not ((values >= 0.0) & (values <= highest) & np.isfinite(values)).all():
            accepted = "0 to 1" if highest == 1.0 else "0 or above"
            raise ValueError(f"{name}: lowest {np.min(values):g}, highest {np.max(values):g}; accepted: {accepted}")
