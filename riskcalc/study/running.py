"""A way of running the battery through the year, and the plan of slots that it amounts to."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_OF_DAY
from riskcalc.dispatch import SlotPlan
from riskcalc.study.outlook import Outlook
from riskcalc.types import Flags, Floats

MONTHS = 12


@dataclass(frozen=True)
class ByNeed:
    """Charging for what a day is expected to need beyond its sun, of each household its own; see `ChargeByNeed`.

    `need_share` of the need, less `sun_share` of the sun, and `offset_share` (12,) of the capacity by month.
    """

    need_share: float
    sun_share: float
    offset_share: Floats


@dataclass(frozen=True)
class Running:
    """How the battery is run.

    `target_share` (12, kinds): share of the capacity that the supply fills it to, by the month and forecast of the coming
    day; one column without forecasts. `solar_days` (365,): days on solar only, without charging. `hold_back_share` (12,):
    share of the capacity that is kept for the dearest rate. `export_stored_above_share` (12,): share of the capacity down to
    which stored energy is exported where the scenario lets it. `by_need` takes the place of `target_share`.
    """

    target_share: Floats
    solar_days: Flags
    hold_back_share: Floats
    export_stored_above_share: Floats
    by_need: ByNeed | None = None


@dataclass(frozen=True)
class Frame:
    """What does not change in a search; flags and days are (slots,).

    `plan` is that of a year of charging without hold-back. `planned_day`: the day that a slot's charging is for.
    `charging`: where the supply charges. `held_back`: where energy is kept for the dearest rate. `serves_on_solar`: where
    the cells serve loads on days of solar only. `kinds` (K, 365): the forecast of each day, None without forecasts.
    `outlook`: what is to be expected of a day.
    """

    plan: SlotPlan
    planned_day: NDArray[np.int64]
    charging: Flags
    held_back: Flags
    serves_on_solar: Flags
    kinds: NDArray[np.int64] | None
    outlook: Outlook


def plain() -> Running:
    """Return the plain rule: charge to full in every window of the year, hold nothing back, export nothing stored."""
    return Running(np.ones((MONTHS, 1)), np.zeros(DAYS, dtype=bool), np.zeros(MONTHS), np.ones(MONTHS))


def plan_of(frame: Frame, running: Running) -> SlotPlan:
    """Return the plan of the year's slots for a way of running the battery."""
    plan, month, by_need = frame.plan, MONTH_OF_DAY[frame.planned_day], running.by_need
    solar = running.solar_days[frame.planned_day]
    held = np.where(frame.held_back, running.hold_back_share[plan.month], 0.0)
    if frame.kinds is None or running.target_share.shape[1] == 1:
        target = running.target_share[month, 0]
    else:
        target = running.target_share[month[None, :], frame.kinds[:, frame.planned_day]]
    return replace(
        plan,
        grid_charge_on=(frame.charging & ~solar).astype(np.int64),
        discharge_on=np.where(solar, frame.serves_on_solar, plan.discharge_on != 0).astype(np.int64),
        target_share=target,
        need=None if by_need is None else frame.outlook.rule(frame.planned_day, **vars(by_need)),
        reserve_share=np.maximum(plan.reserve_share, held),
        export_stored_above_share=running.export_stored_above_share[plan.month],
    )
