"""Frozen dataclasses of arrays that carry draws on their last axis: parts of them, and wholes put together from parts.

Fields may be arrays, mappings of names to arrays, or dataclasses of the same kind; anything else is the same in every
part. A whole that outgrows `ROOM_BYTES` lies in a file of the temporary folder that vanishes with it, so that memory
does not grow with the number of draws.
"""

from __future__ import annotations

import mmap
import os
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass, replace
from math import prod
from typing import Any, TypeVar

import numpy as np
from numpy.typing import DTypeLike, NDArray

#: A frozen dataclass of arrays, possibly with others inside.
Arrays = TypeVar("Arrays", bound=Any)
#: Which draws: a stretch, or their places.
Which = slice | NDArray[np.int64]

#: Wholes larger than this lie in a file: a thousand draws take some seven megabytes.
ROOM_BYTES = 16 * 2**20


def mapped(held: Arrays, change: Callable[[NDArray[Any], tuple[str, ...]], NDArray[Any]]) -> Arrays:
    """Return the dataclass with every array replaced by `change(array, where)`; `where` names it, outermost first."""
    return _mapped(held, change, ())  # type: ignore[no-any-return]


def of_draws(held: Arrays, which: Which) -> Arrays:
    """Return the same for some draws only, in rows of their own: contiguous, as if only these had been drawn."""
    return mapped(held, lambda array, _: np.ascontiguousarray(array[..., which]))


class Whole:
    """Arrays of all draws, filled part by part in any order."""

    def __init__(self, draws: int) -> None:
        self.draws = draws
        self._made: Any = None
        self._arrays: dict[tuple[str, ...], NDArray[Any]] = {}
        self._files: list[mmap.mmap] = []

    def put(self, which: Which, part: Any) -> None:
        """Copy the arrays of a part into their places."""
        if self._made is None:
            sizes: list[int] = []

            def measured(array: NDArray[Any], _where: tuple[str, ...]) -> NDArray[Any]:
                sizes.append(array.nbytes // array.shape[-1])
                return array

            mapped(part, measured)
            in_file = sum(sizes) * self.draws > ROOM_BYTES
            self._made = mapped(part, lambda array, where: self._room(array, where, in_file=in_file))
        mapped(part, lambda array, where: self._fill(where, which, array))
        self.release()

    def all_draws(self) -> Any:
        """Return the dataclass of all draws."""
        return self._made

    def release(self) -> None:
        """Give the memory of what lies in files back to the system; the content stays."""
        for held in self._files:
            if hasattr(mmap, "MADV_DONTNEED"):
                held.madvise(mmap.MADV_DONTNEED)

    def _room(self, array: NDArray[Any], where: tuple[str, ...], *, in_file: bool) -> NDArray[Any]:
        shape = (*array.shape[:-1], self.draws)
        if in_file and array.ndim > 1:
            self._arrays[where], held = in_a_file(shape, array.dtype)
            if held is not None:
                self._files.append(held)
        else:
            self._arrays[where] = np.zeros(shape, dtype=array.dtype)
        return self._arrays[where]

    def _fill(self, where: tuple[str, ...], which: Which, array: NDArray[Any]) -> NDArray[Any]:
        self._arrays[where][..., which] = array
        return array


def in_a_file(shape: tuple[int, ...], dtype: DTypeLike) -> tuple[NDArray[Any], mmap.mmap | None]:
    """Return an array of zeros in a temporary file without a name, and the map that holds it.

    Where the disk has no room for it the array lies in memory, and there is no map. The room is taken at once: a page
    that finds none when it is first written would end the process.
    """
    kind = np.dtype(dtype)
    size = max(1, prod(shape) * kind.itemsize)
    try:
        with tempfile.TemporaryFile(prefix="riskcalc-") as stream:
            if hasattr(os, "posix_fallocate"):
                os.posix_fallocate(stream.fileno(), 0, size)
            else:
                stream.truncate(size)
            held = mmap.mmap(stream.fileno(), size)
    except OSError:
        return np.zeros(shape, dtype=kind), None
    return np.frombuffer(held, dtype=kind, count=prod(shape)).reshape(shape), held


def _mapped(held: Any, change: Callable[[NDArray[Any], tuple[str, ...]], NDArray[Any]], where: tuple[str, ...]) -> Any:
    if isinstance(held, np.ndarray):
        return change(held, where)
    if isinstance(held, Mapping):
        return {name: _mapped(part, change, (*where, str(name))) for name, part in held.items()}
    if is_dataclass(held) and not isinstance(held, type):
        parts = {entry.name: getattr(held, entry.name) for entry in fields(held) if entry.init}
        changed = {name: _mapped(part, change, (*where, name)) for name, part in parts.items()}
        return replace(held, **changed)
    return held
