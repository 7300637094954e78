"""Compilation settings shared by all kernels."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` compiled by numba on first call, free of the interpreter lock, kept on disk where possible.

    No fast-math: reassociation would make a draw's result depend on its neighbours. numba keeps the machine code beside the
    source, else in the user's cache folder, or where NUMBA_CACHE_DIR says; where nothing is writable it compiles afresh.
    """
    try:
        return numba.njit(nogil=True, cache=True)(function)  # type: ignore[no-any-return]
    except RuntimeError:
        return numba.njit(nogil=True)(function)  # type: ignore[no-any-return]
