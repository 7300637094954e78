"""`riskcalc update`: watch over a purchase with what was measured since."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from riskcalc.commands.options import (
    AsJson,
    Draws,
    Language,
    Overrides,
    Overwrite,
    ScenarioFile,
    Seed,
    Step,
    all_overrides,
    check_target,
    command_line,
    page_made,
    read,
    say_figures,
)

FILE = "update.json"
PAGE = "update.html"


def update(
    scenario_file: ScenarioFile,
    measured: Annotated[
        Path, typer.Option(help="CSV of months: month, import_kwh, generation_kwh, bill.", metavar="FILE")
    ],
    bought: Annotated[
        str | None, typer.Option(help="First whole month of use; else the first in the file.", metavar="YYYY-MM")
    ] = None,
    error: Annotated[
        float, typer.Option(help="What the model leaves out of a month's figure, a share.", metavar="SHARE")
    ] = 0.05,
    draws: Draws = None,
    seed: Seed = None,
    out: Annotated[Path | None, typer.Option(help="Folder for update.json.", metavar="DIR")] = None,
    changes: Overrides = None,
    step: Step = None,
    language: Language = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Is the purchase on track? Revises odds, payback and worth by measured months. Writes update.json."""
    from riskcalc.answers.measured import month_number, read_measured
    from riskcalc.errors import one_problem

    first = None if bought is None else month_number(bought)
    if bought is not None and first is None:
        raise one_problem("command line", "--bought", bought, "a month such as 2026-04")
    if not 0.01 <= error <= 1.0:
        raise one_problem("command line", "--error", error, "a share from 0.01 to 1, such as 0.05")
    months = read_measured(measured)
    scenario = read(scenario_file, all_overrides(changes, draws=draws, seed=seed, step=step, language=language))

    from riskcalc.answers.update import measured_cells, update_figures, updated
    from riskcalc.output import json_text, write_files
    from riskcalc.pages.engine import start_engine
    from riskcalc.pages.progress import years_shown
    from riskcalc.pages.screen import update_lines
    from riskcalc.pages.small_pages import update_page
    from riskcalc.study.model import assessment

    folder = out or Path("reports") / scenario.name
    check_target(folder, [FILE, PAGE], [scenario], also=[measured], overwrite=overwrite)
    start_engine()
    measured_cells(months, scenario, bought=first)
    with years_shown(scenario.study.horizon_years) as year_done:
        found = assessment(scenario, on_year=year_done)
    figures = update_figures(updated(found, months, bought=first, model_share=error))
    more = [
        "--measured",
        measured.as_posix(),
        *([] if bought is None else ["--bought", bought]),
        "--error",
        f"{error:g}",
    ]
    asked = command_line("update", [scenario_file], scenario.overrides, more)
    content = {**figures, "title": scenario.called, "page": {"command": asked}}
    page = page_made(lambda: update_page(content), title=scenario.called, language=scenario.study.language)
    written = write_files(folder, {PAGE: page, FILE: json_text(figures)})
    say_figures(figures, lambda: [*update_lines(figures), *written], as_json=as_json)
