"""Random dispatch requests for the tests: kits between ordinary and absurd, weeks with every kind of slot."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from riskcalc.dispatch import ChargeByNeed, DispatchInputs, SlotPlan, UsualDay, inverter_curve, param_rows

#: (slot, period of the sun) in minutes.
TIMES = ((60, 60), (60, 5), (30, 60), (15, 5), (5, 15))


def random_case(
    seed: int, *, days: int = 2, draws: int = 3, years: int = 2, bases: int = 3, planes: int = 2, minutes: int = 2
) -> tuple[DispatchInputs, SlotPlan, np.ndarray, dict[str, Any]]:
    """Return inputs, plan, params and the keyword arguments of a dispatch; `minutes` picks from TIMES."""
    rng = np.random.default_rng(seed)
    slot_minutes, sun_minutes = TIMES[minutes]
    slots, periods = days * 1440 // slot_minutes, days * 1440 // sun_minutes
    day_light = np.clip(np.sin((np.arange(periods) * (sun_minutes / 60) % 24 - 6.0) / 12.0 * np.pi), 0.0, None)
    run_minutes, first_run = _runs(rng, years, slots, slot_minutes)
    spikes = rng.random((len(run_minutes), bases)) < 0.05
    inputs = DispatchInputs(
        solar_w=rng.uniform(0.0, 900.0, (years, planes, periods)) * day_light,
        run_w=rng.uniform(0.0, 250.0, (len(run_minutes), bases)) + spikes * rng.uniform(500.0, 3000.0),
        run_minutes=run_minutes,
        first_run=first_run,
        wired_w=rng.uniform(0.0, 300.0, (years, bases, slots)),
        input_of_plane=rng.integers(0, 2, planes),
        rank_row=rng.integers(-1, 2, bases),
        rank_below=rng.random(bases) < 0.5,
        scale_row=rng.integers(0, 4, bases),
        day_rank=np.where(rng.random((years, 2, 365)) < 0.2, -1.0, rng.random((years, 2, 365))),
        charge_allowed=(rng.random((years, 365)) < 0.8).astype(float),
        sun_minutes=sun_minutes,
    )
    plan = _plan(rng, slots, slot_minutes, years if years > 1 and rng.random() < 0.5 else 0)
    plan = replace(plan, lag_minutes=(0.0, 0.1, 1.0)[seed % 3])
    if seed % 3 == 0:
        plan = replace(plan, need=_need(np.random.default_rng([seed, 1]), slots, years, bases, planes))
    return inputs, plan, _params(rng, draws), {
        "plane_weight": rng.choice([0.0, 0.7, 0.9, 1.0], (planes, draws)),
        "input_limit_w": rng.choice([0.0, 400.0, 800.0, np.inf], (2, draws), p=[0.1, 0.3, 0.3, 0.3]),
        "pool_year": rng.integers(0, years, draws),
        "stored_wh": rng.uniform(0.0, 3000.0, draws),
    }  # fmt: skip


def _runs(rng: np.random.Generator, years: int, slots: int, slot_minutes: int) -> tuple[np.ndarray, np.ndarray]:
    """Return lengths of runs and where those of each slot begin: one to six runs a slot, cut at random minutes."""
    lengths, first = [], [0]
    for _ in range(years * slots):
        cuts = rng.integers(1, slot_minutes, rng.integers(0, 6)).tolist() if slot_minutes > 1 else []
        edges = sorted({0, *cuts, slot_minutes})
        lengths.extend(end - start for start, end in pairwise(edges))
        first.append(len(lengths))
    starts = np.array(first)
    return np.array(lengths), starts[np.arange(years)[:, None] * slots + np.arange(slots + 1)]


def _plan(rng: np.random.Generator, slots: int, slot_minutes: int, target_years: int) -> SlotPlan:
    hour = np.arange(slots) * slot_minutes // 60
    # The wall-clock day may start away from the standard-time day.
    day = (hour + rng.integers(0, 2)) // 24

    def by_hour(chance: float) -> np.ndarray:
        return (rng.random(hour[-1] + 1) < chance)[hour].astype(int)

    return SlotPlan(
        slot_minutes=slot_minutes,
        month=(day + rng.integers(0, 11)) % 12,
        day=day,
        start_minute=np.arange(slots) * slot_minutes,
        rate=rng.integers(0, 3, slots),
        rate_weight=rng.choice([0.8, 1.0, 1.3], slots),
        discharge_on=by_hour(0.8),
        inverter_on=by_hour(0.85),
        grid_charge_on=by_hour(0.3),
        target_share=rng.uniform(0.0, 1.0, (target_years, slots) if target_years else slots),
        reserve_share=rng.choice([0.0, 0.2, 0.9], slots, p=[0.7, 0.2, 0.1]),
        export_stored_on=by_hour(0.3),
        export_stored_above_share=rng.choice([0.0, 0.3, 1.0], slots),
        output_share=rng.choice([1.0, 0.4, 0.0], slots, p=[0.7, 0.25, 0.05]),
        rates=3,
    )


def _need(rng: np.random.Generator, slots: int, years: int, bases: int, planes: int) -> ChargeByNeed:
    kinds = int(rng.integers(1, 25))
    return ChargeByNeed(
        kind=rng.integers(0, kinds, slots),
        light=rng.normal(0.0, 1.0, (years, slots) if rng.random() < 0.5 else slots),
        usual=UsualDay(
            need_wh=rng.uniform(0.0, 1500.0, (bases, kinds)),
            need_by_rank_wh=rng.uniform(0.0, 800.0, (bases, kinds)),
            sun_wh=rng.uniform(0.0, 2000.0, (planes, kinds)),
            sun_per_light_wh=rng.uniform(0.0, 600.0, (planes, kinds)),
        ),
        need_share=rng.uniform(0.0, 1.2),
        sun_share=rng.uniform(0.0, 1.2),
        offset_share=rng.uniform(-0.3, 0.8, kinds),
    )


def _params(rng: np.random.Generator, draws: int) -> np.ndarray:
    def choice(*values: float) -> np.ndarray:
        return rng.choice(values, draws) * rng.choice([1.0, rng.uniform(0.5, 1.0)], draws)

    rating = choice(600.0, 1800.0, 5000.0)
    idle = rating * rng.choice([0.0, 0.005, 0.015], draws)
    linear, quadratic = inverter_curve(rating, idle_w=idle, efficiency_half_load=0.9, efficiency_full_load=0.85)
    simple = rng.random(draws) < 0.2
    return param_rows(
        draws,
        capacity_wh=choice(0.0, 50.0, 800.0, 2000.0, 10000.0),
        floor_wh=choice(0.0, 0.0, 100.0, 900.0),
        charge_w=choice(0.0, 200.0, 1200.0),
        discharge_w=choice(0.0, 300.0, 1500.0, 6000.0),
        charge_efficiency=rng.choice([0.9, 0.97, 1.0], draws),
        discharge_efficiency=rng.choice([0.88, 0.96, 1.0], draws),
        solar_efficiency=rng.choice([0.93, 1.0], draws),
        inverter_rating_w=np.where(rng.random(draws) < 0.1, 0.0, rating),
        idle_w=idle,
        standby_w=choice(0.0, 3.0),
        loss_linear=np.where(simple, 1.0, linear),
        loss_quadratic=np.where(simple, 0.0, quadratic),
        charger_w=choice(0.0, 300.0, 1000.0),
        charger_efficiency=rng.choice([0.9, 1.0], draws),
        socket_limit_w=choice(800.0, 2300.0, np.inf),
        export_limit_w=choice(0.0, 300.0, np.inf),
        household_scale=rng.uniform(0.3, 1.5, draws),
        car_scale=rng.choice([0.0, 1.0], draws),
        base_scale=rng.uniform(0.5, 2.0, draws),
        small_scale=rng.uniform(0.5, 2.0, draws),
        home_share=rng.random(draws),
        moved_share=rng.random(draws),
    )
