"""Minutes of demand as runs: stretches in which every stream keeps its power.

Most minutes of a home are like the minute before, so a year of minutes is held, and walked through, in a tenth of its
length or less, and not a peak is lost.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from riskcalc.jit import compiled

#: Within a step of more than a minute, minutes count as alike whose powers differ by no more than the larger of these
#: two; their energy is kept. Judgement: far below the spread of any appliance's power, and no peak moves by more.
ALIKE_W, ALIKE_SHARE = 5.0, 0.02


class Runs(NamedTuple):
    """Runs of some years, those of a slot one after the other.

    `watts` float32 (runs, streams), `minutes` uint8 (runs,); slot s of year k has the runs from first[k, s] up to, but
    without, first[k, s + 1], `first` being int64 (years, slots + 1).
    """

    watts: NDArray[np.float32]
    minutes: NDArray[np.uint8]
    first: NDArray[np.int64]


def runs_of_year(minutes_w: NDArray[np.float32], *, slot_minutes: int, step_minutes: int = 1) -> Runs:
    """Return the runs of a year of minutes, (streams, minutes) [W].

    Steps of one minute lose nothing, not even the order of minutes. In longer steps, minutes that are alike are taken
    together wherever in the step they stand.
    """
    streams, minutes = minutes_w.shape
    watts, lengths = np.empty((minutes, streams), dtype=np.float32), np.empty(minutes, dtype=np.uint8)
    first = np.empty(minutes // slot_minutes + 1, dtype=np.int64)
    seen, sums = np.empty((slot_minutes, streams)), np.empty((slot_minutes, streams))
    near = (0.0, 0.0) if step_minutes == 1 else (ALIKE_W, ALIKE_SHARE)
    count = _merge(minutes_w, slot_minutes, step_minutes, *near, watts, lengths, first, seen, sums)
    return Runs(watts[:count].copy(), lengths[:count].copy(), first[None])


def joined(years: Sequence[Runs]) -> Runs:
    """Return the runs of years one after the other."""
    before = np.cumsum([0, *(len(year.minutes) for year in years[:-1])])
    return Runs(
        np.concatenate([year.watts for year in years]),
        np.concatenate([year.minutes for year in years]),
        np.concatenate([year.first + shift for year, shift in zip(years, before, strict=True)]),
    )


@compiled
def _merge(minutes_w, slot_minutes, step_minutes, near_w, near_share, watts, lengths, first, seen, sums):
    """Fill `watts`, `lengths` and `first`; return the number of runs. `seen` and `sums` (slot_minutes, streams) are room."""
    streams, minutes = minutes_w.shape
    count = 0
    for slot in range(minutes // slot_minutes):
        of_slot = count
        first[slot] = of_slot
        for step in range(slot_minutes // step_minutes):
            start = slot * slot_minutes + step * step_minutes
            # The last run of the step before may go on.
            earliest = max(count - 1, of_slot)
            for minute in range(start, start + step_minutes):
                found = -1
                for run in range(earliest, count):
                    alike = True
                    for stream in range(streams):
                        known = seen[run - of_slot, stream]
                        differs = abs(minutes_w[stream, minute] - known)
                        alike = alike and differs <= max(near_w, near_share * known)
                    if alike:
                        found = run
                        break
                if found < 0:
                    found = count
                    count += 1
                    lengths[found] = 0
                    for stream in range(streams):
                        seen[found - of_slot, stream] = minutes_w[stream, minute]
                        sums[found - of_slot, stream] = 0.0
                lengths[found] += 1
                for stream in range(streams):
                    sums[found - of_slot, stream] += minutes_w[stream, minute]
        for run in range(of_slot, count):
            for stream in range(streams):
                watts[run, stream] = sums[run - of_slot, stream] / lengths[run]
    first[minutes // slot_minutes] = count
    return count
