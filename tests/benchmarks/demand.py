"""Time to make a pool of demand years; run by hand.

python tests/benchmarks/demand.py
"""

from __future__ import annotations

import time

from riskcalc.clock import local_clock
from riskcalc.demand.appliances import CAR, appliance_table
from riskcalc.demand.events import appliance_years


def main() -> None:
    """Print seconds for 32 years at one minute, five and seven streams, one and two threads, best of three."""
    home = {key: row.usually for key, row in appliance_table().items() if key != CAR and row.ownership > 0.5}
    clock = local_clock("Europe/London")
    appliance_years(home, clock=clock, years=1, seed=1)
    for car_kwh in (0.0, 1500.0):
        for threads in (1, 2):
            seconds = []
            for _ in range(3):
                start = time.perf_counter()
                pool = appliance_years(home, clock=clock, years=32, seed=1, car_kwh_per_year=car_kwh, threads=threads)
                seconds.append(time.perf_counter() - start)
            size = (pool.run_w.nbytes + pool.run_minutes.nbytes + pool.wired_w.nbytes) / 1e6
            print(f"{len(home)} appliances, {len(pool.basis)} streams, {threads} threads: "
                  f"{min(seconds):.2f} s, {size:.0f} MB")  # fmt: skip


if __name__ == "__main__":
    main()
