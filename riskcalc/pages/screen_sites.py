"""The built-in climates on the screen: all of them, or the nearest to a place."""

from __future__ import annotations

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.weather.climates import (
    NEAR_KM,
    SPREAD_SOURCE,
    Climate,
    climate,
    climate_names,
    far_line,
    nearest_climates,
)
from riskcalc.weather.doubts import check_place
from riskcalc.weather.generator import usual_spread_of

HEADING = "latitude  solar kWh/m2/yr  between years  air C"


def site_lines() -> list[str]:
    """Return the built-in climates as a table, and their sources."""
    entries = [climate(name) for name in climate_names()]
    width = max(len(entry.key) for entry in entries)
    sources = list(dict.fromkeys(entry.source for entry in entries))
    lines = [f"{'region':<{width}}  {HEADING}  source  place"]
    lines += [
        f"{entry.key:<{width}}  {_figures(entry)}  {sources.index(entry.source) + 1:6d}  {entry.name}"
        for entry in entries
    ]
    cited = [f"source {number}: {source}" for number, source in enumerate(sources, start=1)]
    return [*lines, "", *cited, f"source of the spread between years: {SPREAD_SOURCE}"]


def near_lines(latitude_deg: float, longitude_deg: float) -> list[str]:
    """Return the three climates nearest to a place, and what to do where none of them can stand for it.

    Raises
    ------
    InputError
        If the place is not on the earth.
    """
    check_place(latitude_deg, longitude_deg)
    found = nearest_climates(latitude_deg, longitude_deg)
    width = max(len(entry.key) for entry, _ in found)
    lines = [f"{'region':<{width}}  distance km  {HEADING}  place"]
    lines += [f"{entry.key:<{width}}  {away:11,.0f}  {_figures(entry)}  {entry.name}" for entry, away in found]
    if found[0][1] > NEAR_KM:
        lines += ["", far_line(latitude_deg, longitude_deg)]
    return lines


def _figures(entry: Climate) -> str:
    solar_kwh = float((entry.ghi_w_m2 * MONTH_LENGTHS).sum()) * 0.024
    spread = f"{entry.yearly_spread:.1%}" if entry.yearly_spread else f"some {usual_spread_of(entry):.1%}"
    return f"{entry.latitude_deg:8.1f}  {solar_kwh:15.0f}  {spread:>13}  {entry.temp_air_c.mean():5.1f}"
