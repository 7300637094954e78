"""`riskcalc rank`: which assumption matters most, and which is worth finding out."""

from __future__ import annotations

from enum import StrEnum
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
    Scheduler,
    Seed,
    Step,
    all_overrides,
    check_target,
    command_line,
    page_made,
    read,
    say_figures,
    workers_at,
)

FILE = "ranking.json"
PAGE = "ranking.html"


class Until(StrEnum):
    """When to stop."""

    settled = "settled"


def rank(
    scenario_file: ScenarioFile,
    points: Annotated[int, typer.Option(help="Base points of the design, a power of two.", metavar="N")] = 256,
    until: Annotated[Until | None, typer.Option(help="Go on until the first three places are settled or ties.")] = None,
    most_points: Annotated[int, typer.Option(help="Base points not to exceed, a power of two.", metavar="N")] = 2048,
    screen: Annotated[bool, typer.Option("--screen", help="Screen first; rank what matters little as one.")] = False,
    odds: Annotated[float, typer.Option(help="Odds that break-even values are sought for.", metavar="SHARE")] = 0.5,
    draws: Draws = None,
    seed: Seed = None,
    out: Annotated[Path | None, typer.Option(help="Folder for ranking.json.", metavar="DIR")] = None,
    changes: Overrides = None,
    step: Step = None,
    language: Language = None,
    scheduler: Scheduler = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Which assumption matters most, and which is worth finding out? Writes ranking.json."""
    from riskcalc.errors import one_problem
    from riskcalc.pages.engine import start_engine

    for name, given in (("--points", points), ("--most-points", most_points)):
        if given < 1 or given & (given - 1):
            raise one_problem("command line", name, str(given), "a power of two, such as 256")
    if not 0.0 < odds < 1.0:
        raise one_problem("command line", "--odds", str(odds), "a share between 0 and 1, such as 0.5")
    scenario = read(scenario_file, all_overrides(changes, draws=draws, seed=seed, step=step, language=language))
    folder = out or Path("reports") / scenario.name
    check_target(folder, [FILE, PAGE], [scenario], overwrite=overwrite)
    start_engine()

    from riskcalc.answers.ranked import ranked
    from riskcalc.answers.rows import ranked_figures
    from riskcalc.answers.sobol import POINTS_AT_ONCE
    from riskcalc.output import json_text, write_files
    from riskcalc.pages.progress import steps_shown
    from riskcalc.pages.screen_ranking import ranking_lines
    from riskcalc.pages.small_pages import rank_page

    most = max(points, most_points) if until else points
    shown = steps_shown(f"rounds of {POINTS_AT_ONCE} points", -(-most // POINTS_AT_ONCE))
    with workers_at(scheduler) as workers, shown as points_done:
        found = ranked(
            scenario,
            points=points,
            most_points=max(points, most_points),
            until_settled=until is Until.settled,
            screen=screen,
            level=odds,
            on_points=points_done,
            workers=workers,
        )
    figures = ranked_figures(found)
    more = ["--points", str(points), "--odds", f"{odds:g}", *["--screen"] * screen]
    more += ["--until", "settled", "--most-points", str(most_points)] if until else []
    asked = command_line("rank", [scenario_file], found.assessment.scenario.overrides, more)
    content = {**figures, "title": scenario.called, "page": {"command": asked}}
    page = page_made(lambda: rank_page(content), title=scenario.called, language=scenario.study.language)
    written = write_files(folder, {PAGE: page, FILE: json_text(figures)})
    say_figures(figures, lambda: [*ranking_lines(figures), "", *written], as_json=as_json)
