"""Compiled loop that turns appliance statistics into minutes of one year: numpy and numba only.

Each local day is built in small buffers (streams x 1440 minutes of the wall clock) and then copied, averaged to steps
and slots, to its place in the standard-time year. A day is closed in itself: what runs past midnight is put into the
small hours of the same day ("round the clock"), so that switching a day on or off never cuts a cycle in two.
Thermostats run through.

Each year, day and appliance has a sequence of random numbers of its own, keyed by the appliance's name: moving one
appliance out of reach, or adding one, leaves every other event where it was.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from riskcalc.demand.chance import poisson, start_sequence, uniform
from riskcalc.jit import compiled, inner, inner_with_arrays

CONSTANT, THERMOSTAT, EVENTS, LAMPS, VEHICLE, HEAT = 0, 1, 2, 3, 4, 5
ALWAYS_ON, AT_HOME, MOVABLE, SMALL = 0, 1, 2, 3
#: Order of all streams; `stream_row` maps each to its row in the output or to -1.
STREAMS = (
    "always", "home_day", "away_day", "home_small", "away_small", "movable_usual", "movable_moved", "car", "car_moved",
)  # fmt: skip
ALWAYS, HOME_DAY, AWAY_DAY, HOME_SMALL, AWAY_SMALL, USUAL, MOVED, CAR_USUAL, CAR_MOVED = range(9)
_STREAM_COUNT = len(STREAMS)
MINUTES = 1440
#: Minutes before 03:00 count as the late evening of the same day.
DAY_TURN = 180
#: Cycles of one appliance and day that are kept apart; further ones run beside them, so that no energy is lost.
_MOST_EVENTS = 64
_PLACING_TRIES = 12
_SESSION_TRIES = 12


@inner
def _varied_length(state, length):
    """Return a whole number of minutes around the table's length, which is its mean; short cycles stay.

    Between half and one and a half times the length, less where that would be more than a day holds.
    """
    if length < 10:
        return length
    spread = max(0.0, min(0.5 * length, MINUTES - length))
    return int(length + spread * (2.0 * uniform(state) - 1.0) + 0.5)


@inner
def _add_steady(buffer, start, length, power_w):
    """Add one steady cycle to a day's minutes, round the clock as often as its length asks for."""
    first = start % MINUTES
    while length > 0:
        last = min(first + length, MINUTES)
        for minute in range(first, last):
            buffer[minute] += power_w
        length -= last - first
        first = 0


@inner
def _add_shape(buffer, start, shape):
    """Add one cycle with a power for each of its minutes, round the clock."""
    minute = start % MINUTES
    for power_w in shape:
        buffer[minute] += power_w
        minute += 1
        if minute == MINUTES:
            minute = 0


@inner
def _count(state, mean, heat):
    """Return how often a thing runs on a day: by chance, or, where a tank is held warm, as often as the day takes.

    A thermostat gives like days like heat; only the fraction of a cycle is left to chance.
    """
    return int(mean + uniform(state)) if heat else poisson(state, mean)


@inner
def _proposed_start(state, cumulative):
    """Return a minute of the day drawn from an activity profile (cumulative share by bin)."""
    draw = uniform(state)
    bins = cumulative.shape[0]
    # Bisection by hand: less to compile than numpy's search.
    index, last = 0, bins - 1
    while index < last:
        middle = (index + last) // 2
        if cumulative[middle] > draw:
            last = middle
        else:
            index = middle + 1
    width = MINUTES // bins
    return index * width + int(uniform(state) * width)


@inner
def _start_in_session(state, cumulative, session):
    """Return a proposed start that falls into a busy half hour: tried again where the day's sessions refuse it."""
    start = 0
    for _ in range(_SESSION_TRIES):
        start = _proposed_start(state, cumulative)
        if uniform(state) < session[start * session.shape[0] // MINUTES]:
            break
    return start


@inner
def _stretch(minute, window):
    """Return first and last minute of the stretch at home and awake around a minute; (0, 0) if there is none."""
    up, out, back, bed = window[0], window[1], window[2], window[3]
    if minute < up or minute >= bed or (minute >= out and minute < back):
        return 0, 0
    if out >= back:
        return int(up), int(bed)
    if minute < out:
        return int(up), int(out)
    return int(back), int(bed)


@inner
def _free_start(start, length, starts, lengths, count):
    """Return the first start from `start` on, round the clock, that meets none of the cycles placed so far.

    On a day without room the start comes back unchanged: a second device of the kind, rather than lost energy.
    """
    candidate = start
    for _ in range(count + 1):
        free = True
        for other in range(count):
            after = (candidate - starts[other]) % MINUTES
            if after < lengths[other] or MINUTES - after < length:
                candidate += lengths[other] - after if after < lengths[other] else MINUTES - after + lengths[other]
                free = False
                break
        if free:
            return candidate
    return start


@inner
def _fill_lamps(state, buffer, window, cumulative, dark_of_bin, mean, length, power_w):
    """Lamps of one day: switched on while somebody is up, if it is dark enough; any number may burn at once."""
    for _ in range(poisson(state, mean)):
        proposed = _proposed_start(state, cumulative)
        dark = dark_of_bin[proposed * dark_of_bin.shape[0] // MINUTES]
        if proposed < DAY_TURN:
            proposed += MINUTES
        first, last = _stretch(proposed, window)
        if last > first and uniform(state) < dark:
            _add_steady(buffer, proposed, _varied_length(state, length), power_w)


@inner_with_arrays
def _fill_active_use(state, buffer, window, cumulative, session, mean, length_min, power_w):
    """Use of one appliance on one day: a proposed time counts only while somebody is at home and awake.

    A time that meets a running cycle is drawn again; if that fails the cycle follows the running one.
    """
    starts = np.empty(_MOST_EVENTS, np.int64)
    lengths = np.empty(_MOST_EVENTS, np.int64)
    placed = 0
    for _ in range(poisson(state, mean)):
        length = _varied_length(state, length_min)
        start = -1
        for attempt in range(_PLACING_TRIES):
            proposed = _start_in_session(state, cumulative, session)
            if proposed < DAY_TURN:
                proposed += MINUTES
            first, last = _stretch(proposed, window)
            if last > first:
                start = max(first, min(proposed, last - length))
                if _free_start(start, length, starts, lengths, placed) == start:
                    break
            elif attempt == 0:
                break
        if start >= 0:
            start = _free_start(start, length, starts, lengths, placed)
            _add_steady(buffer, start, length, power_w)
            if placed < _MOST_EVENTS:
                starts[placed] = start
                lengths[placed] = length
                placed += 1


@inner_with_arrays
def _fill_timer_use(
    state, usual, moved, cumulative, session, count, length, power_w, shape, window_start, window_length
):  # fmt: skip
    """Cycles of a machine on one day, at their usual times in one buffer and in the window in the other.

    A machine runs one cycle at a time: a usual start that meets another is drawn again, else follows it; in the window
    cycles follow each other.
    """
    starts = np.empty(_MOST_EVENTS, np.int64)
    lengths = np.empty(_MOST_EVENTS, np.int64)
    moved_at = window_start + int(uniform(state) * max(0, window_length - count * length))
    for index in range(count):
        start = 0
        for _ in range(_PLACING_TRIES):
            start = _start_in_session(state, cumulative, session)
            if _free_start(start, length, starts, lengths, min(index, _MOST_EVENTS)) == start:
                break
        start = _free_start(start, length, starts, lengths, min(index, _MOST_EVENTS))
        if index < _MOST_EVENTS:
            starts[index] = start
            lengths[index] = length
        if shape.shape[0] > 0:
            _add_shape(usual, start, shape)
            _add_shape(moved, moved_at, shape)
        else:
            _add_steady(usual, start, length, power_w)
            _add_steady(moved, moved_at, length, power_w)
        moved_at += length


@inner
def _fill_charge(state, usual, moved, cumulative, chance, length_min, power_w, window_start, window_length):
    """Charge a car at most once a day: on arrival in one buffer, in the window in the other."""
    if uniform(state) < chance:
        length = _varied_length(state, length_min)
        _add_steady(usual, _proposed_start(state, cumulative), length, power_w)
        start = window_start + int(uniform(state) * max(0, window_length - length))
        _add_steady(moved, start, length, power_w)


@inner
def _fill_thermostat(state, buffer, day, next_start, length, power_w, mean_off):
    """Cycles that run day and night; returns the absolute minute of the next start."""
    day_first = day * MINUTES
    day_last = day_first + MINUTES
    start = next_start
    while start < day_last:
        first = max(int(start), day_first) - day_first
        last = min(int(start) + length, day_last) - day_first
        for minute in range(first, last):
            buffer[minute] += power_w
        if int(start) + length > day_last:
            break
        start += length + mean_off * (0.7 + 0.6 * uniform(state))
    return start


@inner_with_arrays
def _fill_appliance(
    state, streams, kind, group, day, weekend, next_start, length, power_w, mean, busy, profile, session, shape, windows,
    dark, moved_start, moved_length,
):  # fmt: skip
    """Add one appliance's day to the streams (streams, 1440); returns the next start of a thermostat."""
    cumulative = profile[1 if weekend else 0]
    if kind == THERMOSTAT:
        mean_off = MINUTES / mean - length
        return _fill_thermostat(state, streams[ALWAYS], day, next_start, length, power_w, mean_off)
    if kind == VEHICLE:
        _fill_charge(
            state, streams[CAR_USUAL], streams[CAR_MOVED], cumulative, mean, length, power_w, moved_start, moved_length
        )
    elif group in (AT_HOME, SMALL):
        first_pattern, last_pattern = (2, 3) if weekend else (0, 2)
        for pattern in range(first_pattern, last_pattern):
            away, home = (AWAY_SMALL, HOME_SMALL) if group == SMALL else (AWAY_DAY, HOME_DAY)
            buffer = streams[away if pattern == 1 else home]
            if kind == LAMPS:
                _fill_lamps(state, buffer, windows[pattern], cumulative, dark, mean * busy, length, power_w)
            else:
                _fill_active_use(state, buffer, windows[pattern], cumulative, session, mean * busy, length, power_w)
    elif group == MOVABLE:
        _fill_timer_use(
            state,
            streams[USUAL],
            streams[MOVED],
            cumulative,
            session,
            _count(state, mean * busy, kind == HEAT),
            length,
            power_w,
            shape,
            moved_start,
            moved_length,
        )
    else:
        for _ in range(_count(state, mean, kind == HEAT)):
            _add_steady(streams[ALWAYS], _proposed_start(state, cumulative), length, power_w)
    return next_start


@inner
def _clear(buffers, standby):
    """Begin a day: standby in the stream that always runs, nothing in the others."""
    for side in range(2):
        for stream in range(_STREAM_COUNT):
            watts = standby[side] if stream == ALWAYS else 0.0
            for minute in range(MINUTES):
                buffers[side, stream, minute] = watts


@inner
def _store_slot(reachable_w, wired_w, year, row, slot, reach, wired, minute, slot_minutes):
    """Put one slot of one stream of the day into the year: minutes within reach, the mean of what is out of it."""
    total = 0.0
    for offset in range(slot_minutes):
        total += wired[minute + offset]
    wired_w[year, row, slot] = total / slot_minutes
    for offset in range(slot_minutes):
        reachable_w[row, slot * slot_minutes + offset] = reach[minute + offset]


@compiled
def fill_year(
    reachable_w, wired_w, year, seed, stream_row,
    kind, group, name_hash, side, length_min, power_w, standby_w, daily_cycles, season, profile, shape, shape_first,
    window, busy, session, darkness, moved_start, moved_length, weekend, day_slots, day_slot_first, slot_minute,
    state, buffers, next_start, standby,
):  # fmt: skip
    """Fill `reachable_w` (B, minutes) and the row of pool year `year` in `wired_w` (K, B, slots) in place.

    By appliance: kind, group, hash of the name, side (0 in reach, 1 out of it), cycle length [min], power above
    standby [W], standby [W], proposals per day (A, years), their factor by day of the year (A, 365), cumulative
    profile (A, 2, bins), minutes above standby of shaped cycles (slice shape_first[a]..shape_first[a + 1]). `window`
    (K, 365, patterns, 4), `busy` (K, 365) and `session` (K, 365, blocks) as from `habits.rhythm`, `darkness` (365,
    bins). The last four are those of `scratch`.
    """
    slot_minutes = MINUTES * 365 // wired_w.shape[2]
    for a in range(kind.shape[0]):
        standby[side[a]] += standby_w[a]
    for a in range(kind.shape[0]):
        if kind[a] == THERMOSTAT:
            start_sequence(state, seed, name_hash[a], year, 400)
            next_start[a] = -uniform(state) * MINUTES / daily_cycles[a, year]
    for day in range(365):
        _clear(buffers, standby)
        for a in range(kind.shape[0]):
            if kind[a] == CONSTANT:
                continue
            start_sequence(state, seed, name_hash[a], year, day)
            next_start[a] = _fill_appliance(
                state, buffers[side[a]], kind[a], group[a], day, weekend[day], next_start[a], length_min[a],
                power_w[a], daily_cycles[a, year] * season[a, day], busy[year, day], profile[a], session[year, day],
                shape[shape_first[a] : shape_first[a + 1]], window[year, day], darkness[day], moved_start, moved_length,
            )  # fmt: skip
        for index in range(day_slot_first[day], day_slot_first[day + 1]):
            slot = day_slots[index]
            for stream in range(_STREAM_COUNT):
                if stream_row[stream] >= 0:
                    _store_slot(
                        reachable_w, wired_w, year, stream_row[stream], slot, buffers[0, stream],
                        buffers[1, stream], slot_minute[slot], slot_minutes,
                    )  # fmt: skip


def scratch(appliances: int) -> tuple[NDArray[np.generic], ...]:
    """Return the arrays of zeros that `fill_year` works in; made here, since numba takes a second to compile `zeros`.

    State of the random numbers, minutes of a day by side and stream, next start of each thermostat, standby by side.
    """
    buffers = np.zeros((2, _STREAM_COUNT, MINUTES), np.float32)
    return np.zeros(1, np.uint64), buffers, np.zeros(appliances), np.zeros(2)


def slots_by_day(slot_day: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the slots sorted by local day and where each day begins in that list, shapes (slots,) and (366,)."""
    order = np.argsort(slot_day, kind="stable")
    first = np.searchsorted(slot_day[order], np.arange(366))
    return order.astype(np.int64), first.astype(np.int64)
