"""Weather files that come with the solar library and need no download: `file = "pvlib:723170TYA.CSV"`."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from riskcalc.errors import one_problem

PREFIX = "pvlib:"


def shipped_file(name: str, *, file: str = "scenario", key: str = "site.weather.file") -> Path:
    """Return where the shipped file called `name` (with or without the prefix) lies.

    Raises
    ------
    InputError
        If the library ships no such weather file; those it ships are listed.
    """
    wanted = name.removeprefix(PREFIX)
    spec = find_spec("pvlib")
    assert spec is not None
    assert spec.origin is not None
    folder = Path(spec.origin).parent / "data"
    weather = sorted(
        path.name for path in folder.iterdir() if path.suffix.lower() in (".csv", ".epw") and path.stem[:6].isdigit()
    )
    if wanted not in weather:
        raise one_problem(file, key, name, "one of " + ", ".join(PREFIX + known for known in weather))
    return folder / wanted
