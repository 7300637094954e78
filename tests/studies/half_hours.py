"""What is made of a meter's half hours, beside the minutes that they were summed from.

    python tests/studies/half_hours.py [MEASURED]

MEASURED is a year of a home's power by the minute (time,power_w), of which the days without a gap are taken. For each home
and interval it prints by how many points of the year's use the energy below 0.8, 1.8 and 3 kW is off, with the home's list
of appliances and without; for made homes also by how much the first-year saving and the odds of a unit of 1,800 W are off.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[1] / "demand"))
from metered_homes import HOMES, PRICES, Made, answer, meter_file

from riskcalc.demand import spikes
from riskcalc.demand.spikes import LikelyHome, metered_days, restored_minutes

LIMITS_W = (800.0, 1800.0, 3000.0)
INTERVALS = (15, 30, 60)
#: Seeds of the made homes that donate minutes where there is no list; the first is the program's.
DEALS = (4099, 5003, 6007, 7001, 8009)


def below(watts: np.ndarray) -> np.ndarray:
    """Return the energy below each limit [% of the whole]."""
    return np.array([np.minimum(watts, limit).sum(dtype=float) for limit in LIMITS_W]) / watts.sum(dtype=float) * 100.0


def points_off(day_w: np.ndarray, interval: int, home: Made | None) -> np.ndarray:
    """Return by how many points the energy below each limit is off; `day_w` (days, 1440)."""
    means = day_w.reshape(len(day_w), -1, interval).mean(axis=2, dtype=float)
    likely = LikelyHome(tuple(home.appliances.split()), home.occupants, home.home_share) if home else None
    days = metered_days(means, home=likely)
    return np.mean([below(restored_minutes(days, seed=seed)) for seed in range(4)], axis=0) - below(day_w)


def measured(path: str) -> np.ndarray:
    """Return the days without a gap of a year of minutes, (days, 1440) [W]."""
    table = pd.read_csv(path)
    table = table[~table["time"].str.contains("-02-29")]
    days = table["power_w"].to_numpy(float).reshape(-1, 1440)
    return days[np.isfinite(days).all(axis=1)]


def _dealt_anew(day_w: np.ndarray, first_seed: int) -> np.ndarray:
    """Return `points_off` with half hours and no list, the donors being other made homes."""
    usual = spikes._FIRST_SEED
    try:
        spikes._FIRST_SEED = first_seed
        spikes._made_homes.cache_clear()
        spikes._donors.cache_clear()
        return points_off(day_w, 30, None)
    finally:
        spikes._FIRST_SEED = usual


def figures_of(minutes_w: np.ndarray, home: Made, price: float) -> str:
    """Return by how much first-year saving and odds of paying back are off with half hours, with and without the list."""
    year_kwh = minutes_w.sum(dtype=float) / 60_000.0
    with tempfile.TemporaryDirectory() as folder:
        files = [meter_file(minutes_w, step, Path(folder)) for step in (1, 30)]
        asked = ((files[0], None), (files[1], home), (files[1], None))
        fine, *coarse = (answer(file, year_kwh, known, price=price) for file, known in asked)
        saving = [found.valuation.saving[0].mean() for found in (fine, *coarse)]
        paid = [np.isfinite(found.valuation.payback_years) for found in (fine, *coarse)]
    error = paid[0].reshape(16, -1).mean(axis=1).std(ddof=1) / 4.0
    odds = [f"{found.mean() - paid[0].mean():+.3f}" for found in paid[1:]]
    offs = [f"{value / saving[0] - 1.0:+.2%}" for value in saving[1:]]
    near = f"odds {paid[0].mean():.3f} +- {error:.3f}: {odds[0]}, {odds[1]}"
    return f"saving {saving[0]:.1f}: {offs[0]}, without list {offs[1]}; {near}"


def main() -> None:
    """Print a line by home and interval."""
    for name, home in HOMES.items():
        minutes_w = home.minutes_w()
        day_w = minutes_w.reshape(-1, 1440)
        print(f"{name}: {below(day_w).round(1)} % below {LIMITS_W} W")
        for interval in INTERVALS:
            off = [points_off(day_w, interval, known).round(2) for known in (home, None)]
            print(f"  {interval} min: {off[0]} with the list, {off[1]} without", flush=True)
        print(f"  {figures_of(minutes_w, home, PRICES[name])}", flush=True)
    for path in sys.argv[1:]:
        day_w = measured(path)
        print(f"measured home: {below(day_w).round(1)} % below {LIMITS_W} W")
        for interval in INTERVALS:
            print(f"  {interval} min: {points_off(day_w, interval, None).round(2)} without a list", flush=True)
        off = np.array([_dealt_anew(day_w, first_seed) for first_seed in DEALS])
        print(
            f"  30 min, donors made {len(DEALS)} times: {off.mean(axis=0).round(2)} +- {off.std(axis=0, ddof=1).round(2)}"
        )


if __name__ == "__main__":
    main()
