"""Homes whose minutes are known, to hold what is made of their half hours against; and the answer of a small unit there."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np

from riskcalc.clock import local_clock
from riskcalc.demand.events import appliance_years
from riskcalc.scenario import read_scenario
from riskcalc.study.model import Assessment, assessment

BALCONY = Path(__file__).parents[2] / "scenarios" / "tenant-balcony.toml"
#: A unit of 1,800 W.
QUICK = (
    "study.draws=64",
    "study.scrambles=16",
    "study.pool_years=2",
    "study.horizon_years=4",
    "study.odds_within_years=4",
    "kit.inverter.rating_w=1800",
    'home.demand.source="meter"',
    "home.demand.reachable_share=1",
)


class Made(NamedTuple):
    """A made home: its appliances, people, use of a year [kWh] (None: as the list has it), share of weekdays at home."""

    appliances: str
    occupants: int
    year_kwh: float | None
    home_share: float

    def minutes_w(self) -> np.ndarray:
        """Return a year of its minutes [W]."""
        pool = appliance_years(
            dict.fromkeys(self.appliances.split(), "unit"),
            clock=local_clock("Etc/UTC"),
            years=1,
            seed=7,
            occupants=self.occupants,
            annual_use_kwh=self.year_kwh,
            home_share=self.home_share,
        )
        streams = dict(zip(pool.basis, pool.minutes_w(0), strict=True))
        at_home = np.repeat(pool.day_rank[0, 0] < self.home_share, 1440)
        home, away = (streams[f"{day}_day"] + streams.get(f"{day}_small", 0.0) for day in ("home", "away"))
        return streams["always"] + np.where(at_home, home, away) + streams.get("movable_usual", 0.0)


HOMES = {
    "what is plugged into a unit": Made(
        "fridge_freezer television tv_receiver_box personal_computer laptop router_standby phone_charger kettle toaster "
        "microwave small_cooking vacuum",
        2, None, 0.5,
    ),
    "flat of one, kettle and hob": Made(
        "fridge_freezer television laptop router_standby phone_charger kettle hob microwave toaster washing_machine vacuum "
        "hair_dryer lighting other_always_on",
        1, 1800.0, 0.4,
    ),
    "flat of two, hob and oven, no kettle": Made(
        "refrigerator television laptop router_standby hob oven small_cooking lighting vacuum", 2, 1500.0, 0.5
    ),
    "family of four": Made(
        "fridge_freezer upright_freezer television second_television tv_receiver_box personal_computer laptop kettle "
        "microwave oven hob small_cooking toaster hair_dryer washing_machine tumble_dryer dishwasher iron vacuum hi_fi "
        "lighting heating_pump router_standby other_always_on",
        4, 4200.0, 0.5,
    ),
    "tank of 4.5 kW": Made(
        "fridge_freezer television laptop kettle microwave oven hob toaster hair_dryer washing_machine dishwasher vacuum "
        "lighting router_standby other_always_on tank_water_heater",
        3, 6000.0, 0.5,
    ),
    "storage water heater": Made(
        "refrigerator television laptop kettle microwave hob toaster hair_dryer washing_machine vacuum lighting "
        "router_standby other_always_on storage_water_heater",
        2, 3300.0, 0.4,
    ),
    "electric shower": Made(
        "fridge_freezer television personal_computer kettle microwave oven hob electric_shower washing_machine tumble_dryer "
        "lighting vacuum heating_pump router_standby",
        2, 3500.0, 0.6,
    ),
}  # fmt: skip


#: Prices at which such a unit's odds are near even in four years.
PRICES = dict(zip(HOMES, (500, 520, 380, 580, 530, 530, 530), strict=True))


def meter_file(watts: np.ndarray, step_minutes: int, folder: Path) -> Path:
    """Write minutes [W] as a meter file of the given step and return its path."""
    means = watts.reshape(-1, step_minutes).mean(axis=1)
    times = np.datetime64("2023-01-01T00:00") + np.arange(len(means)) * np.timedelta64(step_minutes, "m")
    path = folder / f"every_{step_minutes}.csv"
    rows = (f"{str(time).replace('T', ' ')},{power:.2f}\n" for time, power in zip(times, means, strict=True))
    path.write_text("time,power_w\n" + "".join(rows), encoding="utf-8")
    return path


def answer(path: Path, year_kwh: float, home: Made | None = None, *, price: float = 380.0) -> Assessment:
    """Return the assessment of the balcony with a meter file and the home's list, or no list."""
    people = (f"home.occupants={home.occupants}", f"home.weekday_home_share={home.home_share}") if home else ()
    file = f'home.demand.file="{path.as_posix()}"'
    figures = (f"home.annual_use_kwh={year_kwh:.1f}", f"purchase.price={price}")
    read = read_scenario(BALCONY, [*QUICK, *people, *figures, file])
    # A setting would add to the shelf's list, not replace it.
    listed = dict.fromkeys(home.appliances.split(), "elsewhere") if home else {}
    return assessment(read.model_copy(update={"home": read.home.model_copy(update={"appliances": listed})}))
