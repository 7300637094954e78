"""Text to tables: TOML with the standard library, refused where it would take time or depth out of all proportion."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from riskcalc.errors import one_problem
from riskcalc.scenario.complaints import printable

LONGEST_KEY = 100
DEEPEST = 20
SENSIBLE = "TOML with figures and tables of a sensible size"


def parse_toml(content: bytes, file: str) -> dict[str, Any]:
    """Return the tables in the bytes of a TOML file.

    Raises
    ------
    InputError
        If the bytes are not UTF-8 or not TOML; the message names the line.
    """
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        given = f"line {line}: byte 0x{content[error.start]:02x} is not UTF-8"
        raise one_problem(file, "", given, "text saved as UTF-8", "save it again with the encoding UTF-8") from error
    try:
        return tables_in(text)
    except tomllib.TOMLDecodeError as error:
        given, hint = _syntax_fault(text, str(error))
        accepted = "TOML: key = value, texts in quotes, tables in [brackets]"
        raise one_problem(file, "", given, accepted, hint) from error
    except RecursionError as error:
        raise one_problem(file, "", "keys, tables or lists nested too deeply", SENSIBLE) from error
    except ValueError as error:
        raise one_problem(file, "", "a number too long to read", SENSIBLE) from error


#: What people write that TOML does not know: pattern of the line -> what to do.
HABITS = (
    (r"[“”„‘’«»]", 'use straight quotes: "'),
    (r"=\s*[\[{]?\s*-?\d+,\d", "write decimals with a point, and thousands without a mark: 0.31, 2300"),
    (r"=\s*-?\.\d", "write a digit before the point: 0.31"),
    (r"=\s*-?\d[\d.]*\s*[^\W\d]", "write the number alone: its unit is in the name of the key"),
    (r"=\s*-?\d[\d.]*\s*%", "write a share instead of per cent: 0.05"),
    (r"=\s*[^\W\d]", "put texts in quotes"),
    (r"^\s*[^\W\d][\w.-]*\s*:", "write key = value"),
)


def _syntax_fault(text: str, message: str) -> tuple[str, str]:
    """Return the line that the parser stumbled over, and what its author probably has to change."""
    place = re.search(r"\(at line (\d+), column \d+\)$", message)
    if place is None:
        return f"not TOML: {message}", "look for a quote or bracket that is never closed"
    number = int(place[1])
    line = printable(text.splitlines()[number - 1]) if number <= text.count("\n") + 1 else ""
    reason = message[: place.start()].strip()
    given = f"line {number}: {line.strip()} ({reason})"
    if "overwrite" in reason or "twice" in reason:
        return given, "this key or table stands twice; keep one of them"
    return given, next((advice for pattern, advice in HABITS if re.search(pattern, line)), "")


def tables_in(text: str) -> dict[str, Any]:
    """Return the tables in TOML text.

    Raises
    ------
    tomllib.TOMLDecodeError
        If it is not TOML.
    RecursionError
        If keys, tables or lists are nested deeper than a scenario ever needs.
    ValueError
        If a number is too long to read.
    """
    # The parser takes time that grows with the square of the parts of a dotted key.
    parts = 0
    for piece in text.split("."):
        parts = parts + 1 if not any(mark in piece for mark in "\n=,[{") else 0
        if parts > LONGEST_KEY:
            raise RecursionError
    tables = tomllib.loads(text)
    level: list[Any] = [tables]
    for _ in range(DEEPEST):
        inner = [list(item.values()) if isinstance(item, dict) else item for item in level]
        level = [item for items in inner for item in items if isinstance(item, dict | list)]
        if not level:
            return tables
    raise RecursionError
