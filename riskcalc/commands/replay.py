"""`riskcalc replay`: run a recorded result again and compare."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from riskcalc.commands.options import AsJson, read, say_figures

#: Exit code when the run came to an end and a figure differs from the record.
DIFFERS = 3


def replay(
    result_file: Annotated[Path, typer.Argument(help="The result.json of an earlier run.", metavar="RESULT")],
    scenario_file: Annotated[
        Path | None, typer.Option("--scenario", help="Where the scenario lies now, if it was moved.", metavar="FILE")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Run an earlier result again and compare every figure; exit code 3 if any differs."""
    from riskcalc.answers.replay import check_unchanged, read_result, recorded_files, replay_figures

    recorded = read_result(result_file)
    files = recorded_files(recorded, scenario_file)
    check_unchanged(files)
    scenario = read(files[0][0], recorded["provenance"]["overrides"])

    from riskcalc.answers.page_dict import whole_result
    from riskcalc.pages.progress import years_shown
    from riskcalc.pages.screen import replay_lines
    from riskcalc.study.model import assessment

    with years_shown(scenario.study.horizon_years) as year_done:
        again = whole_result(assessment(scenario, on_year=year_done), foresight="foresight" in recorded)
        found = replay_figures(recorded, again)
    say_figures(found, lambda: replay_lines(found), as_json=as_json)
    if not found["same"]:
        raise typer.Exit(DIFFERS)
