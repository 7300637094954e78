"""The fast kernels against the twin, and against themselves: same bits whatever the company."""

from __future__ import annotations

import dataclasses
import re
import runpy
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from riskcalc.coupling import Coupling
from riskcalc.dispatch import (
    Billed,
    DispatchOutcome,
    Flow,
    Param,
    dispatch_slow,
    dispatch_year,
    param_rows,
)
from riskcalc.dispatch.kernel.slot import parts_of_slot
from riskcalc.dispatch.plan import sun_shines

CASES = runpy.run_path(str(Path(__file__).with_name("dispatch_cases.py")))
random_case = CASES["random_case"]
FIELDS = [field.name for field in dataclasses.fields(DispatchOutcome)]


def assert_close(fast: DispatchOutcome, slow: DispatchOutcome) -> None:
    """Require agreement to 1e-9 of the draw's largest figure in each field."""
    for name in FIELDS:
        given_values, expected = getattr(fast, name), getattr(slow, name)
        scale = np.abs(expected).reshape(-1, expected.shape[-1]).max(axis=0)
        error = np.abs(given_values - expected) / np.maximum(scale, 1.0)
        assert error.max() < 1e-9, f"{name}: {error.max():.1e} at {np.unravel_index(error.argmax(), error.shape)}"


def assert_same(one: DispatchOutcome, other: DispatchOutcome, draws: Any = slice(None)) -> None:
    """Require the same bits in every field; `draws` picks from the first."""
    for name in FIELDS:
        np.testing.assert_array_equal(getattr(one, name)[..., draws], getattr(other, name), err_msg=name)


@pytest.mark.parametrize("coupling", Coupling)
@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
@given(
    seed=st.integers(0, 2**32 - 1), minutes=st.integers(0, 4), draws=st.integers(1, 3),
    bases=st.sampled_from([1, 2, 3, 4, 7]), planes=st.integers(0, 3),
)  # fmt: skip
def test_kernel_agrees_with_twin(coupling: str, seed: int, minutes: int, draws: int, bases: int, planes: int) -> None:
    """Run by run gives what the branch-by-branch twin gives minute by minute, to 1e-9, over random kits and days."""
    days = (3, 3, 2, 2, 1)[minutes]
    case = random_case(seed, days=days, draws=draws, bases=bases, planes=planes, minutes=minutes)
    inputs, plan, params, arguments = case
    fast = dispatch_year(coupling, inputs, plan, params, threads=1, **arguments)
    slow = dispatch_slow(coupling, inputs, plan, params, use_numba=True, **arguments)
    assert_close(fast, slow)


@cache
def random_week(seed: int) -> Any:
    """Return a week that all couplings are run over; none changes it."""
    return random_case(seed, days=7, draws=20, years=3, bases=6, minutes=seed % 5)


@pytest.mark.slow
@pytest.mark.parametrize("coupling", Coupling)
def test_kernel_agrees_with_compiled_twin_over_many_weeks(coupling: str) -> None:
    """80 random weeks with 20 draws each, the twin compiled: still 1e-9."""
    for seed in range(80):
        inputs, plan, params, arguments = random_week(seed)
        fast = dispatch_year(coupling, inputs, plan, params, **arguments)
        slow = dispatch_slow(coupling, inputs, plan, params, use_numba=True, **arguments)
        assert_close(fast, slow)


@pytest.mark.parametrize("coupling", Coupling)
def test_targets_of_a_pool_year_are_those_of_its_row(coupling: str) -> None:
    """With one row of targets per pool year every draw gets the bits that its own row alone would give."""
    inputs, plan, params, arguments = random_case(11, draws=6, years=3, days=4)
    rows = np.random.default_rng(2).random((3, plan.slots))
    charging = dataclasses.replace(plan, grid_charge_on=np.arange(plan.slots) % 3 == 0)
    together = dispatch_year(coupling, inputs, dataclasses.replace(charging, target_share=rows), params, **arguments)
    for year in range(3):
        alone = dispatch_year(
            coupling, inputs, dataclasses.replace(charging, target_share=rows[year]), params, **arguments
        )
        draws = arguments["pool_year"] == year
        for name in FIELDS:
            np.testing.assert_array_equal(getattr(together, name)[..., draws], getattr(alone, name)[..., draws])
    with pytest.raises(ValueError, match="target_share: 2 pool years; accepted: 3"):
        dispatch_year(coupling, inputs, dataclasses.replace(charging, target_share=rows[:2]), params, **arguments)


def test_compiled_twin_is_the_plain_twin() -> None:
    """Compiling changes the twin by no more than rounding."""
    inputs, plan, params, arguments = random_case(5, draws=4)
    for coupling in Coupling:
        plain = dispatch_slow(coupling, inputs, plan, params, **arguments)
        assert_close(dispatch_slow(coupling, inputs, plan, params, use_numba=True, **arguments), plain)


@pytest.mark.parametrize("coupling", Coupling)
def test_result_does_not_depend_on_company(coupling: str) -> None:
    """Bit for bit the same for any number of threads, any order of the draws, any part of them, and one alone."""
    inputs, plan, params, arguments = random_case(11, draws=150, years=3, bases=5)
    whole = dispatch_year(coupling, inputs, plan, params, threads=1, **arguments)
    for threads in (2, 3, 64):
        assert_same(dispatch_year(coupling, inputs, plan, params, threads=threads, **arguments), whole)
    rng = np.random.default_rng(0)
    for chosen in (rng.permutation(150), np.arange(0, 150, 7), np.array([149]), np.repeat([3, 77], 40)):
        part = {name: values[..., chosen] for name, values in arguments.items()}
        assert_same(whole, dispatch_year(coupling, inputs, plan, params[:, chosen], **part), chosen)


@pytest.mark.parametrize("coupling", ["sockets", "off_grid"])
def test_a_load_beyond_what_sun_and_cells_give_leaves_neighbours_alone(coupling: str) -> None:
    """Weak cells behind a large inverter: whether a neighbour's load is too much for them changes no bit of a small one.

    The largest load that power carries is worked out only where a load of the lanes comes near it.
    """
    inputs, plan, params, arguments = random_case(23, draws=2, years=1, bases=3, days=5)
    params[:] = params[:, :1]
    changed = {
        "CAPACITY_WH": 2000.0,
        "FLOOR_WH": 0.0,
        "DISCHARGE_W": 300.0,
        "INVERTER_RATING_W": 1800.0,
        "CHARGE_W": 200.0,
    }
    for name, value in changed.items():
        params[Param[name]] = value
    for scale in (Param.HOUSEHOLD_SCALE, Param.CAR_SCALE, Param.BASE_SCALE, Param.SMALL_SCALE):
        params[scale] = [0.04, 1.0]
    arguments = {name: values[..., :1].repeat(2, axis=-1) for name, values in arguments.items()}
    both = dispatch_year(coupling, inputs, plan, params, **arguments)
    assert_close(both, dispatch_slow(coupling, inputs, plan, params, use_numba=True, **arguments))
    for draw in ([0], [1]):
        alone = {name: values[..., draw] for name, values in arguments.items()}
        assert_same(both, dispatch_year(coupling, inputs, plan, params[:, draw], **alone), draw)
    assert (both.yearly_kwh(Flow.PV_TO_LOAD) + both.yearly_kwh(Flow.BATTERY_TO_LOAD) > 0.0).all()


@pytest.mark.parametrize("coupling", Coupling)
def test_no_kit_leaves_the_bill_as_it_is(coupling: str) -> None:
    """Without kit, billed import equals billed demand bit for bit, so the saving is exactly 0."""
    inputs, plan, params, arguments = random_case(3, draws=40, bases=4)
    habits = {param.name.lower(): params[param] for param in Param if param >= Param.HOUSEHOLD_SCALE}
    outcome = dispatch_year(coupling, inputs, plan, param_rows(40, **habits), **arguments)
    np.testing.assert_array_equal(outcome.billed_kwh[Billed.IMPORT], outcome.billed_kwh[Billed.DEMAND])
    assert np.all(outcome.billed_kwh[Billed.EXPORT] == 0.0)
    assert np.all(outcome.yearly_kwh(Flow.LOSSES) == 0.0)
    assert np.all(outcome.stored_wh == 0.0)


@pytest.mark.parametrize("coupling", Coupling)
def test_absent_kits_run_apart_and_refuse_nothing(coupling: str) -> None:
    """Kits that have failed agree with the twin, exceed no rating, are never on, and leave their neighbours' bits alone."""
    inputs, plan, params, arguments = random_case(17, draws=60, years=3, bases=5)
    gone = np.arange(60) % 3 == 1
    for param in (Param.CAPACITY_WH, Param.FLOOR_WH, Param.INVERTER_RATING_W, Param.IDLE_W, Param.STANDBY_W,
                  Param.CHARGER_W, Param.EXPORT_LIMIT_W):  # fmt: skip
        params[param, gone] = 0.0
    mixed = dispatch_year(coupling, inputs, plan, params, **arguments)
    assert_close(mixed, dispatch_slow(coupling, inputs, plan, params, use_numba=True, **arguments))
    for chosen in (np.flatnonzero(gone), np.flatnonzero(~gone)):
        part = {name: values[..., chosen] for name, values in arguments.items()}
        assert_same(mixed, dispatch_year(coupling, inputs, plan, params[:, chosen], **part), chosen)
    for name in ("overload_minutes", "overload_kwh", "on_hours"):
        assert not getattr(mixed, name)[gone].any()
        assert getattr(mixed, name)[~gone].any()
    np.testing.assert_array_equal(mixed.billed_kwh[Billed.IMPORT][:, gone], mixed.billed_kwh[Billed.DEMAND][:, gone])


def test_months_and_rates_add_up() -> None:
    """With rate weights of 1, bills by rate and flows by month are two cuts of the same energies."""
    inputs, plan, params, arguments = random_case(8, draws=10)
    plan = dataclasses.replace(plan, rate_weight=np.ones(plan.slots))
    outcome = dispatch_year("whole_home", inputs, plan, params, **arguments)
    demand = outcome.yearly_kwh(Flow.DEMAND_REACHABLE) + outcome.yearly_kwh(Flow.DEMAND_WIRED)
    np.testing.assert_allclose(outcome.billed_kwh[Billed.DEMAND].sum(axis=0), demand, rtol=1e-12)
    np.testing.assert_allclose(
        outcome.billed_kwh[Billed.IMPORT].sum(axis=0), outcome.yearly_kwh(Flow.GRID_IMPORT), rtol=1e-12
    )
    np.testing.assert_allclose(
        outcome.billed_kwh[Billed.EXPORT].sum(axis=0), outcome.yearly_kwh(Flow.GRID_EXPORT), rtol=1e-12, atol=1e-12
    )


def test_two_halves_make_a_whole() -> None:
    """Running the second day from the state at the end of the first gives the same state as running both."""
    inputs, plan, params, arguments = random_case(21, draws=20, days=2, minutes=0)
    plan = dataclasses.replace(plan, day=plan.start_minute // 1440)
    whole = dispatch_year("sockets", inputs, plan, params, **arguments)
    stored = arguments["stored_wh"]
    for part in (slice(0, 24), slice(24, 48)):
        cut = dataclasses.replace(
            inputs, first_run=inputs.first_run[:, part.start : part.stop + 1], wired_w=inputs.wired_w[..., part]
        )
        arguments["stored_wh"] = stored
        stored = dispatch_year("sockets", cut, plan.of_slots(part), params, **arguments).stored_wh
    np.testing.assert_allclose(stored, whole.stored_wh, rtol=1e-12, atol=1e-9)


def test_capacity_below_stored_energy_cuts_it_off() -> None:
    """Cells that have shrunk below what they held start full."""
    inputs, plan, _, arguments = random_case(2, draws=1)
    plan = dataclasses.replace(plan, inverter_on=np.zeros(plan.slots), grid_charge_on=np.zeros(plan.slots))
    params = param_rows(1, capacity_wh=700.0)
    arguments["stored_wh"] = np.array([900.0])
    outcome = dispatch_year("sockets", inputs, plan, params, **arguments)
    assert outcome.stored_wh[0] == pytest.approx(700.0, rel=1e-14)
    assert outcome.mean_stored_share[0] == pytest.approx(1.0, rel=1e-14)
    assert outcome.mean_daily_swing[0] == pytest.approx(0.0, abs=1e-14)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"coupling": "wireless"}, "coupling: 'wireless'; accepted: sockets, plug_in, whole_home, off_grid"),
        ({"pool_year": np.array([0, 5])}, "pool_year: 0 to 5; accepted: 0 to 1"),
        ({"pool_year": np.array([0])}, r"pool_year: shape (1,); accepted: (2,), at least one draw"),
        ({"stored_wh": -1.0}, "stored_wh: accepted: 0 or more, finite"),
        ({"plane_weight": np.ones((1, 2))}, "plane_weight: shape (1, 2); accepted: (2, 2)"),
        ({"plane_weight": np.full((2, 2), np.nan)}, "plane_weight: accepted: 0 or more"),
        ({"input_limit_w": np.ones((2, 3))}, "input_limit_w: shape (2, 3); accepted: (inputs, 2), at most 16 inputs"),
        ({"sun_minutes": 7}, "inputs: sun_minutes: 7; accepted: a divisor or a multiple of the slot, 30"),
        ({"run_minutes": 40}, "minutes in a slot; accepted: 30, as the plan says"),
        ({"slots": 40}, "inputs: slots: 96; accepted: 40, as the plan says"),
    ],
)
def test_misfits_are_refused(change: dict[str, Any], message: str) -> None:
    """What does not fit is named, with what would."""
    inputs, plan, params, arguments = random_case(1, draws=2)
    coupling = change.pop("coupling", "sockets")
    if "sun_minutes" in change:
        inputs = dataclasses.replace(inputs, sun_minutes=change.pop("sun_minutes"))
    if "run_minutes" in change:
        inputs = dataclasses.replace(inputs, run_minutes=np.full_like(inputs.run_minutes, change.pop("run_minutes")))
    if "slots" in change:
        plan = plan.of_slots(slice(change.pop("slots")))
    with pytest.raises(ValueError, match=re.escape(message)):
        dispatch_year(coupling, inputs, plan, params, **{**arguments, **change})


def test_a_slot_is_cut_only_where_the_sun_shines():
    """An hour of sun by the quarter is run in quarters if any plane has light in any of them, and whole in the dark."""
    solar_w = np.zeros((2, 2, 8))
    solar_w[1, 1, 7] = 1.0
    shines, parts = sun_shines(solar_w), parts_of_slot.py_func
    assert np.array_equal(shines, (solar_w > 0.0).any(axis=1))
    assert parts(shines, 0, 4, 4) == 1
    assert parts(shines, 1, 0, 4) == 1
    assert parts(shines, 1, 4, 4) == 4
    assert parts(shines, 1, 7, 1) == 1
