"""Built-in climates: monthly means of places for which a published table can be cited."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from riskcalc.errors import one_problem
from riskcalc.weather.doubts import distance_km

QUANTITIES = ("ghi_w_m2", "temp_air_c", "wind_speed_m_s")

SOURCES = {
    "sap2012": (
        "The Government's Standard Assessment Procedure for Energy Rating of Dwellings, 2012 edition, Appendix U,"
        " tables U1 to U4, pp. 172-176; longitude: centre of the region read off a map"
    ),
    "nsrdb": (
        "monthly means of the typical year of the National Solar Radiation Database; Sengupta et al., Renewable and"
        " Sustainable Energy Reviews 89 (2018) 51-60"
    ),
    "tmy3": (
        "monthly means of the typical year (TMY3) of the station; Wilcox & Marion, Users Manual for TMY3 Data Sets,"
        " NREL/TP-581-43156 (2008)"
    ),
    "tmy2": (
        "monthly means of the typical year (TMY2) of the station; Marion & Urban, User's Manual for TMY2s,"
        " NREL/SP-463-7668 (1995)"
    ),
    "try": (
        "monthly means of the typical year of the station; test reference years of Germany for mean conditions,"
        " 1988 to 2007, Federal Institute for Research on Building, Urban Affairs and Spatial Development (BBSR) and"
        " Deutscher Wetterdienst, 2011"
    ),
    "jrc": (
        "monthly means of the typical year of 2005 to 2023 at 45 N 8 E, solar radiation data of the European Commission,"
        " Joint Research Centre; method: Huld, Mueller & Gambardella, Solar Energy 86 (2012) 1803-1815"
    ),
}

#: Distance up to which a built-in climate stands for a place; judgement: British regions are some 200 km wide.
NEAR_KM = 100.0

#: Of `yearly_spread` in Great Britain and Northern Ireland: 0.053 +- 0.005 at Oxford, and a little for the thickness of
#: clouds, which hours of sunshine do not tell (tests/calibration/sunshine.py).
SPREAD_SOURCE = (
    "67 years of sunshine at Oxford, 1953 to 2019 (Met Office historic station data), as light by a regression of ten"
    " years at Eskdalemuir, Journal of Climatology 1 (1981)"
)


@dataclass(frozen=True)
class Climate:
    """Long-term monthly means of one place; month series have shape (12,), read-only.

    `ghi_w_m2` is the 24-hour mean of global horizontal irradiance [W/m2], `temp_air_c` [degC], `wind_speed_m_s` at
    10 m [m/s]; `utc_offset_hours` is standard time and `zone` the clock of the place; `source` the citation.
    `yearly_spread` is the standard deviation of a year's light over its long-term mean, None where no long record tells it.
    `morning_share` is the share of each month's light before noon of the sun, None where no hours of the place tell it.
    """

    key: str
    name: str
    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    utc_offset_hours: float
    zone: str
    ghi_w_m2: NDArray[np.float64]
    temp_air_c: NDArray[np.float64]
    wind_speed_m_s: NDArray[np.float64]
    source: str
    yearly_spread: float | None = None
    morning_share: NDArray[np.float64] | None = None


def climate_names() -> tuple[str, ...]:
    """Return the keys of all built-in climates, in the order of the table."""
    return tuple(_climates())


def climate(name: str) -> Climate:
    """Return the built-in climate of that key or full name; letter case, spaces and hyphens do not matter.

    Raises
    ------
    InputError
        If there is no such climate; the nearest names are given.
    """
    known = _climates()
    wanted = _folded(name)
    for key, entry in known.items():
        if wanted in (_folded(key), _folded(entry.name)):
            return entry
    near = get_close_matches(wanted, [_folded(key) for key in known], n=3, cutoff=0.5)
    hint = "nearest: " + ", ".join(near) if near else ""
    accepted = f"one of {len(known)} built-in climates, such as uk_average; `riskcalc sites` lists them"
    raise one_problem("scenario", "site.weather.region", name, accepted, hint)


def nearest_climates(latitude_deg: float, longitude_deg: float, *, count: int = 3) -> list[tuple[Climate, float]]:
    """Return the built-in climates nearest to a place, each with its distance [km], the nearest first."""
    away = [
        (entry, distance_km(latitude_deg, longitude_deg, entry.latitude_deg, entry.longitude_deg))
        for entry in _climates().values()
    ]
    return sorted(away, key=lambda pair: pair[1])[:count]


def far_line(latitude_deg: float, longitude_deg: float) -> str:
    """Return what to do where no built-in climate is near: how far the nearest is, and the command that fetches years."""
    ((nearest, away),) = nearest_climates(latitude_deg, longitude_deg, count=1)
    return (
        f"The nearest built-in climate, {nearest.key}, is {away:,.0f} km away: too far to stand for this place."
        f" `riskcalc weather {latitude_deg:g} {longitude_deg:g}` fetches real years of it. Without a network here, run that on"
        " any computer that has one and bring the file, or name a typical year (EPW) of the place."
    )


def _folded(name: str) -> str:
    return "_".join(name.casefold().replace("-", " ").replace("_", " ").replace("/", " ").split())


@cache
def _climates() -> dict[str, Climate]:
    months: dict[tuple[str, str], NDArray[np.float64]] = {}
    for row in table_rows("climate_months.csv"):
        values = np.array([float(value) for value in list(row.values())[2:]])
        values.flags.writeable = False
        months[row["key"], row["quantity"]] = values
    return {
        row["key"]: Climate(
            key=row["key"],
            name=row["name"],
            latitude_deg=float(row["latitude_deg"]),
            longitude_deg=float(row["longitude_deg"]),
            altitude_m=float(row["altitude_m"]),
            utc_offset_hours=float(row["utc_offset_hours"]),
            zone=row["zone"],
            source=SOURCES[row["source"]],
            yearly_spread=float(row["yearly_spread"]) if row["yearly_spread"] else None,
            **{quantity: months[row["key"], quantity] for quantity in QUANTITIES},
            morning_share=months.get((row["key"], "morning_share")),
        )
        for row in table_rows("climate_sites.csv")
    }


def table_rows(name: str) -> list[dict[str, str]]:
    """Return the rows of one of the package's own tables."""
    text = (files("riskcalc") / "tables" / name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))
