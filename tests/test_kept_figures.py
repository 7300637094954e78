"""The figures of a handful of small runs are those that were kept: a record that any change of a figure has to renew."""

import json
import runpy
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
RECORD = runpy.run_path(str(ROOT / "tests/studies/kept_figures.py"))
KEPT = json.loads(RECORD["KEPT"].read_text(encoding="utf-8"))
RENEW = "if they should move, python tests/studies/kept_figures.py keeps the new ones"


def moved(kept: dict[str, list[float | None]], found: dict[str, dict[str, float | None]]) -> list[str]:
    """Return the figures that differ by more than the order of sums can explain, and the parts of another shape."""
    said = [f"{part}: in one of the two only" for part in sorted(kept.keys() ^ found.keys())]
    for part in kept.keys() & found.keys():
        if len(kept[part]) != len(found[part]):
            said.append(f"{part}: {len(kept[part])} figures kept, {len(found[part])} now")
            continue
        for (name, new), old in zip(found[part].items(), kept[part], strict=True):
            if (old is None) != (new is None) or (old is not None and new != pytest.approx(old, rel=1e-9, abs=1e-12)):
                said.append(f"{name}: {old} kept, {new} now")
    return said


@pytest.mark.parametrize("name", RECORD["RUNS"])
def test_no_figure_moves_unseen(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every number of the answer within 1e-9 of the one kept."""
    monkeypatch.chdir(ROOT)
    found = moved(KEPT[name], RECORD["played"](name))
    assert not found, f"{len(found)} figures of {name} moved; {RENEW}\n" + "\n".join(found[:20])


def test_a_moved_figure_would_be_seen() -> None:
    """A figure moved by a millionth, one that is no longer a number, one that went and a part that went are each named."""
    kept = {"a": [2.0, 1.0, None], "b": [0.5], "c": [1.0, 1.0]}
    found = {"a": {"a.x": 2.0 * (1 + 1e-6), "a.y": None, "a.z": None}, "c": {"c.x": 1.0}}
    assert sorted(line.partition(":")[0] for line in moved(kept, found)) == ["a.x", "a.y", "b", "c"]
    assert moved({"a": [2.0, None]}, {"a": {"a.x": 2.0, "a.y": None}}) == []
