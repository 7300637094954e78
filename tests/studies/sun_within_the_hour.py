"""What sun by the hour, and sun within the hour by our law, do to self-use, against light measured by the minute.

    python tests/studies/sun_within_the_hour.py SAMPLE [BSRN_MONTH] [METER]

SAMPLE is notebooks/data/sample-data.csv.gz of the source package of libinsitu 1.7.1: Golden, Colorado, 2020, by the minute
(NREL Solar Radiation Research Laboratory). BSRN_MONTH is tests/data/BSRN/ilo/ilo0694.dat.gz of the same package: global light
at Ilorin, Nigeria, June 1994, by three minutes. METER is a year of a home's power by the minute (time,power_w; scaled to 3,500
kWh). None of them is shipped. Every other day of Golden was used for the figures of the law; the rest was kept back.
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
ILORIN = (8.533, 4.566, 350.0, 1.0)
#: Name -> tilt, azimuth, rated kW, inverter kW, battery kWh.
KITS = {
    "south balcony": (70, 180, 0.8, 0.8, 0.0),
    "west wall": (90, 270, 0.8, 0.8, 0.0),
    "roof": (35, 180, 4.0, 4.0, 0.0),
    "roof, 5 kWh": (35, 180, 4.0, 4.0, 5.0),
    "modules twice the inverter": (30, 180, 1.6, 0.8, 0.0),
}
SEEDS = 3


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


def self_use_kwh(solar_w: np.ndarray, load_w: np.ndarray, battery_kwh: float) -> float:
    """Return the solar energy that serves the load, through the battery too [kWh]; arrays by the minute."""
    direct = np.minimum(solar_w, load_w)
    if not battery_kwh:
        return float(direct.sum()) / 60e3
    stored, through = 0.0, 0.0
    for flow in (solar_w - load_w).tolist():
        if flow > 0.0:
            stored = min(stored + 0.95 * min(flow, 2500.0) / 60.0, battery_kwh * 1000.0)
        else:
            taken = min(-min(-flow, 2500.0) / -60.0, stored)
            stored -= taken
            through += 0.95 * taken
    return float(direct.sum()) / 60e3 + through / 1000.0


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


def at_golden(sample: Path, load_w: np.ndarray) -> None:
    """Print the bias of self-use and of yield for five kits, on the days that were used and on those kept back."""
    minute = sun_path(*GOLDEN, steps_per_hour=60)
    dni, dhi = golden(sample)
    dark = minute.lit_share == 0.0
    dni, dhi = np.where(dark, 0.0, dni), np.where(dark, 0.0, dhi)
    pool = pool_of(GOLDEN, dni, dhi, minute)
    skies = [fine_sky(pool, seed=seed) for seed in range(SEEDS)]
    hour = sun_path(*GOLDEN)
    for what, part in (("days used", 0), ("days kept back", 1)):
        days = np.repeat(np.arange(365) % 2 == part, 1440)
        print(f"Golden, {what}: bias of self-use (and of yield)")
        for kit, (*_, battery) in KITS.items():
            measured = power_w(dni, dhi, minute, kit)[days]
            true_use, true_yield = self_use_kwh(measured, load_w[days], battery), measured.sum()
            flat = np.repeat(power_w(pool.dni[0], pool.dhi[0], hour, kit), 60)[days]
            row = [(self_use_kwh(flat, load_w[days], battery) / true_use - 1, flat.sum() / true_yield - 1)]
            found = []
            for sky, sun in skies:
                made = np.repeat(power_w(sky.dni[0], sky.dhi[0], sun, kit), 60 // STEPS)[days]
                found.append((self_use_kwh(made, load_w[days], battery) / true_use - 1, made.sum() / true_yield - 1))
            row.append(tuple(np.mean(found, axis=0)))
            texts = [f"{use:+.2%} ({energy:+.2%})" for use, energy in row]
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
        true_use = self_use_kwh(np.repeat(light, 3) * rated * 0.85, load_w[minutes], 0.0)
        by_hour = self_use_kwh(flat * rated * 0.85, load_w[minutes], 0.0) / true_use - 1
        made = []
        for seed in range(8):
            sky, _ = fine_sky(pool, seed=seed)
            by_step = np.repeat(sky.ghi[0], 60 // STEPS)[minutes]
            made.append(self_use_kwh(by_step * rated * 0.85, load_w[minutes], 0.0) / true_use - 1)
        print(f"  {rated:g} kW flat: by the hour {by_hour:+.2%}, within the hour {np.mean(made):+.2%}")


def main() -> None:
    """Read the files named and print."""
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    if len(sys.argv) > 3:
        meter = pd.read_csv(sys.argv[3])["power_w"].interpolate().to_numpy()[: HOURS * 60]
    else:
        meter = np.tile(np.r_[np.full(420, 150.0), np.full(60, 900.0), np.full(480, 250.0), np.full(480, 600.0)], 365)
    load_w = meter * 3500.0 * 60e3 / meter.sum()
    at_golden(Path(sys.argv[1]), load_w)
    if len(sys.argv) > 2:
        at_ilorin(Path(sys.argv[2]), load_w)


if __name__ == "__main__":
    main()
