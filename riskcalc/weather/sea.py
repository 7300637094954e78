"""Is a place on the sea? A coarse map of the land, so that a mistyped place is asked about before anything else is done.

The map holds, by half degrees, what lies within some 75 km of the land of Natural Earth; small islands may be missing.
"""

from __future__ import annotations

from functools import cache

from riskcalc.errors import one_problem
from riskcalc.weather.climates import table_rows

CELL_DEG = 0.5
#: How far from land the map reaches; `tests/studies/land_mask.py` makes it.
NEAR_KM = 75


def near_land(latitude_deg: float, longitude_deg: float) -> bool:
    """Return whether the half degree of the place lies within NEAR_KM of the map's land; the date line is no border."""
    south = min(latitude_deg // CELL_DEG * CELL_DEG, 90.0 - CELL_DEG)
    east_deg = (longitude_deg + 180.0) % 360.0 - 180.0
    return any(west <= east_deg < east for west, east in _land().get(south, ()))


def check_on_land(latitude_deg: float, longitude_deg: float, *, insist: str, file: str = "command line") -> None:
    """Raise InputError for a place far from all land; `insist` says how to go on where the map is wrong.

    Coordinates that lie on land the other way round are offered.
    """
    if near_land(latitude_deg, longitude_deg):
        return
    hint = f"a small island may be missing from our map: {insist}"
    if abs(longitude_deg) <= 90.0 and near_land(longitude_deg, latitude_deg):
        hint = f"swapped? Latitude first: {longitude_deg:g} {latitude_deg:g}; {hint}"
    given = f"{latitude_deg:g} {longitude_deg:g}, on the sea: more than {NEAR_KM} km from any land"
    raise one_problem(file, "LATITUDE LONGITUDE", given, "a place on land, south and west negative", hint)


@cache
def _land() -> dict[float, list[tuple[float, float]]]:
    """Return the runs of cells near land, west and east end, by the southern edge of their row."""
    found: dict[float, list[tuple[float, float]]] = {}
    for row in table_rows("land.csv"):
        found.setdefault(float(row["south_deg"]), []).append((float(row["west_deg"]), float(row["east_deg"])))
    return found
