"""Pool years of one home from appliance events."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MINUTES_PER_DAY, MINUTES_PER_YEAR, LocalClock
from riskcalc.demand import habits, synthesis
from riskcalc.demand.appliances import CAR, appliance_table, check_appliances, cycle_phases
from riskcalc.demand.loads import Household, Load, car_load, cycle_shapes, household_loads, stretched
from riskcalc.demand.pool import DemandPool, balanced_ranks
from riskcalc.demand.runs import Runs, joined, runs_of_year

#: Movable use that is moved starts between these minutes of the day unless the caller says otherwise: the sunny
#: hours.
SUNNY_WINDOW = (600, 900)

_SOURCE = (
    "appliance power, cycle length and yearly cycles: Richardson, Thomson, Infield & Clifford, Energy and Buildings 42 "
    "(2010) 1878-1887; lighting total: Household Electricity Survey 2010-11; times of day: own profiles, weekdays "
    "calibrated to the winter workday of the BDEW H0 profile and of UK profile class 1"
)
_CLASS_GROUP = {"always_on": synthesis.ALWAYS_ON, "at_home": synthesis.AT_HOME, "movable": synthesis.MOVABLE}
#: What is used at home with less power than this [W] counts as small: lamps, screens and the like.
SMALL_W = 200.0
_RANK = {  # stream: (rank_row, rank_below, scale_row)
    "always": (-1, True, 2),
    "home_day": (0, True, 0),
    "away_day": (0, False, 0),
    "home_small": (0, True, 3),
    "away_small": (0, False, 3),
    "movable_usual": (1, False, 0),
    "movable_moved": (1, True, 0),
    "car": (1, False, 1),
    "car_moved": (1, True, 1),
}


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
        Within so many minutes alike ones may be taken together; must divide the slot. No peak is averaged.
    annual_use_kwh
        Central annual figure of the household [kWh]. Frequencies of use (not power) are stretched to meet it at
        `home_share`, so that `DemandPool.household_scales` stay near 1 and a kettle keeps its watts. None: the
        table's
        cycles, times (occupants / 2.36)^0.5.
    home_share
        Central share of weekdays with somebody at home.
    moved_window
        First and last minute of the local day for moved use; may wrap past midnight.
    car_kwh_per_year, car_charger_w
        Energy [kWh] and power [W] of a car on a socket charger; its reach is "car" in `appliances`, else "elsewhere".
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
    if int(clock.minute.max()) + clock.slot_minutes > MINUTES_PER_DAY:
        raise ValueError(f"clock: slots of {clock.slot_minutes} minutes run past midnight; accepted: shorter slots")
    darkness = _darkness(clock, latitude_deg, longitude_deg)
    southern = latitude_deg < 0.0
    owned = {key: reach for key, reach in appliances.items() if key != CAR}
    day_windows = _windows(seed, years=years, occupants=occupants)
    busy, session = _rhythms(seed, years=years, southern=southern)
    household = Household(occupants, home_share, habits.presence(day_windows), busy, darkness, southern)
    loads = household_loads(owned, household)
    note = ""
    doubts: tuple[tuple[str, str, str, str, str], ...] = ()
    if annual_use_kwh is not None:
        loads, note, doubts = stretched(loads, annual_use_kwh, household)
    if car_kwh_per_year > 0.0:
        in_reach = appliances.get(CAR, "elsewhere") == "unit"
        car = appliance_table()[CAR]
        loads.append(
            car_load(car, in_reach=in_reach, kwh_per_year=car_kwh_per_year, charger_w=car_charger_w, years=years)
        )
    streams = _present_streams(loads)
    weekend = np.zeros(DAYS, dtype=bool)
    weekend[clock.day] = clock.weekday >= 5
    wired_w = np.empty((years, len(streams), clock.slots), dtype=np.float32)
    arguments = (
        np.uint64(np.random.SeedSequence(seed).generate_state(1, np.uint64)[0]),
        np.array([streams.index(name) if name in streams else -1 for name in synthesis.STREAMS]),
        *_load_arrays(loads, years=years, southern=southern),
        day_windows,
        busy,
        session,
        darkness,
        moved_window[0],
        (moved_window[1] - moved_window[0]) % MINUTES_PER_DAY,
        weekend,
        *synthesis.slots_by_day(clock.day),
        clock.minute.copy(),
    )
    runs = _run(wired_w, arguments, step_minutes=step_minutes, threads=threads)
    return DemandPool(
        run_w=runs.watts,
        run_minutes=runs.minutes,
        first_run=runs.first,
        wired_w=wired_w,
        basis=streams,
        rank_row=np.array([_RANK[name][0] for name in streams]),
        rank_below=np.array([_RANK[name][1] for name in streams]),
        scale_row=np.array([_RANK[name][2] for name in streams]),
        day_rank=_day_ranks(seed, years=years, weekend=weekend),
        step_minutes=step_minutes,
        slot_day=clock.day,
        source=_SOURCE,
        notes=(note,) if note else (),
        doubts=doubts,
    )


def _darkness(clock: LocalClock, latitude_deg: float, longitude_deg: float | None) -> NDArray[np.float32]:
    shift_of_day = np.zeros(DAYS, dtype=np.int64)
    shift_of_day[clock.day] = clock.shift_minutes
    lag = 0.0 if longitude_deg is None else clock.utc_offset_minutes - 4.0 * longitude_deg
    return habits.darkness(latitude_deg=latitude_deg, shift_minutes_of_day=shift_of_day, solar_lag_minutes=lag)


def _windows(seed: int, *, years: int, occupants: float) -> NDArray[np.float64]:
    """Hours at home, shape (years, 365, patterns, 4); one generator per year keeps year k whatever `years` is."""
    generators = [np.random.default_rng([seed, 104729, year]) for year in range(years)]
    return np.concatenate([habits.windows(generator, years=1, occupants=occupants) for generator in generators])


def _rhythms(seed: int, *, years: int, southern: bool) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
    """How busy each day and half hour is, shapes (years, 365) and (years, 365, blocks); one generator per year."""
    generators = [np.random.default_rng([seed, 15485863, year]) for year in range(years)]
    found = [habits.rhythm(generator, southern=southern) for generator in generators]
    return np.stack([busy for busy, _ in found]), np.stack([session for _, session in found])


def _day_ranks(seed: int, *, years: int, weekend: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Ranks of weekdays for being at home and of all days for moved use, shape (years, 2, 365)."""
    rows = []
    for row, days in enumerate((~weekend, np.ones(DAYS, dtype=bool))):
        generators = [np.random.default_rng([seed, 7919 + row, year]) for year in range(years)]
        rows.append(np.concatenate([balanced_ranks(generator, years=1, days=days) for generator in generators]))
    return np.stack(rows, axis=1)


def _present_streams(loads: list[Load]) -> tuple[str, ...]:
    groups = {_group(load) for load in loads if load.kind != synthesis.VEHICLE}
    present = {"always"}
    if synthesis.AT_HOME in groups:
        present |= {"home_day", "away_day"}
    if synthesis.SMALL in groups:
        present |= {"home_small", "away_small"}
    if synthesis.MOVABLE in groups:
        present |= {"movable_usual", "movable_moved"}
    if any(load.kind == synthesis.VEHICLE for load in loads):
        present |= {"car", "car_moved"}
    return tuple(name for name in synthesis.STREAMS if name in present)


def _group(load: Load) -> int:
    """Return the streams that a load goes to; small loads used at home have some of their own."""
    group = _CLASS_GROUP[load.appliance.appliance_class]
    return synthesis.SMALL if group == synthesis.AT_HOME and load.power_w < SMALL_W else group


def _load_arrays(loads: list[Load], *, years: int, southern: bool) -> tuple[NDArray[np.generic], ...]:
    """Return the arrays by appliance in the order of `synthesis.fill_years`."""
    share, names = habits.activity_share(), habits.activity_names()
    even = np.full(share.shape[1:], 1.0 / habits.BINS)
    activities = [load.appliance.activity for load in loads]
    profiles = [share[names.index(activity)] if activity in names else even for activity in activities]
    seasons = [habits.season(activity, southern=southern) for activity in activities]
    return (
        np.array([load.kind for load in loads], dtype=np.int64),
        np.array([_group(load) for load in loads], dtype=np.int64),
        np.array([crc32(load.appliance.key.encode()) + 1 for load in loads], dtype=np.uint64),
        np.array([0 if load.in_reach else 1 for load in loads], dtype=np.int64),
        np.array([load.length_min for load in loads], dtype=np.int64),
        np.array([load.power_w for load in loads], dtype=np.float32),
        np.array([load.appliance.standby_w for load in loads], dtype=np.float64),
        np.array([load.daily_cycles for load in loads]).reshape(len(loads), years),
        np.array(seasons).reshape(len(loads), DAYS),
        np.cumsum(np.array(profiles).reshape(len(loads), 2, habits.BINS), axis=2),
        *cycle_shapes(loads, cycle_phases()),
    )


def _run(wired_w: NDArray[np.float32], arguments: tuple[object, ...], *, step_minutes: int, threads: int) -> Runs:
    """Return the runs of every year and fill `wired_w`, some years per thread; each thread writes only its own years."""
    years, streams, slots = wired_w.shape
    appliances = len(arguments[2])  # type: ignore[arg-type]

    def filled(first: int, last: int) -> list[Runs]:
        minutes_w = np.empty((streams, MINUTES_PER_YEAR), dtype=np.float32)
        found = []
        for year in range(first, last):
            synthesis.fill_year(minutes_w, wired_w, year, *arguments, *synthesis.scratch(appliances))
            found.append(runs_of_year(minutes_w, slot_minutes=MINUTES_PER_YEAR // slots, step_minutes=step_minutes))
        return found

    edges = np.linspace(0, years, max(1, min(threads, years)) + 1).astype(int)
    if len(edges) == 2:  # no other thread: the warm-up may still be here when the interpreter takes none any more
        return joined(filled(0, years))
    with ThreadPoolExecutor(max_workers=max(threads, 1)) as executor:
        parts = [executor.submit(filled, int(first), int(last)) for first, last in pairwise(edges)]
        return joined([year for part in parts for year in part.result()])
