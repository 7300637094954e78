"""One tree out of several files: what `from` brings in, what stands in the scenario, what `--set` changes.

Later layers win key by key. A distribution is one thing: a later one replaces it whole, so that the `mode` of a shelf
file never mixes with the `mean` of a scenario. For every key the tree remembers the file it came from.
"""

from __future__ import annotations

from typing import Any

KeyPath = tuple[str | int, ...]


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
