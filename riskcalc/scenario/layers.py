"""From TOML text to one tree: what `from` brings in, what stands in the scenario, what `--set` changes.

Later layers win key by key. A distribution is one thing: a later one replaces it whole, so that the `mode` of a shelf
file never mixes with the `mean` of a scenario. For every key the tree remembers the file it came from. Text that would
take time or depth out of all proportion is refused.
"""

from __future__ import annotations

import re
import tomllib
from typing import Any

from riskcalc.errors import Problem, one_problem
from riskcalc.scenario.complaints import printable, shown

KeyPath = tuple[str | int, ...]
LONGEST_KEY = 100
DEEPEST = 20
SENSIBLE = "TOML with figures and tables of a sensible size"
#: What stands for the file name in messages about overrides.
OVERRIDE = "--set"
ACCEPTED = "dotted.key=value, such as kit.battery.capacity_kwh=2.0 or home.kind='\"flat\"'"
LONGEST = 10_000
_BARE_WORD = re.compile(r"[^\W\d][\w ./:+-]*")


class Tree:
    """A tree of tables with the origin of every key in it."""

    def __init__(self) -> None:
        self.tables: dict[str, Any] = {}
        self.origin: dict[KeyPath, str] = {}

    def lay(self, addition: dict[str, Any], file: str, *, at: tuple[str, ...] = ()) -> None:
        """Lay `addition`, read from `file`, over the table at `at` (made if it is not there)."""
        table = self.tables
        for place, part in enumerate(at):
            self.origin.setdefault(at[: place + 1], file)
            if not isinstance(table.get(part), dict):
                table[part] = {}
            table = table[part]
        self._merge(table, addition, at, file)

    def file_of(self, path: KeyPath, otherwise: str) -> str:
        """Return the file in which the key at `path`, or the nearest table above it, stands."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.origin:
                return self.origin[path[:length]]
        return otherwise

    def _merge(self, below: dict[str, Any], above: dict[str, Any], at: KeyPath, file: str) -> None:
        for key, value in above.items():
            path = (*at, key)
            present = below.get(key)
            if isinstance(value, dict) and isinstance(present, dict) and not _is_whole_quantity(value):
                self._merge(present, value, path, file)
                continue
            if key in below:
                self._forget(path, present)
            self.origin[path] = file
            if isinstance(value, dict):
                below[key] = {}
                self._merge(below[key], value, path, file)
            else:
                below[key] = value

    def _forget(self, path: KeyPath, value: Any) -> None:
        self.origin.pop(path, None)
        if isinstance(value, dict):
            for key, item in value.items():
                self._forget((*path, key), item)


def _is_whole_quantity(table: dict[str, Any]) -> bool:
    """Return whether a table is a quantity of its own; a rate may be *named* value, so tables do not count."""
    return any(key in table and not isinstance(table[key], dict) for key in ("distribution", "value"))


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


def override_tree(text: str) -> tuple[dict[str, Any] | None, Problem | None]:
    """Return the tree with the one key that `text` sets, or the problem with it.

    The value is TOML. A bare word is taken as a text, since a shell eats the quotes.
    """
    key, equals, value = text.partition("=")
    if not equals or not key.strip() or "\n" in text or "\r" in text or len(text) > LONGEST:
        return None, Problem(OVERRIDE, "", shown(text), ACCEPTED)
    candidates = [text]
    if _BARE_WORD.fullmatch(value.strip()):
        candidates.append(f'{key}="{value.strip()}"')
    for candidate in candidates:
        try:
            tree = tables_in(candidate)
        except (ValueError, RecursionError):
            continue
        if len(tree) == 1:
            return tree, None
    hint = "put a text in quotes, a list in [brackets], a distribution in {braces}"
    return None, Problem(OVERRIDE, key.strip(), shown(value.strip()), ACCEPTED, hint)
