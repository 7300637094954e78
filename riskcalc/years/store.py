"""Arrays kept on disk between runs, found again by what they were made from.

An entry is a folder of plain numpy files and one `entry.json`, named by the digest of its key. It is written under
another name and put in place by one rename, so of two runs that make the same entry at once one wins and both go on.
Arrays come back as read-only maps of their files: opening them costs next to nothing, and memory is used only for what
is read. An entry that is damaged in any way is dropped and made again; a disk that is full or read-only means no more
than that nothing is kept.

Where: `RISKCALC_CACHE`, else `XDG_CACHE_HOME`/riskcalc, else ~/.cache/riskcalc. `RISKCALC_CACHE=off` keeps nothing.
How much: `RISKCALC_CACHE_GIB` (4 unless set); what was not used for longest goes first.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import math
import os
import platform
import shutil
import tempfile
import time
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc import __version__
from riskcalc.errors import one_problem
from riskcalc.interruption import putting_away

#: Version of the layout of an entry.
LAYOUT = 2
DEFAULT_LIMIT_GIB, MOST_LIMIT_GIB = 4.0, 1e6
#: Where a setting of the process stands, in messages.
ENVIRONMENT = "environment"
#: Modules and folders of the package whose sources and tables decide what a pool holds: all that `pools` imports but
#: the scenario, whose content is in the key (`tests/years/test_store.py` reads the imports and holds this).
POOL_SOURCES = (
    "clock",
    "coupling",
    "demand",
    "interruption",
    "jit",
    "money",
    "ordered",
    "output",
    "price_series",
    "table_file",
    "tables",
    "tariff",
    "types",
    "uncertainty",
    "weather",
    "years",
)
#: Libraries whose version may move a bit of a pool.
POOL_LIBRARIES = ("numpy", "scipy", "numba", "pandas", "pvlib", "tzdata")

#: How much of a file is read at once to check it: little enough to stay in the processor's own memory.
_CHECKED_BYTES = 1 << 18
#: A folder that is being written for longer than this belongs to a run that was killed [s].
_LONGEST_WRITING_S = 3600.0
_WRITING = ".writing-"
#: How often a file is tried that cannot be read for no fault of its own.
_TRIES = 5

Content = Mapping[str, Any]


@dataclass(frozen=True)
class Store:
    """A folder of entries and the most it may hold; without a folder nothing is kept."""

    folder: Path | None
    limit_bytes: int = int(DEFAULT_LIMIT_GIB * 2**30)

    def kept(self, kind: str, key: str, make: Callable[[], Content]) -> dict[str, Any]:
        """Return the content made from `key`, from disk if it is there, else made now and kept for the next time.

        Parameters
        ----------
        kind
            What it is, in a word; begins the name of the entry.
        key
            Everything that decides the content, as text.
        make
            Returns arrays, and plain values that JSON can hold; tuples stay tuples, lists become tuples.
        """
        found = self.found(kind, key)
        if found is not None:
            return found
        made = dict(make())
        # Mapped from the file, the arrays need no memory of their own any more.
        return (self.found(kind, key) if self.put(kind, key, made) else None) or made

    def found(self, kind: str, key: str) -> dict[str, Any] | None:
        """Return the content kept under a key, None where there is none."""
        place = self._place(kind, key)
        return None if place is None else _read(place)

    def put(self, kind: str, key: str, content: Content) -> bool:
        """Keep content for the next time; False where that cannot be."""
        place = self._place(kind, key)
        if place is None:
            return False
        with putting_away():
            return self._write(place, content)

    def _place(self, kind: str, key: str) -> Path | None:
        if self.folder is None:
            return None
        digest = hashlib.sha256("\n".join([str(LAYOUT), made_by(), key]).encode()).hexdigest()
        return self.folder / f"{kind}-{digest[:40]}"

    def size_bytes(self) -> int:
        """Return how much the entries take."""
        return sum(_looked_at(entry)[2] for entry in self._entries())

    def clear(self) -> None:
        """Drop every entry; whatever else lies in the folder stays."""
        for entry in self._entries():
            _drop(entry)

    def _entries(self) -> list[Path]:
        if self.folder is None or not self.folder.is_dir():
            return []
        return [entry for entry in self.folder.iterdir() if (entry / "entry.json").exists()]

    def _write(self, place: Path, made: Content) -> bool:
        """Write an entry and make room for it; False where that cannot be."""
        assert self.folder is not None
        writing: Path | None = None
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            writing = Path(tempfile.mkdtemp(prefix=_WRITING, dir=self.folder))
            plain = {name: value for name, value in made.items() if not isinstance(value, np.ndarray)}
            files = {}
            for name, array in made.items():
                if isinstance(array, np.ndarray):
                    np.save(writing / f"{name}.npy", array, allow_pickle=False)
                    files[name] = _fingerprint(writing / f"{name}.npy")
            (writing / "entry.json").write_text(_sealed({"plain": plain, "files": files}), encoding="utf-8")
            if _looked_at(writing)[2] > self.limit_bytes:
                return False
            writing.rename(place)
            self._make_room(place)
        except OSError:
            # Nothing can be written here, or another run was quicker.
            return place.exists()
        finally:
            if writing is not None:
                shutil.rmtree(writing, ignore_errors=True)
        return True

    def _make_room(self, newest: Path) -> None:
        """Drop what was not used for longest until the rest is within the limit, and what killed runs left."""
        assert self.folder is not None
        entries = []
        held = 0
        with os.scandir(self.folder) as folders:
            for folder in folders:
                is_entry, used, size = _looked_at(folder.path)
                if folder.name.startswith(_WRITING):
                    if time.time() - used > _LONGEST_WRITING_S:
                        shutil.rmtree(folder.path, ignore_errors=True)
                elif is_entry:
                    held += size
                    if folder.name != newest.name:
                        entries.append((used, folder.path, size))
        for _, path, size in sorted(entries):
            if held <= self.limit_bytes:
                break
            held -= size
            _drop(Path(path))


def user_store() -> Store:
    """Return the store of the user's own cache folder, as the environment names it.

    Raises
    ------
    InputError
        If `RISKCALC_CACHE` names the home of an unknown user or `RISKCALC_CACHE_GIB` is no size.
    """
    return Store(_named_folder(), int(_named_limit_gib() * 2**30))


def _named_folder() -> Path | None:
    named = os.environ.get("RISKCALC_CACHE")
    if named is None:
        base = os.environ.get("XDG_CACHE_HOME", "")
        try:
            return (Path(base) if Path(base).is_absolute() else Path.home() / ".cache") / "riskcalc"
        except RuntimeError:  # no home folder
            return None
    if named.strip().lower() in ("", "off", "0", "no", "none"):
        return None
    accepted = "a folder, or off to keep nothing"
    if "\0" in named:
        raise one_problem(ENVIRONMENT, "RISKCALC_CACHE", named, accepted)
    try:
        return Path(named).expanduser()
    except RuntimeError as error:
        raise one_problem(ENVIRONMENT, "RISKCALC_CACHE", f"{named} (no such user)", accepted) from error


def _named_limit_gib() -> float:
    named = os.environ.get("RISKCALC_CACHE_GIB", "").strip()
    try:
        limit = float(named) if named else DEFAULT_LIMIT_GIB
    except ValueError:
        limit = math.nan
    if not 0.0 <= limit <= MOST_LIMIT_GIB:
        accepted = f"a size in GiB, a number from 0 to {MOST_LIMIT_GIB:,.0f}, such as {DEFAULT_LIMIT_GIB:g}"
        raise one_problem(ENVIRONMENT, "RISKCALC_CACHE_GIB", named, accepted)
    return limit


@cache
def made_by() -> str:
    """Return what makes pools besides a scenario: this version, the sources and tables, the libraries, the machine."""
    digest = hashlib.sha256()
    package = Path(__file__).parents[1]
    for part in POOL_SOURCES:
        for path in sorted(
            [*package.glob(f"{part}.py"), *package.glob(f"{part}/*.py"), *package.glob(f"{part}/*.csv")]
        ):
            digest.update(path.relative_to(package).as_posix().encode() + b"\n" + path.read_bytes())
    libraries = [f"{name} {library_version(name)}" for name in POOL_LIBRARIES]
    return "\n".join([__version__, digest.hexdigest(), *libraries, platform.machine(), platform.system()])


@cache
def library_version(name: str) -> str:
    """Return the version of a library that is installed, or "unknown"."""
    try:
        return version(name)
    except PackageNotFoundError:
        return "unknown"


def _read(place: Path) -> dict[str, Any] | None:
    """Return the content of an entry, None where there is none or it is damaged; a damaged one is dropped."""
    try:
        text = (place / "entry.json").read_text(encoding="utf-8")
    except FileNotFoundError:
        if place.exists():
            _drop(place)
        return None
    except (OSError, UnicodeDecodeError):
        _drop(place)
        return None
    try:
        entry = _opened(text)
        found: dict[str, Any] = {
            name: tuple(value) if isinstance(value, list) else value for name, value in entry["plain"].items()
        }
        for name, fingerprint in entry["files"].items():
            path = place / f"{name}.npy"
            if _fingerprint(path) != fingerprint:
                raise ValueError(f"{path}: not what was written")
            found[name] = _mapped(path)
    except (OSError, ValueError, KeyError, TypeError, AttributeError, EOFError):
        _drop(place)
        return None
    with contextlib.suppress(OSError):
        os.utime(place / "entry.json")
    return found


def _mapped(path: Path) -> NDArray[Any]:
    """Return the array of a file, mapped; OSError where it cannot be read.

    The head of such a file is read by Python's own parser, which in 3.11 fails now and then (SystemError, "recursion depth
    mismatch") while another thread parses as well: seen once in 4,500 short runs. Once more is enough.
    """
    for _ in range(_TRIES):
        try:
            return np.asarray(np.load(path, mmap_mode="r", allow_pickle=False))
        except SystemError:
            continue
    raise OSError(f"{path}: not read in {_TRIES} tries")


def _sealed(entry: Content) -> str:
    """Return an entry's plain part as text, its checksum on the first line."""
    text = json.dumps(entry)
    return f"{zlib.crc32(text.encode()):08x}\n{text}"


def _opened(text: str) -> dict[str, Any]:
    """Return an entry's plain part; ValueError if the text is not what was written."""
    seal, _, rest = text.partition("\n")
    if seal != f"{zlib.crc32(rest.encode()):08x}":
        raise ValueError("not what was written")
    entry: dict[str, Any] = json.loads(rest)
    return entry


def _fingerprint(path: Path) -> list[int]:
    """Return length and checksum of a whole file.

    Checked at every use: 2.4 GB a second on one core, and a run reads the file anyway. A checksum of 32 bits finds every
    flipped bit, every zeroed stretch but one in four thousand million.
    """
    checksum = length = 0
    piece = bytearray(_CHECKED_BYTES)
    view = memoryview(piece)
    with path.open("rb", buffering=0) as stream:
        while read := stream.readinto(piece):
            checksum = zlib.crc32(view[:read], checksum)
            length += read
    return [length, checksum]


def _drop(place: Path) -> None:
    """Remove an entry in one step for anyone else: renamed first, then deleted."""
    try:
        away = Path(tempfile.mkdtemp(prefix=_WRITING, dir=place.parent))
    except OSError:
        return
    with contextlib.suppress(OSError):
        place.rename(away / "dropped")
    shutil.rmtree(away, ignore_errors=True)


def _looked_at(folder: str | Path) -> tuple[bool, float, int]:
    """Return whether a folder is an entry, when it was last used [s since 1970], and its size [bytes].

    Every write looks at every entry, hundreds of them, so it uses plain calls of the system.
    """
    is_entry, used, size = False, 0.0, 0
    with contextlib.suppress(OSError), os.scandir(folder) as files:
        for file in files:
            with contextlib.suppress(OSError):
                state = file.stat()
                size += state.st_size
                if file.name == "entry.json":
                    is_entry, used = True, state.st_mtime
    if not is_entry:
        with contextlib.suppress(OSError):
            used = Path(folder).stat().st_mtime
    return is_entry, used, size
