"""Switching and scaling of the demand streams."""

import runpy
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskcalc.clock import DAYS, local_clock
from riskcalc.demand.pool import DemandPool, balanced_ranks

reachable_w = runpy.run_path(str(Path(__file__).with_name("pool_watts.py")))["reachable_w"]

CLOCK = local_clock("Etc/UTC", slot_minutes=60)


def _pool(watts: np.ndarray, rank: np.ndarray) -> DemandPool:
    """Return a pool of three streams at one hour: always, on days at home, on days out; half of it out of reach."""
    hourly = np.repeat(watts, 24, axis=2).astype(np.float32)
    return DemandPool(
        run_w=np.moveaxis(hourly / 2.0, 1, 2).reshape(-1, 3),
        run_minutes=np.full(len(watts) * 8760, 60, dtype=np.uint8),
        first_run=np.arange(len(watts))[:, None] * 8760 + np.arange(8761),
        wired_w=hourly / 2.0,
        basis=("always", "home_day", "away_day"),
        rank_row=np.array([-1, 0, 0]),
        rank_below=np.array([True, True, False]),
        scale_row=np.array([0, 0, 0]),
        day_rank=np.stack([rank, np.full_like(rank, -1.0)], axis=1),
        step_minutes=60,
        slot_day=CLOCK.day,
        source="made up",
    )


def test_mean_energy_by_hand():
    """100 W always are 876 kWh; 1000 W on the 0.2 of days ranked below 0.2 are 1752; 500 W on the rest are 3504."""
    watts = np.ones((1, 3, DAYS)) * np.array([100.0, 1000.0, 500.0])[None, :, None]
    rank = ((np.arange(DAYS) + 0.5) / DAYS)[None, :]
    kwh = _pool(watts, rank).mean_kwh([0.2], [0.0])
    assert kwh[:, 0] == pytest.approx([876.0, 0.2 * 8760.0, 0.8 * 4380.0])


def test_days_without_a_choice_belong_to_the_below_stream():
    """Rank -1 (weekends) counts as at home, even at share 0."""
    watts = np.ones((1, 3, DAYS)) * 1000.0
    rank = np.where(np.arange(DAYS) % 7 < 5, 0.5, -1.0)[None, :]
    weekend_days = int((rank < 0).sum())
    kwh = _pool(watts, rank).mean_kwh([0.0, 1.0], [0.0, 0.0])
    assert kwh[1] == pytest.approx([24.0 * weekend_days, 24.0 * DAYS])
    assert kwh[2] == pytest.approx([24.0 * (DAYS - weekend_days), 0.0])


@settings(max_examples=30, deadline=None)
@given(share=st.floats(0.0, 1.0), seed=st.integers(0, 10_000))
def test_mean_energy_equals_the_plain_sum(share: float, seed: int):
    """The cumulative look-up gives what a loop over days gives, for any share, ties and pool years included."""
    generator = np.random.default_rng(seed)
    watts = generator.random((3, 3, DAYS)) * 1000.0
    rank = np.round(generator.random((3, DAYS)), 2)
    pool = _pool(watts, rank)
    below = rank < share
    day_kwh = reachable_w(pool).astype(float).reshape(3, 3, DAYS, 24).sum(axis=3) * 2.0 / 1000.0
    expected = [day_kwh[:, 0].sum(), day_kwh[:, 1][below].sum(), day_kwh[:, 2][~below].sum()]
    assert pool.mean_kwh([share], [0.5])[:, 0] == pytest.approx(np.array(expected) / 3.0, rel=1e-6, abs=1e-9)


def test_household_scale_meets_the_annual_figure():
    """Scale times the mean of the household streams is the annual use, draw by draw."""
    watts = np.random.default_rng(1).random((2, 3, DAYS)) * 500.0
    pool = _pool(watts, np.random.default_rng(2).random((2, DAYS)))
    shares, use = np.array([0.1, 0.5, 0.9]), np.array([2000.0, 3000.0, 4500.0])
    scale = pool.household_scale(use, shares, np.zeros(3))
    assert scale * pool.mean_kwh(shares, np.zeros(3)).sum(axis=0) == pytest.approx(use)


def test_an_empty_home_cannot_be_scaled():
    """No demand at all cannot be brought to 3000 kWh: refused, not divided by zero."""
    pool = _pool(np.zeros((1, 3, DAYS)), np.zeros((1, DAYS)))
    with pytest.raises(ValueError, match="annual use of the household streams: 0 kWh"):
        pool.household_scale([3000.0], [0.5], [0.0])


def test_wrong_shapes_are_refused():
    """A pool whose arrays do not fit together says which one."""
    with pytest.raises(ValueError, match="day_rank"):
        _pool(np.zeros((1, 3, DAYS)), np.zeros((1, DAYS - 1)))


def test_arrays_are_read_only():
    """A pool is shared by all draws: nobody may write to it."""
    pool = _pool(np.zeros((1, 3, DAYS)), np.zeros((1, DAYS)))
    with pytest.raises(ValueError, match="read-only"):
        pool.run_w[0, 0] = 1.0


@given(share=st.floats(0.0, 1.0), seed=st.integers(0, 1000))
@settings(max_examples=30, deadline=None)
def test_ranks_give_every_year_its_share(share: float, seed: int):
    """Each year has share x 261 days at home to within one day; other days are marked -1."""
    days = np.arange(DAYS) % 7 < 5
    rank = balanced_ranks(np.random.default_rng(seed), years=4, days=days)
    assert (rank[:, ~days] == -1.0).all()
    chosen = (rank[:, days] < share).sum(axis=1)
    assert np.abs(chosen - share * days.sum()).max() <= 1.0
