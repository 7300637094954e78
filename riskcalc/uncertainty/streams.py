"""Every stream of random numbers by its name, so that no two share a seed: all grow from the one seed of the study."""

from __future__ import annotations

from enum import IntEnum

import numpy as np


class Stream(IntEnum):
    """What random numbers are for; the figures are part of every result and never change."""

    SOBOL = 1
    POOL_YEARS = 2
    LUCK = 3
    WEATHER = 11
    DEMAND = 12
    FORECAST = 13
    CLOUDS = 14
    INDEX_POINTS = 21
    SCREENING = 23
    SHUFFLES = 24


def generator(seed: int, stream: Stream, *parts: int) -> np.random.Generator:
    """Return the generator of a stream, or of a part of it: a scramble, a year, a name."""
    return np.random.default_rng(np.random.SeedSequence(seed, spawn_key=(int(stream), *parts)))


def stream_seed(seed: int, stream: Stream) -> int:
    """Return a stream's own seed, for what seeds itself."""
    return int(np.random.SeedSequence(seed, spawn_key=(int(stream),)).generate_state(1)[0])
