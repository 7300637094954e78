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
from riskcalc.ordered import product

#: Occupants behind the published cycles per year: mean household size of England, Census 2001 (from memory).
TABLE_OCCUPANTS = 2.36
#: Active use grows with the number of people to this power. Common practice, no source.
OCCUPANTS_POWER = 0.5
#: Energy of one charge of a car [kWh] unless the year needs more on every day. Common practice, no source.
CAR_CHARGE_KWH = 8.0
#: Least and most that frequencies of use are stretched to meet the annual figure; what lies outside is asked about.
LEAST_OFTEN, MOST_OFTEN = 0.2, 1.25
USUAL_OFTEN = (0.5, 2.0)
#: What no list names: its steady share, and the power and length of the rest. The Household Electricity Survey 2010-11
#: leaves 819 of some 4,000 kWh a year without a name; how it is spread was set by the minutes of one measured home.
UNLISTED_STEADY, UNLISTED_W, UNLISTED_MINUTES = 0.3, 400.0, 120
#: Stands for use without a name that never rests, and its share of a year without heat: the survey's 819 of some 4,000 kWh. Most
#: of its homes heat without electricity. That all of it runs steadily is judgement.
UNNAMED, UNNAMED_SHARE = "other_always_on", 0.2
HEAT = ("heating_rooms", "heating_at_home", "hot_water")
#: Activities that do not grow with the number of people.
NOT_BY_PEOPLE = ("heating", "heating_rooms", "cooling")


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


@dataclass(frozen=True)
class Household:
    """Who lives in the home and when they are at home and busy.

    `presence` (years, patterns, bins), `busy` (years, 365) and `darkness` (365, bins) as from `habits`.
    """

    occupants: float
    home_share: float
    presence: NDArray[np.float64]
    busy: NDArray[np.float64]
    darkness: NDArray[np.float32]
    southern: bool


def household_loads(owned: Mapping[str, str], household: Household) -> list[Load]:
    """Return the loads of a home, without the car, from its appliances and their reach."""
    return [_load(appliance_table()[key], household, in_reach=reach == "unit") for key, reach in owned.items()]


def _load(appliance: Appliance, household: Household, *, in_reach: bool) -> Load:
    """Return one appliance as the compiled loop sees it.

    Proposals per day are the published cycles divided by the share that will be accepted in a home out on 1 -
    `home_share` of the weekdays, so the published energy is met in every year of that home, early or late riser.
    """
    kind = _kind(appliance)
    cycles = np.full(len(household.presence), appliance.cycles_per_year / DAYS)
    if kind not in (synthesis.CONSTANT, synthesis.THERMOSTAT) and appliance.activity not in NOT_BY_PEOPLE:
        cycles *= (household.occupants / TABLE_OCCUPANTS) ** OCCUPANTS_POWER
    power_w = appliance.mean_cycle_power_w - appliance.standby_w
    kwh = float(cycles[0]) * DAYS * appliance.cycle_length_min * power_w / 60_000.0
    if appliance.appliance_class == "at_home":
        cycles = cycles / _accepted_share(appliance.activity, household, lamps=kind == synthesis.LAMPS)
    elif appliance.appliance_class == "movable":
        cycles = cycles / (household.busy * habits.season(appliance.activity, southern=household.southern)).mean(axis=1)
    return Load(appliance, in_reach, kind, power_w, int(appliance.cycle_length_min), cycles, kwh)


def car_load(appliance: Appliance, *, in_reach: bool, kwh_per_year: float, charger_w: float, years: int) -> Load:
    """Return the load of a car on a socket charger: at most one charge a day, longer ones if the year needs them.

    Raises
    ------
    InputError
        If the charger cannot give that much in a year.
    """
    wrong = car_problem(kwh_per_year, charger_w)
    if wrong:
        raise one_problem("scenario", "home.car_kwh_per_year", *wrong)
    charge_kwh = max(CAR_CHARGE_KWH, kwh_per_year / DAYS)
    length = min(max(1, round(charge_kwh * 60_000.0 / charger_w)), MINUTES_PER_DAY)
    per_day = kwh_per_year / DAYS / (length * charger_w / 60_000.0)
    daily = np.full(years, min(per_day, 1.0))
    return Load(appliance, in_reach, synthesis.VEHICLE, charger_w, length, daily, kwh_per_year)


def stretched(
    loads: list[Load], annual_use_kwh: float, household: Household
) -> tuple[list[Load], str, tuple[tuple[str, str, str, str, str], ...]]:
    """Bring the expected energy to the annual figure; always-on loads stay, but what has no name takes its share of it.

    What is used is used more or less often, up to MOST_OFTEN times the published mean. What is still missing then is use
    that the list does not name: a part of it steady, the rest at home and awake.

    Returns
    -------
    tuple
        The loads, a note for the report, and what is unlikely about it: key, given, usual, effect, source.
    """
    heat_kwh = sum(load.kwh_per_year for load in loads if load.appliance.activity in HEAT)
    cold_kwh = max(annual_use_kwh - heat_kwh, 0.0)
    listed_kwh = _steady_kwh(loads)
    loads = [_unnamed(load, cold_kwh) if load.appliance.key == UNNAMED else load for load in loads]
    steady = _steady_kwh(loads)
    events = sum(load.kwh_per_year for load in loads if load.appliance.appliance_class != "always_on")
    if events <= 0.0:
        return loads, "", ()
    wanted = (annual_use_kwh - steady) / events
    factor = float(np.clip(wanted, LEAST_OFTEN, MOST_OFTEN))
    note = f"frequency of use is {factor:.2f} times the published mean, to meet {annual_use_kwh:,.0f} kWh a year"
    out = [_more_often(load, factor) for load in loads]
    missing_kwh = annual_use_kwh - steady - factor * events
    if wanted > MOST_OFTEN:
        in_reach = all(load.in_reach for load in loads)
        out += [_load(appliance, household, in_reach=in_reach) for appliance in _unlisted(missing_kwh, household)]
        note += f"; {missing_kwh:,.0f} kWh are use that the list does not name, so check the list of appliances"
    elif wanted < LEAST_OFTEN:
        note += "; the rest is met by scaling power, so check the list of appliances"
    # Whether the list is right is asked of the list as it is published, its use without a name included.
    often = (annual_use_kwh - listed_kwh) / events
    if USUAL_OFTEN[0] <= often <= USUAL_OFTEN[1]:
        return out, note, ()
    least, published, most = (listed_kwh + share * events for share in (USUAL_OFTEN[0], 1.0, USUAL_OFTEN[1]))
    given = f"{annual_use_kwh:,.0f} kWh a year; used as often as usual, the listed appliances take {published:,.0f} kWh"
    usual = f"{least:,.0f} to {most:,.0f} kWh for this list"
    effect = "the list may lack an appliance" if often > USUAL_OFTEN[1] else "the list may hold too many appliances"
    return out, note, (("home.annual_use_kwh", given, usual, effect, "judgement"),)


def _steady_kwh(loads: list[Load]) -> float:
    """Return what never rests takes in a year, standby included [kWh]."""
    standby = sum(load.appliance.standby_w * 8.76 for load in loads)
    return standby + sum(load.kwh_per_year for load in loads if load.appliance.appliance_class == "always_on")


def _unnamed(load: Load, cold_kwh: float) -> Load:
    """Return the use without a name with its share of a year without heat [kWh], as steady watts."""
    watts = UNNAMED_SHARE * cold_kwh / 8.76
    return replace(load, appliance=replace(load.appliance, mean_cycle_power_w=watts, standby_w=watts))


def _unlisted(kwh: float, household: Household) -> tuple[Appliance, Appliance]:
    """Return what stands for use that no list names: steady watts, and things that run for hours."""
    people = (household.occupants / TABLE_OCCUPANTS) ** OCCUPANTS_POWER
    steady_w = UNLISTED_STEADY * kwh / 8.76
    cycles = (1.0 - UNLISTED_STEADY) * kwh / (UNLISTED_W * UNLISTED_MINUTES / 60_000.0) / people
    common = {"usually": "elsewhere", "ownership": 1.0, "stated_kwh_per_year": None, "source": "use that no list names"}
    return (
        Appliance("unlisted_steady", "always_on", steady_w, 0, 0.0, steady_w, activity="constant", **common),  # type: ignore[arg-type]
        Appliance(
            "unlisted_use",
            "at_home",
            UNLISTED_W,
            UNLISTED_MINUTES,
            cycles,
            0.0,
            activity="screen",
            **common,  # type: ignore[arg-type]
        ),
    )


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
    if appliance.activity == "hot_water":
        return synthesis.HEAT
    return synthesis.LAMPS if appliance.activity == "lighting" else synthesis.EVENTS


def _accepted_share(activity: str, household: Household, *, lamps: bool) -> NDArray[np.float64]:
    """Share of proposed starts that meet somebody at home (and, for lamps, the dark), by year."""
    profile = habits.activity_share()[habits.activity_names().index(activity)]
    season = habits.season(activity, southern=household.southern) * household.busy
    wanted = product(season, household.darkness) / DAYS if lamps else season.mean(axis=1)[:, None]
    home, away, weekend = (
        (profile[int(pattern == habits.WEEKEND)] * household.presence[:, pattern] * wanted).sum(axis=1)
        for pattern in (habits.HOME, habits.AWAY, habits.WEEKEND)
    )
    share = household.home_share
    return np.asarray((5.0 * (share * home + (1.0 - share) * away) + 2.0 * weekend) / 7.0)
