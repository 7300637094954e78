"""Make the gallery: for each shipped scenario its result, its page and a picture of the page's first screen.

    python tests/studies/gallery.py [NAME ...]

Writes reports/examples/<scenario>/result.json, page.html and first-screen.png, one page in German too, and without a
name the table of the stories in scenarios/README.md. Without Chromium the pictures stay as they are and a line says so.
`tests/test_gallery.py` holds the figures against a new run.
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
from riskcalc.language import speaking
from riskcalc.output import write_files
from riskcalc.pages.exhibits.worth import first_saving
from riskcalc.pages.figures import PLAIN, complement, money, percent, years
from riskcalc.pages.page import assess_page

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "reports/examples"
RESULT, PICTURE, PAGE = "result.json", "first-screen.png", "page.html"
#: The scenario whose page is shown in German too.
IN_GERMAN, GERMAN_PAGE = "tenant-balcony", "page.de.html"
#: What its author called things, in German: names and sentences of a scenario are not ours to translate on a page.
GERMAN_NAMES = {
    "Rented flat: two solar modules on the balcony rail": "Mietwohnung: zwei Solarmodule am Balkongeländer",
    "A rented flat in the Thames region: two solar modules on the balcony rail, a portable 2 kWh battery, a day and a night "
    "rate. All figures invented.": "Eine Mietwohnung im Themsegebiet: zwei Solarmodule am Balkongeländer, ein tragbarer "
    "Speicher mit 2 kWh, ein Tag- und ein Nachttarif. Alle Zahlen sind erfunden.",
    "Portable 2 kWh battery with two solar modules": "Tragbarer Speicher mit 2 kWh und zwei Solarmodulen",
    "Flat with a south-west balcony": "Wohnung mit Südwestbalkon",
    "a town in the Thames region (invented home)": "eine Stadt im Themsegebiet (erfundener Haushalt)",
    "Day and night rate": "Tag- und Nachttarif",
    "Has paid for itself within six years.": "Hat sich innerhalb von sechs Jahren bezahlt gemacht.",
    "Cuts the bill from May to August by a third.": "Senkt die Rechnung von Mai bis August um ein Drittel.",
    "What is plugged in needs nothing from the grid from June to August.": "Was eingesteckt ist, braucht von Juni bis August "
    "keinen Strom aus dem Netz.",
}
WIDTH, HEIGHT = 1000, 720
LARGEST_BYTES, LARGEST_PAGE_BYTES = 150_000, 1_500_000
#: Scenarios told as stories in scenarios/README.md, and the marks around the table of their figures.
STORIES = ("tenant-balcony", "terrace-rooftop", "workshop-off-grid")
TABLE_STARTS, TABLE_ENDS = "<!-- figures of the stories -->", "<!-- end of the figures -->"


def scenarios() -> list[str]:
    """Return the names of the shipped scenarios."""
    return sorted(path.stem for path in (ROOT / "scenarios").glob("*.toml"))


def played(name: str, *, foresight: bool = False) -> riskcalc.api.Assessed:
    """Return a shipped scenario assessed as it stands, its files named as from the root of the repository."""
    return riskcalc.assess(Path("scenarios") / f"{name}.toml", foresight=foresight)


def line_by_line(figures: dict[str, Any]) -> str:
    """Return JSON with one line for each part of the result: half the size, and changes show by part."""
    lines = (
        f"{json.dumps(key)}: {json.dumps(part, allow_nan=False, ensure_ascii=False)}" for key, part in figures.items()
    )
    return "{\n" + ",\n".join(lines) + "\n}\n"


def story_table(results: dict[str, dict[str, Any]]) -> str:
    """Return the table of the stories in scenarios/README.md, rounded as on the page."""
    rows = [["", *(f"`{name}`" for name in STORIES)], ["---"] * (len(STORIES) + 1)]
    cells: dict[str, list[str]] = {}
    for name in STORIES:
        result = results[name]
        worth, payback = result["net_present_value"], result["payback_years"]
        currency, horizon = result["currency"], result["horizon_years"]
        paid = percent(complement(payback["never_share"]))
        low, high = (money(worth[level], currency) for level in ("p5", "p95"))
        leading = [row["label"] for row in result["ranking"][:3]]
        for title, text in (
            ("pays back within", f"{horizon} years in {paid} of the futures"),
            ("a quarter pay back within", years(payback["p25"], horizon=horizon)),
            ("worth on average", money(worth["mean"], currency, with_error=True)),
            ("nine in ten end between", f"{low} and {high}"),
            ("savings would bring more", percent(worth["loss_probability"])),
            ("saved in the first year", money(first_saving(result), currency)),
            ("what decides", ", ".join(label[:1].lower() + label[1:] for label in leading)),
        ):
            cells.setdefault(title, []).append(text)
    rows += [[title, *texts] for title, texts in cells.items()]
    return "\n".join("| " + " | ".join(row) + " |" for row in rows).translate(PLAIN) + "\n"


def in_german(piece: Any) -> Any:
    """Return the figures of a page with the names of the scenario in German."""
    if isinstance(piece, str):
        return GERMAN_NAMES.get(piece, piece)
    if isinstance(piece, dict):
        return {key: in_german(inner) for key, inner in piece.items()}
    if isinstance(piece, list | tuple):
        return type(piece)(map(in_german, piece))
    return piece


def with_table(text: str, table: str) -> str:
    """Return the text with the table between its marks."""
    head, _, rest = text.partition(TABLE_STARTS)
    _, _, tail = rest.partition(TABLE_ENDS)
    return f"{head}{TABLE_STARTS}\n{table}{TABLE_ENDS}{tail}"


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
    results = {}
    for name in names or scenarios():
        answer, folder = played(name, foresight=True), EXAMPLES / name
        results[name] = answer.figures
        page = answer.html()
        files: dict[str, str | bytes] = {RESULT: line_by_line(answer.figures), PAGE: page}
        if name == IN_GERMAN:
            with speaking("de"):
                files[GERMAN_PAGE] = assess_page(in_german(answer.page))
        written = write_files(folder, files)
        if not blind:
            take_picture(page, folder / PICTURE)
        for path in (*written, folder / PICTURE):
            if path.exists():
                size, most = path.stat().st_size, LARGEST_PAGE_BYTES if path.suffix == ".html" else LARGEST_BYTES
                print(f"{path.relative_to(ROOT)}  {size / 1000:.0f} kB")
                if size > most:
                    raise SystemExit(f"{path.name} of {name}: more than {most} bytes")
    if set(STORIES) <= set(results):
        readme = ROOT / "scenarios/README.md"
        readme.write_text(with_table(readme.read_text(encoding="utf-8"), story_table(results)), encoding="utf-8")


if __name__ == "__main__":
    os.chdir(ROOT)
    main(sys.argv[1:])
