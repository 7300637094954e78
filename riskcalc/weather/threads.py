"""Parts of an array worked on in two threads: numpy leaves the interpreter's lock free, and small parts stay near."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

#: Threads that share the parts; each part is worked on alone, so the result does not depend on their number.
THREADS = 2
#: Years of a pool that make a part: fewer, and the threads wait for the interpreter between short steps.
YEARS = 4


def in_parts(work: Callable[[slice], None], length: int, part: int) -> None:
    """Call `work` once for every slice of `part` entries, the last one shorter, until `length` entries are covered."""
    parts = [slice(start, min(start + part, length)) for start in range(0, length, part)]
    if len(parts) == 1:
        work(parts[0])
        return
    with ThreadPoolExecutor(THREADS) as threads:
        for _ in threads.map(work, parts):
            pass
