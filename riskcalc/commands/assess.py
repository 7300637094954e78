"""`riskcalc assess`: is the purchase worth it, and how sure is that?"""

from __future__ import annotations

from contextlib import nullcontext
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

#: Draws that --until does not go beyond unless told: some sixty times the usual run.
MOST_DRAWS = 65_536
FILES = ("result.json", "draws.csv", "report.html")


def assess(
    scenario_file: ScenarioFile,
    draws: Draws = None,
    seed: Seed = None,
    out: Annotated[Path | None, typer.Option(help="Folder for the report.", metavar="DIR")] = None,
    changes: Overrides = None,
    step: Step = None,
    language: Language = None,
    until: Annotated[
        float | None,
        typer.Option(
            help="Double the draws until the standard errors are at most this. With 0.01 that is one percentage point of the "
            "odds and one hundredth of the horizon for the median payback: 0.15 of 15 years. The figures are those of "
            "--draws with the number arrived at.",
            metavar="TOLERANCE",
        ),
    ] = None,
    most_draws: Annotated[
        int, typer.Option(help="Draws that --until does not go beyond.", metavar="N", min=1)
    ] = MOST_DRAWS,
    foresight: Annotated[
        bool, typer.Option("--foresight", help="Also say how near the rule comes to perfect foresight; takes seconds.")
    ] = False,
    brief: Annotated[
        bool, typer.Option("--brief", help="Print five sentences to read aloud, and the same as Markdown.")
    ] = False,
    scheduler: Scheduler = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Is the purchase worth it, and how sure is that? Writes report.html, result.json and draws.csv."""
    from riskcalc.errors import one_problem
    from riskcalc.pages.engine import start_engine

    if until is not None and not 0.0 < until < 1.0:
        raise one_problem("command line", "--until", str(until), "a standard error between 0 and 1, such as 0.01")
    overrides = all_overrides(changes, draws=draws, seed=seed, step=step, language=language)
    scenario = read(scenario_file, overrides)
    start_engine()

    from riskcalc.pages.progress import years_shown
    from riskcalc.study.model import assessment

    folder = out or Path("reports") / scenario.name
    names = FILES if scheduler is None else (*FILES, "draws.parquet")
    check_target(folder, names, [scenario], overwrite=overwrite)
    with workers_at(scheduler) as workers:
        if until is None:
            with (
                years_shown(scenario.study.horizon_years) as year_done,
                nullcontext() if workers is None else workers.draws_file(folder, scenario) as block_done,
            ):
                found = assessment(
                    scenario, on_year=year_done, workers=workers, on_block=block_done, meanwhile=get_page_ready
                )
            made = None
        else:
            from riskcalc.pages.progress import precision_shown
            from riskcalc.study.precision import settled

            with precision_shown(scenario.study.horizon_years, tolerance=until) as (year_done, round_done):
                made = settled(
                    scenario,
                    tolerance=until,
                    most_draws=most_draws,
                    on_year=year_done,
                    on_round=round_done,
                    workers=workers,
                )
            found = made.assessment

    from riskcalc.answers.assess import draw_table, result
    from riskcalc.answers.page_dict import chart_dict, page_dict, whole_result
    from riskcalc.language import speaking
    from riskcalc.output import csv_text, json_text, write_files
    from riskcalc.pages.page import ask_drawings, assess_page
    from riskcalc.pages.progress import until_lines
    from riskcalc.pages.screen import brief_text, summary_lines
    from riskcalc.study.precision import recorded

    asked = command_line("assess", [scenario_file], found.scenario.overrides) + (" --foresight" if foresight else "")
    at_hand = result(found)
    charts = chart_dict(found, at_hand)
    with speaking(found.scenario.study.language):
        ask_drawings(charts)
    figures = whole_result(found, foresight=foresight, figures=at_hand)
    shown = page_dict(found, figures=figures, charts=charts, command=asked)
    page = page_made(lambda: assess_page(shown), title=found.scenario.called, language=found.scenario.study.language)
    if made is not None:
        figures = recorded(figures, made)
    written = write_files(
        folder,
        {"result.json": json_text(figures), "draws.csv": csv_text(*draw_table(found)), "report.html": page},
    )
    said = [] if made is None else until_lines(made)
    if brief:
        with speaking(found.scenario.study.language):
            told: list[object] = [brief_text(shown)]
    else:
        told = [*summary_lines(shown), *said, written[-1]]
    say_figures(figures, lambda: told, as_json=as_json)


def get_page_ready() -> None:
    """Do, while the futures are simulated, what needs none of them: read the modules, compile the template."""
    import riskcalc.answers.page_dict  # noqa: F401
    from riskcalc.pages.page import get_ready

    get_ready()
