"""Demand of a pool step by step, for the tests."""

from __future__ import annotations

import numpy as np

from riskcalc.demand.pool import DemandPool


def reachable_w(pool: DemandPool) -> np.ndarray:
    """Return mean power within reach of every step of the pool, (years, streams, steps) [W]."""
    minutes = np.stack([pool.minutes_w(year) for year in range(pool.years)])
    return minutes.reshape(*minutes.shape[:2], -1, pool.step_minutes).mean(axis=3)
