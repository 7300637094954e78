"""Plain CSV of one or many real weather years, checked line by line and put on the site's standard-time hours."""

from __future__ import annotations

import hashlib
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import standard_offset_minutes
from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.table_file import parser_fault, table_text
from riskcalc.weather.axis import HourStamps, filled_note, gaps_closed, is_typical_year, years_on_axis
from riskcalc.weather.doubts import check_possible, check_sun_agrees
from riskcalc.weather.pool import WeatherPool
from riskcalc.weather.solar import HOURS, SunPath, sun_path
from riskcalc.weather.split import beam_and_diffuse

if TYPE_CHECKING:
    import pandas as pd

_OFFSET = re.compile(r"(?:Z|[+-]\d{2}:?\d{2})$")
PLACE_BOUNDS = {"latitude_deg": (-90.0, 90.0), "longitude_deg": (-180.0, 180.0), "altitude_m": (-430.0, 9000.0)}
LABELS = {"start": 0.0, "middle": 0.5, "end": 1.0}
REQUIRED = ("time", "ghi", "temp_air", "wind_speed")
OPTIONAL = ("dni", "dhi")
#: Most that any weather has: air a little above the highest on record, wind of the strongest tropical storms; light far
#: above that outside the atmosphere, which is judged by the sun of the place later.
HIGHEST = {"temp_air": 65.0, "wind_speed": 110.0} | dict.fromkeys(("ghi", "dni", "dhi"), 10_000.0)
CSV_FORM = "comma-separated text in UTF-8, one header line"
STEPS_MINUTES = (60, 30, 20, 15, 10, 5)

TYPICAL_YEAR_NOTE = "one typical year only"


def read_csv_years(
    path: str | Path,
    *,
    zone: str | None = None,
    label: str | None = None,
    latitude_deg: float | None = None,
    longitude_deg: float | None = None,
    altitude_m: float | None = None,
    site_zone: str | None = None,
    source: str | None = None,
) -> WeatherPool:
    """Return the whole years of a CSV file of one or many real years (or one typical year) of hours.

    Parameters
    ----------
    path : path
        Columns `time, ghi, temp_air, wind_speed` and, if known, `dni` and `dhi`; W/m2, degC, m/s; `.gz`, `.bz2` and
        `.xz` are unpacked. Steps of 60 minutes, or 30, 20, 15, 10 or 5 that are averaged to hours. An empty cell is a gap.
        Lines `# name: value` at the head tell what the arguments below do not; a place told there is the one used.
    zone : str
        IANA zone of times that carry no offset of their own; times with an offset keep it.
    label : "start", "middle" or "end"
        What part of its step a time stands for.
    site_zone : str, optional
        Zone of the site, whose standard time the pool is put on; `zone` if not given.
    source : str, optional
        Citation for the report; that of the head or the file's name if not given.

    Raises
    ------
    InputError
        With every problem found: missing columns, text or negative numbers (with their lines), times that repeat
        or run backwards, gaps of more than 3 hours, no whole year, light that does not suit the sun.
    """
    file = existing(path)
    text = table_text(file, accepted=CSV_FORM)
    head, first_line = file_head(text)
    _check_seal(file, text, head, first_line)
    zone, label, place = _what_is_told(
        file, head, {"zone": zone, "label": label}, (latitude_deg, longitude_deg, altitude_m)
    )
    table = _read_table(file, text, first_line)
    problems: list[Problem] = []
    series = {
        name: _numbers(table[name], name=name, file=file, problems=problems)
        for name in (*REQUIRED[1:], *OPTIONAL)
        if name in table
    }
    utc = _utc_times(table["time"], zone=zone, file=file, problems=problems)
    if problems:
        raise InputError(problems)
    step = _step_minutes(utc, file=file)
    offset_minutes = standard_offset_minutes(site_zone or zone)
    start = utc - np.int64(round(LABELS[label] * step * 60)) + np.int64(offset_minutes * 60)
    start, series, notes = _whole_hours(start, series, step=step, file=file, first_row=int(table.index[0]))
    stamps = _stamps(start)
    _check_order(stamps, utc, step=step, file=file, first_row=int(table.index[0]))
    on_axis, axis_notes, kept = years_on_axis(stamps, series, file=str(file))
    notes += [*axis_notes, *filled_note(on_axis.values())]
    closed = {name: gaps_closed(values, name=name, file=str(file), years=kept) for name, values in on_axis.items()}
    sun = sun_path(**place, utc_offset_hours=offset_minutes / 60.0)
    check_sun_agrees(closed["ghi"], sun, file=str(file))
    dni, dhi, split_note = _split(closed, sun)
    notes += [split_note] if split_note else []
    years = len(closed["ghi"])
    if years == 1:
        notes.append(TYPICAL_YEAR_NOTE if kept is None else "one real year only")
    pool = WeatherPool(
        ghi=closed["ghi"],
        dni=dni,
        dhi=dhi,
        temp_air=closed["temp_air"],
        wind_speed=closed["wind_speed"],
        **place,
        utc_offset_hours=offset_minutes / 60.0,
        source=source or head.get("source") or f"hourly weather file {file.name}",
        notes=tuple(notes),
        real_years=years,
    )
    check_possible(pool, file=str(file))
    missing = int(max(np.isnan(values).sum() for values in on_axis.values()))
    said = {
        "file": file.name,
        "period": "one typical year" if kept is None else _period(kept),
        "step": f"{step} minutes",
        "clock": "times with their offset" if _OFFSET.search(str(table["time"].iloc[0]).strip()) else zone,
        "time": f"{label} of the interval",
        "columns": ", ".join(series),
        "gaps": f"{missing} h without a figure, filled" if missing else "none",
    }
    return replace(pool, understood=said | pool.understood_place())


def _period(years: Sequence[int]) -> str:
    """Return the years of a record in words, with what is missing in between."""
    several = f"{min(years)} to {max(years)}, {len(years)} whole years"
    return str(years[0]) if len(years) == 1 else several


def existing(path: str | Path) -> Path:
    """Return the path of a file that exists.

    Raises
    ------
    InputError
        If there is no such file.
    """
    file = Path(path)
    if not file.is_file():
        raise one_problem(file, "", "no such file", "a weather file that exists")
    return file


def file_head(text: str) -> tuple[dict[str, str], int]:
    """Return what the lines `# name: value` at the head of a file tell, and the number of lines of the head."""
    head, lines = {}, 0
    for line in text.splitlines():
        if not line.startswith("#"):
            break
        name, _, value = line[1:].partition(":")
        head[name.strip().lower()] = value.strip()
        lines += 1
    return head, lines


def sealed(body: str) -> str:
    """Return the checksum of everything below the head of a weather file."""
    return hashlib.sha256(body.encode()).hexdigest()


def _check_seal(file: Path, text: str, head: Mapping[str, str], first_line: int) -> None:
    if "sha256" in head and sealed("".join(text.splitlines(keepends=True)[first_line:])) != head["sha256"]:
        accepted = "the rows as they were written: they do not match the checksum at the head"
        hint = "fetch it again; or, if you changed it on purpose, remove the line that begins # sha256"
        raise one_problem(file, "sha256", head["sha256"][:16] + " ...", accepted, hint)


def _what_is_told(
    file: Path,
    head: Mapping[str, str],
    told: Mapping[str, str | None],
    place: tuple[float | None, float | None, float | None],
) -> tuple[str, str, dict[str, Any]]:
    """Zone, label and place, by the scenario or by the head of the file; of the place, the head's comes first."""
    problems, found = [], {}
    for name, given in told.items():
        if given is not None and head.get(name, given) != given:
            problems.append(Problem(str(file), name, given, f"{head[name]}, which the head of the file tells"))
        elif given is None and name not in head:
            accepted = f"site.weather.{name} in the scenario, or a line `# {name}:` at the head of the file"
            problems.append(Problem(str(file), name, "nothing", accepted))
        found[name] = given or head.get(name, "")
    if not problems and found["label"] not in LABELS:
        problems.append(Problem(str(file), "label", found["label"], "start, middle or end"))
    where: dict[str, float] = {}
    for (name, bound), known in zip(PLACE_BOUNDS.items(), place, strict=True):
        usual = "0" if name == "altitude_m" else "nothing"
        value = head.get(name, usual if known is None else str(known))
        try:
            where[name] = float(value)
        except ValueError:
            where[name] = float("nan")
        if not bound[0] <= where[name] <= bound[1]:
            accepted = (
                f"a number from {bound[0]:g} to {bound[1]:g}, as site.{name} or in a line `# {name}:` of the file"
            )
            problems.append(Problem(str(file), name, value, accepted))
    if problems:
        raise InputError(problems)
    return found["zone"], found["label"], where


def _clock_fault(message: str, parsed: pd.Series, column: pd.Series) -> str:
    """Return which time the clocks skip or show twice, and its line; `message` is what pandas says of it."""
    found = re.search(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d", message)
    at = np.zeros(len(column), dtype=bool) if found is None else parsed.astype(str).str.startswith(found[0]).to_numpy()
    row = int(at.argmax())
    where = f"{column.iloc[row]!r} in line {column.index[row]}" if at.any() else "a time"
    skipped = "onexistent" in message
    return f"{where}, which the clocks skip" if skipped else f"{where}, which the clocks show twice"


def _read_table(file: Path, text: str, first_line: int) -> pd.DataFrame:
    import pandas as pd

    try:
        table = pd.read_csv(
            io.StringIO(text), dtype=str, keep_default_na=False, skipinitialspace=True, skiprows=first_line
        )
    except pd.errors.ParserError as error:
        raise one_problem(file, "", parser_fault(str(error)), CSV_FORM) from error
    table.columns = [str(name).strip().lower() for name in table.columns]
    table.index += first_line + 2  # the lines of the file
    missing = [name for name in REQUIRED if name not in table]
    if missing:
        given = ", ".join(table.columns)
        accepted = "columns time, ghi, temp_air, wind_speed and, if known, dni, dhi"
        raise one_problem(file, ", ".join(missing), f"columns {given}", accepted)
    return table


def _numbers(column: pd.Series, *, name: str, file: Path, problems: list[Problem]) -> NDArray[np.float64]:
    """Numbers of one column, NaN for an empty cell; text, NaN and negative light or wind become problems."""
    import pandas as pd

    text = column.str.strip()
    values = np.asarray(pd.to_numeric(text, errors="coerce"), dtype=np.float64)
    empty = np.asarray(text == "")
    wrong = np.flatnonzero(~np.isfinite(values) & ~empty)
    low = -90.0 if name == "temp_air" else 0.0
    below = np.flatnonzero(values < low)
    above = np.flatnonzero(values > HIGHEST[name])
    warm = (
        "this looks like kelvin"
        if 2 * np.count_nonzero(values > 200.0) > len(values)
        else "degrees Celsius, not Fahrenheit"
    )
    hints = {"temp_air": warm, "wind_speed": "metres per second"}
    for rows, accepted, hint in (
        (wrong, "a number, or an empty cell for a gap", ""),
        (above, f"at most {HIGHEST[name]:g}", hints.get(name, "irradiance in W/m2")),
        (below, f"at least {low:g}", "" if name == "temp_air" else "small negative readings at night are zeros"),
    ):
        if len(rows):
            more = f" and {len(rows) - 1} more lines" if len(rows) > 1 else ""
            given = f"{column.iloc[rows[0]]!r} in line {column.index[rows[0]]}{more}"
            problems.append(Problem(str(file), name, given, accepted, hint))
    return values


def _utc_times(column: pd.Series, *, zone: str, file: Path, problems: list[Problem]) -> NDArray[np.int64]:
    """Seconds since 1970 UTC; times without an offset are read on the wall clock of the zone."""
    import pandas as pd

    standard_offset_minutes(zone)
    text = column.str.strip()
    nothing = np.zeros(len(text), dtype=np.int64)
    parsed = pd.to_datetime(text, errors="coerce", format="ISO8601", utc=True)
    bad = np.flatnonzero(parsed.isna())
    if len(bad):
        given = f"{text.iloc[bad[0]]!r} in line {column.index[bad[0]]}"
        problems.append(Problem(str(file), "time", given, "a time in ISO 8601, such as 2021-03-05T14:00+01:00"))
        return nothing
    own_offset = np.asarray(text.str.contains(_OFFSET, regex=True))
    if own_offset.any() and not own_offset.all():
        row = int(np.flatnonzero(own_offset != own_offset[0])[0])
        given = f"{text.iloc[row]!r} in line {column.index[row]}"
        problems.append(Problem(str(file), "time", given, "an offset on every time or on none"))
        return nothing
    if not own_offset.all():
        parsed = parsed.dt.tz_localize(None)
    if not own_offset.all():
        try:
            parsed = parsed.dt.tz_localize(zone, ambiguous="infer", nonexistent="raise").dt.tz_convert("UTC")
        except ValueError as error:
            hint = "give UTC or an offset with each time, or a zone without summer time"
            given = _clock_fault(str(error), parsed, column)
            problems.append(Problem(str(file), "time", given, f"times that exist once in {zone}", hint))
            return nothing
    return np.asarray(parsed.dt.as_unit("s").dt.tz_localize(None).astype("int64"), dtype=np.int64)


def _step_minutes(utc: NDArray[np.int64], *, file: Path) -> int:
    if len(utc) < HOURS // 2:
        raise one_problem(file, "time", f"{len(utc)} lines", f"at least one whole year, {HOURS} hours")
    step = int(np.median(np.diff(utc))) // 60
    if step not in STEPS_MINUTES:
        accepted = "steps of " + ", ".join(str(minutes) for minutes in STEPS_MINUTES) + " minutes"
        raise one_problem(file, "time", f"steps of {step} minutes", accepted)
    return step


def _whole_hours(
    start: NDArray[np.int64], series: dict[str, NDArray[np.float64]], *, step: int, file: Path, first_row: int
) -> tuple[NDArray[np.int64], dict[str, NDArray[np.float64]], list[str]]:
    """Means over whole hours of standard time, in file order.

    Steps shorter than an hour are averaged; an hour with a missing step becomes a gap. Hours that begin at
    a quarter or half past (a site whose zone has part of an hour, a file in UTC) are made from parts of two neighbours.
    """
    notes: list[str] = []
    if step < 60:
        hour, first = np.unique(start // 3600, return_index=True)
        slot = np.searchsorted(hour, start // 3600)
        needed = 60 // step
        full = np.bincount(slot) == needed
        means = {name: np.where(full, np.bincount(slot, values) / needed, np.nan) for name, values in series.items()}
        order = np.argsort(first)
        notes.append(f"steps of {step} minutes averaged to hours")
        return hour[order] * 3600, {name: values[order] for name, values in means.items()}, notes
    late = int(start[0]) % 3600
    if late in (900, 1800, 2700) and (start % 3600 == late).all():
        follows, share = np.concatenate([np.diff(start) == 3600, [False]]), late / 3600.0
        mixed = {
            name: np.where(follows, share * values + (1.0 - share) * np.concatenate([values[1:], [np.nan]]), np.nan)
            for name, values in series.items()
        }
        notes.append(f"hours of the file begin {late // 60} minutes into the site's: each made from parts of two")
        return start + 3600 - late, mixed, notes
    aside = np.flatnonzero(start % 3600 != 0)
    if len(aside):
        given = f"a time {start[aside[0]] % 3600 // 60} minutes into the hour in line {aside[0] + first_row}"
        raise one_problem(file, "time", given, "times on whole hours, or all of them at the same quarter of an hour")
    return start, series, notes


def _stamps(start: NDArray[np.int64]) -> HourStamps:
    hours = start.astype("datetime64[s]")
    days, months = hours.astype("datetime64[D]"), hours.astype("datetime64[M]")
    return HourStamps(
        year=hours.astype("datetime64[Y]").astype(np.int64) + 1970,
        month=months.astype(np.int64) % 12 + 1,
        day=(days - months.astype("datetime64[D]")).astype(np.int64) + 1,
        hour=(hours - days.astype("datetime64[s]")).astype(np.int64) // 3600,
    )


def _check_order(stamps: HourStamps, utc: NDArray[np.int64], *, step: int, file: Path, first_row: int) -> None:
    """Refuse times that repeat or run backwards; in a typical year only month, day and hour count."""
    typical = is_typical_year(stamps)
    clock = stamps.hour_of_year[~stamps.leap_day] * 3600 if typical else utc
    jumps = np.diff(clock)
    if typical:
        jumps = np.where(jumps < -HOURS * 1800, jumps + HOURS * 3600, jumps)
    for rows, given in ((np.flatnonzero(jumps == 0), "the same time twice"), (np.flatnonzero(jumps < 0), "goes back")):
        if len(rows):
            more = f", and {len(rows) - 1} more" if len(rows) > 1 else ""
            accepted = f"times that run forward by {step} minutes"
            raise one_problem(file, "time", f"{given} in line {rows[0] + 1 + first_row}{more}", accepted)


def _split(
    series: dict[str, NDArray[np.float64]], sun: SunPath
) -> tuple[NDArray[np.float64], NDArray[np.float64], str]:
    """Beam and diffuse: as given, or what is missing from the other two, or by the published law."""
    ghi = series["ghi"]
    if "dni" in series and "dhi" in series:
        return series["dni"], series["dhi"], ""
    if "dni" in series:
        return series["dni"], np.maximum(ghi - series["dni"] * sun.cos_zenith, 0.0), "diffuse light: global less beam"
    if "dhi" in series:
        beam = np.where(sun.cos_zenith > 0.05, (ghi - series["dhi"]) / np.maximum(sun.cos_zenith, 0.05), 0.0)
        limit = 0.9 * sun.extraterrestrial_w * sun.lit_share
        return np.clip(beam, 0.0, limit), series["dhi"], "beam: global less diffuse light"
    dni, dhi = beam_and_diffuse(ghi, sun)
    return dni, dhi, "global light split into beam and diffuse by the law of Ridley, Boland & Lauret (2010)"
