"""The one place where Dask is met: blocks of draws, and whole homes, computed by the workers of a scheduler.

Workers get the scenario and the numbers of their block, make the pools themselves (or find them in their own store) and
send back what happened; so nothing large travels, and a block does not know where it ran. A worker that is lost costs its
blocks, which the scheduler gives to another. Every task carries a fingerprint of this package and its libraries: a
worker with others refuses, since it might answer with other bits.
"""

from __future__ import annotations

import hashlib
import pickle
import re
import socket
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass
from functools import cache, partial
from itertools import chain, islice
from pathlib import Path
from threading import Lock
from typing import Any

import numpy as np

from riskcalc.answers.assess import draw_columns
from riskcalc.dispatch import SlotPlan
from riskcalc.errors import InputError, one_problem, with_extra
from riskcalc.money.valuation import Valuation
from riskcalc.scenario import Scenario
from riskcalc.study.draw_blocks import FEWEST_DRAWS, MOST_DRAWS, Block, Threads, simulated_block
from riskcalc.study.model import OnBlock, Values, World, world_of
from riskcalc.years.pools import Pools
from riskcalc.years.simulation import Simulation
from riskcalc.years.store import made_by

NAME = "draws.parquet"
#: What the file is called until the last block is in it; an interrupted run leaves it for anyone who can use a part.
UNFINISHED = "draws.unfinished.parquet"


@contextmanager
def draws_file(folder: Path, scenario: Scenario, *, option: str) -> Iterator[OnBlock]:
    """Yield what takes each block: a row group of the columns of draws.csv, whichever block comes first.

    Rows are told apart by `draw`, not by their order; a payback that never comes is infinite. The file gets its name
    when all blocks are in it.

    Raises
    ------
    InputError
        If pyarrow is not installed or the folder cannot be written.
    """
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError as error:
        raise one_problem("command line", option, f"without pyarrow ({error})", with_extra("cluster")) from error
    writer: Any = None
    path = folder / UNFINISHED

    def take(which: slice, values: Values, simulation: Simulation, money: Valuation) -> None:
        nonlocal writer
        columns = {"draw": np.arange(which.start, which.stop)}
        columns |= draw_columns(scenario, values, simulation, money)
        table = pa.table({name: np.ascontiguousarray(drawn) for name, drawn in columns.items()})
        if writer is None:
            folder.mkdir(parents=True, exist_ok=True)
            writer = parquet.ParquetWriter(path, table.schema)
        writer.write_table(table)

    try:
        yield take
    except BaseException:
        if writer is not None:
            with suppress(OSError):
                writer.close()
        raise
    if writer is not None:
        writer.close()
        path.replace(folder / NAME)


OPTION = "--scheduler"
_ADDRESS = re.compile(r"(?:(?P<scheme>[a-z]{2,8})://)?(?P<host>\[[0-9a-fA-F:.]+\]|[^\s/:?#@\[\]]+):(?P<port>\d{1,5})")
#: How long to wait for an answer of the scheduler, and for a first worker [s].
CONNECT_S, FIRST_WORKER_S, CLOSE_S = 5.0, 10.0, 3.0
#: Blocks that wait or run for each thread of a worker: enough to keep it busy, not enough to fill the memory.
AT_ONCE = 2
#: Workers that may be lost with the same block before it is given up.
LOST_AT_MOST = 5


class Cluster:
    """The workers of a scheduler, in place of the threads of this process (`futures.draw_blocks.Workers`)."""

    def __init__(self, client: Any, address: str, *, most_draws: int = MOST_DRAWS) -> None:
        self.client, self.address, self.most_draws = client, address, most_draws

    @property
    def threads(self) -> int:
        """Number of threads of all workers there are now, at least 1."""
        return max(1, sum(self.client.nthreads().values()))

    def block_draws(self, draws: int) -> int:
        """Return blocks, two for each thread, so that unequal workers end together."""
        return max(1, min(self.most_draws, max(FEWEST_DRAWS, -(-draws // (AT_ONCE * self.threads)))))

    def simulations(
        self,
        scenario: Scenario,
        pools: Pools,
        plan: SlotPlan,
        blocks: Iterable[Block],
        *,
        on_draw_years: Callable[[int], None],
    ) -> Iterator[tuple[slice, Simulation]]:
        """Yield each block's simulation as it is done; the workers make `pools` and `plan` themselves.

        Where the scheduler is lost, the threads of this process do what is left: the same bits.
        """
        task = partial(block_on_worker, fingerprint(), pickle.dumps(scenario))
        given = self._each(task, blocks)
        while (found := next(given, None)) is not None:
            if isinstance(found, _Left):
                here = Threads(most_draws=self.most_draws)
                yield from here.simulations(scenario, pools, plan, found.items, on_draw_years=on_draw_years)
                return
            block, done = found
            on_draw_years(block.draws * scenario.study.horizon_years)
            yield block.which, done

    def in_order(self, function: Callable[[Any], Any], items: Sequence[Any]) -> Iterator[Any]:
        """Yield `function` of each item in the order of the items, computed by the workers in any order."""
        found: dict[int, Any] = {}
        following = 0
        task = partial(item_on_worker, fingerprint(), function)
        for some in self._each(task, enumerate(items)):
            if isinstance(some, _Left):
                break
            (place, _), found[place] = some
            while following in found:
                yield found.pop(following)
                following += 1
        for place in range(following, len(items)):  # the scheduler was lost
            yield found.pop(place) if place in found else function(items[place])

    def draws_file(self, folder: Path, scenario: Scenario) -> AbstractContextManager[OnBlock]:
        """Return what writes each block to draws.parquet in a folder as it comes."""
        return draws_file(folder, scenario, option=OPTION)

    def _each(self, task: Callable[[Any], Any], items: Iterable[Any]) -> Iterator[tuple[Any, Any] | _Left]:
        """Yield (item, result) as results come, a few items per thread at a time; last what a lost scheduler left."""
        from distributed import KilledWorker, as_completed

        ahead = iter(items)
        given: dict[Any, Any] = {}

        def give(item: Any) -> Any:
            future = self.client.submit(task, item, pure=False, retries=0)
            given[future.key] = (future, item)
            return future

        coming = as_completed([give(item) for item in islice(ahead, AT_ONCE * self.threads)], loop=self.client.loop)
        try:
            for future in coming:
                try:
                    result = future.result()
                except KilledWorker as error:
                    accepted = "workers that stay alive: look into their logs, most often they run out of memory"
                    raise one_problem("command line", OPTION, f"{self.address}: {error}", accepted) from error
                except InputError:
                    raise
                except Exception:
                    if future.status != "cancelled" and self._answers():
                        raise  # a fault in the work itself
                    warnings.warn(f"{self.address} is lost; this machine does the rest", SchedulerLost, stacklevel=2)
                    yield _Left(chain([item for _, item in given.values()], ahead))
                    return
                item = given.pop(future.key)[1]
                for following in islice(ahead, 1):
                    coming.add(give(following))
                yield item, result
        finally:
            with suppress(Exception):  # the scheduler itself may be gone
                if self._answers():
                    self.client.cancel([future for future, _ in given.values()])

    def _answers(self) -> bool:
        return self.client.status == "running" and self.client.scheduler is not None


@dataclass(frozen=True)
class _Left:
    """Items that no worker has done."""

    items: Iterator[Any]


class SchedulerLost(UserWarning):
    """The scheduler was lost in mid-run."""


def checked_address(address: str) -> str:
    """Return an address at which somebody listens.

    Raises
    ------
    InputError
        If it is no address, or nobody listens there.
    """
    accepted = "the address of a Dask scheduler that is running, such as tcp://127.0.0.1:8786"
    named = _ADDRESS.fullmatch(address)
    if named is None or not 1 <= int(named["port"]) <= 65_535:
        raise one_problem("command line", OPTION, address, accepted)
    try:
        with socket.create_connection((named["host"].strip("[]"), int(named["port"])), timeout=CONNECT_S) as there:
            # Dask speaks first. What only listens would hold the client for ever.
            if named["scheme"] in (None, "tcp") and not there.recv(1):
                raise ConnectionError("no Dask there")
    except (OSError, UnicodeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise one_problem("command line", OPTION, f"{address}: {reason}", accepted) from error
    return address


@contextmanager
def cluster_at(address: str, *, most_draws: int = MOST_DRAWS) -> Iterator[Cluster]:
    """Connect to the scheduler at an address and give the connection back at the end.

    Raises
    ------
    InputError
        If the extra is not installed, nobody answers at the address, or the scheduler has no worker.
    """
    try:
        import dask
        from distributed import Client
    except ImportError as error:
        raise one_problem(
            "command line", OPTION, f"{address}, without Dask ({error})", with_extra("cluster")
        ) from error
    quiet = {"distributed.scheduler.allowed-failures": LOST_AT_MOST, "distributed.comm.timeouts.connect": CONNECT_S}
    with dask.config.set(quiet):
        checked_address(address)
        try:
            client = Client(address, timeout=CONNECT_S, set_as_default=False)
        except Exception as error:
            reason = str(error).splitlines()[0] if str(error) else type(error).__name__
            accepted = "the address of a Dask scheduler: something else answers there, or a Dask of another version"
            raise one_problem("command line", OPTION, f"{address}: {reason}", accepted) from error
        with _closing(client):
            try:
                client.wait_for_workers(1, timeout=FIRST_WORKER_S)
            except TimeoutError as error:
                accepted = f"a scheduler with workers: dask worker {address}"
                raise one_problem("command line", OPTION, f"{address}: no worker", accepted) from error
            yield Cluster(client, address, most_draws=most_draws)


@contextmanager
def _closing(client: Any) -> Iterator[None]:
    """Close the connection at the end; one that is dead already says nothing about it."""
    try:
        yield
    finally:
        with suppress(Exception):
            client.close(timeout=CLOSE_S)


@cache
def fingerprint() -> str:
    """Return a digest of this package's sources, the libraries behind its numbers and the kind of machine."""
    digest = hashlib.sha256(made_by().encode())
    package = Path(__file__).parents[1]
    for path in sorted(package.rglob("*.py")):
        digest.update(path.relative_to(package).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()


def block_on_worker(expected: str, packed: bytes, block: Block) -> Simulation:
    """Return what happened in a block, on one thread of a worker."""
    check_same(expected)
    scenario, world = _world(packed)
    return simulated_block(scenario, world.pools, world.plan, block)


def item_on_worker(expected: str, function: Callable[[Any], Any], numbered: tuple[int, Any]) -> Any:
    """Return a function of an item, on a worker."""
    check_same(expected)
    return function(numbered[1])


def check_same(expected: str) -> None:
    """Raise InputError unless this process runs the riskcalc and the libraries that asked."""
    if fingerprint() != expected:
        given = "a worker with another riskcalc, other libraries or another kind of machine"
        raise one_problem("command line", OPTION, given, "workers set up like the machine that asks: same bits need it")


_at_hand: dict[str, tuple[Scenario, World]] = {}
_making = Lock()


def _world(packed: bytes) -> tuple[Scenario, World]:
    """Return scenario and world, kept until another scenario comes: the threads of a worker share it."""
    key = hashlib.sha256(packed).hexdigest()
    with _making:
        if key not in _at_hand:
            scenario: Scenario = pickle.loads(packed)  # noqa: S301 - from the scheduler that the user trusts with code
            world = world_of(scenario)
            # Shared by all blocks and worked out on first use: here, not in two threads at once.
            _at_hand.clear()
            _at_hand[key] = (scenario, world)
        return _at_hand[key]
