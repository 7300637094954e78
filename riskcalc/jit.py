"""How the loops of riskcalc become machine code, and how that code is kept between runs.

Machine code is kept where numba would keep it: in the folder that NUMBA_CACHE_DIR names, else beside the source, else in
the user's cache folder. Each file is sealed with a digest of its content and named by everything that decides it: the
source of every loop of the package, the types of the arguments, the processor, the compiler and its settings. A file
that is damaged in any way is removed and the code compiled again. Without room to keep it, the run goes on with code
that is compiled for this run only, and a `CodeNotKept` warning says so.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import pickle
import tempfile
import warnings
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import llvmlite.binding
import numba
from numba.core.caching import FunctionCache
from numba.core.runtime import rtsys
from numba.core.serialize import dumps
from numba.extending import register_jitable

#: Division by zero gives inf instead of raising, else nothing could be vectorised. No fast-math: reassociation would
#: make a draw's result depend on its neighbours.
_ARITHMETIC: dict[str, Any] = {"error_model": "numpy"}
#: Functions without an entry from Python compile faster.
_INSIDE: dict[str, Any] = {**_ARITHMETIC, "no_cpython_wrapper": True, "no_cfunc_wrapper": True}
#: A loop that makes no array need not count who holds one. Counting cost a third of the time of dispatch on one thread, and
#: more on two, which wait for each other at every count.
_UNCOUNTED: dict[str, Any] = {"_nrt": False}
#: Settings of the compiler that change the code and that numba leaves out of its own key.
_SETTINGS = ("BOUNDSCHECK", "OPT", "LOOP_VECTORIZE", "SLP_VECTORIZE", "DEBUG_INFO_DEFAULT", "ENABLE_AVX")
#: Files kept for each entry point: several versions, processors and kinds of arguments beside one another.
MOST_FILES = 24
SUFFIX = ".nbc"
#: Where the loops that were read so far keep their code.
_folders: set[Path] = set()


class CodeNotKept(UserWarning):
    """Compiled code could not be kept, so the next run compiles it again."""


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


def inner(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` compiled for use inside kernels only; it must not make arrays."""
    return numba.njit(**_UNCOUNTED, **_INSIDE)(function)  # type: ignore[no-any-return]


def inner_with_arrays(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` compiled for use inside kernels only; it may make arrays."""
    return numba.njit(**_INSIDE)(function)  # type: ignore[no-any-return]


def inlined(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` compiled into its callers; it must not make arrays."""
    return numba.njit(forceinline=True, **_UNCOUNTED, **_INSIDE)(function)  # type: ignore[no-any-return]


def written_out(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` taken into its only caller before anything is compiled: what it calls is compiled once less."""
    return numba.njit(inline="always", **_UNCOUNTED, **_INSIDE)(function)  # type: ignore[no-any-return]


def either_way(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` as it is, plain Python, which compiled code may call as well."""
    return register_jitable(function)  # type: ignore[no-any-return]


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return `function` compiled on first call, free of the interpreter lock, its code kept on disk where possible."""
    return _kept(function, numba.njit(nogil=True, **_ARITHMETIC)(function))


def compiled_without_arrays(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return what `compiled` does of a function that makes no array, and calls none that does: it runs faster."""
    return _kept(function, numba.njit(nogil=True, **_UNCOUNTED, **_ARITHMETIC)(function))


def _kept(function: Callable[..., Any], dispatcher: Any) -> Callable[..., Any]:
    with contextlib.suppress(RuntimeError):  # numba finds no folder for this function: compiled afresh each run
        dispatcher._cache = _KeptCode(function)  # noqa: SLF001 - what `cache=True` does, with a cache of ours
    return dispatcher  # type: ignore[no-any-return]


def is_kept(function: Callable[..., Any]) -> bool:
    """Return whether code of a compiled function is kept, made from the present sources for any kind of arguments."""
    kept = getattr(function, "_cache", None)
    return isinstance(kept, _KeptCode) and kept.has_files()


def kept_code() -> list[Path]:
    """Return the files of compiled code kept for the loops of the modules read so far."""
    return sorted(path for folder in _folders for path in folder.glob(f"*{SUFFIX}"))


@cache
def source_digest(folder: Path) -> str:
    """Return a digest of every Python source in a folder and of this module."""
    digest = hashlib.sha256(Path(__file__).read_bytes())
    for path in sorted(folder.rglob("*.py")):
        digest.update(path.relative_to(folder).as_posix().encode() + b"\n" + path.read_bytes())
    return digest.hexdigest()


def _folder_of(function: Callable[..., Any]) -> Path:
    """Return the package below riskcalc whose sources decide the function's code; elsewhere the folder it lies in."""
    file = Path(function.__code__.co_filename).absolute()
    package = Path(__file__).parent.absolute()
    if package in file.parents and file.parent != package:
        return package / file.relative_to(package).parts[0]
    return file.parent


class _KeptCode(FunctionCache):  # type: ignore[misc]
    """numba's cache of one function, with sealed files; any error in loading means that the code is compiled again."""

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)
        settings = [f"{name}={getattr(numba.config, name, None)}" for name in _SETTINGS]
        made_by = "\n".join([numba.__version__, source_digest(_folder_of(function)), *settings])
        _folders.add(Path(self.cache_path))
        self._cache_file: Any = _SealedFiles(Path(self.cache_path), self._impl.filename_base, made_by)

    def has_files(self) -> bool:
        """Return whether there is code from the present sources."""
        return self._cache_file.has_files()

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        try:
            # Not `target_context.refresh()`, as numba does: it reads every library of the compiler, a quarter of a
            # second, for names that only compiling needs. Loops of arrays and numbers need the memory manager alone.
            rtsys.initialize(target_context)
            return self._load_overload(sig, target_context)
        except Exception:  # noqa: BLE001 - whatever is wrong with kept code, there is a way on
            self._cache_file.drop(self._index_key(sig, target_context.codegen()))
            return None

    def save_overload(self, sig: Any, data: Any) -> None:
        try:
            super().save_overload(sig, data)
        except OSError as error:
            reason = error.strerror or type(error).__name__
            warnings.warn(
                f"compiled code cannot be kept in {self.cache_path} ({reason}); this run goes on, the next one compiles "
                "again. NUMBA_CACHE_DIR names another folder",
                CodeNotKept,
                stacklevel=2,
            )


class _SealedFiles:
    """The files of one function, each a digest and then what it seals; named by content, so no index can go wrong."""

    def __init__(self, folder: Path, name: str, made_by: str) -> None:
        self.folder, self.name, self.made_by = folder, name, made_by

    def load(self, key: Any) -> Any:
        """Return what was saved under the key, None where nothing was.

        Raises
        ------
        ValueError
            If the file is not what was written.
        """
        try:
            content = self._path(key).read_bytes()
        except OSError:
            return None
        seal, sealed = content[: hashlib.sha256().digest_size], content[hashlib.sha256().digest_size :]
        if self._seal(key, sealed) != seal:
            raise ValueError(f"{self._path(key)}: not what was written")
        return pickle.loads(sealed)  # noqa: S301 - as numba does; anyone who can write here can change the sources too

    def save(self, key: Any, data: Any) -> None:
        """Write a file and remove the oldest of this function."""
        sealed = dumps(data)
        handle, name = tempfile.mkstemp(prefix=".riskcalc-", dir=self.folder)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(self._seal(key, sealed) + sealed)
            Path(name).replace(self._path(key))
        finally:
            Path(name).unlink(missing_ok=True)
        self._make_room()

    def drop(self, key: Any) -> None:
        """Remove the file of a key."""
        with contextlib.suppress(OSError):
            self._path(key).unlink()

    def has_files(self) -> bool:
        """Return whether anything was saved by what saves now."""
        return any(self.folder.glob(f"{self.name}-{self._maker()}*{SUFFIX}"))

    def flush(self) -> None:
        """Remove every file of the function."""
        for path in self._files():
            with contextlib.suppress(OSError):
                path.unlink()

    def _files(self) -> list[Path]:
        return list(self.folder.glob(f"{self.name}-*{SUFFIX}"))

    def _make_room(self) -> None:
        aged = []
        for path in self._files():
            with contextlib.suppress(OSError):
                aged.append((path.stat().st_mtime, path))
        for _, path in sorted(aged)[:-MOST_FILES]:
            with contextlib.suppress(OSError):
                path.unlink()

    def _words(self, key: Any) -> bytes:
        return f"{self.made_by}\n{key!r}".encode()

    def _path(self, key: Any) -> Path:
        return self.folder / f"{self.name}-{self._maker()}{hashlib.sha256(self._words(key)).hexdigest()[:16]}{SUFFIX}"

    def _maker(self) -> str:
        return hashlib.sha256(self.made_by.encode()).hexdigest()[:8]

    def _seal(self, key: Any, sealed: bytes) -> bytes:
        return hashlib.sha256(self._words(key) + b"\n" + sealed).digest()
