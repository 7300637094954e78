"""Weather files: EPW and TMY3 through pvlib; plain CSV is read in `csv_years` and offered here too."""

from __future__ import annotations

import io
import warnings
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.weather.axis import MONTH_STARTS, filled_note, gaps_closed
from riskcalc.weather.csv_years import TYPICAL_YEAR_NOTE, existing, read_csv_years
from riskcalc.weather.doubts import check_possible, check_sun_agrees
from riskcalc.weather.pool import HOUR_SERIES, WeatherPool
from riskcalc.weather.solar import HOURS, sun_path

if TYPE_CHECKING:
    import pandas as pd


from importlib.util import find_spec

__all__ = ["read_csv_years", "read_epw", "read_tmy3"]

TMY3_SOURCE = "typical year (TMY3), {name}; Wilcox & Marion, Users Manual for TMY3 Data Sets, NREL/TP-581-43156 (2008)"
#: Lines before the first hour, and what the two forms are called in messages.
TMY3_HEAD, EPW_HEAD = 2, 8
TMY3_FORM, EPW_FORM = "a TMY3 file of the 2015 release or later", "an EPW weather file"
LARGEST_BYTES = 50_000_000
#: Both forms have 35 columns or more.
LEAST_CELLS = 30
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
    table, meta = _parsed(lambda: iotools.read_tmy3(str(file), map_variables=True), file, "a TMY3 file", TMY3_FORM)
    ends = table.index
    _check_hours(ends.month, ends.day, ends.hour, file=file, head=TMY3_HEAD, at_end=True)
    return _typical_year(
        table,
        file=file,
        head=TMY3_HEAD,
        **_place(meta, file),
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
    table, meta = _parsed(lambda: iotools.read_epw(_dated_lines(file)), file, "an EPW file", EPW_FORM)
    month, day, hour = (_whole(table[name]) for name in ("month", "day", "hour"))
    leap_day = (month == 2) & (day == 29)
    _check_hours(month, day, hour - 1, file=file, head=EPW_HEAD)
    return _typical_year(
        table[~leap_day],
        file=file,
        head=EPW_HEAD,
        **_place(meta, file),
        source=EPW_SOURCE.format(name=meta["city"], data=meta["data_type"]),
    )


def _dated_lines(file: Path) -> io.StringIO:
    """Return the lines of an EPW file whose hours all begin with year, month, day and hour.

    Figures are the same in every encoding; names of places are UTF-8 or, in older files, Latin-1.

    Raises
    ------
    InputError
        If a line does not begin so.
    """
    content = file.read_bytes()
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")
    lines = io.StringIO(text, newline=None)
    accepted = f"{EPW_FORM}, whose hours begin with year, month, day and hour, such as 2021,1,31,24"
    for number, line in enumerate(lines, start=1):
        dated = all(cell.strip().isdecimal() for cell in line.split(",")[:4])
        if number > EPW_HEAD and line.strip() and not dated:
            raise one_problem(file, "time", f"{line[:40].rstrip()!r} in line {number}", accepted)
    lines.seek(0)
    return lines


def _parsed(
    read: Callable[[], tuple[pd.DataFrame, dict[str, Any]]], file: Path, form: str, accepted: str
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Return what the solar library reads; whatever it stumbles over is a fault of the file."""
    size = file.stat().st_size
    if size > LARGEST_BYTES:
        raise one_problem(file, "", f"{size} bytes", f"{accepted}, at most {LARGEST_BYTES} bytes")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # columns that are not used may hold what they like
            return read()
    except InputError:
        raise  # named already, with its line
    except Exception as error:
        raise one_problem(file, "", f"not {form}: {_odd_line(file)}", accepted) from error


def _odd_line(file: Path) -> str:
    """Return the first line behind the head that has other cells than most, else what may be wrong at all."""
    lines = file.read_bytes().decode("latin-1").splitlines()
    counts = [len(line.split(",")) for line in lines]
    usual = Counter(counts).most_common(1)[0][0] if counts else 0
    odd = [row for row, count in enumerate(counts) if count != usual and row >= EPW_HEAD]
    if usual < LEAST_CELLS:
        return f"most lines have {usual} cells"
    if odd:
        return f"line {odd[0] + 1} has {counts[odd[0]]} cells where most have {usual}"
    return "its head is not of this form, or a figure in it is no number"


def _place(meta: dict[str, Any], file: Path) -> dict[str, float]:
    """Return the place in the head of a file.

    Raises
    ------
    InputError
        If a figure is none or lies off the earth.
    """
    bounds = {
        "latitude_deg": ("latitude", -90.0, 90.0),
        "longitude_deg": ("longitude", -180.0, 180.0),
        "altitude_m": ("altitude", -430.0, 9000.0),
        "utc_offset_hours": ("TZ", -12.0, 14.0),
    }
    place, problems = {}, []
    for name, (key, low, high) in bounds.items():
        try:
            place[name] = float(meta[key])
        except (KeyError, TypeError, ValueError):
            place[name] = float("nan")
        if not low <= place[name] <= high:
            problems.append(
                Problem(str(file), f"head, {key}", str(meta.get(key)), f"a number from {low:g} to {high:g}")
            )
    if problems:
        raise InputError(problems)
    return place


def _check_hours(month: object, day: object, hour: object, *, file: Path, head: int, at_end: bool = False) -> None:
    """Refuse lines that are not the hours of the year in their order; a 29 February may stand in its place.

    Fields are those of the start of each hour, or of its end.
    """
    month, day, hour = (_whole(part) for part in (month, day, hour))
    known = (month >= 1) & (month <= 12)
    leap_day = (month == 2) & (day == 29)
    found = (MONTH_STARTS[np.where(known, month, 1) - 1] + day - 1) * 24 + hour
    found = np.where(known, (found - 1) % HOURS if at_end else found, -1)
    wrong = np.flatnonzero((found != np.cumsum(~leap_day) - 1) & ~leap_day)
    if len(wrong):
        row = int(wrong[0])
        time = f"month {month[row]}, day {day[row]}, hour {hour[row] + (not at_end)}" if month[row] else "no time"
        given = f"{time} in line {row + head + 1}"
        raise one_problem(file, "time", given, "the hours of one year, each once, in their order")


def _whole(part: object) -> NDArray[np.int64]:
    """Return whole numbers, 0 where a line has no time."""
    numbers = np.asarray(part, dtype=np.float64)
    return np.where(np.isfinite(numbers), numbers, 0.0).astype(np.int64)


def _typical_year(
    table: pd.DataFrame,
    *,
    file: Path,
    head: int,
    latitude_deg: float,
    longitude_deg: float,
    altitude_m: float,
    utc_offset_hours: float,
    source: str,
) -> WeatherPool:
    if len(table) != HOURS:
        raise one_problem(file, "", f"{len(table)} hours", f"{HOURS} hours, one year without 29 February")
    missing = [name for name in HOUR_SERIES if name not in table]
    if missing:
        raise one_problem(file, ", ".join(missing), "no such column", ", ".join(HOUR_SERIES))
    series: dict[str, Any] = {}
    notes = [TYPICAL_YEAR_NOTE]
    for name in HOUR_SERIES:
        values = _numbers(table[name], name=name, file=file, head=head)
        # Both formats mark missing values by numbers far outside what nature has.
        nonsense = (values > 90.0) | (values < -90.0) if name == "temp_air" else (values < 0.0) | (values > 5000.0)
        nonsense |= (name == "wind_speed") & (values > 100.0)
        series[name] = np.where(nonsense, np.nan, values)[None, :]
    notes += filled_note(series.values())
    series = {name: gaps_closed(hours, name=name, file=str(file)) for name, hours in series.items()}
    place: dict[str, Any] = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg, "altitude_m": altitude_m}
    check_sun_agrees(series["ghi"], sun_path(**place, utc_offset_hours=utc_offset_hours), file=str(file))
    pool = WeatherPool(
        **series, **place, utc_offset_hours=utc_offset_hours, source=source, notes=tuple(notes), real_years=1
    )
    check_possible(pool, file=str(file))
    said = {
        "file": file.name,
        "period": "one typical year",
        "step": "60 minutes",
        "clock": f"UTC{utc_offset_hours:+g} h",
    }
    return replace(pool, understood=said | pool.understood_place())


def _numbers(column: pd.Series, *, name: str, file: Path, head: int) -> NDArray[np.float64]:
    import pandas as pd

    values = np.asarray(pd.to_numeric(column, errors="coerce"), dtype=np.float64)
    wrong = np.flatnonzero(~np.isfinite(values) & np.asarray(column.notna()))
    if len(wrong):
        # Lines are counted without a 29 February, which is left out before.
        more = f" and {len(wrong) - 1} more" if len(wrong) > 1 else ""
        given = f"{column.iloc[wrong[0]]!r} in hour {wrong[0] + 1} of the year, line {wrong[0] + head + 1}{more}"
        raise one_problem(file, name, given, "a number")
    return values


SHIPPED = "pvlib:"


def shipped_file(name: str, *, file: str) -> Path:
    """Return where the shipped file called `name` (with or without the prefix) lies.

    Raises
    ------
    InputError
        If the library ships no such weather file; those it ships are listed.
    """
    wanted = name.removeprefix(SHIPPED)
    spec = find_spec("pvlib")
    assert spec is not None
    assert spec.origin is not None
    folder = Path(spec.origin).parent / "data"
    weather = sorted(
        path.name for path in folder.iterdir() if path.suffix.lower() in (".csv", ".epw") and path.stem[:6].isdigit()
    )
    if wanted not in weather:
        raise one_problem(file, "site.weather.file", name, "one of " + ", ".join(SHIPPED + known for known in weather))
    return folder / wanted
