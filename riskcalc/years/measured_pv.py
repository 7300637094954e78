"""Measured power of an array in place of the modelled one: days of a record, dealt like those of a meter, or with them."""

from __future__ import annotations

from calendar import month_name
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MONTH_LENGTHS, MONTH_OF_DAY, LocalClock, standard_offset_minutes
from riskcalc.demand.gaps import FEWEST_DAYS, WholeDays, donors, whole_days, year_of
from riskcalc.demand.meter import MeteredYear, dealt_days, metered_year
from riskcalc.demand.meter_cells import MeterFormat
from riskcalc.demand.meter_file import MeterDays, read_meter_days
from riskcalc.errors import InputError, Question, one_problem
from riskcalc.ordered import product
from riskcalc.scenario import Scenario
from riskcalc.types import Floats
from riskcalc.uncertainty.streams import Stream, stream_seed
from riskcalc.weather.pool import HOUR_SERIES, WeatherPool
from riskcalc.weather.solar import SunPath, sun_path
from riskcalc.years.planes import PlaneSet, module_of, node_power_w

KEY = "site.measured_pv"

#: Share of an inverter's input that comes out, for records taken behind one: weighted efficiencies of string inverters lie
#: at 0.95 to 0.98; judgement.
INVERTER_SHARE = 0.96
#: Share of the days of the shorter file that must be in both, so that days of meter and array are dealt together; judgement.
PAIRED_SHARE = 0.5
#: Years of weather behind the model that a record is compared with.
YEARS_COMPARED = 8
#: Power over the rated one that no array gives (edges of clouds reach 1.3 for minutes); judgement.
MOST_OVER_PEAK = 1.5
#: Energy over that of the model: beyond the first pair it is asked about, beyond the second refused; judgement.
USUAL_RATIO, POSSIBLE_RATIO = (0.7, 1.3), (0.2, 3.0)
#: Share of the energy while the sun is down: asked about, refused; judgement.
DOUBTED_DARK, MOST_DARK = 0.01, 0.15
#: Hours by which the middle of the measured day may lie off the modelled one before it is asked about; judgement.
MIDDLE_OFF_HOURS = 0.75


@dataclass(frozen=True)
class MeasuredPv:
    """Days of a record [W per W of rated power] by minute of standard time, and which of them stands for which.

    `day_share` (days, 1440) is float32; `rows` and `factor` (K, 365) are the day of the record that each day of each pool
    year takes and what its power is multiplied by. `paired` holds the dates (days since 1970) that are dealt together with
    the meter's, None where days are dealt by themselves.
    """

    day_share: NDArray[np.float32]
    rows: NDArray[np.int64]
    factor: Floats
    paired: NDArray[np.int64] | None
    understood: dict[str, str]
    notes: tuple[str, ...]
    questions: tuple[Question, ...]

    def power_share(self, *, step_minutes: int) -> NDArray[np.float32]:
        """Return power per watt of rated power in every step of the pool years, (K, steps)."""
        by_step = self.day_share.reshape(len(self.day_share), -1, step_minutes).mean(axis=2)
        return (by_step[self.rows] * self.factor[:, :, None].astype(np.float32)).reshape(len(self.rows), -1)


def measured_pv(
    scenario: Scenario, weather: WeatherPool, planes: Sequence[PlaneSet], clock: LocalClock
) -> MeasuredPv | None:
    """Return the measured power that the scenario names, None where no array of the kit takes it.

    Raises
    ------
    InputError
        Whatever is wrong with the file, or a record that cannot be that of such modules at this place.

    Notes
    -----
    Days keep their shape and go together with the meter's of the same date. Good and bad years are those of the weather
    source: a month's days are multiplied by the month's light over its mean, which is 1 on average, so that the record's
    own energy comes back.
    """
    said = scenario.site.measured_pv
    taking = [plane for plane in planes if plane.measured]
    if said is None or not taking:
        return None
    path = scenario.data_path(f"{KEY}.file")
    sun = sun_path(weather.latitude_deg, weather.longitude_deg, weather.altitude_m, weather.utc_offset_hours)
    dark = (sun.lit_share == 0.0).reshape(365, 24)
    modelled = _modelled_share(scenario, taking[0], weather, sun)
    wanted = MeterFormat(
        said.columns, said.registers, said.unit, said.dates, said.label, said.clock, solar=True, key=KEY
    )
    read = read_meter_days(path, zone=clock.zone, wanted=wanted)
    if (
        read.understood["clock"].startswith("wall")
        and said.clock is None
        and _keeps_standard(read, clock.zone, modelled)
    ):
        read = read_meter_days(path, zone=clock.zone, wanted=replace(wanted, clock="standard"))
        words = read.understood["clock"] + ", found from the sun"
        read = replace(read, understood=read.understood | {"clock": words})
    interval = read.interval_minutes
    on_sun, dark_share = _on_standard_time(read, clock.zone, dark)
    days = whole_days(on_sun)
    swing = modelled.reshape(365, 24).sum(axis=1)
    swing = np.bincount(MONTH_OF_DAY, weights=swing) / MONTH_LENGTHS
    swing = swing / swing.mean()
    alike = replace(days, kind=np.zeros_like(days.kind))  # the sun knows no Sundays
    found = donors(alike, path, swing=swing)
    after = INVERTER_SHARE if said.after_inverter else 1.0
    year_kwh = year_of(alike, found)[0] / after
    _check_possible(scenario, days, dark_share, year_kwh, float(modelled.sum()))
    seed = stream_seed(scenario.study.seed, Stream.DEMAND)
    years = scenario.study.pool_years
    southern = weather.latitude_deg < 0.0
    meter = metered_of(scenario, clock, southern=southern) if scenario.home.demand.source == "meter" else None
    paired = None if meter is None else _paired(meter.days, days)
    if meter is None or paired is None:
        rows, _ = dealt_days(found, clock=clock, years=years, seed=seed)
    else:
        on_both = meter.on(paired, southern=southern)
        dealt, _ = dealt_days(on_both.donors, clock=clock, years=years, seed=seed)
        rows = np.searchsorted(days.date, paired[dealt])
    light = weather.monthly_means()
    mean = light.mean(axis=0)
    luck = np.divide(light, mean, out=np.ones_like(light), where=mean > 0.0)
    taken = swing[days.month[rows]]
    factor = np.divide(swing[MONTH_OF_DAY], taken, out=np.zeros(taken.shape), where=taken > 0.0)
    understood = {
        "file": path.name,
        "period": f"{read.first_day} to {read.last_day}, {len(days.date)} whole days",
        **read.understood,
        "gaps": f"{days.missing_h:.1f} h without a reading by day, {days.filled_h:.1f} h of them filled",
        "year": f"{year_kwh:,.0f} kWh at the modules, {1000.0 * year_kwh / said.peak_w:,.0f} kWh for each kW of rated power",
        "beside the model": f"{year_kwh * 1e6 / (said.peak_w * float(modelled.sum())):.0%} of it",
        "days": "dealt by themselves"
        if paired is None
        else f"{len(paired)} dates in both files: each goes together with the meter's",
    }
    return MeasuredPv(
        day_share=(days.power_w / (after * said.peak_w)).astype(np.float32),
        rows=rows,
        factor=factor * luck[:, MONTH_OF_DAY],
        paired=paired,
        understood=understood,
        notes=_notes(scenario, path.name, days, found.made, interval, paired is not None),
        questions=_questions(said.peak_w, days, year_kwh, modelled, dark_share, clock.zone),
    )


def metered_of(scenario: Scenario, clock: LocalClock, *, southern: bool) -> MeteredYear:
    """Return what the scenario's meter file holds."""
    demand, wanted = scenario.home.demand, meter_format(scenario)
    path = scenario.data_path("home.demand.file")
    return metered_year(path, zone=clock.zone, wanted=wanted, kind=demand.kind, southern=southern)


def meter_format(scenario: Scenario) -> MeterFormat:
    """Return what the scenario says of the layout of its meter file."""
    demand = scenario.home.demand
    return MeterFormat(demand.columns, demand.registers, demand.unit, demand.dates, demand.label, demand.clock)


def measured_power_w(
    scenario: Scenario, plane: PlaneSet, measured: MeasuredPv, *, step_minutes: int
) -> NDArray[np.float32]:
    """Return the power of one array that takes the record, (K, 1, steps) [W]."""
    module, kit = module_of(scenario), scenario.kit
    assert module is not None
    assert kit is not None
    array = kit.arrays[plane.name]
    rated_w = module.power_w * array.modules_in_series * array.strings_in_parallel
    return (measured.power_share(step_minutes=step_minutes) * np.float32(rated_w))[:, None]


def _modelled_share(scenario: Scenario, plane: PlaneSet, weather: WeatherPool, sun: SunPath) -> Floats:
    """Return the model's mean power by hour of the year for one watt of the array, (8760,)."""
    module, kit = module_of(scenario), scenario.kit
    assert module is not None
    assert kit is not None
    array = kit.arrays[plane.name]
    few = replace(weather, **{name: getattr(weather, name)[:YEARS_COMPARED] for name in HOUR_SERIES})
    middle = replace(
        plane,
        tilt_nodes_deg=plane.tilt_nodes_deg[[len(plane.tilt_nodes_deg) // 2]],
        azimuth_nodes_deg=plane.azimuth_nodes_deg[[len(plane.azimuth_nodes_deg) // 2]],
    )
    rated_w = module.power_w * array.modules_in_series * array.strings_in_parallel
    power = node_power_w(scenario, middle, few, sun)[:, 0].mean(axis=0, dtype=np.float64)
    return np.asarray(power / rated_w)


def _dates(read: MeterDays) -> list[datetime]:
    first = datetime(read.first_day.year, read.first_day.month, read.first_day.day)
    return [first + timedelta(days=index) for index in range(len(read.power_w))]


def _day_of_year(dates: Sequence[datetime]) -> NDArray[np.int64]:
    """Return the day 0..364 of each date; 29 February counts as the 28th."""
    starts = np.concatenate([[0], np.cumsum(MONTH_LENGTHS)])
    return np.array([starts[day.month - 1] + min(day.day, MONTH_LENGTHS[day.month - 1]) - 1 for day in dates])


def _shifts(dates: Sequence[datetime], zone: str) -> NDArray[np.int64]:
    """Return what summer time adds at noon of each date [minutes]."""
    info, standard = ZoneInfo(zone), standard_offset_minutes(zone)
    noons = [day.replace(hour=12, tzinfo=info).utcoffset() or timedelta() for day in dates]
    return np.array([int(offset.total_seconds() // 60) - standard for offset in noons])


def _on_standard_time(read: MeterDays, zone: str, dark: NDArray[np.bool_]) -> tuple[MeterDays, float]:
    """Return the days by minute of standard time, 0 where nothing was read while the sun was down; and energy in the dark.

    Readings a little below zero, what an inverter draws at night, count as 0.

    Raises
    ------
    InputError
        If readings are far below zero: a sign that means export, or use.
    """
    if np.nanmin(read.power_w) < -0.1 * np.nanmax(read.power_w):
        row = np.unravel_index(np.nanargmin(read.power_w), read.power_w.shape)
        given = f"{read.power_w[row]:.0f} W on line {read.line[row]}"
        raise one_problem(read.path, "", given, "power of the modules, 0 or more: turn the sign, or name the column")
    dates = _dates(read)
    day, shift = _day_of_year(dates), _shifts(dates, zone)
    minute_w = np.repeat(np.maximum(read.power_w, 0.0), read.interval_minutes, axis=1)
    for moved in np.unique(shift[shift != 0]):
        minute_w[shift == moved] = np.roll(minute_w[shift == moved], -int(moved), axis=1)
    night = np.repeat(dark[day], 60, axis=1)
    total = float(np.nansum(minute_w))
    dark_share = float(np.nansum(minute_w[night])) / total if total > 0.0 else 0.0
    minute_w[night & np.isnan(minute_w)] = 0.0
    return replace(
        read,
        interval_minutes=1,
        power_w=minute_w,
        skipped=np.zeros(minute_w.shape, dtype=bool),
        line=np.repeat(read.line, read.interval_minutes, axis=1),
    ), dark_share


def _middles(day_w: Floats) -> Floats:
    """Return the mean hour of each day's energy, (days,); not a number for days without."""
    hours = (np.arange(day_w.shape[1]) + 0.5) * 24.0 / day_w.shape[1]
    energy = day_w.sum(axis=1)
    return np.divide(product(day_w, hours), energy, out=np.full(len(day_w), np.nan), where=energy > 0.0)


def _keeps_standard(read: MeterDays, zone: str, modelled: Floats) -> bool:
    """Return whether days of summer time come out half an hour early or more, beside the others and the model."""
    dates = _dates(read)
    shift = _shifts(dates, zone)
    if not (shift != 0).any() or not (shift == 0).any():
        return False
    off = _middles(np.maximum(np.nan_to_num(read.power_w), 0.0)) - shift / 60.0
    off -= _middles(modelled.reshape(365, 24))[_day_of_year(dates)]
    summer, rest = off[(shift != 0) & np.isfinite(off)], off[(shift == 0) & np.isfinite(off)]
    return bool(summer.size and rest.size and np.median(summer) - np.median(rest) < -0.5)


def _paired(metered: WholeDays, days: WholeDays) -> NDArray[np.int64] | None:
    """Return the dates that both meter and array were measured on, None where they are too few."""
    both = np.intersect1d(metered.date, days.date)
    enough = max(FEWEST_DAYS, PAIRED_SHARE * min(len(metered.date), len(days.date)))
    return both if len(both) >= enough else None


def _check_possible(
    scenario: Scenario, days: WholeDays, dark_share: float, year_kwh: float, modelled_kwh_per_kw: float
) -> None:
    """Raise InputError with whatever cannot be the power of these modules at this place."""
    said = scenario.site.measured_pv
    assert said is not None
    file, peak_kw = scenario.data_path(f"{KEY}.file"), said.peak_w / 1000.0
    problems = []
    highest = float(days.power_w.max()) / 1000.0
    if highest > MOST_OVER_PEAK * peak_kw:
        given = f"{highest:.3g} kW from modules of {peak_kw:.3g} kW"
        accepted = f"at most {MOST_OVER_PEAK:g} times the rated power"
        problems.append(one_problem(file, f"{KEY}.peak_w", given, accepted, "is peak_w in watts, or the unit another?"))
    ratio = year_kwh / (peak_kw * modelled_kwh_per_kw)
    if not POSSIBLE_RATIO[0] <= ratio <= POSSIBLE_RATIO[1]:
        given = f"{year_kwh / peak_kw:,.0f} kWh a year for each kW, {ratio:.2g} times the model"
        accepted = f"{POSSIBLE_RATIO[0]:g} to {POSSIBLE_RATIO[1]:g} times what such modules give here"
        problems.append(one_problem(file, f"{KEY}.peak_w", given, accepted, "is peak_w in watts, or the unit another?"))
    if dark_share > MOST_DARK:
        given = f"{dark_share:.0%} of the energy while the sun is down"
        accepted = f"at most {MOST_DARK:.0%}"
        hint = f"is site.zone right, or the clock of the file: {KEY}.clock"
        problems.append(one_problem(file, "", given, accepted, hint))
    if problems:
        raise InputError([problem for error in problems for problem in error.problems])


def _questions(
    peak_w: float, days: WholeDays, year_kwh: float, modelled: Floats, dark_share: float, zone: str
) -> tuple[Question, ...]:
    """Return what is possible but unlikely."""
    found = []
    ratio = year_kwh * 1e6 / (peak_w * float(modelled.sum()))
    if not USUAL_RATIO[0] <= ratio <= USUAL_RATIO[1]:
        given = f"{year_kwh:,.0f} kWh a year, {ratio:.0%} of what the model gives for these modules here"
        usual = f"{USUAL_RATIO[0]:.0%} to {USUAL_RATIO[1]:.0%}"
        effect = "all solar energy is that of the record: rated power, unit, or another roof"
        found.append(Question(f"{KEY}.peak_w", given, usual, effect, "judgement"))
    day = np.array([int(date) for date in days.date], dtype="datetime64[D]").astype(object)
    off = _middles(days.power_w) - _middles(modelled.reshape(365, 24))[_day_of_year(list(day))]
    middle = float(np.nanmedian(off))
    if abs(middle) > MIDDLE_OFF_HOURS:
        when = "later" if middle > 0.0 else "earlier"
        given = f"the middle of its days lies {abs(middle):.1f} h {when} than the model's"
        usual = f"within {MIDDLE_OFF_HOURS:g} h"
        effect = "sun and use meet at the wrong time: the clock of the file, or another direction of the roof"
        found.append(Question(f"{KEY}.clock", given, usual, effect, "judgement"))
    if dark_share > DOUBTED_DARK:
        given = f"{dark_share:.1%} of the energy while the sun is down"
        effect = f"the clock of the file may not be that of {zone}"
        found.append(Question(f"{KEY}.clock", given, f"below {DOUBTED_DARK:.0%}", effect, "judgement"))
    return tuple(found)


def _notes(
    scenario: Scenario, name: str, days: WholeDays, made: tuple[int, ...], interval: int, paired: bool
) -> tuple[str, ...]:
    """Return what a reader has to know, in sentences."""
    notes = [
        f"solar power is that of {name}, not of the model; good and bad years follow the light of the weather source",
        *(f"{name}: {note}" for note in days.notes),
    ]
    if made:
        months = ", ".join(month_name[month + 1] for month in made)
        notes.append(f"{name} lacks {months}: made from the months most like them, at the level of the model")
    if scenario.home.demand.source == "meter" and not paired:
        notes.append(f"{name} and the meter file share too few dates: sun and use of a day do not go together")
    if interval > 5:
        notes.append(f"{name} has a reading every {interval} minutes: what the sun does within them is not in it")
    return tuple(notes)
