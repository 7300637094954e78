"""Draws in blocks: the same bits however they are divided, ordered or run; memory that does not grow with them."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path

import numpy as np
import pytest

from riskcalc.study import draw_blocks
from riskcalc.study.draw_blocks import Threads, divided, usable_threads, year_counter
from riskcalc.study.model import assessment, design_of, drawn_values, evaluated, part_of_design, world_of
from riskcalc.uncertainty import draw_axis
from riskcalc.uncertainty.draw_axis import Whole, of_draws

UNCERTAIN = (
    'home.annual_use_kwh={distribution="uniform", low=1500, high=2500}',
    'home.weekday_home_share={distribution="uniform", low=0.2, high=0.8}',
    'kit.inverter.idle_w={distribution="uniform", low=5, high=20}',
    'kit.battery.capacity_kwh={distribution="normal", mean=1.0, sd=0.1, minimum=0.5}',
    'kit.ageing.scale={distribution="lognormal", median=1, sigma=0.3}',
    'purchase.price={distribution="uniform", low=400, high=900}',
    'home.surfaces.balcony.azimuth_deg={distribution="normal", mean=190, sd=12}',
    "kit.ageing.failure_chance_per_year=0.1",
    "tenure={kind='rent', moving_chance_per_year=0.2, new_home_sun_chance=0.6}",
    "outages={per_year=3, hours_each=4}",
    "prices.spread=0.04",
    "prices.jump_chance_per_year=0.1",
    "study.pool_years=8",
    "study.scrambles=8",
    "study.step_minutes=30",
    "study.draws=256",
)


_FOUND = []


@pytest.fixture
def found(read_small):
    """Everything uncertain at once, 256 draws in one block; worked out once for all tests."""
    if not _FOUND:
        _FOUND.append(assessment(read_small(*UNCERTAIN), workers=Threads(count=1)))
    return _FOUND[0]


def arrays(held, where=""):
    """Yield (name, array) of every array of a dataclass, those inside others included."""
    if isinstance(held, np.ndarray):
        yield where, held
    elif isinstance(held, dict):
        for name, part in held.items():
            yield from arrays(part, f"{where}.{name}")
    elif is_dataclass(held):
        for entry in fields(held):
            yield from arrays(getattr(held, entry.name), f"{where}.{entry.name}")


def assert_same(one, two, *, pick=None):
    """Hold every array of `one`, at the draws of `pick`, against `two`, to the last bit."""
    pairs = list(zip(arrays(one), arrays(two), strict=True))
    assert len(pairs) > 5
    for (name, left), (other, right) in pairs:
        assert name == other
        left_draws = left if pick is None else left[..., pick]
        assert np.array_equal(left_draws, right, equal_nan=left.dtype.kind == "f"), name


@pytest.mark.parametrize(("threads", "most_draws"), [(2, 2048), (1, 96), (3, 50), (2, 7)])
def test_results_do_not_depend_on_blocks_and_threads(found, threads, most_draws):
    """Every flow of energy and money in every draw is the same to the last bit for any threads and block size."""
    again = assessment(found.scenario, workers=Threads(count=threads, most_draws=most_draws), world=found.world)
    assert_same(found.simulation, again.simulation)
    assert_same(found.valuation, again.valuation)


def test_results_do_not_depend_on_the_order_of_draws(found):
    """Draws in another order give the same futures in that order, to the last bit."""
    order = np.random.default_rng(3).permutation(found.draws)
    random = part_of_design(found.design, order)
    values = {key: drawn[order] for key, drawn in found.values.items()}
    simulation, money = evaluated(found.scenario, found.world, random, values)
    assert_same(found.simulation, simulation, pick=order)
    assert_same(found.valuation, money, pick=order)


def test_results_do_not_depend_on_the_number_of_draws(found):
    """Half the draws are the first half of each scramble of the whole, to the last bit, outages included."""
    few = assessment(
        found.scenario.model_copy(update={"study": found.scenario.study.model_copy(update={"draws": 128})}),
        world=found.world,
    )
    first_half = np.arange(256).reshape(8, 32)[:, :16].ravel()
    assert_same(found.simulation, few.simulation, pick=first_half)
    assert_same(found.valuation, few.valuation, pick=first_half)


def test_wholes_in_a_file_hold_the_same(found, monkeypatch):
    """Beyond its room a whole lies in a file: same bits, and the arrays are views of that file's map."""
    monkeypatch.setattr(draw_axis, "ROOM_BYTES", 1000)
    again = assessment(found.scenario, world=found.world)
    assert_same(found.simulation, again.simulation)
    assert_same(found.valuation, again.valuation)
    held = again.simulation.yearly_kwh
    while isinstance(held, np.ndarray):
        held = held.base
    assert type(held).__name__ in ("mmap", "memoryview")


def test_the_progress_counts_whole_years():
    """Years of draws from many blocks add up to years of all draws, each told once, the last at the end."""
    told = []
    count = year_counter(told.append, draws=100)
    for _ in range(4):
        count(30)
        count(20)
    assert told == [1, 2]
    count(100)
    assert told == [1, 2, 3]


def test_blocks_cover_every_draw_once():
    """Blocks follow one another without gap or overlap, and each thread gets one where there are draws enough."""
    pool_year = np.arange(2 * 1000).reshape(2, 1000)
    blocks = list(divided({"a": np.arange(1000.0)}, pool_year, block_draws=300))
    assert np.concatenate([block.values["a"] for block in blocks]).tolist() == list(range(1000))
    assert np.array_equal(np.concatenate([block.pool_year for block in blocks], axis=1), pool_year)
    assert Threads(count=2).block_draws(1024) == 512
    assert Threads(count=2).block_draws(65_536) == 1024
    assert Threads(count=2).block_draws(100) == draw_blocks.TOGETHER
    assert usable_threads() >= 1


@dataclass(frozen=True)
class Inner:
    """Arrays inside others."""

    flags: np.ndarray


@dataclass(frozen=True)
class Outer:
    """Something of every kind that can be divided."""

    rows: np.ndarray
    inner: Inner
    named: dict
    nothing: None
    word: str


def test_parts_put_together_are_the_whole():
    """Taking parts in any order and putting them in their places gives the whole back."""
    rng = np.random.default_rng(1)
    whole = Outer(rng.random((3, 20)), Inner(rng.random(20) > 0.5), {"a": rng.random((2, 2, 20))}, None, "same")
    together = Whole(20)
    for which in (slice(12, 20), np.array([3, 1, 0, 2]), slice(4, 12)):
        together.put(which, of_draws(whole, which))
    assert_same_any(together.all_draws(), whole)
    assert together.all_draws().word == "same"


def assert_same_any(one, two):
    """Hold every array of `one` against `two`."""
    for (name, left), (_, right) in zip(arrays(one), arrays(two), strict=True):
        assert np.array_equal(left, right), name


def test_an_error_in_a_block_ends_the_run(found):
    """What is wrong in one block is raised as itself, and the other threads stop."""
    values = {**found.values, "kit.ageing.scale": np.full(3, 1.0)}
    with pytest.raises(ValueError, match=r"shape|broadcast"):
        evaluated(found.scenario, found.world, found.design, values, workers=Threads(count=2, most_draws=64))


#: Points of few draws may be kept, those of many are made anew by scipy's statistics, 50 MB: both runs read it.
PEAK = """
import sys
from pathlib import Path
import scipy.stats
from riskcalc.study.model import assessment
from riskcalc.scenario import read_scenario
found = assessment(read_scenario(Path(sys.argv[1]), sys.argv[2:]))
status = Path("/proc/self/status").read_text(encoding="ascii")  # getrusage's begins with that of the process before
print(found.draws, status.split("VmHWM:")[1].split()[0])
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="the peak of memory is read from /proc")
def test_memory_is_flat_in_draws(small_file, read_small):
    """Eight times the draws, 2,048 to 16,384 over 10 years, add less than a tenth to the peak and stay below 1 GiB.

    Kept whole they would need 3.5 kB a draw, 50 MB more. Whole-hour windows halve the slots, which are the time it takes.
    A small run in this process compiles what is not compiled yet, which takes memory of its own.
    """
    changes = [
        *UNCERTAIN[:-2],
        'tariff.rates.night.windows=["00:00-07:00"]',
        "study.step_minutes=60",
        "study.horizon_years=10",
    ]
    assessment(read_small(*changes, "study.draws=64"))
    peaks = {}
    for draws in (2048, 16_384):
        done = subprocess.run(
            [sys.executable, "-c", PEAK, str(small_file), *changes, f"study.draws={draws}"],
            capture_output=True,
            text=True,
            check=True,
            cwd=Path(__file__).parents[2],
        )
        ran, peak_kb = (int(word) for word in done.stdout.split())
        assert ran == draws
        peaks[draws] = peak_kb / 1024.0
    assert peaks[16_384] < 1024.0
    assert peaks[16_384] < 1.10 * peaks[2048]


def test_values_that_do_not_vary_take_the_memory_of_one(found):
    """A fixed number stands once in memory, whatever the number of draws."""
    values = drawn_values(found.scenario, design_of(found.scenario))
    assert values["kit.inverter.efficiency_full_load"].strides == (0,)
    assert values["kit.inverter.idle_w"].strides == (8,)


def test_world_does_not_depend_on_the_draws(found):
    """Pools and the scale of outages are the same for 8 draws and for 256."""
    few = found.scenario.model_copy(update={"study": found.scenario.study.model_copy(update={"draws": 8})})
    pools = world_of(few).pools
    assert pools.outage_scale == found.world.pools.outage_scale != 1.0
    assert np.array_equal(pools.solar_w, found.world.pools.solar_w)
