"""Compilation settings of the kernels' entry points."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import llvmlite.binding
import numba


def _prefer_wide_vectors() -> None:
    """Let the compiler use the widest vectors of the processor.

    By default LLVM holds back from 512-bit registers, which lowered the clock of early processors that had them. These
    kernels are bound by the number of vector instructions and run a fifth faster with the wide ones; results are the
    same, bit for bit. It is a setting of the process, left alone if the user made it (NUMBA_CPU_FEATURES).
    """
    features = llvmlite.binding.get_host_cpu_features()
    config: Any = numba.config
    if features.get("avx512f", False) and config.CPU_FEATURES is None and config.CPU_NAME is None:
        config.CPU_FEATURES = f"{features.flatten()},-prefer-256-bit"


_prefer_wide_vectors()

#: Division by zero gives inf instead of raising, else nothing could be vectorised. No fast-math: reassociation would
#: make a draw's result depend on its neighbours.
_ARITHMETIC: dict[str, Any] = {"error_model": "numpy"}
#: Functions without an entry from Python compile faster.
_INSIDE: dict[str, Any] = {**_ARITHMETIC, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}


def inner(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` compiled for use inside kernels only."""
    return numba.njit(**_INSIDE)(function)  # type: ignore[no-any-return]


def inlined(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` compiled into its callers: without a call, no references to the pools' arrays are counted."""
    return numba.njit(forceinline=True, **_INSIDE)(function)  # type: ignore[no-any-return]


def written_out(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` taken into its only caller before anything is compiled: what it calls is compiled once less."""
    return numba.njit(inline="always", **_INSIDE)(function)  # type: ignore[no-any-return]


@cache
def _source_digest() -> str:
    """Return a short digest of this package's sources."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` compiled by numba on first call, free of the interpreter lock, kept on disk where possible.

    numba keeps the machine code beside the source, else in the user's cache folder, or where NUMBA_CACHE_DIR says;
    where nothing is writable it compiles afresh.

    numba looks only at the file of the entry point to tell whether kept code is stale, and would miss a change
    in the loops it calls. The digest in the name ties kept code to all sources of the package.
    """
    function.__qualname__ = f"{function.__qualname__}_{_source_digest()}"
    try:
        return numba.njit(nogil=True, cache=True, **_ARITHMETIC)(function)  # type: ignore[no-any-return]
    except RuntimeError:
        return numba.njit(nogil=True, **_ARITHMETIC)(function)  # type: ignore[no-any-return]
