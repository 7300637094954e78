"""Figures of the kit and plan of the slots: what is worked out from a datasheet, and what is refused."""

from __future__ import annotations

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from riskcalc.dispatch import DispatchInputs, Param, SlotPlan, inverter_curve, param_rows


@given(rating=st.floats(100.0, 10000.0), half=st.floats(0.85, 0.97), drop=st.floats(0.0, 0.035))
def test_inverter_curve_meets_both_efficiencies(rating: float, half: float, drop: float) -> None:
    """At half and at full load the curve gives back the efficiencies it was made from."""
    full, idle = half - drop, 0.01 * rating
    linear, quadratic = inverter_curve(rating, idle_w=idle, efficiency_half_load=half, efficiency_full_load=full)
    for load, efficiency in ((rating / 2.0, half), (rating, full)):
        assert load / (idle + linear * load + quadratic * load**2) == pytest.approx(efficiency, rel=1e-12)
    loads = np.linspace(0.01, 1.0, 50) * rating
    assert np.all(idle + linear * loads + quadratic * loads**2 >= loads)


def test_inverter_curve_by_hand() -> None:
    """1000 W, idle 10 W, 0.92 at half, 0.90 at full load.

    Hand-computed: D(500) = 543.478, D(1000) = 1111.111; b = 2 (1111.111 - 1086.957 + 10) / 1e6 = 6.8309e-5,
    a = 1.101111 - 0.068309 = 1.032802.
    """
    linear, quadratic = inverter_curve(1000.0, idle_w=10.0, efficiency_half_load=0.92, efficiency_full_load=0.90)
    assert linear == pytest.approx(1.032802, abs=1e-6)
    assert quadratic == pytest.approx(6.8309e-5, abs=1e-9)


@pytest.mark.published
def test_two_efficiencies_give_the_published_part_load_curve(record_property) -> None:
    """Dobos, NREL/TP-6A20-62641 (2014), inverter model: AC out of DC in, at 10, 20 and 90 % of full DC power.

    eta = (eta_nom / 0.9637)(-0.0162 z - 0.0059 / z + 0.9858) with z = DC power over its maximum, eta_nom 0.96. For
    100 W DC at most it gives 9.216279, 18.988018 and 86.486467 W AC. Our curve knows the idle draw and the two
    efficiencies at half and full AC load alone, read off the same equation. It need not be the same curve (theirs is
    quadratic in the DC power, ours in the AC power), but over this range the two differ by less than 0.05 %.
    """

    def published_ac_w(dc_w: float) -> float:
        z = dc_w / 100.0
        return float(np.clip(0.96 / 0.9637 * (-0.0162 * z * z + 0.9858 * z - 0.0059) * 100.0, 0.0, 96.0))

    half_dc_w = brentq(lambda dc_w: published_ac_w(dc_w) - 48.0, 10.0, 90.0)
    idle_w = brentq(lambda dc_w: 0.9858 * dc_w / 100.0 - 0.0162 * (dc_w / 100.0) ** 2 - 0.0059, 0.0, 10.0)
    linear, quadratic = inverter_curve(
        96.0, idle_w=idle_w, efficiency_half_load=48.0 / half_dc_w, efficiency_full_load=96.0 / 100.0
    )
    for dc_w, ac_w, within in ((10.0, 9.216279, 5e-4), (20.0, 18.988018, 5e-4), (90.0, 86.486467, 5e-4)):
        assert published_ac_w(dc_w) == pytest.approx(ac_w, abs=1e-6)
        computed = float(idle_w + linear * ac_w + quadratic * ac_w**2)
        record_property(
            "published", (f"DC power for {ac_w:.3f} W AC", "Dobos, NREL/TP-6A20-62641, inverter", dc_w, computed)
        )
        assert computed == pytest.approx(dc_w, rel=within)


def test_ideal_inverter_has_no_curve() -> None:
    """Efficiencies of 1 without idle draw: a = 1, b = 0."""
    assert inverter_curve(800.0, idle_w=0.0, efficiency_half_load=1.0, efficiency_full_load=1.0) == (1.0, 0.0)


@pytest.mark.parametrize(
    ("idle", "half", "full", "message"),
    [
        (5.0, 0.90, 0.93, "idle_w 5, efficiency_half_load 0.9 and efficiency_full_load 0.93 at rating_w 1000"),
        (60.0, 0.95, 0.93, "at part load the inverter would give out more than it takes in"),
        (0.0, 0.98, 0.90, "at part load the inverter would give out more than it takes in"),
        (5.0, 0.0, 0.9, "rating_w and both efficiencies must be more than 0"),
    ],
)
def test_contradicting_efficiencies_are_refused(idle: float, half: float, full: float, message: str) -> None:
    """A curve that bends the wrong way or starts below its own idle draw is refused, with the figures."""
    with pytest.raises(ValueError, match=re.escape(message)):
        inverter_curve(1000.0, idle_w=idle, efficiency_half_load=half, efficiency_full_load=full)


def test_params_left_out_are_neutral() -> None:
    """What is left out means no battery, no inverter, no losses and demand as it is."""
    rows = param_rows(3)
    assert np.all(rows[Param.CAPACITY_WH] == 0.0)
    assert np.all(rows[Param.INVERTER_RATING_W] == 0.0)
    assert np.all(rows[Param.CHARGE_EFFICIENCY] == 1.0)
    assert np.all(rows[Param.HOUSEHOLD_SCALE] == 1.0)


@pytest.mark.parametrize(
    ("figures", "message"),
    [
        ({"capacity": 1.0}, "params: unknown figure 'capacity'"),
        ({"capacity_wh": -1.0}, "params: capacity_wh: -1 to -1; accepted: 0 to 1e+09"),
        ({"capacity_wh": np.inf}, "params: capacity_wh: inf to inf; accepted: 0 to 1e+09"),
        ({"idle_w": [1.0, np.nan]}, "params: idle_w: nan to nan; accepted: 0 to 1e+09"),
        ({"charge_efficiency": 0.0}, "params: charge_efficiency: 0 to 0; accepted: more than 0, at most 1"),
        ({"solar_efficiency": 97.0}, "params: solar_efficiency: 97 to 97; accepted: more than 0, at most 1"),
        ({"loss_linear": 0.8}, "params: loss_linear: 0.8; accepted: 0.9 or more"),
    ],
)
def test_params_out_of_range_are_refused(figures: dict[str, float], message: str) -> None:
    """Each figure outside what the equations allow is named."""
    with pytest.raises(ValueError, match=re.escape(message)):
        param_rows(2, **figures)


def plan_of(**changes: object) -> SlotPlan:
    """Return a day of hours, with changes."""
    hours = np.arange(24)
    figures = {"month": np.zeros(24), "day": np.zeros(24), "start_minute": 60 * hours, "rate": hours // 12, **changes}
    return SlotPlan(slot_minutes=60, **figures)


def test_plan_defaults() -> None:
    """By default the cells serve loads, the inverter is on, the grid does not charge, bills are not weighted."""
    plan = plan_of()
    assert (plan.slots, plan.rates) == (24, 2)
    assert plan.discharge_on.min() == plan.inverter_on.min() == 1
    assert plan.grid_charge_on.max() == 0
    assert plan.rate_weight.tolist() == [1.0] * 24
    assert plan_of(rates=5).rates == 5


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"month": np.full(24, 12)}, "plan: month: 12 to 12; accepted: 0 to 11"),
        ({"day": np.full(24, 365)}, "plan: day: 365 to 365; accepted: 0 to 364"),
        ({"target_share": np.full(24, 80.0)}, "plan: target_share: 80.0 to 80.0; accepted: 0 to 1"),
        ({"reserve_share": np.full(24, np.nan)}, "plan: reserve_share: nan to nan; accepted: 0 to 1"),
        ({"discharge_on": np.ones(23)}, "plan: discharge_on: shape (23,); accepted: (24,)"),
        ({"rates": 1}, "plan: rate: up to 1; accepted: 0 to 0"),
    ],
)
def test_plan_out_of_range_is_refused(changes: dict[str, object], message: str) -> None:
    """Each array outside its range or shape is named."""
    with pytest.raises(ValueError, match=re.escape(message)):
        plan_of(**changes)


def test_inputs_that_do_not_fit_are_refused() -> None:
    """Pools of different size are refused by name."""
    figures = {
        "solar_w": np.zeros((2, 1, 24)), "run_w": np.zeros((48, 3)), "run_minutes": np.full(48, 60),
        "first_run": np.arange(2)[:, None] * 24 + np.arange(25), "wired_w": np.zeros((2, 3, 24)),
        "input_of_plane": [0], "rank_row": [-1, 0, 1], "rank_below": [True] * 3, "scale_row": [0, 0, 1],
        "day_rank": np.zeros((2, 2, 365)), "charge_allowed": np.ones((2, 365)),
    }  # fmt: skip
    assert DispatchInputs(**figures).years == 2
    for name, wrong, message in (
        ("wired_w", np.zeros((2, 2, 24)), "inputs: wired_w: shape (2, 2, 24); accepted: (2, 3, 24)"),
        ("solar_w", np.zeros((1, 1, 24)), "inputs: solar_w: shape (1,); accepted: (2,)"),
        ("run_minutes", np.full(47, 60), "inputs: run_minutes: shape (47,); accepted: (48,)"),
        ("run_minutes", np.full(48, 0), "inputs: run_minutes: accepted: 1 or more"),
        ("first_run", np.zeros((2, 25)), "inputs: first_run: accepted: rising, at least one run a slot, 0 to 48"),
        ("rank_row", [-1, 0, 2], "inputs: rank_row: accepted: -1, 0, 1"),
        ("scale_row", [0, 0, 4], "inputs: scale_row: accepted: 0, 1, 2, 3"),
        ("charge_allowed", np.ones((2, 364)), "inputs: charge_allowed: shape (2, 364); accepted: (2, 365)"),
    ):
        with pytest.raises(ValueError, match=re.escape(message)):
            DispatchInputs(**{**figures, name: wrong})
