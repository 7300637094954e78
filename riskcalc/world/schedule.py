"""The year's slots: which rate holds, when the battery is charged from the supply, when it serves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MONTH_LENGTHS, LocalClock, local_clock
from riskcalc.dispatch import SlotPlan
from riskcalc.errors import one_problem
from riskcalc.money.price_series import PriceSeries, rate_weights, read_price_series
from riskcalc.money.tariff import rate_of_slot, slot_minutes, slots_in_windows, window_minutes
from riskcalc.scenario import Scenario
from riskcalc.uncertainty.distributions import mean

#: Movable loads that move to cheap hours need a window; without one they are moved into the night.
_NIGHT = (0, 6 * 60)


def clock_of(scenario: Scenario) -> LocalClock:
    """Return the wall clock of the site, with slots short enough for every window of the scenario.

    Raises
    ------
    InputError
        If the time step of demand does not divide that slot.
    """
    windows = [window for rate in scenario.tariff.rates.values() for window in rate.windows or ()]
    windows += scenario.dispatch.off_hours or ()
    slot = slot_minutes(windows, zone=scenario.site.zone)
    series = price_series(scenario)
    if series is not None:
        slot = min(slot, series.interval_minutes)
    step = scenario.study.step_minutes
    if slot % step:
        accepted = f"a divisor of {slot}, because the windows or prices of the tariff change within the hour"
        raise one_problem(scenario.name, "study.step_minutes", step, accepted)
    return local_clock(scenario.site.zone, slot_minutes=slot)


def slot_plan(scenario: Scenario, clock: LocalClock) -> SlotPlan:
    """Return rates and switching of every slot of the year."""
    rates = list(scenario.tariff.rates)
    rate = rate_of_slot(scenario.tariff.rates, clock, file=scenario.name)
    dispatch, kit = scenario.dispatch, scenario.kit
    charging = np.isin(rate, [rates.index(name) for name in dispatch.charge_at])
    serving = ~charging
    if dispatch.discharge_at is not None:
        serving = np.isin(rate, [rates.index(name) for name in dispatch.discharge_at])
    can_charge = kit is not None and kit.charger is not None and kit.battery is not None
    off = slots_in_windows(dispatch.off_hours, clock) if dispatch.off_hours else np.zeros(clock.slots, dtype=bool)
    target = np.broadcast_to(np.asarray(dispatch.target_share, dtype=np.float64), (12,))[clock.month]
    return SlotPlan(
        slot_minutes=clock.slot_minutes,
        month=clock.month,
        day=clock.day,
        hour=np.arange(clock.slots) * clock.slot_minutes // 60,
        rate=rate,
        rate_weight=slot_weights(scenario, rate, minutes=clock.slot_minutes),
        discharge_on=serving.astype(np.int64),
        inverter_on=(~off).astype(np.int64),
        grid_charge_on=(charging & ~_solar_only(scenario, clock) & can_charge).astype(np.int64),
        target_share=target,
        reserve_share=np.full(clock.slots, dispatch.reserve_share),
    )


def price_series(scenario: Scenario) -> PriceSeries | None:
    """Return the prices of the tariff's file on the standard-time year, None if it names none."""
    if scenario.tariff.series is None:
        return None
    return read_price_series(scenario.data_path("tariff.series.file"), zone=scenario.site.zone)


def slot_weights(scenario: Scenario, rate: NDArray[np.int64], *, minutes: int) -> NDArray[np.float64]:
    """Return what each slot costs over the price of its rate: 1 unless a file of prices says otherwise, (slots,)."""
    series = price_series(scenario)
    if series is None:
        return np.ones(len(rate))
    file = str(scenario.data_path("tariff.series.file"))
    return rate_weights(series.of_slots(minutes), rate, names=list(scenario.tariff.rates), file=file)


def moved_window(scenario: Scenario) -> tuple[int, int] | None:
    """Return the minutes of the day that movable loads move to, None for the sunny hours."""
    if scenario.home.moved_to == "sun":
        return None
    rates = [rate for rate in scenario.tariff.rates.values() if rate.windows]
    if not rates:
        return _NIGHT
    cheapest = min(rates, key=lambda rate: mean(rate.import_price_per_kwh))
    return window_minutes((cheapest.windows or ("00:00-06:00",))[0])


def _solar_only(scenario: Scenario, clock: LocalClock) -> NDArray[np.bool_]:
    """Return the slots between the two switch dates, both days included; the season may span new year."""
    start, end = scenario.dispatch.solar_only_from, scenario.dispatch.solar_only_until
    if start is None or end is None:
        return np.zeros(clock.slots, dtype=bool)
    first, last = _day_of_year(start), _day_of_year(end)
    if first <= last:
        return (clock.day >= first) & (clock.day <= last)
    return (clock.day >= first) | (clock.day <= last)


def _day_of_year(month_day: str) -> int:
    month, day = (int(part) for part in month_day.split("-"))
    return int(MONTH_LENGTHS[: month - 1].sum()) + day - 1
