"""The same run again, compared with what was recorded: the files must be the same, and then so must the figures.

On the same libraries and the same kind of processor every figure is reproduced exactly. Another Python moves
some by 5e-14, another library of linear algebra by 1e-14, since they sum in another order. Such differences are counted
apart and are no failure; texts, whole entries and larger differences are.
"""

from __future__ import annotations

import hashlib
import math
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from riskcalc.errors import InputError, Problem

#: Part of a result that tells how it was made; its versions are compared apart from the figures.
PROVENANCE = "provenance"


#: Largest relative difference of a number that another order of sums may make: a thousand times what was seen. Judgement.
TOLERANCE = 1e-9
#: Below this both numbers are what rounding leaves of nothing.
NOTHING = 1e-12


@dataclass(frozen=True)
class Difference:
    """One figure or text that did not come out again; None where it is absent."""

    key: str
    recorded: object
    again: object

    @property
    def relative(self) -> float | None:
        """Difference of two numbers over the larger of them; None for what is no pair of numbers."""
        pair = self._numbers()
        return None if pair is None else abs(pair[0] - pair[1]) / max(abs(pair[0]), abs(pair[1]))

    @property
    def is_rounding(self) -> bool:
        """Whether two numbers differ by no more than another order of sums may make."""
        pair = self._numbers()
        return pair is not None and math.isclose(*pair, rel_tol=TOLERANCE, abs_tol=NOTHING)

    def _numbers(self) -> tuple[float, float] | None:
        first, second = self.recorded, self.again
        if isinstance(first, bool) or isinstance(second, bool):
            return None
        if not isinstance(first, int | float) or not isinstance(second, int | float):
            return None
        return float(first), float(second)


def recorded_files(recorded: Mapping[str, Any], scenario: Path | None = None) -> list[tuple[Path, str]]:
    """Return where each file of a recorded run lies now, with its hash then, the scenario first.

    `scenario` says where the scenario file is now; its companions are looked for in the same places beside it.
    """
    files = [(Path(used["path"]), used["sha256"]) for used in recorded[PROVENANCE]["files"]]
    if scenario is None:
        return files
    home = files[0][0].parent
    companions = [(scenario.parent / os.path.relpath(path, home), digest) for path, digest in files[1:]]
    return [(scenario, files[0][1]), *companions]


def check_unchanged(files: list[tuple[Path, str]]) -> None:
    """Compare files with the hashes that were recorded.

    Raises
    ------
    InputError
        Naming every file that is missing or has changed.
    """
    problems = []
    for path, digest in files:
        accepted = f"the file that was recorded, SHA-256 {digest[:12]}..."
        try:
            if path.exists() and not path.is_file():
                problems.append(Problem(path.as_posix(), "", "no regular file", accepted))
                continue
            with path.open("rb") as stream:
                now = hashlib.file_digest(stream, "sha256").hexdigest()
        except FileNotFoundError:
            hint = "run from the folder of the first run, or say where the scenario is now with --scenario"
            problems.append(Problem(path.as_posix(), "", "no such file", accepted, hint))
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            problems.append(Problem(path.as_posix(), "", f"cannot be read: {reason}", accepted))
        else:
            if now != digest:
                given = f"SHA-256 {now[:12]}...: the file has changed since"
                hint = "assess again for figures of the file as it is now"
                problems.append(Problem(path.as_posix(), "", given, accepted, hint))
    if problems:
        raise InputError(problems)


def figures_in(content: object, key: str = "") -> Iterator[tuple[str, object]]:
    """Yield (dotted key, value) of everything in a result that is no table and no list; entries count from 1."""
    if isinstance(content, Mapping):
        for name, item in content.items():
            if key or name != PROVENANCE:
                yield from figures_in(item, f"{key}.{name}" if key else str(name))
    elif isinstance(content, list | tuple):
        for place, item in enumerate(content, start=1):
            yield from figures_in(item, f"{key}[{place}]")
    else:
        yield key, content


def differences(recorded: Mapping[str, Any], again: Mapping[str, Any]) -> list[Difference]:
    """Return all that is not equal to the last digit, in the order of the record."""
    before, now = dict(figures_in(recorded)), dict(figures_in(again))
    return [
        Difference(key, before.get(key), now.get(key))
        for key in dict.fromkeys((*before, *now))
        if key not in before or key not in now or before[key] != now[key]
    ]


def versions_that_differ(recorded: Mapping[str, Any], again: Mapping[str, Any]) -> list[Difference]:
    """Return the versions of riskcalc, Python and the libraries that are not those of the record."""
    before, now = (
        {name: made.get(name) for name in ("riskcalc", "python")} | dict(made.get("libraries") or {})
        for made in (recorded[PROVENANCE], again[PROVENANCE])
    )
    return [Difference(name, before.get(name), now.get(name)) for name in now if before.get(name) != now.get(name)]


def replay_figures(recorded: Mapping[str, Any], again: Mapping[str, Any]) -> dict[str, Any]:
    """Return the comparison as plain figures, ready for JSON.

    `exact`, `rounding` and `differing` count the entries of record and run together; `same` is true if none differs by more
    than rounding.
    """
    found = differences(recorded, again)
    differing = [row for row in found if not row.is_rounding]
    relative = [row.relative for row in found if row.relative is not None]
    entries = {key for key, _ in (*figures_in(recorded), *figures_in(again))}
    return {
        "scenario": recorded["scenario"],
        "figures": len(entries),
        "same": not differing,
        "exact": len(entries) - len(found),
        "rounding": len(found) - len(differing),
        "differing": len(differing),
        "tolerance": TOLERANCE,
        "largest_relative_difference": max(relative, default=0.0),
        "differences": [{"key": row.key, "recorded": row.recorded, "again": row.again} for row in differing],
        "versions": [
            {"name": row.key, "recorded": row.recorded, "again": row.again}
            for row in versions_that_differ(recorded, again)
        ],
    }
