"""The command `riskcalc compare`: one of several options is best, and how sure that is."""

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
    Seed,
    Step,
    all_overrides,
    check_target,
    command_line,
    page_made,
    read,
    say_figures,
)

FILES = ("result.json", "draws.csv", "report.html")


def compare(
    scenario_files: Annotated[list[Path], typer.Argument(help="The options, TOML files.", metavar="A B [C ...]")],
    draws: Draws = None,
    seed: Seed = None,
    out: Annotated[Path | None, typer.Option(help="Folder for the report.", metavar="DIR")] = None,
    today: Annotated[
        Path | None, typer.Option(help="A scenario with the tariff of today, if the options differ in it.")
    ] = None,
    changes: Overrides = None,
    step: Step = None,
    language: Language = None,
    stay: Annotated[bool, typer.Option(help="Follow the options through several lengths of stay.")] = True,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Which of these is best, and how sure is that? Doing nothing is always one of the options."""
    overrides = all_overrides(changes, draws=draws, seed=seed, step=step, language=language)
    scenarios = [read(path, overrides) for path in scenario_files]
    now = None if today is None else read(today, overrides)

    from riskcalc.answers.compare import draw_table, page_dict, result
    from riskcalc.answers.options import comparison
    from riskcalc.answers.stay import stay_curves, stays_to_follow
    from riskcalc.output import csv_text, json_text, write_files
    from riskcalc.pages.engine import start_engine
    from riskcalc.pages.page import compare_page
    from riskcalc.pages.progress import steps_shown
    from riskcalc.pages.screen import comparison_lines

    folder = out or Path("reports") / folder_name([scenario.name for scenario in scenarios])
    check_target(folder, FILES, [*scenarios, *([] if now is None else [now])], overwrite=overwrite)
    start_engine()
    with steps_shown("options", len(scenarios)) as one_done:
        found = comparison(scenarios, today=now, on_option=one_done, page_options=len(scenarios))
    moving = found.entries if stay else ()
    with steps_shown("lengths of stay", stays_to_follow(moving)) as one_done:
        curves = stay_curves(moving, on_stay=one_done)
    figures = result(found, curves)
    more = [*([] if today is None else ["--today", today.as_posix()]), *([] if stay else ["--no-stay"])]
    asked = command_line("compare", scenario_files, overrides, more)
    page = page_made(
        lambda: compare_page(page_dict(found, curves, figures=figures, command=asked)),
        title=", ".join(scenario.called for scenario in scenarios),
        language=scenarios[0].study.language,
    )
    written = write_files(
        folder,
        {"result.json": json_text(figures), "draws.csv": csv_text(*draw_table(found)), "report.html": page},
    )
    say_figures(figures, lambda: [*comparison_lines(figures), written[-1]], as_json=as_json)


def folder_name(names: list[str]) -> str:
    """Return a folder that no assessment of one of the options is written to."""
    return "-or-".join(names if len(names) > 1 else [*names, "nothing"])[:120]
