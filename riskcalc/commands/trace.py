"""`riskcalc trace`: one draw and year, step by step."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from riskcalc.commands.options import (
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
    say,
)


def trace(
    scenario_file: ScenarioFile,
    draw: Annotated[int, typer.Option(help="Which draw, counted from 0 as in draws.csv.", metavar="K")],
    year: Annotated[int, typer.Option(help="Which year of the horizon, counted from 1.", metavar="Y")],
    out: Annotated[Path, typer.Option(help="CSV file to write; the page stands beside it.", metavar="FILE")],
    draws: Draws = None,
    seed: Seed = None,
    changes: Overrides = None,
    step: Step = None,
    language: Language = None,
    overwrite: Overwrite = False,
) -> None:
    """Write one draw and year step by step, so that anyone can redo the balance and the bill; with a page."""
    scenario = read(scenario_file, all_overrides(changes, draws=draws, seed=seed, step=step, language=language))

    from riskcalc.answers.trace import check_traced, trace_dict, trace_table, traced_year
    from riskcalc.errors import one_problem
    from riskcalc.output import write_files
    from riskcalc.pages.small_pages import trace_page
    from riskcalc.study.model import world_of

    if out.suffix == ".html":
        raise one_problem(
            "command line", "--out", out.as_posix(), "a CSV file, such as year.csv; the page stands beside it"
        )
    page_file = out.with_suffix(".html").name
    check_target(out.parent, [out.name, page_file], [scenario], overwrite=overwrite)
    check_traced(scenario, draw=draw, year=year)
    world = world_of(scenario)
    columns = traced_year(scenario, draw=draw, year=year, world=world)
    more = ["--draw", str(draw), "--year", str(year), "--out", out.as_posix()]
    asked = command_line("trace", [scenario_file], scenario.overrides, more)
    figures = trace_dict(scenario, world, columns, draw=draw, year=year, command=asked)
    page = page_made(lambda: trace_page(figures), title=scenario.called, language=scenario.study.language)
    content = {out.name: trace_table(scenario, columns, world.clock), page_file: page}
    say(write_files(out.parent, content))
