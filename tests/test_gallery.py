"""The gallery under reports/examples is that of the present model: by figures, not by bytes."""

import json
import runpy
import struct
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
GALLERY = runpy.run_path(str(ROOT / "tests/studies/gallery.py"))
EXAMPLES, RESULT, PICTURE = (GALLERY[name] for name in ("EXAMPLES", "RESULT", "PICTURE"))
NAMES = GALLERY["scenarios"]()
RENEW = "python tests/studies/gallery.py makes the gallery anew"

pytestmark = pytest.mark.skipif(not EXAMPLES.is_dir(), reason=f"no gallery yet: {RENEW}")


def headline(result: dict[str, Any]) -> dict[str, dict[str, float | None]]:
    """Return the figures that are compared: odds, payback, worth and the first year, each with its standard error."""
    groups = ("payback_years", "net_present_value", "first_year")
    return {f"{group}.{name}": figure for group in groups for name, figure in result[group].items()}


def differences(kept: dict[str, Any], found: dict[str, Any]) -> list[str]:
    """Return the figures that lie more than one standard error apart, or are reached in one run only."""
    old, new = headline(kept), headline(found)
    said = [f"{name}: in one of the two only" for name in old.keys() ^ new.keys()]
    for name in old.keys() & new.keys():
        one, other, error = old[name]["value"], new[name]["value"], new[name]["standard_error"]
        if one is None or other is None:
            if one != other:
                said.append(f"{name}: {one} kept, {other} now")
        elif abs(one - other) > (error or 0.0) + 1e-6 * abs(other) + 1e-9:
            said.append(f"{name}: {one:.6g} kept, {other:.6g} ± {error} now")
    return sorted(said)


def test_every_shipped_scenario_has_its_example() -> None:
    """A result and a picture each, both small, and the page; nothing else lies there."""
    assert sorted(path.name for path in EXAMPLES.iterdir()) == NAMES, RENEW
    for name in NAMES:
        files = {path.name: path.stat().st_size for path in (EXAMPLES / name).iterdir()}
        assert {RESULT, PICTURE} <= set(files) <= {RESULT, PICTURE, GALLERY["PAGE"], GALLERY["GERMAN_PAGE"]}, name
        assert max(files[RESULT], files[PICTURE]) <= GALLERY["LARGEST_BYTES"], files


def test_pictures_are_pictures_of_the_first_screen() -> None:
    """Each is a PNG of the size of the window."""
    for name in NAMES:
        head = (EXAMPLES / name / PICTURE).read_bytes()[:24]
        assert head.startswith(b"\x89PNG")
        assert struct.unpack(">II", head[16:24]) == (GALLERY["WIDTH"], GALLERY["HEIGHT"])


def test_the_stories_tell_the_figures_of_the_gallery() -> None:
    """The table in scenarios/README.md is that of the results kept."""
    results = {name: json.loads((EXAMPLES / name / RESULT).read_text(encoding="utf-8")) for name in GALLERY["STORIES"]}
    text = (ROOT / "scenarios/README.md").read_text(encoding="utf-8")
    assert GALLERY["with_table"](text, GALLERY["story_table"](results)) == text, RENEW


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_figures_are_those_of_the_model(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Played again, no headline figure moves by more than its standard error."""
    monkeypatch.chdir(ROOT)
    kept = json.loads((EXAMPLES / name / RESULT).read_text(encoding="utf-8"))
    assert differences(kept, GALLERY["played"](name).figures) == [], RENEW


def test_a_stale_example_would_be_noticed() -> None:
    """A worth moved by two standard errors, and a payback that is no longer reached, are both named."""
    kept = json.loads((EXAMPLES / NAMES[0] / RESULT).read_text(encoding="utf-8"))
    moved = json.loads(json.dumps(kept))
    mean = moved["net_present_value"]["mean"]
    mean["value"] += 2 * mean["standard_error"]
    moved["payback_years"]["p5"]["value"] = None if kept["payback_years"]["p5"]["value"] is not None else 1.0
    assert differences(kept, kept) == []
    assert [said.partition(":")[0] for said in differences(kept, moved)] == [
        "net_present_value.mean",
        "payback_years.p5",
    ]


def test_the_index_shows_every_example() -> None:
    """reports/README.md has a picture of each example, with its result and scenario; no page is larger than 1.5 MB."""
    index = (ROOT / "reports/README.md").read_text(encoding="utf-8")
    for name in NAMES:
        for link in (f"(examples/{name}/{PICTURE})", f"(examples/{name}/{RESULT})", f"(../scenarios/{name}.toml)"):
            assert link in index
        known = json.loads((EXAMPLES / name / RESULT).read_text(encoding="utf-8"))["provenance"]
        assert known["draws"] >= 1024, "a page holds 1,024 futures"
    pages = list(EXAMPLES.glob("*/*.html"))
    assert len(pages) >= len(NAMES)
    assert all(page.stat().st_size <= GALLERY["LARGEST_PAGE_BYTES"] for page in pages)
