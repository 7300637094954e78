"""Draws in blocks: bounded memory, one block per thread, and results that do not know how they were divided.

A draw is computed from its own numbers alone, so any division gives the same bits; `tests/study/test_draw_blocks.py` holds that.
Threads work on blocks of their own from the first year to the last: waiting for each other after every year would cost
a quarter of the gain (two threads: 1.8 to 2.1 times one with whole blocks, 1.1 to 1.5 with a barrier every year).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from itertools import chain, islice
from threading import Event, Lock
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import SlotPlan
from riskcalc.scenario import Scenario
from riskcalc.types import Floats, Values
from riskcalc.uncertainty.draw_axis import Which
from riskcalc.years.pools import Pools
from riskcalc.years.simulation import Plant, Simulation, simulate

#: Most draws in a block: some ten megabytes while it runs.
MOST_DRAWS = 1024
#: Fewest draws that are worth a block of their own on another machine: a block walks through every pool year it meets.
FEWEST_DRAWS = 128
#: Draws that stay in one block, whose years all threads share: cut up, they would walk through each pool year once for
#: each block, with the kernel's lanes half empty.
TOGETHER = 512


@dataclass(frozen=True)
class Block:
    """Some draws of a scenario, ready to be simulated: which they are, their values and the pool years they meet."""

    which: slice
    values: Values
    pool_year: NDArray[np.int64]

    @property
    def draws(self) -> int:
        """Number of draws in the block."""
        return int(self.pool_year.shape[1])


class Stopped(Exception):  # noqa: N818 - not an error: somebody asked for the end
    """The work was called off."""


class Workers(Protocol):
    """What simulates blocks: the threads of this process, or a cluster."""

    def block_draws(self, draws: int) -> int:
        """Return the number of draws in a block that suits them."""
        ...

    def simulations(
        self,
        scenario: Scenario,
        pools: Pools,
        plan: SlotPlan,
        blocks: Iterable[Block],
        *,
        on_draw_years: Callable[[int], None],
    ) -> Iterator[tuple[slice, Simulation]]:
        """Yield each block's simulation as it is done, in any order; `on_draw_years` hears how many years of draws."""
        ...


def usable_threads() -> int:
    """Return the number of processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@dataclass(frozen=True)
class Threads:
    """The threads of this process."""

    count: int = 0
    most_draws: int = MOST_DRAWS

    def block_draws(self, draws: int) -> int:
        """Return a block that gives each thread its own, neither too small for the kernel nor too large for memory."""
        threads = self.count or usable_threads()
        return max(1, min(self.most_draws, max(TOGETHER, -(-draws // threads))))

    def simulations(
        self,
        scenario: Scenario,
        pools: Pools,
        plan: SlotPlan,
        blocks: Iterable[Block],
        *,
        on_draw_years: Callable[[int], None],
    ) -> Iterator[tuple[slice, Simulation]]:
        """Yield each block's simulation as it is done."""
        stop, lock = Event(), Lock()
        # Shared by all blocks and worked out on first use: here, not in two threads at once.
        pools.demand.mean_kwh(0.5, 0.5)

        def run(block: Block, inner_threads: int = 1) -> tuple[slice, Simulation]:
            def year_done(_year: int) -> None:
                if stop.is_set():
                    raise Stopped
                with lock:
                    on_draw_years(block.draws)

            done = simulated_block(scenario, pools, plan, block, on_year=year_done, threads=inner_threads)
            return block.which, done

        waiting: set[Future[tuple[slice, Simulation]]] = set()
        threads = self.count or usable_threads()
        first = list(islice(blocks := iter(blocks), 2))
        if len(first) == 1:
            yield run(first[0], threads)
            return
        with ThreadPoolExecutor(threads) as executor:
            try:
                for block in chain(first, blocks):
                    # One block waits beside those that run: enough to keep them busy, not enough to fill the memory.
                    if len(waiting) > threads:
                        done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                        yield from (future.result() for future in done)
                    waiting.add(executor.submit(run, block))
                while waiting:
                    done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                    yield from (future.result() for future in done)
            finally:
                stop.set()


def simulated_block(
    scenario: Scenario,
    pools: Pools,
    plan: SlotPlan,
    block: Block,
    *,
    on_year: Callable[[int], None] | None = None,
    threads: int = 1,
) -> Simulation:
    """Return what happened to energy and kit in a block; it does not depend on the number of threads."""
    plant = Plant(scenario, pools, plan, block.values, block.pool_year)
    return simulate(plant, years=scenario.study.horizon_years, on_year=on_year, threads=threads)


def divided(values: Values, pool_year: NDArray[np.int64], *, block_draws: int) -> Iterator[Block]:
    """Yield all draws in blocks of `block_draws`, the last one what is left."""
    draws = pool_year.shape[1]
    for start in range(0, draws, block_draws):
        which = slice(start, min(start + block_draws, draws))
        yield Block(which, values_of(values, which), np.ascontiguousarray(pool_year[:, which]))


def values_of(values: Values, which: Which) -> dict[str, Floats]:
    """Return the values of some draws; what is the same in all draws stays a single number in memory."""
    if isinstance(which, slice):
        return {key: drawn[which] for key, drawn in values.items()}
    return {
        key: drawn[which] if drawn.strides[0] else np.broadcast_to(drawn[0], which.shape)
        for key, drawn in values.items()
    }


def year_counter(on_year: Callable[[int], None] | None, *, draws: int) -> Callable[[int], None]:
    """Return what turns years of draws into years of all draws: `on_year` hears of each when its share is done."""
    done = told = 0

    def count(draw_years: int) -> None:
        nonlocal done, told
        done += draw_years
        while on_year is not None and (told + 1) * draws <= done:
            told += 1
            on_year(told)

    return count
