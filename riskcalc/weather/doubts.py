"""Is this weather of this earth? What cannot be is refused; what is merely unlikely becomes a question to the reader."""

from __future__ import annotations

import numpy as np

from riskcalc.errors import InputError, Problem, Question, one_problem
from riskcalc.types import Floats
from riskcalc.weather.pool import WeatherPool
from riskcalc.weather.solar import SunPath, sun_path

#: Share of the year's light that may arrive with the sun down before the time zone or label must be wrong.
MOST_DARK_LIGHT = 0.02
#: Distance of the light's centre from noon of the sun, over a year, beyond which the stamps must be wrong [h]. The driest
#: places of the western United States have theirs a quarter of an hour before noon.
MOST_OFF_NOON_HOURS = 0.9
#: Share of the light outside the atmosphere that reaches the ground over a year: what is refused, and what is usual. The
#: cloudiest inhabited places have a quarter (from memory). The sunniest place has 310 +- 15 W/m2, 0.77 of 403 W/m2
#: outside (Rondanelli, Molina & Falvey, The Atacama surface solar maximum, Bulletin of the American Meteorological
#: Society 96 (2015) 405-418).
LEAST_CLEARNESS, MOST_CLEARNESS = 0.2, 0.85
USUAL_CLEARNESS = (0.28, 0.78)
CLEARNESS_SOURCE = "cloudiest and sunniest inhabited places; Rondanelli et al., Bull. Amer. Meteor. Soc. 96 (2015)"
#: Limits on a moment's light a + b S c^e, S that outside the atmosphere and c the cosine of the sun's zenith angle, as
#: (a, b, e): possible at all, and extremely rare. Long & Dutton, BSRN Global Network recommended QC tests, V2.0 (2002).
POSSIBLE = {"ghi": (100.0, 1.5, 1.2), "dhi": (50.0, 0.95, 1.2), "dni": (0.0, 1.0, 0.0)}
RARE = {"ghi": (50.0, 1.2, 1.2), "dhi": (30.0, 0.75, 1.2), "dni": (10.0, 0.95, 0.2)}
LIMITS_SOURCE = "Long & Dutton, BSRN Global Network recommended QC tests, V2.0 (2002)"
#: Shares of the lit hours over these limits from which a file is refused, and from which it is questioned; judgement.
MOST_IMPOSSIBLE, MOST_RARE = 0.01, 0.01
#: Mean temperature of a year: the hottest and coldest places on record (Dallol 34.6, the Antarctic plateau -57 degC,
#: from memory), with a little room.
POSSIBLE_MEAN_C = (-58.0, 37.0)
#: Usual mean temperature of a year near the sea level by latitude (from memory; the coldest by the middles of continents).
LATITUDES_DEG = (0.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 90.0)
WARMEST_MEAN_C = (31.0, 32.0, 29.0, 21.0, 15.0, 10.0, 5.0, -5.0)
COLDEST_MEAN_C = (20.0, 14.0, 6.0, -1.0, -7.0, -15.0, -19.0, -35.0)
COOLER_PER_M = 0.0065
#: Mean wind of a year at 10 m: Cape Denison, the windiest place on record, has 19 m/s (from memory); towns have 1 to 8.
MOST_MEAN_WIND_M_S = 20.0
USUAL_MEAN_WIND_M_S = (0.5, 10.0)
MEMORY = "judgement, from memory"
#: Distance and height between the site and the place of its weather that are asked about, and a distance at which the sun
#: stands so differently that it is refused; judgement. A height difference of 300 m is 2 K.
ASKED_KM, REFUSED_KM, ASKED_M = 100.0, 1500.0, 300.0
EARTH_RADIUS_KM = 6371.0


def check_sun_agrees(ghi: Floats, sun: SunPath, *, file: str) -> None:
    """Raise InputError if the light comes with the sun down, is not centred on noon of the sun, or is no possible amount.

    The first two mean that the time zone, the label or the place is wrong, the last that the unit is.
    """
    total = ghi.sum()
    if total <= 0.0:
        raise one_problem(file, "ghi", "no light in the whole file", "irradiance in W/m2")
    dark = 1.0 - ghi[:, sun.lit].sum() / total
    hint = "check zone, label, latitude and longitude of the file"
    if dark > MOST_DARK_LIGHT:
        given = f"{100.0 * dark:.1f} % of the light arrives while the sun is down"
        raise one_problem(file, "time", given, f"at most {100.0 * MOST_DARK_LIGHT:g} %", hint)
    # By day, sun and light each have a centre; long summer days of high latitudes need no special care.
    clear, hours = sun.extraterrestrial_horizontal_w[sun.lit], sun.solar_time_hours[sun.lit]
    light = ghi[:, sun.lit].sum(axis=0)
    off = float((light * hours).sum() / light.sum() - (clear * hours).sum() / clear.sum())
    if abs(off) > MOST_OFF_NOON_HOURS:
        side = "late" if off > 0.0 else "early"
        given = f"the light is centred {abs(off):.1f} h too {side} for the sun"
        raise one_problem(file, "time", given, f"within {MOST_OFF_NOON_HOURS:g} h", hint)
    share = yearly_clearness(ghi, sun)
    if not LEAST_CLEARNESS <= share <= MOST_CLEARNESS:
        given = f"{total / len(ghi) / 1000:.4g} kWh/m2 a year, {100 * share:.3g} % of the light outside the atmosphere"
        accepted = f"irradiance in W/m2, {100 * LEAST_CLEARNESS:g} to {100 * MOST_CLEARNESS:g} % of it"
        looks = "this looks like kW/m2" if share < LEAST_CLEARNESS / 100 else "J/cm2, kJ, or Wh of other steps?"
        raise one_problem(file, "ghi", given, accepted, looks)


def check_possible(pool: WeatherPool, *, file: str) -> None:
    """Raise InputError for everything in the pool that no place on earth has."""
    problems = []
    sun = _sun(pool)
    for name, limit in POSSIBLE.items():
        share, worst = _share_above(pool, sun, name, limit)
        if share > MOST_IMPOSSIBLE:
            given = f"{100 * share:.2g} % of the hours above what is possible, the brightest {worst:.0f} W/m2"
            problems.append(
                Problem(file, name, given, f"irradiance in W/m2, hourly means; limits: {LIMITS_SOURCE}", "wrong unit?")
            )
    mean_c = float(pool.temp_air.mean())
    low, high = POSSIBLE_MEAN_C
    if not low <= mean_c <= high:
        given = f"{mean_c:.1f} on average over the year"
        hint = "this looks like Fahrenheit" if mean_c > high else ""
        problems.append(Problem(file, "temp_air", given, f"degrees Celsius, {low:g} to {high:g} on average", hint))
    wind = float(pool.wind_speed.mean())
    if wind > MOST_MEAN_WIND_M_S:
        accepted = (
            f"metres per second, at most {MOST_MEAN_WIND_M_S:g} on average: more than the windiest place on record"
        )
        problems.append(Problem(file, "wind_speed", f"{wind:.1f} on average over the year", accepted, "km/h or knots?"))
    if problems:
        raise InputError(problems)


def weather_questions(pool: WeatherPool) -> tuple[Question, ...]:
    """Return what is possible in these years but looks wrong."""
    sun, asked = _sun(pool), []
    share = yearly_clearness(pool.ghi, sun)
    low, high = USUAL_CLEARNESS
    if not low <= share <= high:
        given = (
            f"{pool.annual_ghi_kwh().mean():.0f} kWh/m2 a year, {100 * share:.0f} % of the light outside the atmosphere"
        )
        effect = "the yield of every module goes with it"
        asked.append(Question("ghi", given, f"{100 * low:g} to {100 * high:g} %", effect, CLEARNESS_SOURCE))
    for name, limit in RARE.items():
        share, worst = _share_above(pool, sun, name, limit)
        if share > MOST_RARE:
            given = f"{100 * share:.2g} % of the hours very bright for the height of the sun, up to {worst:.0f} W/m2"
            usual = f"less than {100 * MOST_RARE:g} % of the hours"
            asked.append(Question(name, given, usual, "yield too high by as much", LIMITS_SOURCE))
    mean_c = float(pool.temp_air.mean())
    low, high = usual_mean_c(pool.latitude_deg, pool.altitude_m)
    usual = f"{low:.0f} to {high:.0f} °C at this latitude and height"
    if not low <= mean_c <= high:
        effect = "warm cells give less (some 0.35 % a kelvin); cold ones a higher voltage"
        asked.append(Question("temp_air", f"{mean_c:.1f} °C on average over the year", usual, effect, MEMORY))
    elif float(pool.temp_air.std()) < 0.5:
        given = f"{mean_c:.1f} °C all year"
        asked.append(
            Question("temp_air", given, "warm and cold days", "the record low decides what voltage is safe", MEMORY)
        )
    wind = float(pool.wind_speed.mean())
    low, high = USUAL_MEAN_WIND_M_S
    if not low <= wind <= high:
        usual = f"{low:g} to {high:g} m/s on average where people live"
        effect = "wind cools modules: up to a few per cent of the yield"
        asked.append(Question("wind_speed", f"{wind:.1f} m/s on average over the year", usual, effect, MEMORY))
    return tuple(asked)


def place_questions(
    pool: WeatherPool,
    *,
    latitude_deg: float | None = None,
    longitude_deg: float | None = None,
    altitude_m: float | None = None,
    file: str = "scenario",
) -> tuple[Question, ...]:
    """Return what to ask where a site states another place than its weather; the place of the weather is the one used.

    Raises
    ------
    InputError
        If they lie so far apart that the weather cannot stand for the site.
    """
    latitude = pool.latitude_deg if latitude_deg is None else latitude_deg
    longitude = pool.longitude_deg if longitude_deg is None else longitude_deg
    away_km = distance_km(latitude, longitude, pool.latitude_deg, pool.longitude_deg)
    there = f"the weather is that of {pool.latitude_deg:.2f}, {pool.longitude_deg:.2f}"
    given = f"{latitude:g}, {longitude:g}: {away_km:,.0f} km from its weather"
    if away_km > REFUSED_KM:
        accepted = f"a place within {REFUSED_KM:g} km of it: {there}"
        raise one_problem(
            file, "site.latitude_deg", given, accepted, "swapped, or a sign missing? West and south are negative"
        )
    asked = []
    if away_km > ASKED_KM:
        effect = f"{there}, and so are sun and light: your own coordinates are not used"
        asked.append(Question("site.latitude_deg", given, f"within {ASKED_KM:g} km", effect, "judgement"))
    if altitude_m is not None and abs(altitude_m - pool.altitude_m) > ASKED_M:
        given = f"{altitude_m:g} m, weather of {pool.altitude_m:g} m"
        effect = f"the air may be {COOLER_PER_M * abs(altitude_m - pool.altitude_m):.0f} K colder or warmer than here"
        asked.append(Question("site.altitude_m", given, f"within {ASKED_M:g} m", effect, "judgement"))
    return tuple(asked)


def check_place(latitude_deg: float, longitude_deg: float, *, file: str = "command line") -> None:
    """Raise InputError for a place that is not on the earth; coordinates that would be the other way round are swapped."""
    swapped = 90.0 < abs(latitude_deg) <= 180.0 and abs(longitude_deg) <= 90.0
    hint = f"swapped? Latitude first: {longitude_deg:g} {latitude_deg:g}" if swapped else ""
    problems = [
        Problem(file, name, f"{value:g}", f"degrees from -{most:g} to {most:g}, south and west negative", hint)
        for name, value, most in (("LATITUDE", latitude_deg, 90.0), ("LONGITUDE", longitude_deg, 180.0))
        if not abs(value) <= most
    ]
    if problems:
        raise InputError(problems)


def yearly_clearness(ghi: Floats, sun: SunPath) -> float:
    """Return the light on the horizontal over that outside the atmosphere, all years together."""
    return float(ghi.sum() / len(ghi) / sun.extraterrestrial_horizontal_w.sum())


def usual_mean_c(latitude_deg: float, altitude_m: float) -> tuple[float, float]:
    """Return the range in which the mean temperature of a year usually lies [degC]."""
    cooler = COOLER_PER_M * max(altitude_m, 0.0)
    low, high = (np.interp(abs(latitude_deg), LATITUDES_DEG, row) for row in (COLDEST_MEAN_C, WARMEST_MEAN_C))
    return float(low) - cooler, float(high) - 0.7 * cooler  # high plains are warmer than free air


def distance_km(latitude_deg: float, longitude_deg: float, to_latitude_deg: float, to_longitude_deg: float) -> float:
    """Return the distance of two places on a sphere [km] (haversine); the date line is no border."""
    first, second = np.radians([latitude_deg, longitude_deg]), np.radians([to_latitude_deg, to_longitude_deg])
    half = np.sin((second - first) / 2.0) ** 2
    return float(
        2.0 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(min(1.0, half[0] + np.cos(first[0]) * np.cos(second[0]) * half[1])))
    )


def _sun(pool: WeatherPool) -> SunPath:
    return sun_path(pool.latitude_deg, pool.longitude_deg, pool.altitude_m, pool.utc_offset_hours)


def _share_above(pool: WeatherPool, sun: SunPath, name: str, limit: tuple[float, float, float]) -> tuple[float, float]:
    """Share of the lit hours above a limit, and the brightest hour [W/m2]."""
    floor, factor, power = limit
    most = floor + factor * sun.extraterrestrial_w[sun.lit] * sun.cos_zenith[sun.lit] ** power
    light = getattr(pool, name)[:, sun.lit]
    return float((light > most).mean()), float(light.max())
