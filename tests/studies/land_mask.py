"""Write riskcalc/tables/land.csv: the half degrees of the earth that are on land or near it.

    npm pack world-atlas@2.0.2 && tar xzf world-atlas-2.0.2.tgz
    python tests/studies/land_mask.py package/land-10m.json

The file holds Natural Earth's land at 1:10,000,000 (version 4.1, public domain) as TopoJSON. Every cell of half a degree
whose middle lies within NEAR_KM of that land is written, as runs from west to east.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
from scipy.spatial import KDTree

NEAR_KM = 75.0
CELL_DEG = 0.5
#: Land is looked for at points so far apart, and at every corner of its outline.
FINE_DEG = 0.25
EARTH_RADIUS_KM = 6371.0
#: The map has a made-up island at 0 0, where mistyped places lie.
NULL_ISLAND_DEG = 0.1
TABLE = Path(__file__).parents[2] / "riskcalc" / "tables" / "land.csv"


def rings(path: Path) -> list[np.ndarray]:
    """Return the outlines of the land, each (corners, 2) of longitude and latitude."""
    topology = json.loads(path.read_text(encoding="utf-8"))
    scale, shift = (np.array(topology["transform"][key]) for key in ("scale", "translate"))
    arcs = [np.cumsum(arc, axis=0) * scale + shift for arc in topology["arcs"]]
    found = []
    for geometry in topology["objects"]["land"]["geometries"]:
        polygons = geometry["arcs"] if geometry["type"] == "MultiPolygon" else [geometry["arcs"]]
        for ring in (ring for polygon in polygons for ring in polygon):
            corners = np.concatenate([arcs[arc] if arc >= 0 else arcs[~arc][::-1] for arc in ring])
            if np.abs(corners).max() > NULL_ISLAND_DEG:
                found.append(unwrapped(corners))
    return found


def unwrapped(corners: np.ndarray) -> np.ndarray:
    """Return an outline that goes on beyond the date line; one that goes round a pole is closed along it."""
    longitude = np.rad2deg(np.unwrap(np.radians(corners[:, 0])))
    out = np.column_stack([longitude, corners[:, 1]])
    if abs(longitude[-1] - longitude[0]) < 180.0:
        return out
    pole = np.full(2, np.copysign(90.0, corners[:, 1].mean()))
    return np.concatenate([out, np.column_stack([longitude[[-1, 0]], pole]), out[:1]])


def inside(outlines: list[np.ndarray]) -> np.ndarray:
    """Return the points of a fine grid on land, (points, 2): those with an odd number of borders to their west."""
    latitudes = np.arange(-90.0 + FINE_DEG / 2.0, 90.0, FINE_DEG)
    longitudes = np.arange(-180.0 + FINE_DEG / 2.0, 180.0, FINE_DEG)
    first, last = (np.concatenate([part(ring) for ring in outlines]) for part in (lambda r: r[:-1], lambda r: r[1:]))
    points = []
    for latitude in latitudes:
        crosses = (first[:, 1] <= latitude) != (last[:, 1] <= latitude)
        start, rise = first[crosses], last[crosses] - first[crosses]
        borders = np.sort(start[:, 0] + (latitude - start[:, 1]) * rise[:, 0] / rise[:, 1])
        turns = [np.searchsorted(borders, longitudes + turn) % 2 == 1 for turn in (-360.0, 0.0, 360.0)]
        on_land = longitudes[np.any(turns, axis=0)]
        points.append(np.column_stack([on_land, np.full(on_land.size, latitude)]))
    return np.concatenate(points)


def unit_vectors(places: np.ndarray) -> np.ndarray:
    """Return places (longitude, latitude) as points of a sphere of radius 1, (places, 3)."""
    longitude, latitude = np.radians(places).T
    return np.column_stack(
        [np.cos(latitude) * np.cos(longitude), np.cos(latitude) * np.sin(longitude), np.sin(latitude)]
    )


def main() -> None:
    """Write the table."""
    outlines = rings(Path(sys.argv[1]))
    land = KDTree(unit_vectors(np.concatenate([*outlines, inside(outlines)])))
    chord = 2.0 * np.sin(NEAR_KM / EARTH_RADIUS_KM / 2.0)
    lines = ["south_deg,west_deg,east_deg"]
    west = np.arange(-180.0, 180.0, CELL_DEG)
    for south in np.arange(-90.0, 90.0, CELL_DEG):
        middles = np.column_stack([west + CELL_DEG / 2.0, np.full(west.size, south + CELL_DEG / 2.0)])
        near = land.query(unit_vectors(middles))[0] <= chord
        edges = np.flatnonzero(np.diff(np.concatenate([[False], near, [False]]).astype(int)))
        lines += [f"{south:g},{-180.0 + a * CELL_DEG:g},{-180.0 + b * CELL_DEG:g}" for a, b in edges.reshape(-1, 2)]
    TABLE.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
