"""The text of a table that somebody else wrote: a plain file of bounded size, unpacked, with a header of bounded width."""

from __future__ import annotations

import bz2
import csv
import gzip
import io
import lzma
import re
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from riskcalc.errors import one_problem

#: Most bytes of a table once it is unpacked: six years of one-minute readings.
LARGEST_BYTES = 100_000_000
#: Most columns; a file that has lost its line ends is one line of thousands.
MOST_COLUMNS = 200

_OPENED: dict[str, Any] = {".gz": gzip.open, ".bz2": bz2.open, ".xz": lzma.open}


def table_text(path: Path, *, accepted: str, largest: int = LARGEST_BYTES, any_head: bool = False) -> str:
    """Return the text of a CSV file, unpacked if its name ends in .gz, .bz2 or .xz.

    Raises
    ------
    InputError
        If there is no such file or it cannot be read, is larger than `largest` once unpacked, is not UTF-8, is empty,
        or its first two lines (remarks that begin with # aside) are no header and a row of as many cells. With `any_head`
        any lines may come first, and text in Latin-1 or UTF-16 is read too.
    """
    if not path.is_file():
        given = "no such file" if not path.exists() else "a folder" if path.is_dir() else "no regular file"
        raise one_problem(path, "", given, accepted)
    try:
        with _OPENED.get(path.suffix.lower(), lambda file: file.open("rb"))(path) as stream:
            content = stream.read(largest + 1)
    except (OSError, EOFError, zlib.error, lzma.LZMAError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise one_problem(path, "", f"cannot be read: {reason}", accepted) from error
    if len(content) > largest:
        raise one_problem(path, "", f"more than {largest} bytes", f"{accepted}, of at most {largest} bytes")
    if any_head:
        return _decoded(path, content, accepted)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        given = f"not UTF-8 text (byte 0x{content[error.start]:02x})"
        raise one_problem(path, "", given, "UTF-8; save the file again with that encoding") from error
    _check_first_lines(path, text, accepted)
    return text


def _decoded(path: Path, content: bytes, accepted: str) -> str:
    """Return text of any usual encoding; a meter's portal says which only by a mark at the head, if at all."""
    encoding = "utf-16" if content[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
    try:
        text = content.decode(encoding)
    except UnicodeDecodeError:
        text = content.decode("latin-1")
    if "\0" in text:
        raise one_problem(path, "", "not a text file", accepted)
    if not text.strip():
        raise one_problem(path, "line 1", "an empty file", accepted)
    return text


def csv_rows(path: Path | str, text: str, accepted: str, *, strict: bool = False) -> Iterator[list[str]]:
    """Yield the rows of a CSV text, cell by cell; `strict` refuses text after a closing quotation mark, and none closing.

    Raises
    ------
    InputError
        Where a row does not part into cells: the line on which it begins, and why.
    """
    rows = csv.reader(io.StringIO(text, newline=""), strict=strict)
    while True:
        begins = rows.line_num + 1
        try:
            row = next(rows)
        except StopIteration:
            return
        except csv.Error as error:
            raise one_problem(path, f"line {begins}", _csv_fault(str(error)), accepted) from error
        yield row


def _csv_fault(message: str) -> str:
    """Return in plain words what the reader of rows stumbled over."""
    said = (
        ("field larger", "a cell of more than 131072 characters: is a quotation mark left open?"),
        ("unexpected end", "a quotation mark that is never closed"),
        ("expected after", "text behind a closing quotation mark"),
        ("NUL", "a character that is no text (NUL)"),
        ("new-line", "a line break that is none of text"),
    )
    return next((words for part, words in said if part in message), "a line that does not part into cells")


def parser_fault(message: str, first_line: int = 0) -> str:
    """Return in plain words what pandas stumbled over in a table that begins after `first_line` lines of the file."""
    ragged = re.search(r"Expected (\d+) fields in line (\d+), saw (\d+)", message)
    if ragged is not None:
        return f"line {ragged[2]}: {ragged[3]} cells in a table of {ragged[1]} columns"
    opened = re.search(r"inside string starting at row (\d+)", message)
    where = "" if opened is None else f"line {first_line + int(opened[1]) + 1}: "
    return f"{where}a quotation mark that is never closed"


def _check_first_lines(path: Path, text: str, accepted: str) -> None:
    told = "".join(line for line in io.StringIO(text, newline="") if not line.startswith("#"))
    rows = csv_rows(path, told, accepted)
    header, first = next(rows, []), next(rows, [])
    if not any(cell.strip() for cell in header):
        raise one_problem(path, "line 1", "an empty file" if not text.strip() else "an empty line", accepted)
    if len(header) > MOST_COLUMNS:
        raise one_problem(path, "line 1", f"{len(header)} columns", f"{accepted}; at most {MOST_COLUMNS} columns")
    if len(first) > len(header):
        given = f"{len(first)} cells under a header of {len(header)}"
        raise one_problem(path, "line 2", given, "comma-separated rows with as many cells as the header")
