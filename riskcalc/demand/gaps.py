"""Gaps in a meter file: bridged when short, copied from like days when longer; months that it lacks; its year."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date as calendar_date
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import DAYS, MONTH_LENGTHS, MONTH_OF_DAY
from riskcalc.demand.meter_file import MeterDays
from riskcalc.errors import one_problem

#: Gaps up to this long are bridged by a straight line. Common practice, no source.
STRAIGHT_LINE_MINUTES = 5
#: A day with more missing than this is not used. Common practice, no source.
MOST_MISSING_SHARE = 0.25
#: Fewest whole days from which a year is made: four of each day of the week. Common practice, no source.
FEWEST_DAYS = 28
#: Days of a month below which it counts as lacking; judgement.
FEWEST_IN_MONTH = 5
#: How the use of homes swings over the year, day 1 to 365: the dynamic function of the standard load profile H0 (VDEW
#: 1999, now BDEW), mean 1.
H0_SWING = (-3.92e-10, 3.2e-7, -7.02e-5, 2.1e-3, 1.24)
#: Spread of a month that is made from other months, and of a home's use from one year to the next; judgement.
MADE_MONTH_SPREAD, YEAR_SPREAD = 0.15, 0.05
#: Dates are counted from here.
EPOCH = calendar_date(1970, 1, 1)
DAY_KINDS = ("workday", "Saturday", "Sunday")


@dataclass(frozen=True)
class WholeDays:
    """Days without gaps: power [W] (days, intervals), date (days since 1970), month 0..11, kind (place in DAY_KINDS).

    `missing_h` and `filled_h` are the hours without a reading in the file and those of them that were filled.
    """

    power_w: NDArray[np.float64]
    date: NDArray[np.int64]
    month: NDArray[np.int64]
    kind: NDArray[np.int64]
    notes: tuple[str, ...]
    missing_h: float = 0.0
    filled_h: float = 0.0

    def on(self, dates: NDArray[np.int64]) -> WholeDays:
        """Return the days of these dates only."""
        kept = np.isin(self.date, dates)
        return replace(
            self, power_w=self.power_w[kept], date=self.date[kept], month=self.month[kept], kind=self.kind[kept]
        )


@dataclass(frozen=True)
class Donors:
    """For each month and kind of day, the rows of the file's days that stand for it and the factor on their power.

    `rows` [12][3], `factor` (12, 3); `made` the months that the file lacks, 0..11.
    """

    rows: tuple[tuple[NDArray[np.int64], ...], ...]
    factor: NDArray[np.float64]
    made: tuple[int, ...]


def month_swing(*, southern: bool) -> NDArray[np.float64]:
    """Return how much homes use in each month over the mean of the year, shape (12,); see `H0_SWING`."""
    day = (np.arange(DAYS) + (182 if southern else 0)) % DAYS + 1.0
    swing = np.polyval(H0_SWING, day)
    by_month = np.bincount(MONTH_OF_DAY, weights=swing) / MONTH_LENGTHS
    return np.asarray(by_month / swing.mean())


def donors(days: WholeDays, path: object, *, swing: NDArray[np.float64]) -> Donors:
    """Return which days stand for which: those of the month and kind, else of the month most like it, else of a like kind.

    A month that the file lacks is made of days of the month nearest in the `swing` over the year, (12,), brought to its level.

    Raises
    ------
    InputError
        If there are fewer than FEWEST_DAYS whole days.
    """
    if len(days.power_w) < FEWEST_DAYS:
        accepted = f"at least {FEWEST_DAYS} whole days, better a year: what is missing is made from the rest"
        raise one_problem(path, "", f"{len(days.power_w)} whole days", accepted)
    enough = np.bincount(days.month, minlength=12) >= FEWEST_IN_MONTH
    here = days.month if not enough.any() else np.where(enough[days.month], days.month, -1)
    known = [(month, kind) for month in range(12) for kind in range(3) if ((here == month) & (days.kind == kind)).any()]
    rows, factor = [], np.ones((12, 3))
    for month in range(12):
        of_month = []
        for kind in range(3):

            def unlike(other: tuple[int, int], month: int = month, kind: int = kind) -> tuple[bool, int, float]:
                apart = min((other[0] - month) % 12, (month - other[0]) % 12)
                level = abs(swing[other[0]] - swing[month]) + 0.02 * apart
                return other[0] != month, abs(other[1] - kind), float(level)

            taken, like = min(known, key=unlike)
            of_month.append(np.flatnonzero((here == taken) & (days.kind == like)))
            factor[month, kind] = swing[month] / swing[taken] if swing[taken] > 0.0 else 0.0
        rows.append(tuple(of_month))
    made = tuple(month for month in range(12) if not (here == month).any())
    return Donors(tuple(rows), factor, made)


def year_of(days: WholeDays, found: Donors) -> tuple[float, float]:
    """Return what the file says a year takes [kWh], and the standard deviation of a coming year [kWh].

    Each month counts its days at the mean of its donors, five workdays to one Saturday and one Sunday. The spread is that
    of a home's use from year to year and that of the months that were made, which err together.
    """
    day_kwh = days.power_w.mean(axis=1) * 0.024
    month_kwh = np.zeros(12)
    for month in range(12):
        for kind, share in enumerate((5.0 / 7.0, 1.0 / 7.0, 1.0 / 7.0)):
            mean = float(day_kwh[found.rows[month][kind]].mean()) * found.factor[month, kind]
            month_kwh[month] += share * mean * MONTH_LENGTHS[month]
    total = float(month_kwh.sum())
    made = float(month_kwh[list(found.made)].sum()) / total if total else 0.0
    return total, total * float(np.hypot(YEAR_SPREAD, MADE_MONTH_SPREAD * made))


def whole_days(days: MeterDays) -> WholeDays:
    """Return the usable days of a file, complete.

    A longer gap is copied from the nearest day of the same month and kind that was read at that time; the hour that
    the change to summer time leaves out is filled likewise, as the day may be put on another date.

    Days that lack much are left out, and with them gaps of whole days.
    """
    missing = np.isnan(days.power_w) & ~days.skipped
    dates = [days.first_day + timedelta(days=index) for index in range(len(missing))]
    month = np.array([day.month - 1 for day in dates])
    kind = np.maximum(np.array([day.weekday() for day in dates]) - 4, 0)
    power = days.power_w.copy()
    date = (days.first_day - EPOCH).days + np.arange(len(missing))
    bridged = _bridge(power, longest=STRAIGHT_LINE_MINUTES // days.interval_minutes)
    usable = missing.mean(axis=1) <= MOST_MISSING_SHARE
    still_missing = np.isnan(power)
    _copy_from_like_days(power, np.flatnonzero(usable), month, kind)
    copied = int((still_missing & ~days.skipped)[usable].sum())
    hours = days.interval_minutes / 60.0
    notes = []
    if bridged:
        notes.append(f"{bridged * hours:.2f} h in gaps up to {STRAIGHT_LINE_MINUTES} minutes: straight line")
    if copied:
        notes.append(f"{copied * hours:.2f} h in longer gaps: filled from like days (same month and kind of day)")
    if not usable.all():
        dropped = int((~usable).sum())
        notes.append(f"{dropped} of {len(usable)} days left out: more than {MOST_MISSING_SHARE:.0%} missing")
    filled_h = (bridged + copied) * hours
    missing_h = float(missing.sum()) * hours
    return WholeDays(power[usable], date[usable], month[usable], kind[usable], tuple(notes), missing_h, filled_h)


def _runs(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """First index and one past the last of each run of True, shape (runs, 2)."""
    edge = np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8))
    return np.stack([np.flatnonzero(edge == 1), np.flatnonzero(edge == -1)], axis=1)


def _bridge(power: NDArray[np.float64], *, longest: int) -> int:
    """Fill short runs of NaN in place by a straight line; returns how many values were filled."""
    flat = power.ravel()
    bridged = 0
    for first, last in _runs(np.isnan(flat)):
        if last - first <= longest and first > 0 and last < flat.size:
            ends = [flat[first - 1], flat[last]]
            flat[first:last] = np.interp(np.arange(first, last), [first - 1, last], ends)
            bridged += int(last - first)
    return bridged


def _copy_from_like_days(
    power: NDArray[np.float64], rows: NDArray[np.int64], month: NDArray[np.int64], kind: NDArray[np.int64]
) -> None:
    """Fill the NaN of the given rows in place."""
    known = ~np.isnan(power)
    for row in rows:
        holes = ~known[row]
        if not holes.any():
            continue
        like = np.flatnonzero((month == month[row]) & (kind == kind[row]) & known[:, holes].all(axis=1))
        if like.size:
            power[row, holes] = power[like[np.argmin(np.abs(like - row))], holes]
        else:
            # No like day was read at that time: the day's own mean keeps its energy.
            power[row, holes] = power[row, known[row]].mean()
