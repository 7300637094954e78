"""The compiled loops of dispatch stay inside their arrays: full slots, every number of lanes, the corners of every key.

`.ci/run` runs this once more with every index checked (NUMBA_BOUNDSCHECK=1); here an index out of bounds shows as figures that
are not finite, or that depend on what lies beside them.
"""

from __future__ import annotations

import dataclasses
import itertools
import os
import runpy
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskcalc.coupling import Coupling
from riskcalc.dispatch import dispatch_slow, dispatch_year, trace_year
from riskcalc.dispatch.kernel.rows import LANES
from riskcalc.dispatch.request import MOST_BASES, MOST_RUNS
from riskcalc.errors import InputError
from riskcalc.scenario.fields import all_keys
from riskcalc.scenario.schema import Scenario, bounds_of
from riskcalc.study.model import assessment

random_case = runpy.run_path(str(Path(__file__).with_name("dispatch_cases.py")))["random_case"]

#: Set in the run that checks every index.
CHECKED = os.environ.get("NUMBA_BOUNDSCHECK") == "1"
#: What decides how long the arrays of a run are, or where in them a loop looks.
TABLES = ("home.", "kit.", "dispatch.", "site.", "outages.", "tenure.", "study.")
NAMED = {"surfaces": "balcony", "rates": "day", "arrays": "one", "inputs": "solar"}
SHORT = ("study.draws=8", "study.scrambles=8", "study.pool_years=1", "study.step_minutes=30", "study.horizon_years=1")
#: Wirings and plans that run different loops.
KITS = (
    (),
    ('kit.coupling="plug_in"',),
    ('kit.coupling="whole_home"', 'dispatch.export_stored_at=["day"]'),
    ('kit.coupling="whole_home"', 'dispatch.charge_at=["night"]'),
)


def full_slots(seed: int, *, draws: int, bases: int, minutes: int):
    """Return a random case in which every minute of every slot is a run of its own."""
    inputs, plan, params, arguments = random_case(seed, days=1, draws=draws, bases=bases, minutes=minutes)
    count = inputs.years * plan.slots * plan.slot_minutes
    first = np.arange(inputs.years * plan.slots + 1) * plan.slot_minutes
    full = dataclasses.replace(
        inputs,
        run_w=np.random.default_rng(seed).uniform(0.0, 3000.0, (count, bases)),
        run_minutes=np.ones(count, dtype=int),
        first_run=first[np.arange(inputs.years)[:, None] * plan.slots + np.arange(plan.slots + 1)],
    )
    return full, plan, params, arguments


@settings(max_examples=8, deadline=None, derandomize=True)
@given(
    seed=st.integers(0, 2**32 - 1),
    coupling=st.sampled_from(list(Coupling)),
    draws=st.sampled_from([1, LANES - 1, LANES, LANES + 1, 2 * LANES + 3]),
    bases=st.sampled_from([1, 3, 4, 6, 7, MOST_BASES]),
    minutes=st.integers(0, 4),
)
def test_slots_full_of_runs_are_those_of_the_twin(seed, coupling, draws, bases, minutes):
    """As many runs as a slot has room for, in every number of lanes and streams: flows and bills of the first and last draw."""
    inputs, plan, params, arguments = full_slots(seed, draws=draws, bases=bases, minutes=minutes)
    assert plan.slot_minutes <= MOST_RUNS
    fast = dispatch_year(coupling, inputs, plan, params, threads=1, **arguments)
    ends = [0, draws - 1]
    part = {name: values[..., ends] for name, values in arguments.items()}
    slow = dispatch_slow(coupling, inputs, plan, params[:, ends], use_numba=True, **part)
    for name in ("monthly_kwh", "billed_kwh", "stored_wh"):
        expected = getattr(slow, name)
        np.testing.assert_allclose(
            getattr(fast, name)[..., ends], expected, rtol=1e-9, atol=1e-9 * max(1.0, np.abs(expected).max())
        )


@settings(max_examples=30, deadline=None, derandomize=True)
@given(row_minutes=st.integers(1, 4000), minutes=st.integers(0, 4))
def test_a_trace_has_whole_rows_or_is_refused(row_minutes, minutes):
    """Rows that the plan's minutes do not fill would end beyond the table."""
    inputs, plan, params, arguments = random_case(4, days=1, draws=1, minutes=minutes)
    one = {name: values[..., 0] for name, values in arguments.items()}
    whole = plan.slots * plan.slot_minutes
    if whole % row_minutes:
        with pytest.raises(ValueError, match=f"row_minutes: {row_minutes}; accepted: a divisor of {whole}"):
            trace_year("sockets", inputs, plan, params[:, 0], row_minutes=row_minutes, **one)
    else:
        rows = trace_year("sockets", inputs, plan, params[:, 0], row_minutes=row_minutes, use_numba=False, **one)
        assert len(rows["demand_w"]) == whole // row_minutes


def corners():
    """Yield (key, bound) for each finite bound of every key that may change the shape of a run."""
    for key in sorted(all_keys(Scenario)):
        if not key.startswith(TABLES):
            continue
        parts = key.split(".")
        for before, place in itertools.pairwise(range(len(parts))):
            if parts[place] == "<name>":
                parts[place] = NAMED.get(parts[before], "one")
        named = ".".join(parts)
        for bound in bounds_of(named):
            # A million draws, or 256 years of weather, are the same loops for longer.
            if np.isfinite(bound) and (named, bound > 64) not in (("study.draws", True), ("study.pool_years", True)):
                yield named, bound


@pytest.mark.skipif(not CHECKED, reason="for the run that checks every index; tests/fuzz has runs at such figures")
def test_every_corner_of_every_key_runs_or_is_refused(read_small):
    """Each bound of each key by itself, on wirings in turn: finite energy and money, or an error that names what is wrong."""
    runs, refused = 0, 0
    for number, (key, bound) in enumerate(corners()):
        figure = int(bound) if float(bound).is_integer() else bound
        changes = [*KITS[number % len(KITS)], *(short for short in SHORT if not short.startswith(f"{key}="))]
        try:
            found = assessment(read_small(*changes, f"{key}={figure}"))
        except InputError:
            refused += 1
            continue
        runs += 1
        assert np.isfinite(found.simulation.billed_kwh).all(), key
        assert np.isfinite(found.valuation.net_present_value).all(), key
    assert runs > refused > 0
