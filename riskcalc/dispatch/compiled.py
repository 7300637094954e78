"""Compilation settings of the kernels' entry points."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numba


@cache
def _source_digest() -> str:
    """Return a short digest of this package's sources."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` compiled by numba on first call, free of the interpreter lock, kept on disk where possible.

    No fast-math: reassociation would make a draw's result depend on its neighbours. numba keeps the machine code beside the
    source, else in the user's cache folder, or where NUMBA_CACHE_DIR says; where nothing is writable it compiles afresh.

    numba looks only at the file of the entry point to tell whether kept code is stale, and would miss a change in the loops
    it calls. The digest in the name ties kept code to all sources of the package.
    """
    function.__qualname__ = f"{function.__qualname__}_{_source_digest()}"
    try:
        return numba.njit(nogil=True, cache=True, error_model="numpy")(function)  # type: ignore[no-any-return]
    except RuntimeError:
        return numba.njit(nogil=True, error_model="numpy")(function)  # type: ignore[no-any-return]
