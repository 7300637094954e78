"""Random numbers for compiled loops: SplitMix64 (Steele, Lea & Flood 2014), one sequence per purpose.

numba does not see that machine code on disk is older than this file: after a change here, touch `synthesis.py`.
"""

from __future__ import annotations

import numpy as np

from riskcalc.jit import compiled


@compiled
def uniform(state):
    """Return the next number in [0, 1) of the sequence held in state[0]."""
    state[0] += np.uint64(0x9E3779B97F4A7C15)
    mixed = state[0]
    mixed = (mixed ^ (mixed >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    mixed = (mixed ^ (mixed >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    mixed = mixed ^ (mixed >> np.uint64(31))
    return np.float64(mixed >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@compiled
def start_sequence(state, seed, name_hash, year, day):
    """Point the sequence at one appliance on one day."""
    state[0] = seed ^ (name_hash * np.uint64(0xD1342543DE82EF95))
    uniform(state)
    state[0] ^= np.uint64(year) * np.uint64(0x9FB21C651E98DF25) + np.uint64(day) * np.uint64(0xA24BAED4963EE407)
    uniform(state)


@compiled
def poisson(state, mean):
    """Return a number of events by multiplying uniforms (Knuth); means here stay far below 700."""
    limit = np.exp(-mean)
    count = 0
    product = uniform(state)
    while product > limit:
        count += 1
        product *= uniform(state)
    return count
