"""Make the gallery: for each shipped scenario its result and a picture of the first screen of its page.

    python tests/studies/gallery.py [NAME ...]

Writes reports/examples/<scenario>/result.json and first-screen.png. Without Chromium the pictures stay as they are and
a line says so. `tests/test_gallery.py` holds the figures against a new run.
"""

from __future__ import annotations

import json
import os
import runpy
import sys
import tempfile
from pathlib import Path
from typing import Any

import riskcalc.api
from riskcalc.output import write_files

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "reports/examples"
RESULT, PICTURE = "result.json", "first-screen.png"
WIDTH, HEIGHT = 1000, 760
LARGEST_BYTES = 150_000


def scenarios() -> list[str]:
    """Return the names of the shipped scenarios."""
    return sorted(path.stem for path in (ROOT / "scenarios").glob("*.toml"))


def played(name: str) -> riskcalc.api.Assessed:
    """Return a shipped scenario assessed as it stands, its files named as from the root of the repository."""
    return riskcalc.assess(Path("scenarios") / f"{name}.toml")


def line_by_line(figures: dict[str, Any]) -> str:
    """Return JSON with one line for each part of the result: half the size, and changes show by part."""
    lines = (
        f"{json.dumps(key)}: {json.dumps(part, allow_nan=False, ensure_ascii=False)}" for key, part in figures.items()
    )
    return "{\n" + ",\n".join(lines) + "\n}\n"


def take_picture(page: str, target: Path) -> None:
    """Write the first screen of a page as it shows in a light window."""
    headless = runpy.run_path(str(ROOT / "tests/headless.py"))
    with tempfile.TemporaryDirectory() as folder, headless["chromium"]() as browser:
        path = Path(folder) / "report.html"
        path.write_text(page, encoding="utf-8")
        window = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light")
        window.goto(path.as_uri())
        window.screenshot(path=target)


def main(names: list[str]) -> None:
    """Make the examples named, all without a name."""
    headless = runpy.run_path(str(ROOT / "tests/headless.py"))
    blind = headless["missing"]()
    if blind:
        print(f"no new pictures: {blind}")
    for name in names or scenarios():
        answer, folder = played(name), EXAMPLES / name
        (written,) = write_files(folder, {RESULT: line_by_line(answer.figures)})
        if not blind:
            take_picture(answer.html(), folder / PICTURE)
        for path in (written, folder / PICTURE):
            if path.exists():
                size = path.stat().st_size
                print(f"{path.relative_to(ROOT)}  {size / 1000:.0f} kB")
                if size > LARGEST_BYTES:
                    raise SystemExit(f"{path.name} of {name}: more than {LARGEST_BYTES} bytes")


if __name__ == "__main__":
    os.chdir(ROOT)
    main(sys.argv[1:])
