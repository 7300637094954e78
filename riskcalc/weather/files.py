"""Weather files: EPW and TMY3 through pvlib; plain CSV is read in `csv_years` and offered here too."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from riskcalc.errors import one_problem
from riskcalc.weather.axis import check_sun_agrees, filled_note, gaps_closed
from riskcalc.weather.csv_years import TYPICAL_YEAR_NOTE, existing, read_csv_years
from riskcalc.weather.pool import HOUR_SERIES, WeatherPool
from riskcalc.weather.solar import HOURS, sun_path

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["read_csv_years", "read_epw", "read_tmy3"]

TMY3_SOURCE = "typical year (TMY3), {name}; Wilcox & Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156 (2008)"
EPW_SOURCE = "weather file in EPW form, {name}; data: {data}"


def read_tmy3(path: str | Path) -> WeatherPool:
    """Return the single typical year of a TMY3 file.

    Stamps mark the end of the hour in local standard time, so the rows are the hours of the year in order.

    Raises
    ------
    InputError
        If the file cannot be read, or holds no whole year, or its light does not suit the sun of its place.
    """
    from pvlib import iotools

    file = existing(path)
    try:
        table, meta = iotools.read_tmy3(str(file), map_variables=True)
    except (ValueError, KeyError, IndexError, UnicodeDecodeError, TypeError) as error:
        raise one_problem(file, "", f"not a TMY3 file ({error})", "a TMY3 file of the 2015 release or later") from error
    return _typical_year(
        table,
        file=file,
        latitude_deg=float(meta["latitude"]),
        longitude_deg=float(meta["longitude"]),
        altitude_m=float(meta["altitude"]),
        utc_offset_hours=float(meta["TZ"]),
        source=TMY3_SOURCE.format(name=f"station {meta['USAF']} {str(meta['Name']).strip(chr(34)).title()}"),
    )


def read_epw(path: str | Path) -> WeatherPool:
    """Return the year of an EPW file; hour 1 is the first hour of the day, in local standard time.

    Raises
    ------
    InputError
        If the file cannot be read, or holds no whole year, or its light does not suit the sun of its place.
    """
    from pvlib import iotools

    file = existing(path)
    try:
        table, meta = iotools.read_epw(str(file))
    except (ValueError, KeyError, IndexError, UnicodeDecodeError, TypeError) as error:
        raise one_problem(file, "", f"not an EPW file ({error})", "an EPW weather file") from error
    leap_day = (np.asarray(table["month"]) == 2) & (np.asarray(table["day"]) == 29)
    return _typical_year(
        table[~leap_day],
        file=file,
        latitude_deg=float(meta["latitude"]),
        longitude_deg=float(meta["longitude"]),
        altitude_m=float(meta["altitude"]),
        utc_offset_hours=float(meta["TZ"]),
        source=EPW_SOURCE.format(name=meta["city"], data=meta["data_type"]),
    )


def _typical_year(
    table: pd.DataFrame,
    *,
    file: Path,
    latitude_deg: float,
    longitude_deg: float,
    altitude_m: float,
    utc_offset_hours: float,
    source: str,
) -> WeatherPool:
    if len(table) != HOURS:
        raise one_problem(file, "", f"{len(table)} hours", f"{HOURS} hours, one year without 29 February")
    series: dict[str, Any] = {}
    notes = [TYPICAL_YEAR_NOTE]
    for name in HOUR_SERIES:
        values = np.asarray(table[name], dtype=np.float64)
        # Both formats mark missing values by numbers far outside what nature has.
        nonsense = (values > 90.0) | (values < -90.0) if name == "temp_air" else (values < 0.0) | (values > 5000.0)
        nonsense |= (name == "wind_speed") & (values > 100.0)
        series[name] = np.where(nonsense, np.nan, values)[None, :]
    notes += filled_note(series.values())
    series = {name: gaps_closed(hours, name=name, file=str(file)) for name, hours in series.items()}
    place: dict[str, Any] = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "altitude_m": altitude_m}
    check_sun_agrees(series["ghi"], sun_path(**place, utc_offset_hours=utc_offset_hours), file=str(file))
    return WeatherPool(
        **series, **place, utc_offset_hours=utc_offset_hours, source=source, notes=tuple(notes), real_years=1
    )
