"""`riskcalc trace`: one draw and year, step by step."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from riskcalc.commands.options import (
    Draws,
    Overrides,
    Overwrite,
    ScenarioFile,
    Seed,
    Step,
    all_overrides,
    check_target,
    read,
    say,
)


def trace(
    scenario_file: ScenarioFile,
    draw: Annotated[int, typer.Option(help="Which draw, counted from 0 as in draws.csv.", metavar="K")],
    year: Annotated[int, typer.Option(help="Which year of the horizon, counted from 1.", metavar="Y")],
    out: Annotated[Path, typer.Option(help="CSV file to write.", metavar="FILE")],
    draws: Draws = None,
    seed: Seed = None,
    changes: Overrides = None,
    step: Step = None,
    overwrite: Overwrite = False,
) -> None:
    """Write one draw and year step by step, so that anyone can redo the balance and the bill."""
    scenario = read(scenario_file, all_overrides(changes, draws=draws, seed=seed, step=step))

    from riskcalc.answers.trace import trace_table, traced_year
    from riskcalc.output import write_files
    from riskcalc.years.schedule import clock_of

    check_target(out.parent, [out.name], [scenario], overwrite=overwrite)
    columns = traced_year(scenario, draw=draw, year=year)
    (written,) = write_files(out.parent, {out.name: trace_table(scenario, columns, clock_of(scenario))})
    say([written])
