"""Text to tables: TOML with the standard library, refused where it would take time or depth out of all proportion."""

from __future__ import annotations

import tomllib
from typing import Any

from riskcalc.errors import one_problem

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
        accepted = "TOML: key = value, texts in quotes, tables in [brackets]"
        raise one_problem(file, "", f"not TOML: {error}", accepted) from error
    except RecursionError as error:
        raise one_problem(file, "", "keys, tables or lists nested too deeply", SENSIBLE) from error
    except ValueError as error:
        raise one_problem(file, "", "a number too long to read", SENSIBLE) from error


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
