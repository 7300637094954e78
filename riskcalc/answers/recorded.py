"""Results of earlier runs, read back: what is no result is refused with what is wrong with it."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

from riskcalc.errors import InputError, Problem, one_problem

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
