"""The appliance table: what one cycle takes, how often, and whether it can reach a socket of the kit.

Power, length, yearly cycles, standby and ownership of most rows are the published table of Richardson, Thomson,
Infield
and Clifford, "Domestic electricity use: a high-resolution energy demand model", Energy and Buildings 42 (2010)
1878-1887. The classes, the reach and the rows marked "common practice, no source" are our own.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

from riskcalc.errors import InputError, Problem

CLASSES = ("always_on", "at_home", "movable")
REACHES = ("unit", "elsewhere")
CAR = "car"
HOURS_PER_YEAR = 8760.0


@dataclass(frozen=True)
class Appliance:
    """One row of the table.

    Power in W averaged over the cycle, length in minutes, cycles per year of a home that owns it, standby in W while
    not
    in a cycle, share of homes that own one.
    """

    key: str
    appliance_class: str
    mean_cycle_power_w: float
    cycle_length_min: float
    cycles_per_year: float
    standby_w: float
    usually: str
    activity: str
    ownership: float
    stated_kwh_per_year: float | None
    source: str

    @property
    def hours_on(self) -> float:
        """Hours in a cycle per year."""
        return self.cycles_per_year * self.cycle_length_min / 60.0

    @property
    def kwh_per_year(self) -> float:
        """Energy of cycles plus standby in the rest of the year [kWh]."""
        return (self.mean_cycle_power_w * self.hours_on + self.standby_w * (HOURS_PER_YEAR - self.hours_on)) / 1000.0


@cache
def appliance_table() -> dict[str, Appliance]:
    """Return the table by key, in the order of the file."""
    text = files("riskcalc").joinpath("tables", "appliances.csv").read_text(encoding="utf-8")
    return {row["key"]: _appliance(row) for row in csv.DictReader(text.splitlines())}


@cache
def appliance_keys() -> tuple[str, ...]:
    """Return every key that a scenario may use."""
    return tuple(appliance_table())


@cache
def cycle_phases() -> dict[str, tuple[tuple[int, float], ...]]:
    """Return (minutes, power relative to the others) of the phases of cycles that do not draw a steady power.

    Only the shape counts: it is scaled so that the mean over the cycle is the table's.
    """
    text = files("riskcalc").joinpath("tables", "appliance_cycles.csv").read_text(encoding="utf-8")
    phases: dict[str, list[tuple[int, float]]] = {}
    for row in csv.DictReader(text.splitlines()):
        phases.setdefault(row["key"], []).append((int(row["minutes"]), float(row["power_w"])))
    return {key: tuple(rows) for key, rows in phases.items()}


def check_appliances(given: Mapping[str, str]) -> None:
    """Raise InputError with all that is wrong with a home's list: unknown keys (with the nearest known), unknown reach."""
    problems = []
    for name, reach in given.items():
        if name not in appliance_table():
            hint = _nearest(name, appliance_keys())
            accepted = "an appliance of the table: " + ", ".join(appliance_keys())
            problems.append(Problem("scenario", f"home.appliances.{name}", name, accepted, hint))
        elif reach not in REACHES:
            problems.append(Problem("scenario", f"home.appliances.{name}", repr(reach), '"unit" or "elsewhere"'))
    if problems:
        raise InputError(problems)


def car_problem(kwh_per_year: float, charger_w: float) -> tuple[str, str, str] | None:
    """Return what was given, what is accepted and a hint where a charger cannot give a car that much in a year."""
    most_kwh = charger_w * HOURS_PER_YEAR / 1000.0
    if kwh_per_year <= most_kwh:
        return None
    given = f"{kwh_per_year:,.0f} kWh a year from a charger of {charger_w:,.0f} W"
    accepted = f"at most {most_kwh:,.0f} kWh, what that charger gives when it runs day and night"
    return given, accepted, "give home.car_charger_w a larger value"


def _appliance(row: Mapping[str, str]) -> Appliance:
    stated = row["stated_kwh_per_year"]
    return Appliance(
        key=row["key"],
        appliance_class=row["class"],
        mean_cycle_power_w=float(row["mean_cycle_power_w"]),
        cycle_length_min=float(row["cycle_length_min"]),
        cycles_per_year=float(row["cycles_per_year"]),
        standby_w=float(row["standby_w"]),
        usually=row["usually"],
        activity=row["activity"],
        ownership=float(row["ownership"]),
        stated_kwh_per_year=float(stated) if stated else None,
        source=row["source"],
    )


def _nearest(name: str, known: Iterable[str]) -> str:
    match = get_close_matches(name, list(known), n=1)
    return f"did you mean {match[0]}?" if match else ""
