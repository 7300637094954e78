"""Dispatch: where the energy of every step goes, for many draws at once."""

from riskcalc.dispatch.kernel.lanes import dispatch_year
from riskcalc.dispatch.need import ChargeByNeed, UsualDay
from riskcalc.dispatch.outcome import DispatchOutcome
from riskcalc.dispatch.plan import DispatchInputs, SlotPlan
from riskcalc.dispatch.request import MOST_PLANES
from riskcalc.dispatch.terms import FLOW_NAMES, Billed, Flow, Param, check_params, inverter_curve, param_rows
from riskcalc.dispatch.trace import TRACE_COLUMNS, dispatch_slow, trace_year

__all__ = [
    "FLOW_NAMES",
    "MOST_PLANES",
    "TRACE_COLUMNS",
    "Billed",
    "ChargeByNeed",
    "DispatchInputs",
    "DispatchOutcome",
    "Flow",
    "Param",
    "SlotPlan",
    "UsualDay",
    "check_params",
    "dispatch_slow",
    "dispatch_year",
    "inverter_curve",
    "param_rows",
    "trace_year",
]
