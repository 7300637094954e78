"""`riskcalc check`: inputs, files, electrical fit and loads, no simulation."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from riskcalc.commands.options import (
    AsJson,
    Language,
    Overrides,
    ScenarioFile,
    all_overrides,
    command_line,
    page_made,
    read,
    say_figures,
)


def check(
    scenario_file: ScenarioFile,
    changes: Overrides = None,
    out: Annotated[Path | None, typer.Option(help="Folder for check.html, if a page is wanted.", metavar="DIR")] = None,
    language: Language = None,
    as_json: AsJson = False,
) -> None:
    """Check a scenario's inputs and files, the electrical fit of its kit and its loads, without simulating."""
    scenario = read(scenario_file, all_overrides(changes, language=language))

    from riskcalc.answers.check import check_figures
    from riskcalc.pages.screen_check import check_lines
    from riskcalc.weather.fit import FitLine
    from riskcalc.years.planes import check_fit

    figures = check_figures(scenario)
    say_figures(figures, lambda: check_lines(figures), as_json=as_json)
    if out is not None:
        from riskcalc.output import write_files
        from riskcalc.pages.small_pages import check_page

        asked = command_line("check", [scenario_file], scenario.overrides)
        shown = figures | {"title": scenario.called, "page": {"command": asked}}
        page = page_made(lambda: check_page(shown), title=scenario.called, language=scenario.study.language)
        write_files(out, {"check.html": page})
    check_fit(scenario, tuple(FitLine(**line) for line in figures["fit"]))
