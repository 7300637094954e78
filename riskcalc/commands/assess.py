"""`riskcalc assess`: is the purchase worth it, and how sure is that?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from riskcalc.commands.options import (
    AsJson,
    Draws,
    Overrides,
    ScenarioFile,
    Seed,
    Step,
    all_overrides,
    command_line,
    read,
)


def assess(
    scenario_file: ScenarioFile,
    draws: Draws = None,
    seed: Seed = None,
    out: Annotated[Path | None, typer.Option(help="Folder for the report.", metavar="DIR")] = None,
    changes: Overrides = None,
    step: Step = None,
    as_json: AsJson = False,
) -> None:
    """Is the purchase worth it, and how sure is that? Writes report.html, result.json and draws.csv."""
    overrides = all_overrides(changes, draws=draws, seed=seed, step=step)
    scenario = read(scenario_file, overrides)

    from riskcalc.model import assessment
    from riskcalc.output import check_writable, csv_text, json_text, write_files
    from riskcalc.publication.page_data import report_data
    from riskcalc.publication.whole_result import whole_result
    from riskcalc.report.page import report_html
    from riskcalc.results.result import draw_table
    from riskcalc.terminal.summary import summary_lines, years_shown

    folder = out or Path("reports") / scenario.name
    check_writable(folder)
    with years_shown(scenario.study.horizon_years) as year_done:
        found = assessment(scenario, on_year=year_done)
    figures = whole_result(found)
    page = report_html(report_data(found, figures=figures, command=command_line("assess", [scenario_file], overrides)))
    written = write_files(
        folder,
        {"result.json": json_text(figures), "draws.csv": csv_text(*draw_table(found)), "report.html": page},
    )
    lines = [json_text(figures).rstrip()] if as_json else [*summary_lines(figures), str(written[-1])]
    typer.echo("\n".join(lines))
