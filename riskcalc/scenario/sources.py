"""The files of a scenario: TOML read whole, `from` followed inside the scenario folder, data files found, all hashed."""

from __future__ import annotations

import hashlib
import itertools
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from riskcalc.errors import InputError, Problem, one_problem
from riskcalc.scenario.complaints import did_you_mean, shown
from riskcalc.scenario.layers import OVERRIDE, Tree, parse_toml
from riskcalc.scenario.problems import dotted
from riskcalc.scenario.schema import FileUsed
from riskcalc.scenario.uncertain import WORST_LENGTH, number_in
from riskcalc.table_file import csv_rows

if TYPE_CHECKING:
    from riskcalc.demand.meter_cells import MeterFormat

LARGEST_TOML = 200_000
#: Entries of a folder looked at for a name like the one that is missing.
MOST_NEIGHBOURS = 2000
TREE_FOLDER = "scenarios"
#: Keys that name a data file; the modules that read those files check what is inside.
FILE_KEYS = (
    ("site", "weather", "file"),
    ("site", "measured_pv", "file"),
    ("home", "demand", "file"),
    ("tariff", "series", "file"),
    ("prices", "path_file"),
)
#: Files that come with the solar library are named by this prefix; the model finds them.
SHIPPED_PREFIX = "pvlib:"
LARGEST_COLUMN_FILE = 20_000_000
LARGEST_DATA_FILE = 1_000_000_000
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
#: What may stand beside them in a file that a table is taken from: such a file may be a whole scenario.
BESIDE_TABLES = ("name", "title", "description", "currency", "claims", "correlations")


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

    def currency_of(self, file: str) -> str | None:
        """Return the currency that a file which was read says its prices are in, None where it says none."""
        return self._parsed.get(Path(file).resolve(), {}).get("currency")

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
            if key not in (*SHARED_TABLES, *BESIDE_TABLES):
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
        place = Path(os.path.normpath(anchor.parent / target)).resolve()
        inside = place.is_relative_to(self.root) or place.is_relative_to(shelf_folder().resolve())
        return "" if inside else "move or copy the file into that folder"


def shelf_folder() -> Path:
    """Return the folder of homes, kits and tariffs: in an installed package beside its code, else in the repository."""
    package = Path(__file__).parents[1]
    inside = package / "shelf"
    return inside if inside.is_dir() else package.parent / "scenarios"


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


def data_paths(tree: Tree, sources: Sources, file: str) -> dict[str, Path]:
    """Return where each named data file lies; missing ones are noted in `sources.problems`."""
    found = {}
    for path in FILE_KEYS:
        given = _value_at(tree.tables, path)
        if not isinstance(given, str) or given.startswith(SHIPPED_PREFIX):
            continue
        key, where = dotted(path), tree.file_of(path, file)
        try:
            place = inside(where, given, key=key, sources=sources)
            _check_plain_file(place)
            sources.remember(place, _sha256(place))
        except InputError as error:
            sources.problems.extend(error.problems)
        except (OSError, ValueError) as error:
            reason = (getattr(error, "strerror", None) or str(error)).lower()
            accepted = "a data file that can be read; its path is relative to the file that names it"
            hint = neighbour(beside(where, given))
            sources.problems.append(Problem(where, key, f"{shown(given)}: {reason}", accepted, hint))
        else:
            found[key] = place
    return found


def fill_columns(tree: Tree, sources: Sources, file: str) -> list[tuple[str | int, ...]]:
    """Put the observed values into every empirical distribution that names a file; return the paths that failed."""
    failed = []
    for path, table in list(_empirical(tree.tables, ())):
        where = tree.file_of((*path, "file"), file)
        try:
            if "values" in table:
                raise one_problem(where, dotted((*path, "values")), shown(table["values"]), "values or file, not both")
            table["values"] = column_values(table, where, key=dotted(path), sources=sources)
        except InputError as error:
            sources.problems.extend(error.problems)
            failed.append(path)
    return failed


def fill_metered_use(tree: Tree, sources: Sources, paths: dict[str, Path], file: str) -> None:
    """Take the year's use from the meter file where the scenario does not say it, with the spread of a coming year."""
    home, site = (tree.tables.get(name) for name in ("home", "site"))
    path = paths.get("home.demand.file")
    if path is None or not isinstance(home, dict) or "annual_use_kwh" in home:
        return
    demand, zone = home.get("demand"), site.get("zone") if isinstance(site, dict) else None
    if not isinstance(demand, dict) or demand.get("source") != "meter" or not isinstance(zone, str):
        return
    from riskcalc.demand.meter import metered_year  # pandas and compiled code, for meters only

    try:
        year = metered_year(path, zone=zone, wanted=_format(demand))
    except InputError as error:
        sources.problems.extend(error.problems)
        home["annual_use_kwh"] = 1000.0  # what is wrong has been said
        return
    mean, sd = round(year.year_kwh, 1), round(year.year_sd_kwh, 1)
    home["annual_use_kwh"] = {
        "distribution": "normal", "mean": mean, "sd": sd, "minimum": round(0.2 * mean, 1),
        "source": f"meter file {path.name}, {year.read.first_day} to {year.read.last_day}; spread: judgement",
    }  # fmt: skip
    tree.origin["home", "annual_use_kwh"] = file


def _format(demand: dict[str, Any]) -> MeterFormat:
    """Return what an unchecked table says of the meter file, as far as it is of the right kind."""
    from riskcalc.demand.meter_cells import MeterFormat

    def names(key: str) -> tuple[str, ...]:
        value = demand.get(key)
        return tuple(text for text in value if isinstance(text, str)) if isinstance(value, list) else ()

    def text(key: str) -> str | None:
        value = demand.get(key)
        return value if isinstance(value, str) else None

    return MeterFormat(names("columns"), names("registers"), text("unit"), text("dates"), text("label"), text("clock"))


def column_values(table: dict[str, Any], where: str, *, key: str, sources: Sources) -> list[float]:
    """Return the numbers in one column of a CSV file with a header line.

    Raises
    ------
    InputError
        If the file or column is missing or a cell is not a finite number; the message names the line.
    """
    name, column = table["file"], table.get("column")
    if not isinstance(name, str) or not isinstance(column, str):
        wrong = "column" if isinstance(name, str) else "file"
        raise one_problem(
            where, f"{key}.{wrong}", shown(table.get(wrong)), f"the {wrong} with the observed values, in quotes"
        )
    path = inside(where, name, key=f"{key}.file", sources=sources)
    content = sources.read_bytes(path, largest=LARGEST_COLUMN_FILE, what=f"the CSV file that {key} names in {where}")
    try:
        rows = csv_rows(path.as_posix(), content.decode("utf-8-sig"), "comma-separated text saved as UTF-8")
        header = [cell.strip() for cell in next(rows, [])]
        if column not in header:
            hint = did_you_mean(column, header)
            raise one_problem(
                where, f"{key}.column", shown(column), "one of the columns " + ", ".join(header)[:200], hint
            )
        return _numbers(rows, header.index(column), path.as_posix(), column)
    except UnicodeDecodeError as error:
        given = f"not UTF-8 text (byte 0x{content[error.start]:02x})"
        raise one_problem(path.as_posix(), "", given, "comma-separated text saved as UTF-8") from error


def beside(where: str, given: str) -> Path:
    """Return the path of a data file named in the file `where`; one named by an override is relative to here."""
    return Path(given) if where == OVERRIDE else Path(where).parent / given


def inside(where: str, given: str, *, key: str, sources: Sources) -> Path:
    """Return the path of a data file; one that a file names may not lead out of the scenario's folder.

    Raises
    ------
    InputError
        If it does. An override may name any file.
    """
    hint = "" if where == OVERRIDE or "\0" in given else sources.leads_out(given, Path(where))
    if hint:
        accepted = f"a path relative to this file, inside the folder {sources.root.name or sources.root}"
        raise one_problem(where, key, shown(given), accepted, hint)
    return beside(where, given)


def _numbers(rows: Iterator[list[str]], place: int, file: str, column: str) -> list[float]:
    values: list[float] = []
    for line, row in enumerate(rows, start=2):
        cell = row[place].strip() if len(row) > place else ""
        if not any(part.strip() for part in row):
            continue
        try:
            number = number_in(float(cell))
        except ValueError:
            number = None
        if number is None:
            raise one_problem(file, f"line {line}, column {column}", shown(cell), "a finite number in every line")
        values.append(number)
        if len(values) > WORST_LENGTH:
            raise one_problem(
                file, f"column {column}", f"more than {WORST_LENGTH} values", f"at most {WORST_LENGTH} values"
            )
    if not values:
        raise one_problem(file, f"column {column}", "no values", "at least one line below the header")
    return values


def _empirical(
    table: dict[str, Any], path: tuple[str | int, ...]
) -> Iterator[tuple[tuple[str | int, ...], dict[str, Any]]]:
    for key, value in table.items():
        if isinstance(value, dict):
            if value.get("distribution") == "empirical" and "file" in value:
                yield (*path, key), value
            else:
                yield from _empirical(value, (*path, key))


def _value_at(table: Any, path: tuple[str, ...]) -> object:
    for part in path:
        table = table.get(part) if isinstance(table, dict) else None
    return table


def _check_plain_file(path: Path) -> None:
    """Raise for what is no file of a sensible size: reading a device or pipe might never end."""
    size = path.stat().st_size
    if not path.is_file():
        raise ValueError("a folder" if path.is_dir() else "no regular file")
    if size > LARGEST_DATA_FILE:
        raise ValueError(f"{size} bytes, more than {LARGEST_DATA_FILE}")


def _sha256(path: Path) -> str:
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
