"""Putting stamped hours on the axis of whole standard-time years, and closing short gaps. No file is read here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import MONTH_LENGTHS
from riskcalc.errors import one_problem
from riskcalc.weather.solar import HOURS

LONGEST_GAP_HOURS = 3
#: Most hours that a change of time zone can push over the end of a year.
MOST_ZONE_HOURS = 26

MONTH_STARTS = np.concatenate([[0], np.cumsum(MONTH_LENGTHS)[:-1]])


@dataclass(frozen=True)
class HourStamps:
    """Calendar fields of the start of each hour in the site's standard time; equal length, file order."""

    year: NDArray[np.int64]
    month: NDArray[np.int64]
    day: NDArray[np.int64]
    hour: NDArray[np.int64]

    @property
    def leap_day(self) -> NDArray[np.bool_]:
        """Whether the hour lies on 29 February."""
        return (self.month == 2) & (self.day == 29)

    @property
    def hour_of_year(self) -> NDArray[np.int64]:
        """Index 0..8759 in the 365-day year; that of 1 March for 29 February, to be left out by the caller."""
        return (MONTH_STARTS[self.month - 1] + self.day - 1) * 24 + self.hour


def is_typical_year(stamps: HourStamps) -> bool:
    """Return whether the hours are one year put together from months of different years."""
    kept = ~stamps.leap_day
    index = stamps.hour_of_year[kept]
    several = len(np.unique(stamps.year)) > 2
    return several and len(index) == HOURS and len(np.unique(index)) == HOURS


def years_on_axis(
    stamps: HourStamps, series: dict[str, NDArray[np.float64]], *, file: str
) -> tuple[dict[str, NDArray[np.float64]], list[str], list[int] | None]:
    """Return each series as (K, 8760) with NaN where an hour is missing, notes for the reader, and the years kept.

    Hours that a change of zone pushed out of the first or last year come back at the other end; a year that the file
    covers only in part, at its beginning or end, or not at all, is left out. A typical year has no number (None).

    Raises
    ------
    InputError
        If no whole year remains.
    """
    notes = []
    if stamps.leap_day.any():
        notes.append(f"29 February left out ({int(stamps.leap_day.sum())} hours)")
    kept = ~stamps.leap_day
    index, years = stamps.hour_of_year[kept], stamps.year[kept]
    if is_typical_year(stamps):
        years = np.zeros_like(years)
        notes.append("a typical year put together from months of different years")
    counts = np.bincount(years - years.min())
    rows = np.flatnonzero(counts >= HOURS // 2) + years.min()
    if len(rows) == 0:
        raise _no_whole_year(file, len(index))
    first, last = int(rows[0]), int(rows[-1])
    inside = (years >= first) & (years <= last)
    result = {}
    for name, values in series.items():
        table = np.full((last - first + 1, HOURS), np.nan)
        table[years[inside] - first, index[inside]] = values[kept][inside]
        result[name] = table
    turned = 0
    for spilled, row in ((years < first, last - first), (years > last, 0)):
        if 0 < spilled.sum() <= MOST_ZONE_HOURS:
            hours = {name: (index[spilled], values[kept][spilled]) for name, values in series.items()}
            turned += _end_closed(result, row, hours)
    for gap in np.flatnonzero(counts[first - years.min() : last - years.min()] <= MOST_ZONE_HOURS).tolist():
        # Of a year that is not in the record, hours of its neighbours stand here: they close their neighbours' ends.
        hours = {name: (np.arange(HOURS), table[gap].copy()) for name, table in result.items()}
        turned += _end_closed(result, gap - 1, hours) + _end_closed(result, gap + 1, hours)
        for table in result.values():
            table[gap] = np.nan
    if turned:
        moved = "1 hour" if turned == 1 else f"{turned} hours"
        notes.append(f"{moved} moved to the other end of the record by the change of time zone")
    result, left_out = _without_partial_years(result, first=first, file=file)
    missing = [year for year in left_out if counts[year - years.min()] <= MOST_ZONE_HOURS]
    for what, named in (("covered only in part", set(left_out) - set(missing)), ("not in the file", missing)):
        if named:
            notes.append(f"years {what} left out: " + ", ".join(map(str, sorted(named))))
    kept_years = [year for year in range(first, last + 1) if year not in left_out]
    return result, notes, None if is_typical_year(stamps) else kept_years


def _end_closed(
    tables: dict[str, NDArray[np.float64]],
    row: int,
    hours: dict[str, tuple[NDArray[np.int64], NDArray[np.float64]]],
) -> int:
    """Fill hours that a year misses at its end or beginning with those of another year; return how many."""
    index, light = hours["ghi"]
    absent = ~np.isfinite(tables["ghi"][row, index]) & np.isfinite(light)
    for name, (_, values) in hours.items():
        tables[name][row, index[absent]] = values[absent]
    return int(absent.sum())


def gaps_closed(
    values: NDArray[np.float64], *, name: str, file: str, years: Sequence[int] | None = None
) -> NDArray[np.float64]:
    """Return the series (K, 8760) with gaps of up to 3 hours filled on straight lines.

    Raises
    ------
    InputError
        If a gap is longer; it is named by its place.
    """
    flat = values.reshape(-1)
    missing = ~np.isfinite(flat)
    if not missing.any():
        return values
    edges = np.flatnonzero(np.diff(np.concatenate([[0], missing.view(np.int8), [0]])))
    starts, ends = edges[::2], edges[1::2]
    longest = int(np.argmax(ends - starts))
    if ends[longest] - starts[longest] > LONGEST_GAP_HOURS:
        place = hour_name(int(starts[longest]), years)
        raise one_problem(
            file,
            name,
            f"{ends[longest] - starts[longest]} hours missing from {place} on",
            f"gaps of at most {LONGEST_GAP_HOURS} hours",
            "fill the gap from another source, or leave the whole year out",
        )
    filled = flat.copy()
    good = np.flatnonzero(~missing)
    filled[missing] = np.interp(np.flatnonzero(missing), good, flat[good])
    return filled.reshape(values.shape)


def filled_note(series: Iterable[NDArray[np.float64]]) -> tuple[str, ...]:
    """Return what to say about hours in which any series has a gap; nothing when there is none."""
    missing = sum(~np.isfinite(values) for values in series)
    hours = int(np.count_nonzero(missing))
    return (f"{hours} missing hours filled on straight lines (gaps of at most 3 hours)",) if hours else ()


def hour_name(index: int, years: Sequence[int] | None) -> str:
    """Return a readable name of an hour of the flat series: date and hour of the site's standard time."""
    year, hour = divmod(index, HOURS)
    day, hour = divmod(hour, 24)
    month = int(np.searchsorted(MONTH_STARTS, day, side="right"))
    date = f"{month:02d}-{day - MONTH_STARTS[month - 1] + 1:02d} {hour:02d}:00"
    return date if years is None else f"{years[year]}-{date}"


def _without_partial_years(
    series: dict[str, NDArray[np.float64]], *, first: int, file: str
) -> tuple[dict[str, NDArray[np.float64]], list[int]]:
    """Leave out years that are not in the file at all, and the first or last if it begins late or ends early."""
    present = np.zeros(next(iter(series.values())).shape, dtype=bool)
    for values in series.values():
        present |= np.isfinite(values)
    keep: NDArray[np.bool_] = np.array(present.any(axis=1))
    for row in (0, len(present) - 1):
        has = np.flatnonzero(present[row])
        if len(has) == 0 or has[0] > LONGEST_GAP_HOURS or has[-1] < HOURS - 1 - LONGEST_GAP_HOURS:
            keep[row] = False
    if not keep.any():
        raise _no_whole_year(file, int(present.sum()))
    left_out = [first + int(row) for row in np.flatnonzero(~keep)]
    return {name: values[keep] for name, values in series.items()}, left_out


def _no_whole_year(file: str, hours: int) -> Exception:
    return one_problem(
        file, "time", f"{hours} hour{'s' * (hours != 1)}, no whole calendar year", "one or more whole years of hours"
    )
