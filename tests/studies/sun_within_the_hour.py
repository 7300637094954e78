"""What sun by the hour, and sun within the hour by our law, do to self-use, against light measured by the minute.

    python tests/studies/sun_within_the_hour.py SAMPLE PAYERNE [METER] [ILORIN]

SAMPLE is notebooks/data/sample-data.csv.gz of the source package of libinsitu 1.7.1: Golden, Colorado, 2020, by the minute
(NREL Solar Radiation Research Laboratory). PAYERNE is tests/data/bsrn-pay0616.dat.gz of the source package of pvlib 0.16.1:
Payerne, Switzerland, June 2016, by the minute (Baseline Surface Radiation Network). METER is a year of a home's power by the
minute (time,power_w; scaled to 3,500 kWh). ILORIN is tests/data/BSRN/ilo/ilo0694.dat.gz of libinsitu: global light at Ilorin,
Nigeria, June 1994, by three minutes. None of them is shipped. Every other day of Golden was used for the figures of the law;
its other days, Payerne and Ilorin were kept back.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

from riskcalc.weather.plane import cos_of_incidence, transmitted_share
from riskcalc.weather.pool import WeatherPool
from riskcalc.weather.solar import HOURS, SunPath, sun_path
from riskcalc.weather.within_hour import STEPS, fine_sky

GOLDEN = (39.742, -105.18, 1829.0, -7.0)
PAYERNE = (46.815, 6.944, 491.0, 1.0)
ILORIN = (8.533, 4.566, 350.0, 1.0)
#: Name -> tilt, azimuth, rated kW, inverter kW, battery kWh.
KITS = {
    "south balcony": (70, 180, 0.8, 0.8, 0.0),
    "west wall": (90, 270, 0.8, 0.8, 0.0),
    "roof": (35, 180, 4.0, 4.0, 0.0),
    "roof, 5 kWh": (35, 180, 4.0, 4.0, 5.0),
    "modules twice the inverter": (30, 180, 1.6, 0.8, 0.0),
}
SEEDS = 8


def power_w(dni: np.ndarray, dhi: np.ndarray, sun: SunPath, kit: str) -> np.ndarray:
    """Power of a kit by the step [W]: Hay-Davies, 85 % of the light on the plane times rated power, cut at the inverter."""
    tilt, azimuth, rated, inverter, _ = KITS[kit]
    cosine = cos_of_incidence(sun.zenith_deg, sun.azimuth_deg, tilt_deg=tilt, azimuth_deg=azimuth)
    beam = np.where(sun.lit_share > 0, np.maximum(cosine, 0.0), 0.0)
    beam = beam * transmitted_share(beam)
    share = dni / sun.extraterrestrial_w
    around = np.where(sun.lit_share > 0, beam / np.maximum(sun.cos_zenith, 0.06), 0.0)
    sky = 0.95 * (1 + np.cos(np.radians(tilt))) / 2
    ground = 0.95 * 0.2 * (1 - np.cos(np.radians(tilt))) / 2
    light = dni * beam + dhi * (share * around + (1 - share) * sky) + (dni * sun.cos_zenith + dhi) * ground
    return np.minimum(light * rated * 0.85, inverter * 1000.0)


def self_use_kwh(solar_w: np.ndarray, load_w: np.ndarray, battery_kwh: float) -> np.ndarray:
    """Return the solar energy of each day that serves the load, through the battery too [kWh]; arrays by the minute."""
    served = np.minimum(solar_w, load_w)
    stored = 0.0
    for minute, flow in enumerate((solar_w - load_w).tolist() if battery_kwh else ()):
        if flow > 0.0:
            stored = min(stored + 0.95 * min(flow, 2500.0) / 60.0, battery_kwh * 1000.0)
        else:
            taken = min(min(-flow, 2500.0) / 60.0, stored)
            stored -= taken
            served[minute] += 0.95 * taken * 60.0
    return served.reshape(-1, 1440).sum(axis=1) / 60e3


def bias(made_kwh: np.ndarray, true_kwh: np.ndarray) -> tuple[float, float]:
    """Return by what share the sum over the days is too high, and the standard error that these few days leave."""
    apart = made_kwh - true_kwh
    return apart.sum() / true_kwh.sum(), float(np.std(apart, ddof=1)) * len(apart) ** 0.5 / true_kwh.sum()


def golden(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Direct and diffuse light by the minute of a year without 29 February, local standard time."""
    table = pd.read_csv(path)
    table.index = pd.to_datetime(table["date"] + " " + table["time"]) - pd.Timedelta(hours=7)
    series = table[["direct", "diffuse"]].apply(pd.to_numeric, errors="coerce").interpolate(limit=60)
    series = series.reindex(pd.date_range("2020-01-01", "2020-12-31 23:59", freq="min")).fillna(0.0).clip(lower=0.0)
    series = series[~((series.index.month == 2) & (series.index.day == 29))]
    return series["direct"].to_numpy(), series["diffuse"].to_numpy()


def pool_of(place: tuple[float, ...], dni: np.ndarray, dhi: np.ndarray, minute: SunPath) -> WeatherPool:
    """Hourly means that keep direct light on the horizontal and diffuse light."""
    hour = sun_path(*place)
    beam = (dni * minute.cos_zenith).reshape(HOURS, -1).mean(axis=1)
    normal = np.where(hour.cos_zenith > 0.01, beam / np.maximum(hour.cos_zenith, 0.01), 0.0)[None, :]
    diffuse = dhi.reshape(HOURS, -1).mean(axis=1)[None, :]
    return WeatherPool(
        ghi=normal * hour.cos_zenith + diffuse,
        dni=normal,
        dhi=diffuse,
        temp_air=np.full((1, HOURS), 15.0),
        wind_speed=np.full((1, HOURS), 3.0),
        latitude_deg=place[0],
        longitude_deg=place[1],
        altitude_m=place[2],
        utc_offset_hours=place[3],
        source="measured",
    )


def payerne(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Direct and diffuse light by the minute of a year that is dark but for June, local standard time."""
    from pvlib import iotools

    table, _ = iotools.read_bsrn(path)
    table.index = table.index.tz_localize(None) + pd.Timedelta(hours=1)
    june = pd.date_range("2016-06-02", "2016-06-30 00:00", freq="min", inclusive="left")
    light = table[["dni", "dhi"]].reindex(june).interpolate(limit=60).fillna(0.0).clip(lower=0.0)
    year = np.zeros((2, HOURS * 60))
    year[:, 152 * 1440 : 152 * 1440 + len(june)] = light.to_numpy().T
    return year[0], year[1]


def show_bias(what: str, place: tuple[float, ...], light: tuple[np.ndarray, np.ndarray], load_w: np.ndarray) -> None:
    """Print the bias of self-use and of yield for five kits, on the days used for the law and on those that were not."""
    minute, hour = sun_path(*place, steps_per_hour=60), sun_path(*place)
    dni, dhi = (np.where(minute.lit_share == 0.0, 0.0, part) for part in light)
    pool = pool_of(place, dni, dhi, minute)
    skies = [fine_sky(pool, seed=seed) for seed in range(SEEDS)]
    day = np.arange(365)
    parts = {"all days": dhi.reshape(365, -1).any(axis=1)}
    if what == "Golden":
        parts = {"days used": day % 2 == 0, "days kept back": day % 2 == 1}
    for part, wanted in parts.items():
        days = np.repeat(wanted, 1440)
        print(f"{what}, {part}: bias of self-use (and of yield)")
        for kit, (*_, battery) in KITS.items():
            measured = power_w(dni, dhi, minute, kit)[days]
            true_kwh = self_use_kwh(measured, load_w[days], battery)
            flat = np.repeat(power_w(pool.dni[0], pool.dhi[0], hour, kit), 60)[days]
            made = [np.repeat(power_w(sky.dni[0], sky.dhi[0], sun, kit), 60 // STEPS)[days] for sky, sun in skies]
            texts = []
            for solar in ([flat], made):
                kwh = np.mean([self_use_kwh(one, load_w[days], battery) for one in solar], axis=0)
                off, error = bias(kwh, true_kwh)
                texts.append(f"{off:+.2%} +- {error:.2%} ({np.mean(solar, axis=0).sum() / measured.sum() - 1:+.2%})")
            print(f"  {kit:28s} by the hour {texts[0]}   within the hour {texts[1]}")


def at_ilorin(month: Path, load_w: np.ndarray) -> None:
    """Print the same for a flat module of 0.8 and 4 kW under global light, split into direct and diffuse by the hour."""
    from pvlib import iotools

    from riskcalc.weather.split import beam_and_diffuse

    table, _ = iotools.read_bsrn(month)
    ghi = table["ghi"].dropna().clip(lower=0.0)
    ghi.index = ghi.index + pd.Timedelta(hours=1)
    whole = pd.date_range("1994-06-02", "1994-06-30 00:00", freq="3min", tz="UTC", inclusive="left")
    light = ghi.reindex(whole).interpolate(limit=3).fillna(0.0).to_numpy()
    start = (151 + 1) * 24
    hourly = np.zeros((1, HOURS))
    hourly[0, start : start + len(light) // 20] = light.reshape(-1, 20).mean(axis=1)
    dni, dhi = beam_and_diffuse(hourly, sun_path(*ILORIN))
    place = dict(zip(("latitude_deg", "longitude_deg", "altitude_m", "utc_offset_hours"), ILORIN, strict=True))
    air = {"temp_air": np.full((1, HOURS), 25.0), "wind_speed": np.full((1, HOURS), 2.0)}
    pool = WeatherPool(ghi=hourly, dni=dni, dhi=dhi, **air, **place, source="measured")
    minutes = slice(start * 60, start * 60 + len(light) * 3)
    flat = np.repeat(hourly[0, start : start + len(light) // 20], 60)
    print("Ilorin, global light, not used at all")
    for rated in (0.8, 4.0):
        true_kwh = self_use_kwh(np.repeat(light, 3) * rated * 0.85, load_w[minutes], 0.0)
        by_hour, error = bias(self_use_kwh(flat * rated * 0.85, load_w[minutes], 0.0), true_kwh)
        made = []
        for seed in range(8):
            sky, _ = fine_sky(pool, seed=seed)
            by_step = np.repeat(sky.ghi[0], 60 // STEPS)[minutes]
            made.append(self_use_kwh(by_step * rated * 0.85, load_w[minutes], 0.0))
        off, made_error = bias(np.mean(made, axis=0), true_kwh)
        print(
            f"  {rated:g} kW flat: by the hour {by_hour:+.2%} +- {error:.2%}, within the hour {off:+.2%} +- {made_error:.2%}"
        )


def main() -> None:
    """Read the files named and print."""
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    if len(sys.argv) > 3:
        meter = pd.read_csv(sys.argv[3])["power_w"].interpolate().to_numpy()[: HOURS * 60]
    else:
        meter = np.tile(np.r_[np.full(420, 150.0), np.full(60, 900.0), np.full(480, 250.0), np.full(480, 600.0)], 365)
    load_w = meter * 3500.0 * 60e3 / meter.sum()
    show_bias("Golden", GOLDEN, golden(Path(sys.argv[1])), load_w)
    show_bias("Payerne, June, not used at all", PAYERNE, payerne(Path(sys.argv[2])), load_w)
    if len(sys.argv) > 4:
        at_ilorin(Path(sys.argv[4]), load_w)


if __name__ == "__main__":
    main()
