"""The physical world that all draws share: weather years, sun on each plane, demand years.

Built once per scenario. What differs between draws (losses, shading, habits, orientation) is left to weights.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MINUTES_PER_YEAR, MONTH_LENGTHS, LocalClock, standard_offset_minutes
from riskcalc.demand.events import SUNNY_WINDOW, appliance_years
from riskcalc.demand.meter import read_meter
from riskcalc.demand.pool import DemandPool
from riskcalc.demand.spikes import LikelyHome
from riskcalc.dispatch import DispatchInputs
from riskcalc.dispatch.plan import sun_shines
from riskcalc.errors import one_problem
from riskcalc.scenario import Scenario
from riskcalc.types import Floats
from riskcalc.uncertainty.streams import Stream, stream_seed
from riskcalc.weather.climates import climate
from riskcalc.weather.files import SHIPPED, read_csv_years, read_epw, read_tmy3, shipped_file
from riskcalc.weather.generator import generated_years, pool_of_years
from riskcalc.weather.pool import HOUR_SERIES, WeatherPool
from riskcalc.weather.within_hour import STEPS, fine_sky
from riskcalc.years.hardware import split_meter
from riskcalc.years.measured_pv import MeasuredPv, measured_power_w, measured_pv, meter_format
from riskcalc.years.planes import PlaneSet, node_power_w, plane_sets
from riskcalc.years.pool_order import fair_order, light_of_years
from riskcalc.years.schedule import moved_window
from riskcalc.years.store import Store, made_by, user_store

HOURS = 8760

#: Planes whose sun is followed by the five minutes of `within_hour`; three times as many by a quarter of an hour, and so
#: on: 2 MB a pool year. Judgement: what an uncertain roof needs is angles first.
MOST_FINE_ROWS = 4


#: Clocks stay this close to the sun: no inhabited place is further from it. Common practice, no source.
FURTHEST_FROM_SUN_HOURS = 3.5

#: Temperature of a battery kept indoors; common practice, no source.
INDOOR_TEMP_C = 20.0

#: Sums of a demand pool that are kept with it: each run asks for them, and they take a tenth of a second.
_SUMMED = ("reachable_day_kwh", "wired_day_kwh")

#: Lithium cells must not be charged below freezing; common practice of datasheets, no source.
CHARGE_ABOVE_C = 0.0


@dataclass(frozen=True)
class Pools:
    """Weather, sun and demand, K years each.

    `solar_w` is float32 (K, planes, periods) at the arrays' terminals, `shines` (K, periods) whether any of them has sun;
    `charge_allowed` (K, 365) is 0 on days too cold to charge; `battery_temp_c` (K,) the mean temperature of the cells.
    `outage_scale` puts the estimate of hours carried in an outage right on average; see `riskcalc.years.bridging`. `key`
    names everything that the pools were made from; `measured` is the record of solar power that takes the place of the
    model, if the scenario names one.
    """

    weather: WeatherPool
    demand: DemandPool
    solar_w: NDArray[np.float32]
    shines: NDArray[np.bool_]
    planes: tuple[PlaneSet, ...]
    charge_allowed: Floats
    battery_temp_c: Floats
    outage_scale: float = 1.0
    key: str = ""
    measured: MeasuredPv | None = None

    @cached_property
    def inputs(self) -> DispatchInputs:
        """The pools in the form that dispatch reads, shared by all draws."""
        input_of_plane = np.zeros(self.solar_w.shape[1], dtype=np.int64)
        for plane in self.planes:
            input_of_plane[plane.rows] = plane.input_index
        inputs = DispatchInputs(
            solar_w=self.solar_w,
            run_w=self.demand.run_w,
            run_minutes=self.demand.run_minutes,
            first_run=self.demand.first_run,
            wired_w=self.demand.wired_w,
            input_of_plane=input_of_plane,
            sun_minutes=MINUTES_PER_YEAR // self.solar_w.shape[2],
            rank_row=self.demand.rank_row,
            rank_below=self.demand.rank_below,
            scale_row=self.demand.scale_row,
            day_rank=self.demand.day_rank,
            charge_allowed=self.charge_allowed,
            step_minutes=self.demand.step_minutes,
        )
        vars(inputs)["shines"] = self.shines
        return inputs

    def with_outage_scale(self, scale: float) -> Pools:
        """Return the same pools with the scale of outages."""
        scaled = replace(self, outage_scale=scale)
        vars(scaled)["inputs"] = self.inputs  # and what was summed up in them
        return scaled


@dataclass
class YearsAtHand:
    """Weather, sun and demand years built before, for scenarios that meet the same ones.

    Weather is kept for every site. Of demand only the last is kept, since a pool at one minute fills hundreds of
    megabytes: take scenarios of one home one after the other. Behind both stands the store on disk.
    """

    store: Store = field(default_factory=user_store)
    _weather: dict[str, WeatherPool] = field(default_factory=dict)
    _demand: dict[str, DemandPool] = field(default_factory=dict)

    def weather(self, scenario: Scenario) -> WeatherPool:
        """Return the weather years of the scenario, built at most once."""
        key = _weather_key(scenario)
        if key not in self._weather:
            kept = self.store.kept("weather", key, lambda: _content(_fair_weather(scenario, weather_years(scenario))))
            self._weather[key] = WeatherPool(**kept)
        return self._weather[key]

    def demand(
        self, scenario: Scenario, clock: LocalClock, weather: WeatherPool, only: NDArray[np.int64] | None = None
    ) -> DemandPool:
        """Return the demand years of the scenario, built again unless the scenario before had the same."""
        place = {"latitude_deg": weather.latitude_deg, "longitude_deg": weather.longitude_deg}
        key = _demand_key(scenario, clock, place, only)
        if key not in self._demand:

            def made() -> dict[str, Any]:
                pool = demand_years(scenario, clock, only=only, **place)
                return _content(pool) | {name: getattr(pool, name) for name in _SUMMED}

            kept = self.store.kept("demand", key, made)
            summed = {name: kept.pop(name) for name in _SUMMED}
            pool = DemandPool(**kept)
            vars(pool).update(summed)  # what the pool would work out when it is asked
            self._demand = {key: pool}
        return self._demand[key]

    def sun(
        self,
        scenario: Scenario,
        planes: tuple[PlaneSet, ...],
        weather: WeatherPool,
        measured: MeasuredPv | None = None,
    ) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
        """Return the power at the terminals of every plane, float32 (K, planes, periods), and whether any has sun."""

        def made() -> dict[str, NDArray[Any]]:
            solar_w = _solar_w(scenario, planes, weather, measured)
            return {"solar_w": solar_w, "shines": sun_shines(solar_w)}

        kept = self.store.kept("solar", _solar_key(scenario, planes), made)
        for array in kept.values():
            # Like all pools: the kernel is compiled for arrays that may be written and those that may not.
            array.flags.writeable = False
        return kept["solar_w"], kept["shines"]


def pools(scenario: Scenario, clock: LocalClock, at_hand: YearsAtHand | None = None) -> Pools:
    """Return the pools of a scenario; they do not depend on what is drawn."""
    at_hand = at_hand or YearsAtHand()
    weather = at_hand.weather(scenario)
    planes = plane_sets(scenario)
    day_temp_c = weather.temp_air.reshape(weather.years, DAYS, 24).mean(axis=2)
    measured = measured_pv(scenario, weather, planes, clock)
    only = None if measured is None else measured.paired
    outdoors = scenario.site.battery_place == "outdoors"
    place = {"latitude_deg": weather.latitude_deg, "longitude_deg": weather.longitude_deg}
    demand = at_hand.demand(scenario, clock, weather, only)
    solar_w, shines = at_hand.sun(scenario, planes, weather, measured)
    return Pools(
        weather=weather,
        demand=demand,
        solar_w=solar_w,
        shines=shines,
        planes=planes,
        charge_allowed=np.where(outdoors & (day_temp_c <= CHARGE_ABOVE_C), 0.0, 1.0),
        battery_temp_c=day_temp_c.mean(axis=1) if outdoors else np.full(weather.years, INDOOR_TEMP_C),
        key="\n".join([made_by(), _solar_key(scenario, planes), _demand_key(scenario, clock, place, only)]),
        measured=measured,
    )


def _solar_w(
    scenario: Scenario, planes: tuple[PlaneSet, ...], weather: WeatherPool, measured: MeasuredPv | None
) -> NDArray[np.float32]:
    """Return the power of every plane; many planes, as an uncertain roof needs them, share longer periods."""
    rows = max(1, planes[-1].rows.stop if planes else 1)
    if not planes:
        return np.zeros((weather.years, rows, HOURS), dtype=np.float32)
    sky, sun = fine_sky(weather, seed=stream_seed(scenario.study.seed, Stream.CLOUDS))
    together = next(count for count in (1, 3, 6, STEPS) if count == STEPS or count * MOST_FINE_ROWS >= rows)
    solar_w = np.zeros((weather.years, rows, HOURS * STEPS // together), dtype=np.float32)
    for plane in planes:
        if measured is not None and plane.measured:
            step_minutes = together * 60 // STEPS
            solar_w[:, plane.rows] = measured_power_w(scenario, plane, measured, step_minutes=step_minutes)
            continue
        solar_w[:, plane.rows] = node_power_w(scenario, plane, sky, sun, together=together)
    return solar_w


def weather_years(scenario: Scenario) -> WeatherPool:
    """Return the weather pool of the scenario's source, brought to the study's number of pool years."""
    site, years = scenario.site, scenario.study.pool_years
    source = site.weather.source
    if source == "climate":
        place = climate(site.weather.region or "")
        pool = generated_years(
            place,
            years=years,
            seed=stream_seed(scenario.study.seed, Stream.WEATHER),
            yearly_spread=site.weather.yearly_spread,
        )
    elif source == "csv":
        pool = read_csv_years(
            _weather_file(scenario),
            zone=site.weather.zone,
            label=site.weather.label,
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            altitude_m=site.altitude_m,
            site_zone=site.zone,
        )
    else:
        read = {"epw": read_epw, "tmy3": read_tmy3}[source]
        pool = read(_weather_file(scenario))
    pool = on_site_time(scenario, pool)
    if pool.years == years:
        return pool
    return pool_of_years(
        pool,
        years=years,
        seed=stream_seed(scenario.study.seed, Stream.WEATHER),
        yearly_spread=site.weather.yearly_spread,
    )


def on_site_time(scenario: Scenario, pool: WeatherPool) -> WeatherPool:
    """Return the pool on the standard time of the site's zone.

    Raises
    ------
    InputError
        If the zone cannot be that of the place the weather comes from.
    """
    zone = scenario.site.zone
    offset_hours = standard_offset_minutes(zone) / 60.0
    from_sun = (offset_hours - pool.longitude_deg / 15.0 + 12.0) % 24.0 - 12.0  # beyond the date line the day differs
    if abs(from_sun) > FURTHEST_FROM_SUN_HOURS:
        given = f"{zone}, UTC{offset_hours:+g} h, with weather of longitude {pool.longitude_deg:g} degrees"
        raise one_problem(scenario.file, "site.zone", given, "the time zone in which the place of the weather lies")
    try:
        return pool.rotated(offset_hours)
    except ValueError as error:
        given = f"{zone}, UTC{offset_hours:+g} h, with weather on UTC{pool.utc_offset_hours:+g} h"
        raise one_problem(scenario.file, "site.zone", given, "a zone that differs from it by whole hours") from error


def demand_years(
    scenario: Scenario,
    clock: LocalClock,
    *,
    latitude_deg: float,
    longitude_deg: float,
    only: NDArray[np.int64] | None = None,
) -> DemandPool:
    """Return the demand pool: built from appliances, or from the household's own meter file, `only` of some dates."""
    home, years, step = scenario.home, scenario.study.pool_years, scenario.study.step_minutes
    seed = stream_seed(scenario.study.seed, Stream.DEMAND)
    if home.demand.source == "meter":
        metered = read_meter(
            scenario.data_path("home.demand.file"),
            clock=clock,
            years=years,
            seed=seed,
            step_minutes=step,
            kind=home.demand.kind,
            wanted=meter_format(scenario),
            annual_use_kwh=home.annual_use_kwh.expected(),
            southern=latitude_deg < 0.0,
            only=only,
            home=LikelyHome(
                appliances=tuple(home.appliances),
                occupants=home.occupants,
                home_share=home.weekday_home_share.expected(),
                car_kwh_per_year=home.car_kwh_per_year.expected(),
                car_charger_w=home.car_charger_w,
            ),
        )
        return metered if reaches_all(scenario) else split_meter(metered)
    window = moved_window(scenario)
    return appliance_years(
        {key: "unit" if reaches_all(scenario) else reach for key, reach in home.appliances.items()},
        clock=clock,
        years=years,
        seed=seed,
        occupants=home.occupants,
        step_minutes=step,
        annual_use_kwh=home.annual_use_kwh.expected(),
        home_share=home.weekday_home_share.expected(),
        car_kwh_per_year=home.car_kwh_per_year.expected(),
        car_charger_w=home.car_charger_w,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        moved_window=SUNNY_WINDOW if window is None else window,
    )


def _fair_weather(scenario: Scenario, pool: WeatherPool) -> WeatherPool:
    """Return the years dealt to the scrambles by their light."""
    monthly = pool.monthly_means() * MONTH_LENGTHS
    order = fair_order(
        light_of_years(monthly),
        scrambles=scenario.study.scrambles,
        seed=stream_seed(scenario.study.seed, Stream.WEATHER),
    )
    return replace(pool, **{name: getattr(pool, name)[order] for name in HOUR_SERIES})


def reaches_all(scenario: Scenario) -> bool:
    """Return whether the kit meets every load of the home, plugged in or not."""
    return scenario.kit is not None and scenario.kit.coupling.traits.reaches_all


def _weather_file(scenario: Scenario) -> Path:
    named = scenario.site.weather.file or ""
    if named.startswith(SHIPPED):
        return shipped_file(named, file=scenario.file)
    return scenario.data_path("site.weather.file")


def _weather_key(scenario: Scenario) -> str:
    """Return everything that decides the weather years, as text."""
    study = scenario.study
    return repr((scenario.site, _data_hashes(scenario), study.seed, study.pool_years, study.scrambles))


def _demand_key(
    scenario: Scenario, clock: LocalClock, place: Mapping[str, float], only: NDArray[np.int64] | None = None
) -> str:
    """Return everything that decides the demand years, as text."""
    home, study = scenario.home.model_copy(update={"surfaces": {}}), scenario.study
    how = (study.seed, study.pool_years, study.step_minutes, clock.slot_minutes, clock.zone)
    shifts = hashlib.sha256(np.ascontiguousarray(clock.shift_minutes).tobytes()).hexdigest()
    dates = None if only is None else hashlib.sha256(only.tobytes()).hexdigest()
    said = (dict(place), reaches_all(scenario), moved_window(scenario), dates)
    return repr((home, _data_hashes(scenario), how, shifts, *said))


def _solar_key(scenario: Scenario, planes: tuple[PlaneSet, ...]) -> str:
    """Return everything that decides the power of the planes, as text."""
    kit = scenario.kit
    arrays = None if kit is None else (kit.module, kit.arrays, kit.inputs)
    nodes = [(plane.name, plane.tilt_nodes_deg.tolist(), plane.azimuth_nodes_deg.tolist()) for plane in planes]
    paired = scenario.home.demand if any(plane.measured for plane in planes) else None
    return repr((_weather_key(scenario), arrays, scenario.home.surfaces, nodes, paired))


def _content(pool: WeatherPool | DemandPool) -> dict[str, Any]:
    return {entry.name: getattr(pool, entry.name) for entry in fields(pool)}


def _data_hashes(scenario: Scenario) -> tuple[str, ...]:
    """Return the hashes of the data files behind a scenario: the same name in two folders is not the same file."""
    return tuple(used.sha256 for used in scenario.files if not used.path.endswith(".toml"))
