"""Compiled loop that turns appliance statistics into minutes of one year: numpy and numba only.

Each local day is built in small buffers (streams x 1440 minutes of the wall clock) and then copied, averaged to steps
and slots, to its place in the standard-time year. A day is closed in itself: what runs past midnight is put into the
small hours of the same day ("round the clock"), so that switching a day on or off never cuts a cycle in two. Thermostats
run through.

Randomness is one SplitMix64 sequence (Steele, Lea & Flood 2014) per year, day and appliance, keyed by the appliance's
name: moving one appliance out of reach, or adding one, leaves every other event where it was.
"""

from __future__ import annotations

import numba
import numpy as np
from numpy.typing import NDArray

CONSTANT, THERMOSTAT, EVENTS, LAMPS, VEHICLE = 0, 1, 2, 3, 4
ALWAYS_ON, AT_HOME, MOVABLE = 0, 1, 2
#: Order of all streams; `stream_row` maps each to its row in the output or to -1.
STREAMS = ("always", "home_day", "away_day", "movable_usual", "movable_moved", "car", "car_moved")
MINUTES = 1440
#: Minutes before 03:00 count as the late evening of the same day; see "round the clock" above.
DAY_TURN = 180
_MOST_EVENTS = 64
_PLACING_TRIES = 12

_jit = numba.njit(cache=True, nogil=True)


@_jit
def _uniform(state):
    """Next number in [0, 1) of the sequence held in state[0]."""
    state[0] += np.uint64(0x9E3779B97F4A7C15)
    mixed = state[0]
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    mixed = mixed ^ (mixed >> np.uint64(31))
    return np.float64(mixed >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@_jit
def _start_sequence(state, seed, name_hash, year, day):
    """Point the sequence at one appliance on one day."""
    state[0] = seed ^ (name_hash * np.uint64(0xD1342543DE82EF95))
    _uniform(state)
    state[0] ^= np.uint64(year) * np.uint64(0x9FB21C651E98DF25) + np.uint64(day) * np.uint64(0xA24BAED4963EE407)
    _uniform(state)


@_jit
def _poisson(state, mean):
    """Number of events by multiplying uniforms (Knuth); means here are below 100."""
    limit = np.exp(-mean)
    count = 0
    product = _uniform(state)
    while product > limit:
        count += 1
        product *= _uniform(state)
    return count


@_jit
def _add_cycle(buffer, start, length, power_w, shape, shape_first, shape_last):
    """Add one cycle to a day buffer, round the clock; a shaped cycle keeps its own length."""
    if shape_last > shape_first:
        minute = start % MINUTES
        for index in range(shape_first, shape_last):
            buffer[minute] += shape[index]
            minute += 1
            if minute == MINUTES:
                minute = 0
        return
    first = start % MINUTES
    last = first + length
    for minute in range(first, min(last, MINUTES)):
        buffer[minute] += power_w
    for minute in range(0, last - MINUTES):
        buffer[minute] += power_w


@_jit
def _proposed_start(state, cumulative):
    """A minute of the day from an activity profile (cumulative share by bin)."""
    draw = _uniform(state)
    bins = cumulative.shape[0]
    index = min(np.searchsorted(cumulative, draw, side="right"), bins - 1)
    width = MINUTES // bins
    return index * width + int(_uniform(state) * width)


@_jit
def _stretch(minute, window):
    """First and last minute of the stretch at home and awake around a minute; an empty stretch if there is none."""
    up, out, back, bed = window[0], window[1], window[2], window[3]
    if minute < DAY_TURN:
        minute += MINUTES
    if minute < up or minute >= bed or (minute >= out and minute < back):
        return 0, 0
    if out >= back:
        return int(up), int(bed)
    if minute < out:
        return int(up), int(out)
    return int(back), int(bed)


@_jit
def _is_free(start, length, starts, lengths, count):
    for other in range(count):
        if start < starts[other] + lengths[other] and starts[other] < start + length:
            return False
    return True


@_jit
def _fill_home_day(state, buffer, window, cumulative, dark_of_bin, mean, kind, length_min, power_w):
    """Active use of one appliance on one day: proposed times count only while somebody is at home and awake."""
    starts = np.empty(_MOST_EVENTS, np.int64)
    lengths = np.empty(_MOST_EVENTS, np.int64)
    placed = 0
    for _ in range(_poisson(state, mean)):
        length = length_min
        if length_min >= 10:
            length = max(1, int(length_min * (0.5 + _uniform(state)) + 0.5))
        start = -1
        for attempt in range(_PLACING_TRIES):
            proposed = _proposed_start(state, cumulative)
            first, last = _stretch(proposed, window)
            if last <= first:
                if attempt == 0:
                    break
                continue
            if kind == LAMPS:
                if _uniform(state) < dark_of_bin[proposed * dark_of_bin.shape[0] // MINUTES]:
                    _add_cycle(buffer, proposed, length, power_w, dark_of_bin, 0, 0)
                break
            if proposed < DAY_TURN:
                proposed += MINUTES
            start = max(first, min(proposed, last - length))
            if _is_free(start, length, starts, lengths, placed):
                break
        # Where no free time was found the last one stands: a second device of the kind, rather than lost energy.
        if start >= 0:
            _add_cycle(buffer, start, length, power_w, dark_of_bin, 0, 0)
            if placed < _MOST_EVENTS:
                starts[placed] = start
                lengths[placed] = length
                placed += 1


@_jit
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
        start += length + mean_off * (0.7 + 0.6 * _uniform(state))
    return start


@_jit
def _moved_start(state, window_start, window_length, length):
    return window_start + int(_uniform(state) * max(0, window_length - length))


@_jit
def fill_years(
    reachable_w, wired_w, first_year, last_year, seed, stream_row,
    kind, group, name_hash, in_reach, length_min, power_w, standby_w, daily_cycles, season, cumulative, shape, shape_first,
    window, darkness, moved_start, moved_length,
    weekend, day_slots, day_slot_first, slot_minute, step_minutes,
):  # fmt: skip
    """Fill pool years first_year..last_year - 1 of `reachable_w` (K, B, steps) and `wired_w` (K, B, slots) in place.

    Per appliance (rows of the table): kind, group, hash of the name, reach, cycle length [min], power above standby [W],
    standby [W], proposals per day by season, profile (appliance, day type, bin), shape of the cycle above standby [W]
    (slice shape_first[a]..shape_first[a + 1], empty for a steady cycle). `window` (K, 365, patterns, 4); `darkness` (365, bins).
    """
    streams = len(STREAMS)
    appliances = kind.shape[0]
    slots = wired_w.shape[2]
    slot_minutes = MINUTES * 365 // slots
    steps_per_slot = slot_minutes // step_minutes
    state = np.zeros(1, np.uint64)
    buffers = np.zeros((2, streams, MINUTES), np.float32)
    next_start = np.zeros(appliances)
    constant = np.zeros(2, np.float32)
    for a in range(appliances):
        constant[in_reach[a]] += np.float32(standby_w[a])
    for year in range(first_year, last_year):
        for a in range(appliances):
            if kind[a] == THERMOSTAT:
                _start_sequence(state, seed, name_hash[a], year, 400)
                next_start[a] = -_uniform(state) * MINUTES * 365.0 / (daily_cycles[a] * 365.0)
        for day in range(365):
            buffers[:] = 0.0
            buffers[0, 0, :] = constant[0]
            buffers[1, 0, :] = constant[1]
            day_type = 1 if weekend[day] else 0
            for a in range(appliances):
                if kind[a] == CONSTANT:
                    continue
                _start_sequence(state, seed, name_hash[a], year, day)
                side = buffers[in_reach[a]]
                mean = daily_cycles[a] * season[a, day]
                if kind[a] == THERMOSTAT:
                    off = MINUTES / mean - length_min[a]
                    next_start[a] = _fill_thermostat(
                        state, side[0], day, next_start[a], length_min[a], power_w[a], off
                    )
                elif kind[a] == VEHICLE:
                    if _uniform(state) < mean:
                        length = max(1, int(length_min[a] * (0.5 + _uniform(state)) + 0.5))
                        start = _proposed_start(state, cumulative[a, day_type])
                        _add_cycle(side[5], start, length, power_w[a], shape, 0, 0)
                        start = _moved_start(state, moved_start, moved_length, length)
                        _add_cycle(side[6], start, length, power_w[a], shape, 0, 0)
                elif group[a] == AT_HOME:
                    first_pattern, last_pattern = (2, 3) if weekend[day] else (0, 2)
                    for pattern in range(first_pattern, last_pattern):
                        stream = 2 if pattern == 1 else 1
                        _fill_home_day(
                            state, side[stream], window[year, day, pattern], cumulative[a, day_type],
                            darkness[day], mean, kind[a], length_min[a], power_w[a],
                        )  # fmt: skip
                else:
                    for _ in range(_poisson(state, mean)):
                        start = _proposed_start(state, cumulative[a, day_type])
                        moved = _moved_start(state, moved_start, moved_length, length_min[a])
                        first, last = shape_first[a], shape_first[a + 1]
                        if group[a] == ALWAYS_ON:
                            _add_cycle(side[0], start, length_min[a], power_w[a], shape, first, last)
                        else:
                            _add_cycle(side[3], start, length_min[a], power_w[a], shape, first, last)
                            _add_cycle(side[4], moved, length_min[a], power_w[a], shape, first, last)
            for index in range(day_slot_first[day], day_slot_first[day + 1]):
                slot = day_slots[index]
                minute = slot_minute[slot]
                for stream in range(streams):
                    row = stream_row[stream]
                    if row < 0:
                        continue
                    total = 0.0
                    for offset in range(slot_minutes):
                        total += buffers[1, stream, minute + offset]
                    wired_w[year, row, slot] = total / slot_minutes
                    for step in range(steps_per_slot):
                        total = 0.0
                        for offset in range(step_minutes):
                            total += buffers[0, stream, minute + step * step_minutes + offset]
                        reachable_w[year, row, slot * steps_per_slot + step] = total / step_minutes


def slots_by_day(slot_day: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the slots sorted by local day and where each day begins in that list, shapes (slots,) and (366,)."""
    order = np.argsort(slot_day, kind="stable")
    first = np.searchsorted(slot_day[order], np.arange(366))
    return order.astype(np.int64), first.astype(np.int64)
