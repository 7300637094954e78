"""How the loops of this package are compiled."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba

#: Functions without an entry from Python compile faster.
_INSIDE: dict[str, Any] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return the function compiled on first call, free of the interpreter's lock, kept on disk where that can be."""
    try:
        return numba.njit(nogil=True, cache=True)(function)  # type: ignore[no-any-return]
    except RuntimeError:  # numba found no folder for its cache
        return numba.njit(nogil=True)(function)  # type: ignore[no-any-return]


def inner(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return the function compiled for use inside loops only: without an entry from Python and a file of its own."""
    return numba.njit(**_INSIDE)(function)  # type: ignore[no-any-return]
