"""Files written whole or not at all.

Everything is first written beside its target under a temporary name and then put in place in one step, so a reader
never meets half a report and an interrupted run leaves the earlier one as it was.
"""

from __future__ import annotations

import csv
import io
import json
import os
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from riskcalc.errors import InputError, one_problem


def write_files(folder: Path, texts: Mapping[str, str]) -> list[Path]:
    """Write each named text into `folder`, all of them or none, and return their paths.

    Raises
    ------
    InputError
        If the folder or a file cannot be written (no permission, disk full); what was there before is untouched.
    """
    waiting: list[tuple[Path, Path]] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            target = folder / name
            handle, temporary = tempfile.mkstemp(prefix=f".{name}.", suffix=".part", dir=folder)
            waiting.append((Path(temporary), target))
            with os.fdopen(handle, "w", encoding="utf-8", newline="") as stream:
                stream.write(text)
                stream.flush()
                os.fsync(stream.fileno())
        for temporary_path, target in waiting:
            temporary_path.chmod(0o644)
            temporary_path.replace(target)
    except OSError as error:
        raise _cannot_write(folder, error) from error
    finally:
        for temporary_path, _ in waiting:
            temporary_path.unlink(missing_ok=True)
    return [target for _, target in waiting]


def json_text(content: Mapping[str, Any]) -> str:
    """Return `content` as JSON; refuses NaN and infinity, which JSON does not have."""
    return json.dumps(content, indent=2, allow_nan=False, ensure_ascii=False) + "\n"


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a CSV table; numbers in the shortest form that reads back to the same bits, None as an empty cell."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return stream.getvalue()


def _cannot_write(folder: Path, error: OSError) -> InputError:
    reason = error.strerror or type(error).__name__
    return one_problem(folder, "", f"cannot be written: {reason}", "a writable folder with room on its disk")
