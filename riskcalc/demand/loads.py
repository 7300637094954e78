"""From rows of the table to loads: how often each appliance is proposed so that its published cycles come out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MINUTES_PER_DAY
from riskcalc.demand import habits, synthesis
from riskcalc.demand.appliances import Appliance, appliance_table, car_problem
from riskcalc.errors import one_problem

#: Occupants behind the published cycles per year: mean household size of England, Census 2001 (from memory).
TABLE_OCCUPANTS = 2.36
#: Active use grows with the number of people to this power. Common practice, no source.
OCCUPANTS_POWER = 0.5
#: Energy of one charge of a car [kWh] unless the year needs more on every day. Common practice, no source.
CAR_CHARGE_KWH = 8.0
#: Most and least that frequencies of use are stretched to meet the annual figure before power is scaled.
USE_FACTOR_BOUNDS = (0.2, 4.0)


@dataclass(frozen=True)
class Load:
    """One appliance as the compiled loop sees it.

    `power_w` above standby; `daily_cycles` proposed per day of each pool year (years,), before those that meet
    nobody at
    home or daylight are dropped; `kwh_per_year` what the cycles take above standby.
    """

    appliance: Appliance
    in_reach: bool
    kind: int
    power_w: float
    length_min: int
    daily_cycles: NDArray[np.float64]
    kwh_per_year: float


def household_loads(
    owned: Mapping[str, str],
    *,
    occupants: float,
    home_share: float,
    presence: NDArray[np.float64],
    darkness: NDArray[np.float32],
    southern: bool,
) -> list[Load]:
    """Return the loads of a home, without the car.

    Proposals per day are the published cycles divided by the share that will be accepted in a home out on 1 -
    `home_share`
    of the weekdays, so the published energy is met in every year of that home, early or late riser. `presence`
    (years,
    patterns, bins) and `darkness` (365, bins) as from `habits`.
    """
    people = (occupants / TABLE_OCCUPANTS) ** OCCUPANTS_POWER
    loads = []
    for key, reach in owned.items():
        appliance = appliance_table()[key]
        kind = _kind(appliance)
        cycles = np.full(len(presence), appliance.cycles_per_year / DAYS)
        if kind in (synthesis.EVENTS, synthesis.LAMPS) and appliance.activity != "heating":
            cycles *= people
        power_w = appliance.mean_cycle_power_w - appliance.standby_w
        kwh = float(cycles[0]) * DAYS * appliance.cycle_length_min * power_w / 60_000.0
        if appliance.appliance_class == "at_home":
            light = darkness if kind == synthesis.LAMPS else None
            cycles = cycles / _accepted_share(
                appliance.activity, presence, light, home_share=home_share, southern=southern
            )
        length = int(appliance.cycle_length_min)
        loads.append(Load(appliance, reach == "unit", kind, power_w, length, cycles, kwh))
    return loads


def car_load(
    appliance: Appliance, *, in_reach: bool, kwh_per_year: float, charger_w: float, years: int, file: str = "scenario"
) -> Load:
    """Return the load of a car on a socket charger: at most one charge a day, longer ones if the year needs them.

    Raises
    ------
    InputError
        If the charger cannot give that much in a year.
    """
    wrong = car_problem(kwh_per_year, charger_w)
    if wrong:
        raise one_problem(file, "home.car_kwh_per_year", *wrong)
    charge_kwh = max(CAR_CHARGE_KWH, kwh_per_year / DAYS)
    length = min(max(1, round(charge_kwh * 60_000.0 / charger_w)), MINUTES_PER_DAY)
    per_day = kwh_per_year / DAYS / (length * charger_w / 60_000.0)
    daily = np.full(years, min(per_day, 1.0))
    return Load(appliance, in_reach, synthesis.VEHICLE, charger_w, length, daily, kwh_per_year)


def stretched(loads: list[Load], annual_use_kwh: float) -> tuple[list[Load], str]:
    """Stretch the frequency of use so that expected energy meets the annual figure; always-on loads stay.

    Returns the loads and a note for the report.
    """
    standby = sum(load.appliance.standby_w * 8.76 for load in loads)
    steady = standby + sum(load.kwh_per_year for load in loads if load.appliance.appliance_class == "always_on")
    events = sum(load.kwh_per_year for load in loads if load.appliance.appliance_class != "always_on")
    if events <= 0.0:
        return loads, ""
    wanted = (annual_use_kwh - steady) / events
    factor = float(np.clip(wanted, *USE_FACTOR_BOUNDS))
    note = f"frequency of use is {factor:.2f} times the published mean, to meet {annual_use_kwh:.0f} kWh a year"
    if factor != wanted:
        note += "; the rest is met by scaling power, so check the list of appliances"
    return [_more_often(load, factor) for load in loads], note


def cycle_shapes(
    loads: list[Load], phases: Mapping[str, tuple[tuple[int, float], ...]]
) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Return the minutes above standby [W] of shaped cycles, one after the other, and where each load's begin."""
    parts: list[NDArray[np.float64]] = []
    first = [0]
    for load in loads:
        rows = phases.get(load.appliance.key, ())
        watts = np.repeat([power for _, power in rows], [minutes for minutes, _ in rows]).astype(float)
        if watts.size:
            watts = watts * (load.appliance.mean_cycle_power_w / watts.mean()) - load.appliance.standby_w
        parts.append(watts)
        first.append(first[-1] + watts.size)
    # One unused minute at the end: the compiled loop wants an array even where no cycle has a shape.
    joined = np.concatenate([*parts, np.zeros(1)]).astype(np.float32)
    return joined, np.array(first, dtype=np.int64)


def _more_often(load: Load, factor: float) -> Load:
    if load.appliance.appliance_class == "always_on":
        return load
    return replace(load, daily_cycles=load.daily_cycles * factor, kwh_per_year=load.kwh_per_year * factor)


def _kind(appliance: Appliance) -> int:
    if appliance.cycles_per_year == 0.0:
        return synthesis.CONSTANT
    if appliance.activity == "thermostat":
        return synthesis.THERMOSTAT
    return synthesis.LAMPS if appliance.activity == "lighting" else synthesis.EVENTS


def _accepted_share(
    activity: str,
    presence: NDArray[np.float64],
    light: NDArray[np.float32] | None,
    *,
    home_share: float,
    southern: bool,
) -> NDArray[np.float64]:
    """Share of proposed starts that meet somebody at home (and, for lamps, the dark), by year."""
    profile = habits.activity_share()[habits.activity_names().index(activity)]
    season = habits.season(activity, southern=southern)[:, None]
    wanted = season.mean() if light is None else (light * season).mean(axis=0)
    home, away, weekend = (
        (profile[int(pattern == habits.WEEKEND)] * presence[:, pattern] * wanted).sum(axis=1)
        for pattern in (habits.HOME, habits.AWAY, habits.WEEKEND)
    )
    return (5.0 * (home_share * home + (1.0 - home_share) * away) + 2.0 * weekend) / 7.0
