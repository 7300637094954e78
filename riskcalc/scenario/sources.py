"""The files of a scenario: TOML read whole, `from` followed inside the scenario folder, every file hashed."""

from __future__ import annotations

import hashlib
import itertools
import os
from pathlib import Path
from typing import Any

from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.scenario.complaints import did_you_mean, shown
from riskcalc.scenario.layers import Tree
from riskcalc.scenario.overrides import OVERRIDE
from riskcalc.scenario.schema import FileUsed
from riskcalc.scenario.toml_text import parse_toml

LARGEST_TOML = 1_000_000
#: Entries of a folder looked at for a name like the one that is missing.
MOST_NEIGHBOURS = 2000
TREE_FOLDER = "scenarios"
#: Tables that may take their keys `from` another file.
SHARED_TABLES = (
    "site",
    "home",
    "tariff",
    "prices",
    "kit",
    "dispatch",
    "purchase",
    "tenure",
    "alternative",
    "outages",
    "study",
)


class Sources:
    """Reads the files of one scenario; remembers what was read and what went wrong."""

    def __init__(self, scenario: Path) -> None:
        self.problems: list[Problem] = []
        #: Tables that lack what a file should have brought; what they miss is no fault of theirs.
        self.unread: set[str] = set()
        self.files: dict[str, FileUsed] = {}
        self._parsed: dict[Path, dict[str, Any]] = {}
        folder = scenario.resolve().parent
        inside = [parent for parent in (folder, *folder.parents) if parent.name == TREE_FOLDER]
        above = folder.parent
        self.root = inside[0] if inside else (folder if above == Path(above.anchor) else above)

    def read_toml(self, path: Path) -> dict[str, Any]:
        """Return the tables of a TOML file.

        Raises
        ------
        InputError
            If it is missing, too large, not UTF-8 or not TOML.
        """
        real = path.resolve()
        if real not in self._parsed:
            self._parsed[real] = parse_toml(
                self.read_bytes(path, largest=LARGEST_TOML, what="a scenario file"), path.as_posix()
            )
        return self._parsed[real]

    def read_bytes(self, path: Path, *, largest: int, what: str) -> bytes:
        """Return the bytes of a file and remember its hash."""
        file = path.as_posix()
        try:
            size = path.stat().st_size
            if not path.is_file():
                raise one_problem(file, "", "a folder" if path.is_dir() else "no regular file", what)
            if size > largest:
                raise one_problem(file, "", f"{size} bytes", f"{what} of at most {largest} bytes")
            content = path.read_bytes()
        except FileNotFoundError as error:
            raise one_problem(file, "", "no such file", what, neighbour(path)) from error
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise one_problem(file, "", f"cannot be read: {reason}", f"{what} that can be opened") from error
        self.remember(path, hashlib.sha256(content).hexdigest())
        return content

    def remember(self, path: Path, sha256: str) -> None:
        """Note a file that the scenario rests on."""
        self.files.setdefault(path.as_posix(), FileUsed(path.as_posix(), sha256))

    def lay_shared(
        self, tree: Tree, table: str, target: object, said_in: Path | None, *, anchor: Path, chain: tuple[Path, ...]
    ) -> None:
        """Lay what `from = target` brings into `table`; what goes wrong is noted in `problems`.

        Parameters
        ----------
        said_in
            File that says `from`; None for an override.
        anchor
            File to whose folder the target is relative.
        chain
            Files that led here, to notice circles.
        """
        key, said = f"{table}.from", OVERRIDE if said_in is None else said_in.as_posix()
        path = self._target(target, key, said, anchor)
        if path is None:
            self.unread.add(table)
            return
        if path.resolve() in [link.resolve() for link in chain]:
            self.unread.add(table)
            circle = " -> ".join(link.as_posix() for link in (*chain, path))
            self.problems.append(Problem(said, key, circle, "files that do not lead back to themselves"))
            return
        try:
            content = self.read_toml(path)
        except InputError as error:
            self.unread.add(table)
            for problem in error.problems:
                wanted = f"{problem.accepted} (named by {key} in {said})"
                self.problems.append(Problem(problem.file, problem.key, problem.given, wanted, problem.hint))
            return
        own = self._own_keys(content, table, path)
        if "from" in own:
            self.lay_shared(tree, table, own["from"], path, anchor=path, chain=(*chain, path))
        tree.lay({key: value for key, value in own.items() if key != "from"}, path.as_posix(), at=(table,))

    def _own_keys(self, content: dict[str, Any], table: str, path: Path) -> dict[str, Any]:
        """Return the keys of one table of a shared file: its [table], or the whole file."""
        if not isinstance(content.get(table), dict):
            return content
        for key, value in content.items():
            if key not in (*SHARED_TABLES, "name", "description", "currency"):
                accepted = "a shared file holds tables such as " + ", ".join(f"[{known}]" for known in SHARED_TABLES)
                problem = Problem(path.as_posix(), key, shown(value), accepted, did_you_mean(key, SHARED_TABLES))
                if problem not in self.problems:
                    self.problems.append(problem)
        return content[table]

    def _target(self, target: object, key: str, said: str, anchor: Path) -> Path | None:
        base = "the current folder" if said == OVERRIDE else "this file"
        accepted = f"a path to a TOML file relative to {base}, inside the folder {self.root.name or self.root}"
        if not isinstance(target, str) or not target or "\0" in target:
            trouble = "write the path in quotes"
        else:
            trouble = self.leads_out(target, anchor, base)
            if not trouble:
                return Path(os.path.normpath(anchor.parent / target))
        self.problems.append(Problem(said, key, shown(target), accepted, trouble))
        return None

    def leads_out(self, target: str, anchor: Path, base: str = "this file") -> str:
        """Return what to do about a path, named in the file `anchor`, that leads out of the folder; "" if it does not."""
        if Path(target).is_absolute() or ":" in target or "\\" in target:
            return f"write the path relative to {base}, with / between folders"
        inside = Path(os.path.normpath(anchor.parent / target)).resolve().is_relative_to(self.root)
        return "" if inside else "move or copy the file into that folder"


def neighbour(path: Path) -> str:
    """Return which file in the same folder may have been meant, or that there is no such folder."""
    try:
        names = [entry.name for entry in itertools.islice(path.parent.iterdir(), MOST_NEIGHBOURS)]
        if path.exists():
            return ""
    except FileNotFoundError:
        return f"there is no folder {path.parent.as_posix()}"
    except (OSError, ValueError):
        return ""
    return did_you_mean(path.name, names)
