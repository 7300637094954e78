"""`riskcalc open`: the last report in the browser."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from riskcalc.commands.options import say

PAGE = "report.html"


def open_report(
    name: Annotated[
        str | None, typer.Argument(help="Folder of a report, or its name below reports/.", metavar="[REPORT]")
    ] = None,
) -> None:
    """Show the last report in the browser; prints its path, and nothing more where there is no screen."""
    path = last_report(Path("reports")) if name is None else report_named(name)
    say(path)
    if has_screen():
        import webbrowser

        webbrowser.open(path.resolve().as_uri())


def last_report(folder: Path) -> Path:
    """Return the page that was written last.

    Raises
    ------
    InputError
        If there is none.
    """
    pages = [(page.stat().st_mtime, page) for page in folder.glob(f"*/{PAGE}")]
    if not pages:
        from riskcalc.errors import one_problem

        raise one_problem(folder, "", "no report", "a folder with reports", "riskcalc assess SCENARIO writes one")
    return max(pages)[1]


def report_named(name: str) -> Path:
    """Return the page in a folder, or in the folder of that name below reports/."""
    for folder in (Path(name), Path("reports") / name):
        page = folder if folder.name == PAGE else folder / PAGE
        if page.is_file():
            return page
    from riskcalc.errors import one_problem

    known = sorted(page.parent.name for page in Path("reports").glob(f"*/{PAGE}"))
    hint = "there are: " + ", ".join(known) if known else "there are none in reports/"
    raise one_problem("command line", "REPORT", name, f"a folder that holds {PAGE}", hint)


def has_screen() -> bool:
    """Return whether a browser could show anything here."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
