"""Statistics of a year of demand by day and minute that decide what a battery can do: measured homes and made ones alike."""

from __future__ import annotations

import numpy as np

from riskcalc.clock import MONTH_OF_DAY, local_clock
from riskcalc.demand.events import appliance_years
from riskcalc.weather.climates import climate
from riskcalc.weather.generator import generated_years

#: A day takes part in a run of quiet days below this share of its month's mean; a day below the other is nearly empty.
QUIET, EMPTY = 0.9, 0.35
#: Yield of the modules in the comparison [kWh/kWp], and kWp per MWh of yearly use.
YIELD, SIZE = 950.0, 1.0

#: A home without electric heating, as in most of the shipped scenarios.
ORDINARY = (
    *(
        "fridge_freezer",
        "television",
        "personal_computer",
        "router_standby",
        "kettle",
        "microwave",
        "vacuum",
        "oven",
        "hob",
    ),
    *("washing_machine", "dishwasher", "lighting", "heating_pump", "other_always_on", "toaster", "hair_dryer"),
)


def made_years(
    home, *, years, seed=1, occupants=3, annual_use_kwh=3500.0, home_share=0.5, always_on_factor=1.0,
    lamps_and_screens_factor=1.0, only=None,
):  # fmt: skip
    """Return made years of a home, shape (years, 365, 1440) [W]; all else makes up for the factors.

    `only`: what one appliance of the home takes.
    """
    reach = {key: "unit" if only in (None, key) else "elsewhere" for key in home}
    pool = appliance_years(
        reach, clock=local_clock("Europe/Paris"), years=years, seed=seed, occupants=occupants,
        annual_use_kwh=annual_use_kwh, home_share=home_share, latitude_deg=48.8,
    )  # fmt: skip
    active, base, small = 1.0, 1.0, 1.0
    if (always_on_factor, lamps_and_screens_factor) != (1.0, 1.0):
        factors = [always_on_factor], [lamps_and_screens_factor]
        active, base, small = (row[0] for row in pool.household_scales([annual_use_kwh], [home_share], [0.0], *factors))
    out = []
    for year in range(years):
        stream = dict(zip(pool.basis, pool.minutes_w(year).astype(float), strict=True))
        at_home = np.repeat(pool.day_rank[year, 0] < home_share, 1440)
        used, little = (
            np.where(at_home, stream.get(f"home_{kind}", 0.0), stream.get(f"away_{kind}", 0.0))
            for kind in ("day", "small")
        )
        used += stream.get("movable_usual", 0.0)
        out.append((base * stream["always"] + active * used + small * little).reshape(365, 1440))
    return np.stack(out)


def like_years(home, *, years):
    """Return made years of a home of four that uses 9,400 kWh, (years, 365, 1440) [W]."""
    return made_years(home, years=years, occupants=4, annual_use_kwh=9400.0)


def warm_days_all_year(day_w):
    """Return a year of the days from May to September in turn, days away aside: a home as it is when it heats nothing."""
    warm = day_w[120:273]
    used = warm[np.nanmean(warm, axis=1) > EMPTY * np.nanmean(warm)]
    return np.resize(used, (365, 1440))


def day_statistics(day_w):
    """Return spread, memory and runs of the days of one year, from its minutes (365, 1440) [W]; gaps are not numbers."""
    month = MONTH_OF_DAY[: len(day_w)]
    day, evening = day_w.mean(axis=1), day_w[:, 17 * 60 : 23 * 60].mean(axis=1)

    def relative(values):
        mean = np.array([np.nanmean(values[month == number]) for number in range(12)])
        return values / mean[month] - 1.0

    found, late = relative(day), relative(evening)
    both = np.isfinite(found[1:]) & np.isfinite(found[:-1])
    filled = day > EMPTY * np.nanmean(day)
    runs, length = [0], 0
    for quiet in found < QUIET - 1.0:
        length = length + 1 if quiet else 0
        runs.append(length)
    return {
        "spread of days within the month": float(np.nanstd(found)),
        "spread of evenings within the month": float(np.nanstd(late)),
        "spread of evenings, nearly empty days aside": float(np.nanstd(relative(np.where(filled, evening, np.nan)))),
        "correlation with the day before, within the month": float(
            np.corrcoef(found[1:][both], found[:-1][both])[0, 1]
        ),
        "longest run of quiet days": float(max(runs)),
        "nearly empty days": float(np.nanmean(day < EMPTY * np.nanmean(day))),
    }


def minute_statistics(day_w):
    """Return how long loads last and how much lies above a level, from minutes (365, 1440) [W]."""
    minute = day_w.ravel()
    minute = minute[np.isfinite(minute)]
    found = {
        f"autocorrelation at {lag} min": float(np.corrcoef(minute[:-lag], minute[lag:])[0, 1]) for lag in (1, 15, 60)
    }
    for level in (800, 2000):
        above = np.maximum(minute - level, 0.0).sum() / minute.sum()
        found[f"energy above {level / 1000:g} kW"] = float(above)
    return found


def sun_statistics(day_w):
    """Return direct use of a year's sun, its fall from steps of 60 minutes to one, and what batteries add [points].

    Hourly sun of a built-in climate, SIZE kWp for each MWh of use; a battery of 95 % each way without a limit of power.
    """
    load = np.where(np.isfinite(day_w), day_w, np.nanmean(day_w)).ravel()
    light = generated_years(climate("uk_average"), years=1, seed=5, yearly_spread=0.06).ghi[0].astype(float)
    sun = np.repeat(light / light.sum() * YIELD * SIZE * load.sum() / 60_000.0, 60)[: load.size]

    def direct(step):
        by_step = np.minimum(load.reshape(-1, step).mean(axis=1), sun.reshape(-1, step).mean(axis=1))
        return float(by_step.sum() * step / sun.sum())

    surplus_wh = (sun - load).reshape(-1, 5).mean(axis=1) / 12.0

    def with_battery(kwh_per_kwp):
        most = kwh_per_kwp * SIZE * load.sum() / 60_000.0
        held = served = 0.0
        for energy in surplus_wh:
            if energy > 0.0:
                held = min(most, held + 0.95 * energy)
            else:
                given = min(held, -energy / 0.95)
                held -= given
                served += 0.95 * given
        return served * 60.0 / sun.sum()

    return {
        "direct use": direct(1),
        "fall of direct use from 60- to 1-minute steps": 1.0 - direct(1) / direct(60),
        "points by 0.5 kWh per kWp": 100.0 * with_battery(0.5),
        "points by 1 kWh per kWp": 100.0 * with_battery(1.0),
    }


def homes_of_one_use(homes, *, seed, always_on, lamps_and_screens, annual_use_kwh=3500.0, even_within_the_hour=False):
    """Return the sun statistics of a made year of every home (appliances, people, share at home), {name: (homes,)}.

    What is always on, and lamps and screens, are multiplied by numbers from the distributions `always_on` and
    `lamps_and_screens`, as in a future of a scenario. Use that is even within each hour has no spikes.
    """
    generator = np.random.default_rng(seed)
    levels, lit = ((generator.permutation(len(homes)) + 0.5) / len(homes) for _ in range(2))
    rows = []
    for number, (owned, occupants, share) in enumerate(homes):
        own = {
            "occupants": occupants,
            "home_share": share,
            "always_on_factor": float(always_on.quantile(levels[number])),
            "lamps_and_screens_factor": float(lamps_and_screens.quantile(lit[number])),
        }
        year = made_years(owned, years=1, seed=seed + number, annual_use_kwh=annual_use_kwh, **own)[0]
        if even_within_the_hour:
            year = np.repeat(year.reshape(-1, 60).mean(axis=1), 60).reshape(year.shape)
        rows.append(sun_statistics(year))
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}
