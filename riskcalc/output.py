"""Files written whole or not at all.

The files of a run are first written, all of them, into a hidden folder inside their target. Once they are on the disk
that folder is renamed, which says that they count, and they are put in place in one short stretch that no signal
interrupts. So a reader never meets half a file, an interrupted run leaves the earlier report as it was, and of two runs
at once one waits for the other. Where a process is killed or the power fails within that stretch, what it left to do
is done by the next run into the folder; until then files of both runs may stand side by side, each of them whole.
"""

from __future__ import annotations

import contextlib
import csv
import io
import itertools
import json
import math
import os
import re
import shutil
import signal
import stat
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.interruption import putting_away

ACCEPTED = "a writable folder with room on its disk"
#: What a run writes lies in a folder whose name starts with the first, and ends with the second once it counts.
WAITING, COUNTS = ".riskcalc-", ".ready"
#: Signals that end a process and may be answered: Ctrl-C, being told to end, a closed terminal.
ENDING = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
#: Writing takes a fraction of a second; a folder that is taken for longer belongs to a process that hangs [s].
LONGEST_WAIT_S = 20.0
#: Ending of what a browser reads.
PAGE = ".html"
#: Control characters but tab and line end; marks of direction, other invisible formats, halves of characters.
CONTROLS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029]")
UNSEEN = re.compile(
    "[\u00ad\u061c\u180e\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\ud800-\udfff\U000e0000-\U000e007f]"
)
#: What makes a spreadsheet take a cell for a formula.
FORMULA_STARTS = ("=", "+", "-", "@")
#: In every picture that riskcalc writes.
DRAWN_BY = "drawn by riskcalc"
#: Marks in the files that riskcalc writes, by their ending: all of them; the beginning of the header line for CSV.
MARKS: dict[str, tuple[bytes, ...]] = {
    ".json": (b'"provenance"', b'"riskcalc"'),
    ".html": (b"Content-Security-Policy", b"riskcalc"),
    ".csv": (b"draw,", b"time,pv_available_w,", b"home,"),
    ".parquet": (b"PAR1",),
    ".svg": (DRAWN_BY.encode(),),
    ".png": (DRAWN_BY.encode(),),
}
SCHEMA_MARK = b"made by riskcalc schema"
#: How much of a page is read to know it.
MARKED_BYTES = 4_000_000
#: Rows of a table that are turned into text together.
ROWS_AT_ONCE = 4096
OVERWRITE_HINT = "--overwrite replaces it"


def write_files(folder: Path, texts: Mapping[str, str | bytes]) -> list[Path]:
    """Write each named text into `folder`, all of them or none, and return their paths.

    Raises
    ------
    InputError
        If the folder or a file cannot be written (no permission, disk full, taken by another run); what was there
        before is untouched.
    """
    made = _missing(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with _held(folder) as alone:
            if alone:
                _tidy(folder)
            _write_whole(folder, texts)
    except OSError as error:
        raise _cannot_write(folder, error) from error
    finally:
        for new in made:
            with contextlib.suppress(OSError):
                new.rmdir()  # fails, as it should, unless the folder stayed empty
    return [folder / name for name in texts]


def check_writable(folder: Path) -> None:
    """Raise what `write_files` would have to raise, as far as that can be known before the work is done.

    Raises
    ------
    InputError
        If the folder, or the nearest one above it that exists, does not take files. Nothing is left behind.
    """
    there = next(place for place in (folder, *folder.absolute().parents) if os.path.lexists(place))
    try:
        with tempfile.TemporaryFile(dir=there):
            pass
    except OSError as error:
        raise _cannot_write(folder, error) from error


def check_outputs(
    folder: Path, names: Iterable[str], *, inputs: Iterable[str | Path] = (), overwrite: bool = False
) -> None:
    """Raise what stands against writing these names into a folder, before the work is done.

    Parameters
    ----------
    inputs
        Files that the run reads. None of them is ever written over.
    overwrite
        Replace files that riskcalc did not write.

    Raises
    ------
    InputError
        If an output is one of the inputs, or is there and not of our making, or the folder does not take files.
    """
    read = {key for path in inputs if (key := _identity(Path(path))) is not None}
    problems = []
    for path in (folder / name for name in names):
        there = _identity(path)
        if there is not None and there in read:
            problems.append(Problem(str(path), "", "an input of this run", "another file to write to"))
        elif there is not None and not overwrite and not _is_ours(path):
            accepted = "a new name, or a file that riskcalc wrote"
            problems.append(Problem(str(path), "", "a file that riskcalc did not write", accepted, OVERWRITE_HINT))
    if problems:
        raise InputError(problems)
    check_writable(folder)


def _identity(path: Path) -> tuple[int, int] | None:
    """Return what tells a file from all others, whatever its path is called; None where there is none."""
    try:
        status = path.stat()
    except (OSError, ValueError):
        return None
    return (status.st_dev, status.st_ino) if stat.S_ISREG(status.st_mode) else None


def _is_ours(path: Path) -> bool:
    """Return whether a file bears the marks of what riskcalc writes under such a name; an empty file is nobody's loss."""
    marks = MARKS.get(path.suffix.lower())
    try:
        with path.open("rb") as stream:
            content = stream.read() if path.suffix.lower() == ".json" else stream.read(MARKED_BYTES)
    except OSError:
        return True  # the write itself will say what is wrong
    if not content:
        return True
    if path.suffix.lower() == ".csv":
        return content.lstrip(b"\xef\xbb\xbf").startswith(tuple(marks or ()))
    return SCHEMA_MARK in content or (marks is not None and all(mark in content for mark in marks))


def clean_text(text: str) -> str:
    """Return a text without what could move a cursor, end a string or turn the direction of reading.

    Control characters (except tab and line end), NUL, marks of direction and other invisible formats become spaces or go.
    Terminals and pages are written through this.
    """
    if text.isascii() and text.isprintable():
        return text
    return UNSEEN.sub("", CONTROLS.sub(" ", text))


def csv_cell(value: object) -> object:
    """Return a cell as a spreadsheet may read it: a text that would run as a formula gets an apostrophe in front."""
    if not isinstance(value, str):
        return value
    text = clean_text(value).replace("\n", " ").replace("\t", " ")
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def json_text(content: Mapping[str, Any]) -> str:
    """Return `content` as JSON; a figure that is no number (NaN, infinity), which JSON does not have, becomes null."""
    return json.dumps(finite(content), indent=2, allow_nan=False, ensure_ascii=False) + "\n"


def finite(content: Any) -> Any:
    """Return a plain tree of figures and texts with None in place of every figure that is not finite."""
    if isinstance(content, Mapping):
        return {key: finite(part) for key, part in content.items()}
    if isinstance(content, list | tuple):
        return [finite(part) for part in content]
    if isinstance(content, float) and not math.isfinite(content):
        return None
    return content


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a CSV table; numbers in the shortest form that reads back to the same bits, None as an empty cell.

    Texts are cells of `csv_cell`: no formula, no control characters.
    """
    lines = itertools.chain([columns], rows)
    parts = []
    # In parts: a text that is still being written takes four bytes for each character, and as much again when it is read.
    while some := [[csv_cell(value) for value in row] for row in itertools.islice(lines, ROWS_AT_ONCE)]:
        stream = io.StringIO()
        csv.writer(stream, lineterminator="\n").writerows(some)
        parts.append(stream.getvalue())
    return "".join(parts)


def _write_whole(folder: Path, texts: Mapping[str, str | bytes]) -> None:
    with putting_away(), _undisturbed() as disturbed:
        waiting = Path(tempfile.mkdtemp(prefix=WAITING, dir=folder))
        try:
            with disturbed():  # what takes long may be interrupted
                for name, given in texts.items():
                    text = clean_text(given) if isinstance(given, str) and name.endswith(PAGE) else given
                    with (waiting / name).open("wb") as stream:
                        stream.write(text.encode("utf-8") if isinstance(text, str) else text)
                        stream.flush()
                        os.fsync(stream.fileno())
                taken = [name for name in texts if (folder / name).is_dir()]
                if taken:
                    raise IsADirectoryError(21, "Is a folder", taken[0])
            _put_in_place(waiting.rename(waiting.with_name(waiting.name + COUNTS)), folder)
        finally:
            shutil.rmtree(waiting, ignore_errors=True)


@contextlib.contextmanager
def _undisturbed() -> Iterator[Callable[[], contextlib.AbstractContextManager[None]]]:
    """Hold back the signals that end a process until the block is done; yields what lets them through for a while.

    Python runs its handlers in the main thread whichever thread the system tells, so they are set aside here instead of
    being masked thread by thread. Another thread is never interrupted and has nothing to hold back.
    """
    if threading.current_thread() is not threading.main_thread():
        yield contextlib.nullcontext
        return
    handlers = {number: handler for number in ENDING if (handler := signal.getsignal(number)) is not None}
    held: list[int] = []

    def hold() -> None:
        for number in handlers:
            signal.signal(number, lambda number, _: held.append(number))

    def let_through() -> None:
        for number, handler in handlers.items():
            signal.signal(number, handler)
        if held:
            signal.raise_signal(held.pop())

    @contextlib.contextmanager
    def disturbed() -> Iterator[None]:
        try:
            let_through()
            yield
        finally:
            hold()

    try:
        hold()
        yield disturbed
    finally:
        let_through()


@contextlib.contextmanager
def _held(folder: Path) -> Iterator[bool]:
    """Keep other runs out of the folder during the block; yields False where the system has no such lock."""
    try:
        import fcntl
    except ImportError:
        yield False
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        yield _locked(handle, fcntl)
    finally:
        os.close(handle)  # gives the lock back, as the end of the process would


def _locked(handle: int, fcntl: Any) -> bool:
    ends = time.monotonic() + LONGEST_WAIT_S
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            if time.monotonic() > ends:
                raise OSError(error.errno, "another run is writing there and does not end") from error
            time.sleep(0.02)
        except OSError:
            return False  # a network disk that knows no locks
        else:
            return True


def _put_in_place(ready: Path, folder: Path) -> None:
    for file in sorted(ready.iterdir()):
        file.replace(folder / file.name)
    ready.rmdir()


def _tidy(folder: Path) -> None:
    """End what a killed run began: put in place what counts, remove the rest. Nobody else is writing here now."""
    for left in folder.glob(f"{WAITING}*"):
        if left.name.endswith(COUNTS):
            _put_in_place(left, folder)
        else:
            shutil.rmtree(left, ignore_errors=True)


def _missing(folder: Path) -> list[Path]:
    """Return the folders that are not there yet, innermost first."""
    return [place for place in (folder, *folder.parents) if not os.path.lexists(place)]


def _cannot_write(folder: Path, error: OSError) -> InputError:
    reason = error.strerror or type(error).__name__
    if isinstance(error.filename, str) and isinstance(error, IsADirectoryError):
        reason += f" ({error.filename})"
    return one_problem(folder, "", f"cannot be written: {reason}", ACCEPTED)
