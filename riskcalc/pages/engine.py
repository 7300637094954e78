"""The chart engine runs in a process of its own: it builds charts and draws them while this one goes on.

Where memory is short it ends alone.
"""

from __future__ import annotations

import atexit
import base64
import contextlib
import io
import json
import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as Late
from functools import cache
from pathlib import Path
from typing import Any

MISSING = (
    "the page has no charts: the chart engine does not start here, most likely too little memory (it reserves some "
    "35 GB of address space; see `ulimit -v`). The figures are complete"
)
_PROGRAM = Path(__file__).with_name("drawing.py")
#: A drawing takes a thirtieth of a second, the first one a second.
_PATIENCE_S = 120.0
_END_S = 2.0


class EngineMissing(RuntimeError):  # noqa: N818 - says what is the matter
    """No chart can be drawn here."""

    def __init__(self) -> None:
        super().__init__(MISSING)


class _Engine:
    """The process that draws, and the thread that speaks with it: one request, one answer."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._speaker = ThreadPoolExecutor(1, thread_name_prefix="riskcalc charts")
        atexit.register(self.end)

    def ask(self, **request: Any) -> Future[str]:
        return self._speaker.submit(self._asked, pickle.dumps(request))

    def start(self) -> None:
        """Start the process in the background; one that has ended is started anew."""
        self._speaker.submit(self._started, anew=True)

    def end(self) -> None:
        """Close the input, at which the process ends; one that draws on is stopped."""
        process, self._process = self._process, None
        if process is None:
            return
        for pipe in (process.stdin, process.stdout):
            with contextlib.suppress(OSError):
                assert pipe is not None
                pipe.close()
        try:
            process.wait(_END_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def _started(self, *, anew: bool = False) -> subprocess.Popen[bytes]:
        if anew and self._process is not None and self._process.poll() is not None:
            self.end()
        if self._process is None:
            # The same interpreter with the same libraries. What lies in the folder of the call is not imported (-P).
            self._process = subprocess.Popen(
                [sys.executable, "-P", str(_PROGRAM)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            )
        return self._process

    def _asked(self, request: bytes) -> str:
        try:
            process = self._started()
            assert process.stdin is not None
            assert process.stdout is not None
            process.stdin.write(request)
            process.stdin.flush()
            line = process.stdout.readline()
        except (OSError, ValueError) as error:  # it has ended, or its pipes are closed
            raise EngineMissing from error
        if not line:
            raise EngineMissing
        answer = json.loads(line)
        if "error" in answer:
            raise ValueError(answer["error"])
        return str(answer["made"])


@cache
def _engine_of(_process_id: int) -> _Engine:
    return _Engine()


def _engine() -> _Engine:
    """Return the engine of this process; one that was forked has none of its parent's threads."""
    return _engine_of(os.getpid())


def start_engine() -> None:
    """Start the engine in the background, so that the first drawing need not wait for it."""
    _engine().start()


def asked_svg(chart: dict[str, Any], *, locale: dict[str, Any] | None) -> Future[str]:
    """Return an SVG to be, of a chart in the grammar of the engine."""
    return _engine().ask(chart=chart, locale=locale)


def asked_drawings(draw: Callable[..., Any], widths: Iterable[int], *, language: str) -> list[Future[str]]:
    """Return an SVG to be for each width, of a chart that the engine's process builds by calling `draw(width=width)`."""
    called = io.BytesIO()
    _Sent(called).dump(draw)
    return [_engine().ask(draw=called.getvalue(), width=width, language=language) for width in widths]


class _Sent(pickle.Pickler):
    """Leaves drawings that are on their way behind: the figures of a page hold some, and no other chart is made of them."""

    def reducer_override(self, value: object) -> Any:
        return (type(None), ()) if isinstance(value, Future) else NotImplemented


def png(svg: str, *, scale: float) -> bytes:
    """Return an SVG as PNG, drawn without a browser."""
    return base64.b64decode(made(_engine().ask(svg=svg, scale=scale)))


def made(drawing: Future[str]) -> str:
    """Return a drawing, waiting for it if need be.

    Raises
    ------
    EngineMissing
        Where the engine does not start, ends, or takes minutes for a drawing.
    ValueError
        If it refuses the chart.
    """
    try:
        return drawing.result(_PATIENCE_S)
    except Late as error:
        _engine().end()
        raise EngineMissing from error


def page_without_charts(title: str) -> str:
    """Return a page that says why there is none, so that no earlier page is taken for this run's."""
    from markupsafe import escape

    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'">\n'
        f"<title>{escape(title)}</title></head>\n<body><h1>{escape(title)}</h1>\n"
        f"<p>riskcalc: {MISSING}. They lie beside this page.</p></body></html>\n"
    )
