"""Ctrl-C and being told to end: at once and in silence, unless something has to be put away first.

Python raises an exception wherever the main thread happens to be, in the middle of an import or of a callback that
swallows it; then it is a traceback, or it is lost. So the process ends as the system would end it, except in a
`putting_away` block, where the exception is raised and the block cleans up behind itself.
"""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Callable, Iterator
from types import FrameType

SIGNALS = (signal.SIGINT, signal.SIGTERM)

_blocks: list[None] = []


def end_when_told() -> None:
    """Let Ctrl-C and being told to end do what this module says, unless the process was started with them ignored."""
    answer(_told)


def answer(how: signal.Handlers | Callable[[int, FrameType | None], None]) -> None:
    """Set what the signals do from now on, except those that are ignored."""
    for number in SIGNALS:
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, how)


@contextlib.contextmanager
def putting_away() -> Iterator[None]:
    """Mark a block that has to clean up behind itself when it is interrupted."""
    _blocks.append(None)
    try:
        yield
    finally:
        _blocks.pop()


def _told(number: int, _frame: FrameType | None) -> None:
    if _blocks and number == signal.SIGINT:
        raise KeyboardInterrupt
    if _blocks:
        sys.exit(128 + number)  # the shells' own code
    signal.signal(number, signal.SIG_DFL)
    signal.raise_signal(number)
