"""Pool years of one home from appliance events."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MINUTES_PER_YEAR, LocalClock
from riskcalc.demand import habits, synthesis
from riskcalc.demand.appliances import CAR, Appliance, appliance_table, check_appliances, cycle_phases
from riskcalc.demand.pool import DemandPool, balanced_ranks

#: Movable use that is moved starts between these minutes of the day unless the caller says otherwise: the sunny hours.
SUNNY_WINDOW = (600, 900)
#: Occupants behind the published cycles per year: mean household size of England, Census 2001 (from memory).
TABLE_OCCUPANTS = 2.36
#: Active use grows with the number of people to this power. Common practice, no source.
OCCUPANTS_POWER = 0.5
#: Energy of one charge of a car [kWh] unless the yearly energy needs more on every day. Common practice, no source.
CAR_CHARGE_KWH = 8.0
#: Most and least that frequencies of use are stretched to meet the annual figure before power is scaled.
USE_FACTOR_BOUNDS = (0.2, 4.0)

_SOURCE = (
    "appliance power, cycle length and yearly cycles: Richardson, Thomson, Infield & Clifford, Energy and Buildings 42 (2010) "
    "1878-1887; lighting total: Household Electricity Survey 2010-11; times of day and hours at home: own profiles"
)
_CLASS_GROUP = {"always_on": synthesis.ALWAYS_ON, "at_home": synthesis.AT_HOME, "movable": synthesis.MOVABLE}
_RANK = {  # stream: (rank_row, rank_below, scale_row)
    "always": (-1, True, 0),
    "home_day": (0, True, 0),
    "away_day": (0, False, 0),
    "movable_usual": (1, False, 0),
    "movable_moved": (1, True, 0),
    "car": (1, False, 1),
    "car_moved": (1, True, 1),
}


@dataclass(frozen=True)
class _Load:
    """One appliance as the compiled loop sees it."""

    appliance: Appliance
    in_reach: bool
    kind: int
    power_w: float
    length_min: int
    daily_cycles: float
    kwh_per_year: float


def appliance_years(
    appliances: Mapping[str, str],
    *,
    clock: LocalClock,
    years: int,
    seed: int,
    occupants: float = 2,
    step_minutes: int = 1,
    annual_use_kwh: float | None = None,
    home_share: float = 0.4,
    moved_share: float = 0.0,
    moved_window: tuple[int, int] = SUNNY_WINDOW,
    car_kwh_per_year: float = 0.0,
    car_charger_w: float = 2300.0,
    latitude_deg: float = 52.0,
    longitude_deg: float | None = None,
    threads: int = 2,
) -> DemandPool:
    """Return pool years of a home with these appliances.

    Parameters
    ----------
    appliances
        Key of the table -> "unit" (can be plugged into the kit) or "elsewhere".
    clock
        Wall clock of the site; its slots are those of the pool.
    years, seed
        Number of pool years and the seed; year k does not depend on the number of years.
    occupants
        People living in the home: longer hours awake, more frequent use.
    step_minutes
        Resolution; must divide the slot.
    annual_use_kwh
        Central annual figure of the household [kWh]. Frequencies of use (not power) are stretched to meet it at `home_share`
        and `moved_share`, so that `DemandPool.household_scale` stays near 1 and a kettle keeps its watts. None: the table's cycles.
    moved_window
        First and last minute of the local day for moved use; may wrap past midnight.
    car_kwh_per_year, car_charger_w
        Energy [kWh] and power [W] of a car on a socket charger; reach "car" in `appliances`, else "elsewhere".
    latitude_deg, longitude_deg
        For darkness; without a longitude mean solar noon is taken at 12:00 standard time.
    threads
        Number of threads; the result does not depend on it.

    Raises
    ------
    InputError
        If an appliance is unknown or its reach is neither "unit" nor "elsewhere".
    """
    check_appliances(appliances)
    if clock.slot_minutes % step_minutes:
        raise ValueError(f"step_minutes: {step_minutes}; accepted: a divisor of the slot, {clock.slot_minutes}")
    table = appliance_table()
    darkness = _darkness(clock, latitude_deg, longitude_deg)
    southern = latitude_deg < 0.0
    owned = {key: reach for key, reach in appliances.items() if key != CAR}
    loads = _household_loads(owned, occupants, home_share, darkness, southern=southern)
    loads, note = _stretched(loads, annual_use_kwh)
    if car_kwh_per_year > 0.0:
        loads.append(_car_load(table[CAR], appliances.get(CAR, "elsewhere") == "unit", car_kwh_per_year, car_charger_w))
    streams = _present_streams(loads)
    weekend = _weekend_days(clock)
    generator = np.random.default_rng([seed, 7919])
    ranks = np.stack(
        [
            balanced_ranks(generator, years=years, days=~weekend),
            balanced_ranks(generator, years=years, days=np.ones(DAYS, dtype=bool)),
        ],
        axis=1,
    )
    reachable_w = np.empty((years, len(streams), MINUTES_PER_YEAR // step_minutes), dtype=np.float32)
    wired_w = np.empty((years, len(streams), clock.slots), dtype=np.float32)
    _fill(
        reachable_w, wired_w, loads, streams, seed=seed, clock=clock, weekend=weekend, occupants=occupants,
        darkness=darkness, southern=southern, moved_window=moved_window, step_minutes=step_minutes, threads=threads,
    )  # fmt: skip
    return DemandPool(
        reachable_w=reachable_w,
        wired_w=wired_w,
        basis=streams,
        rank_row=np.array([_RANK[name][0] for name in streams]),
        rank_below=np.array([_RANK[name][1] for name in streams]),
        scale_row=np.array([_RANK[name][2] for name in streams]),
        day_rank=ranks,
        step_minutes=step_minutes,
        slot_day=clock.day,
        source=_SOURCE,
        notes=(note,) if note else (),
    )


def _darkness(clock: LocalClock, latitude_deg: float, longitude_deg: float | None) -> NDArray[np.float32]:
    shift_of_day = np.zeros(DAYS, dtype=np.int64)
    shift_of_day[clock.day] = clock.shift_minutes
    lag = 0.0 if longitude_deg is None else clock.utc_offset_minutes - 4.0 * longitude_deg
    return habits.darkness(latitude_deg=latitude_deg, shift_minutes_of_day=shift_of_day, solar_lag_minutes=lag)


def _weekend_days(clock: LocalClock) -> NDArray[np.bool_]:
    weekend = np.zeros(DAYS, dtype=bool)
    weekend[clock.day] = clock.weekday >= 5
    return weekend


def _household_loads(
    owned: Mapping[str, str], occupants: float, home_share: float, darkness: NDArray[np.float32], *, southern: bool
) -> list[_Load]:
    """Turn table rows into loads; proposals per day are raised by what the hours out and the light will reject."""
    presence = habits.presence(occupants=occupants)
    share = habits.activity_share()
    people = (occupants / TABLE_OCCUPANTS) ** OCCUPANTS_POWER
    loads = []
    for key, reach in owned.items():
        appliance = appliance_table()[key]
        kind = _kind(appliance)
        per_day = appliance.cycles_per_year / DAYS
        power_w = appliance.mean_cycle_power_w - appliance.standby_w
        if kind in (synthesis.EVENTS, synthesis.LAMPS) and appliance.activity != "heating":
            per_day *= people
        kwh = per_day * DAYS * appliance.cycle_length_min * power_w / 60_000.0
        if appliance.appliance_class == "at_home":
            rows = share[habits.activity_names().index(appliance.activity)]
            light = darkness if kind == synthesis.LAMPS else np.ones_like(darkness)
            season = habits.season(appliance.activity, southern=southern)
            light_of_bin = (light * season[:, None]).mean(axis=0)
            accepted = [
                (rows[int(pattern == habits.WEEKEND)] * presence[pattern] * light_of_bin).sum() for pattern in range(habits.PATTERNS)
            ]
            per_day /= (5.0 * (home_share * accepted[0] + (1.0 - home_share) * accepted[1]) + 2.0 * accepted[2]) / 7.0
        loads.append(_Load(appliance, reach == "unit", kind, power_w, int(appliance.cycle_length_min), per_day, kwh))
    return loads


def _kind(appliance: Appliance) -> int:
    if appliance.cycles_per_year == 0.0:
        return synthesis.CONSTANT
    if appliance.activity == "thermostat":
        return synthesis.THERMOSTAT
    return synthesis.LAMPS if appliance.activity == "lighting" else synthesis.EVENTS


def _car_load(appliance: Appliance, in_reach: bool, kwh_per_year: float, charger_w: float) -> _Load:
    # One charge a day at most; where that cannot carry the year's energy, charges grow instead.
    charge_kwh = max(CAR_CHARGE_KWH, kwh_per_year / DAYS)
    length = max(1, round(charge_kwh * 60_000.0 / charger_w))
    per_day = kwh_per_year / DAYS / (length * charger_w / 60_000.0)
    return _Load(appliance, in_reach, synthesis.VEHICLE, charger_w, length, min(per_day, 1.0), kwh_per_year)


def _stretched(loads: list[_Load], annual_use_kwh: float | None) -> tuple[list[_Load], str]:
    """Stretch the frequency of use so that expected energy meets the annual figure; always-on loads stay."""
    if annual_use_kwh is None or not loads:
        return loads, ""
    standby = sum(load.appliance.standby_w * 8.76 for load in loads)
    steady = standby + sum(load.kwh_per_year for load in loads if load.appliance.appliance_class == "always_on")
    events = sum(load.kwh_per_year for load in loads if load.appliance.appliance_class != "always_on")
    if events <= 0.0:
        return loads, ""
    wanted = (annual_use_kwh - steady) / events
    factor = float(np.clip(wanted, *USE_FACTOR_BOUNDS))
    stretched = [
        load
        if load.appliance.appliance_class == "always_on"
        else replace(load, daily_cycles=load.daily_cycles * factor, kwh_per_year=load.kwh_per_year * factor)
        for load in loads
    ]
    note = f"frequency of appliance use is {factor:.2f} times the published mean, to meet {annual_use_kwh:.0f} kWh a year"
    if factor != wanted:
        note += "; the rest is met by scaling power, so check the list of appliances"
    return stretched, note


def _present_streams(loads: list[_Load]) -> tuple[str, ...]:
    classes = {load.appliance.appliance_class for load in loads if load.kind != synthesis.VEHICLE}
    present = {"always"}
    if "at_home" in classes:
        present |= {"home_day", "away_day"}
    if "movable" in classes:
        present |= {"movable_usual", "movable_moved"}
    if any(load.kind == synthesis.VEHICLE for load in loads):
        present |= {"car", "car_moved"}
    return tuple(name for name in synthesis.STREAMS if name in present)


def _cycle_shapes(loads: list[_Load]) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """Minute powers above standby of shaped cycles, one after the other, and where each load's begins."""
    parts: list[NDArray[np.float64]] = []
    first = [0]
    for load in loads:
        phases = cycle_phases().get(load.appliance.key, ())
        watts = np.repeat([power for _, power in phases], [minutes for minutes, _ in phases]).astype(float)
        if watts.size:
            watts = watts * (load.appliance.mean_cycle_power_w / watts.mean()) - load.appliance.standby_w
        parts.append(watts)
        first.append(first[-1] + watts.size)
    joined = np.concatenate([*parts, np.zeros(1)]).astype(np.float32)
    return joined, np.array(first, dtype=np.int64)


def _fill(
    reachable_w: NDArray[np.float32],
    wired_w: NDArray[np.float32],
    loads: list[_Load],
    streams: tuple[str, ...],
    *,
    seed: int,
    clock: LocalClock,
    weekend: NDArray[np.bool_],
    occupants: float,
    darkness: NDArray[np.float32],
    southern: bool,
    moved_window: tuple[int, int],
    step_minutes: int,
    threads: int,
) -> None:
    years = reachable_w.shape[0]
    share = habits.activity_share()
    names = habits.activity_names()
    even = np.full(share.shape[1:], 1.0 / habits.BINS)
    rows = [share[names.index(x.appliance.activity)] if x.appliance.activity in names else even for x in loads]
    cumulative = np.cumsum(np.array(rows).reshape(len(loads), 2, habits.BINS), axis=2)
    seasons = np.array([habits.season(x.appliance.activity, southern=southern) for x in loads]).reshape(len(loads), DAYS)
    shape, shape_first = _cycle_shapes(loads)
    # One generator per year keeps year k the same whatever the number of years.
    window = np.concatenate(
        [habits.windows(np.random.default_rng([seed, 104729, k]), years=1, occupants=occupants) for k in range(years)]
    )
    day_slots, day_slot_first = synthesis.slots_by_day(clock.day)
    moved_start, moved_end = moved_window
    arguments = (
        np.uint64(np.random.SeedSequence(seed).generate_state(1, np.uint64)[0]),
        np.array([streams.index(name) if name in streams else -1 for name in synthesis.STREAMS]),
        np.array([x.kind for x in loads], dtype=np.int64),
        np.array([_CLASS_GROUP[x.appliance.appliance_class] for x in loads], dtype=np.int64),
        np.array([crc32(x.appliance.key.encode()) + 1 for x in loads], dtype=np.uint64),
        np.array([0 if x.in_reach else 1 for x in loads], dtype=np.int64),
        np.array([x.length_min for x in loads], dtype=np.int64),
        np.array([x.power_w for x in loads], dtype=np.float32),
        np.array([0.0 if x.kind == synthesis.VEHICLE else x.appliance.standby_w for x in loads], dtype=np.float64),
        np.array([x.daily_cycles for x in loads], dtype=np.float64),
        seasons,
        cumulative,
        shape,
        shape_first,
        window,
        darkness,
        moved_start,
        (moved_end - moved_start) % 1440,
        weekend,
        day_slots,
        day_slot_first,
        np.asarray(clock.minute),
        step_minutes,
    )
    edges = np.linspace(0, years, min(threads, years) + 1).astype(int)
    with ThreadPoolExecutor(max_workers=max(threads, 1)) as executor:
        parts = [
            executor.submit(synthesis.fill_years, reachable_w, wired_w, first, last, *arguments)
            for first, last in zip(edges[:-1], edges[1:], strict=True)
        ]
        for part in parts:
            part.result()
