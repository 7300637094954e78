"""An earlier run: its result read back, or refused; and the same run again, compared with what was recorded.

On the same libraries and the same kind of processor every figure is reproduced exactly. Another Python moves
some by 5e-14, another library of linear algebra by 1e-14, since they sum in another order. Such differences are counted
apart and are no failure; texts, whole entries and larger differences are.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from riskcalc.errors import InputError, Problem, one_problem

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


LARGEST_BYTES = 100_000_000
WHAT = "a result.json written by riskcalc assess"
_DIGEST = re.compile(r"[0-9a-f]{64}")


def read_result(path: str | Path) -> dict[str, Any]:
    """Return the content of a result.json, with all that it takes to run it again.

    Raises
    ------
    InputError
        If it cannot be read, is not JSON, holds numbers that JSON does not have, or lacks where it comes from.
    """
    file = Path(path)
    content = json_object(file)
    problems = [
        Problem(file.as_posix(), key, _said(content.get(key)), f"{accepted}: {WHAT}")
        for key, kind, accepted in (("scenario", str, "a name"), ("provenance", dict, "a table"))
        if not isinstance(content.get(key), kind)
    ]
    if not problems:
        problems = list(_provenance_problems(file.as_posix(), content["provenance"]))
    if problems:
        raise InputError(problems)
    return content


def read_figures(path: str | Path) -> dict[str, Any]:
    """Return the content of a result.json, ranking.json or update.json, as far as it takes to draw its charts.

    Raises
    ------
    InputError
        If it cannot be read, is not JSON, or is none of the three.
    """
    file = Path(path)
    content = json_object(file)
    kinds = ("net_present_value", "compared", "sobol", "tracks")
    if not isinstance(content.get("provenance"), dict) or not any(key in content for key in kinds):
        accepted = "a result.json of assess or compare, a ranking.json or an update.json"
        raise one_problem(
            file.as_posix(), "", f"a file with {', '.join(list(content)[:4]) or 'nothing in it'}", accepted
        )
    return content


def json_object(file: Path) -> dict[str, Any]:
    """Return the JSON object in a file.

    Raises
    ------
    InputError
        If there is none.
    """
    name = file.as_posix()
    try:
        if file.exists() and not file.is_file():
            raise one_problem(name, "", "a folder" if file.is_dir() else "no regular file", WHAT)
        size = file.stat().st_size
        if size > LARGEST_BYTES:
            raise one_problem(name, "", f"{size} bytes", f"{WHAT}, at most {LARGEST_BYTES} bytes")
        content = json.loads(file.read_bytes().decode("utf-8-sig"), parse_constant=_refused, parse_float=_finite)
    except FileNotFoundError as error:
        raise one_problem(name, "", "no such file", WHAT) from error
    except UnicodeDecodeError as error:
        raise one_problem(name, "", f"byte 0x{error.object[error.start]:02x} is not UTF-8", WHAT) from error
    except OSError as error:
        raise one_problem(name, "", f"cannot be read: {error.strerror or error}", WHAT) from error
    except RecursionError as error:
        raise one_problem(name, "", "lists or tables nested too deeply", WHAT) from error
    except ValueError as error:
        raise one_problem(name, "", f"not JSON: {error}", WHAT) from error
    if not isinstance(content, dict):
        raise one_problem(name, "", _said(content), WHAT)
    return content


def _provenance_problems(file: str, provenance: dict[str, Any]) -> list[Problem]:
    problems = []
    overrides = provenance.get("overrides")
    if not isinstance(overrides, list) or not all(isinstance(change, str) for change in overrides):
        accepted = "the list of changes the run was made with; results of older versions lack it: assess again"
        problems.append(Problem(file, "provenance.overrides", _said(overrides), accepted))
    files = provenance.get("files")
    sound = isinstance(files, list) and bool(files)
    for used in files if isinstance(files, list) else ():
        named = isinstance(used, dict) and isinstance(used.get("path"), str) and isinstance(used.get("sha256"), str)
        sound = sound and named and _DIGEST.fullmatch(used["sha256"]) is not None
    if not sound:
        accepted = "the files the run read, each with path and SHA-256, the scenario first"
        problems.append(Problem(file, "provenance.files", _said(files), accepted))
    return problems


def _refused(name: str) -> float:
    raise ValueError(f"{name} is no number of JSON")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text[:40]} is too large for a number")
    return value


def _said(value: object) -> str:
    if value is None:
        return "nothing"
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 80 else f"{text[:77]}..."
