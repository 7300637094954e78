"""The year's slots: which rate holds, when the battery is charged from the supply, when it serves."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_LENGTHS, LocalClock, local_clock
from riskcalc.dispatch import SlotPlan
from riskcalc.errors import one_problem
from riskcalc.price_series import PriceSeries, rate_weights, read_price_series
from riskcalc.scenario import FOUND, Scenario
from riskcalc.tariff import rate_of_slot, slot_minutes, slots_in_windows, window_minutes


def cheapest_of_day(
    price: NDArray[np.float64],
    day: NDArray[np.int64],
    allowed: NDArray[np.bool_],
    *,
    hours: float,
    slot_minutes: int,
) -> NDArray[np.bool_]:
    """Return the slots, (slots,), that belong to the cheapest `hours` of their day among those allowed.

    Slots are taken whole, the count rounded to the nearest; of equal prices the earlier comes first. A day that has fewer
    allowed hours keeps all of them. Limiting case: 24 hours keep everything allowed.

    Parameters
    ----------
    price : what a kWh costs in each slot, (slots,)
    day : day of the year on the wall clock, 0 to 364, (slots,)
    allowed : slots to choose from, (slots,)
    hours : hours to take of each day
    slot_minutes : length of a slot
    """
    wanted = round(hours * 60 / slot_minutes)
    order = np.lexsort((np.arange(len(price)), price, ~allowed, day))
    starts = np.searchsorted(day[order], day[order])
    rank = np.empty(len(price), dtype=np.int64)
    rank[order] = np.arange(len(price)) - starts
    return allowed & (rank < wanted)


#: Movable loads that move to cheap hours need a window; without one they are moved into the night.
_NIGHT = (0, 6 * 60)
HOURS_PER_DAY = 24.0


def clock_of(scenario: Scenario) -> LocalClock:
    """Return the wall clock of the site, with slots short enough for every window of the scenario.

    Raises
    ------
    InputError
        If the time step of demand does not divide that slot.
    """
    windows = [window for rate in scenario.tariff.rates.values() for window in rate.windows or ()]
    windows += scenario.dispatch.off_hours or ()
    windows += (scenario.kit.fixed_power_hours if scenario.kit is not None else None) or ()
    slot = slot_minutes(windows, zone=scenario.site.zone)
    series = price_series(scenario)
    if series is not None:
        slot = min(slot, series.interval_minutes)
    step = scenario.study.step_minutes
    if slot % step:
        accepted = f"a divisor of {slot}, because the windows or prices of the tariff change within the hour"
        raise one_problem(scenario.file, "study.step_minutes", step, accepted)
    return local_clock(scenario.site.zone, slot_minutes=slot)


def slot_plan(scenario: Scenario, clock: LocalClock) -> SlotPlan:
    """Return rates and switching of every slot of the year."""
    rate = rate_of_slot(scenario.tariff.rates, clock, file=scenario.file)
    dispatch = scenario.dispatch
    on_solar = solar_only_days(scenario)[clock.day]
    off = np.full(clock.slots, passes_mains_only(scenario))
    if dispatch.off_hours:
        off |= slots_in_windows(dispatch.off_hours, clock)
    given, output_share = forced_output(scenario, clock)
    serves = serving_slots(scenario, rate, on_solar=on_solar)
    if scenario.kit is not None and scenario.kit.control == "fixed":
        serves &= given
    held = np.where(hold_back_slots(scenario, rate), _monthly(dispatch.hold_back_share, 0.0)[clock.month], 0.0)
    return SlotPlan(
        slot_minutes=clock.slot_minutes,
        month=clock.month,
        day=clock.day,
        start_minute=np.arange(clock.slots) * clock.slot_minutes,
        rate=rate,
        rate_weight=slot_weights(scenario, rate, minutes=clock.slot_minutes),
        discharge_on=serves.astype(np.int64),
        inverter_on=(~off).astype(np.int64),
        grid_charge_on=(charge_slots(scenario, rate) & ~on_solar).astype(np.int64),
        target_share=_monthly(dispatch.target_share, 1.0)[clock.month],
        reserve_share=np.maximum(held, dispatch.reserve_share),
        export_stored_on=(selling_slots(scenario, rate) | given).astype(np.int64),
        export_stored_above_share=np.where(given, 0.0, _monthly(dispatch.export_stored_above_share, 1.0)[clock.month]),
        output_share=output_share,
        lag_minutes=(scenario.kit.meter_lag_seconds or 0.0) / 60.0 if scenario.kit is not None else 0.0,
    )


def forced_output(scenario: Scenario, clock: LocalClock) -> tuple[NDArray[np.bool_], NDArray[np.float64]]:
    """Return the slots in which a unit gives its power whether the home needs it or not, and the share of its rating.

    What the home does not need then goes to the grid, from the sun first, then from the battery.
    """
    kit = scenario.kit
    if kit is None or kit.control == "meter":
        return np.zeros(clock.slots, dtype=bool), np.ones(clock.slots)
    hours = kit.fixed_power_hours
    given = np.ones(clock.slots, dtype=bool) if not hours else slots_in_windows(hours, clock)
    power_w = kit.inverter.rating_w if kit.fixed_power_w is None else kit.fixed_power_w
    return given, np.where(given, min(power_w / kit.inverter.rating_w, 1.0), 1.0)


def passes_mains_only(scenario: Scenario) -> bool:
    """Return whether the kit leaves its loads to the mains while they are there, so that sun and battery serve nothing."""
    kit = scenario.kit
    return kit is not None and kit.coupling.traits.between_mains and kit.runs_from_battery_on_mains is False


def charge_slots(scenario: Scenario, rate: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return the slots in which the supply may fill the battery, (slots,), the season on solar only aside."""
    kit = scenario.kit
    can_charge = kit is not None and kit.charger is not None and kit.battery is not None
    return _charging(scenario, rate) & can_charge


def serving_slots(scenario: Scenario, rate: NDArray[np.int64], *, on_solar: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the slots in which the battery may serve loads, (slots,): while on solar only at every rate, unless said."""
    dispatch = scenario.dispatch
    if dispatch.discharge_at is not None:
        return _at_rates(scenario, rate, dispatch.discharge_at)
    return ~_charging(scenario, rate) | on_solar


def selling_slots(scenario: Scenario, rate: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return the slots in which stored energy may be exported, (slots,), charging from the supply aside."""
    dispatch = scenario.dispatch
    at_rates = _at_rates(scenario, rate, dispatch.export_stored_at)
    if not at_rates.any() or dispatch.export_stored_hours_per_day >= HOURS_PER_DAY:
        return at_rates
    clock = clock_of(scenario)
    # One price of export holds for every rate: what differs between hours is the weight of the series, if it counts.
    paid = slot_weights(scenario, rate, minutes=clock.slot_minutes) if export_follows(scenario) else np.ones(len(rate))
    free = at_rates & ~_charging(scenario, rate)
    hours = dispatch.export_stored_hours_per_day
    # Read backwards, so that of equal prices the later hours count: by then it is known what the home has left over.
    found = cheapest_of_day(-paid[::-1], clock.day[::-1], free[::-1], hours=hours, slot_minutes=clock.slot_minutes)
    return found[::-1]


def hold_back_slots(scenario: Scenario, rate: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return the slots in which energy may be kept for the dearest rate, (slots,).

    Those at cheaper rates after which the dearest comes before the cells are charged again: from the end of charging to
    the last dear slot. After that one what was kept is free until the next charging, on days without charging until
    midnight, when the wait for the next day's dear slots begins.
    """
    rates = scenario.tariff.rates
    price = {name: rates[name].import_price_per_kwh.expected() for name in rates}
    cheaper = _at_rates(scenario, rate, [name for name in rates if price[name] < max(price.values())])
    charging, day = _charging(scenario, rate), clock_of(scenario).day
    charges = np.zeros(int(day.max()) + 1, dtype=bool)  # south, the last hour of summer time is on 1 January
    charges[day[charging]] = True
    midnight = (day != np.roll(day, -1)) & ~charges[day]
    held = np.zeros(len(rate), dtype=bool)
    awaited = False
    # Backwards, over new year once: what comes next, a dear slot or charging?
    for slot in [*range(len(rate) - 1, -1, -1)] * 2:
        if midnight[slot] or charging[slot]:
            awaited = False
        if not cheaper[slot] and not charging[slot]:
            awaited = True
        held[slot] = awaited and cheaper[slot] and not charging[slot]
    return held


def _charging(scenario: Scenario, rate: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return the slots at the rates to charge at, (slots,), of every day the cheapest hours that the scenario asks for."""
    dispatch, rates = scenario.dispatch, scenario.tariff.rates
    at_rates = _at_rates(scenario, rate, dispatch.charge_at)
    if dispatch.cheapest_hours_per_day >= HOURS_PER_DAY:
        return at_rates
    clock = clock_of(scenario)
    level = np.array([rates[name].import_price_per_kwh.expected() for name in rates])
    price = level[rate] * slot_weights(scenario, rate, minutes=clock.slot_minutes)
    return cheapest_of_day(
        price, clock.day, at_rates, hours=dispatch.cheapest_hours_per_day, slot_minutes=clock.slot_minutes
    )


def _at_rates(scenario: Scenario, rate: NDArray[np.int64], names: Iterable[str]) -> NDArray[np.bool_]:
    order = list(scenario.tariff.rates)
    return np.isin(rate, [order.index(name) for name in names])


def _monthly(given: object, when_found: float) -> NDArray[np.float64]:
    """Return twelve shares; `when_found` where the scenario leaves them to be found."""
    share = when_found if given == FOUND else given
    return np.broadcast_to(np.asarray(share, dtype=np.float64), (12,))


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


def export_follows(scenario: Scenario) -> bool:
    """Return whether the weights of a series of prices hold for export too."""
    return scenario.tariff.series is None or scenario.tariff.series.export_follows


def moved_window(scenario: Scenario) -> tuple[int, int] | None:
    """Return the minutes of the day that movable loads move to, None for the sunny hours."""
    if scenario.home.moved_to == "sun":
        return None
    rates = [rate for rate in scenario.tariff.rates.values() if rate.windows]
    if not rates:
        return _NIGHT
    cheapest = min(rates, key=lambda rate: rate.import_price_per_kwh.expected())
    return window_minutes((cheapest.windows or ("00:00-06:00",))[0])


def solar_only_days(scenario: Scenario) -> NDArray[np.bool_]:
    """Return the days between the two switch dates, (365,), both included; the season may span new year."""
    start, end = scenario.dispatch.solar_only_from, scenario.dispatch.solar_only_until
    if start is None or end is None:
        return np.zeros(DAYS, dtype=bool)
    first, last, day = _day_of_year(start), _day_of_year(end), np.arange(DAYS)
    if first <= last:
        return (day >= first) & (day <= last)
    return (day >= first) | (day <= last)


def _day_of_year(month_day: str) -> int:
    month, day = (int(part) for part in month_day.split("-"))
    return int(MONTH_LENGTHS[: month - 1].sum()) + day - 1
