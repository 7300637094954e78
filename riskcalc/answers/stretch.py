"""A few days of one draw's year, row by row, without tracing the year.

The kernel brings the stored energy to the first of the days; from there the plain twin of the kernel walks, which has
nothing to compile.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from riskcalc.dispatch import trace_year
from riskcalc.study.model import Assessment
from riskcalc.types import Floats
from riskcalc.years.simulation import Plant, YearRequest, run_year


def request_of(assessment: Assessment, *, draw: int, year: int) -> YearRequest:
    """Return what dispatch needs for one draw and year (counted from 1) of an assessment."""
    only, row = np.array([draw]), year - 1
    values = {key: of_all[only] for key, of_all in assessment.values.items()}
    world, simulation = assessment.world, assessment.simulation
    plant = Plant(assessment.scenario, world.pools, world.plan, values, assessment.design.pool_year[:, only])
    return plant.year_request(
        row,
        capacity_share=simulation.capacity_share[row, only],
        working=simulation.working[row, only],
        stored_wh=simulation.stored_wh[row, only],
    )


def traced_days(request: YearRequest, *, first_slot: int, slots: int, row_minutes: int) -> dict[str, Floats]:
    """Return the columns of `dispatch.TRACE_COLUMNS` over a stretch of slots of a request of one draw, row by row.

    The stretch may run over the end of the year into its beginning, as the half hours that the wall clock moves do;
    stored energy is then that of the year's own beginning.
    """
    in_year = len(request.plan.month)
    until_end = min(slots, in_year - first_slot)
    parts = [_traced(request, slice(first_slot, first_slot + until_end), row_minutes)]
    if until_end < slots:
        parts.append(_traced(request, slice(0, slots - until_end), row_minutes))
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


def _traced(request: YearRequest, slots: slice, row_minutes: int) -> dict[str, Floats]:
    stored_wh = request.stored_wh
    if slots.start > 0:
        stored_wh = run_year(_cut(request, slice(0, slots.start), stored_wh)).stored_wh
    cut = _cut(request, slots, stored_wh)
    return trace_year(
        cut.coupling,
        cut.inputs,
        cut.plan,
        cut.params[:, 0],
        plane_weight=cut.plane_weight[:, 0],
        input_limit_w=cut.input_limit_w[:, 0],
        pool_year=0,
        stored_wh=float(cut.stored_wh[0]),
        row_minutes=row_minutes,
        use_numba=False,
    )


def _cut(request: YearRequest, slots: slice, stored_wh: Floats) -> YearRequest:
    """Return the request of some slots only, with the one pool year that its draw meets."""
    plan, inputs = request.plan, request.inputs
    year = slice(int(request.pool_year[0]), int(request.pool_year[0]) + 1)
    return replace(
        request,
        plan=plan.of_slots(slots, year),
        inputs=inputs.of_slots(slots, year.start),
        pool_year=np.zeros(1, dtype=np.int64),
        stored_wh=stored_wh,
    )
