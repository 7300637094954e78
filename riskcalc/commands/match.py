"""The command `riskcalc match`: every home of a shelf with every kit."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Annotated

import typer

from riskcalc.answers import MATCH_DRAWS, MATCH_POOL_YEARS
from riskcalc.commands.options import (
    AsJson,
    Language,
    Overrides,
    Overwrite,
    Scheduler,
    Seed,
    Step,
    all_overrides,
    check_target,
    page_made,
    say_figures,
    workers_at,
)

FILES = ("result.json", "cells.csv", "report.html")


def match(
    files: Annotated[
        list[str] | None, typer.Argument(help="More homes and kits, told apart by what they hold.", metavar="[FILES]")
    ] = None,
    homes: Annotated[
        list[str] | None, typer.Option(help="Homes, a path or quoted pattern; may be repeated.", metavar="FILES")
    ] = None,
    kits: Annotated[
        list[str] | None, typer.Option(help="Kits, a path or quoted pattern; may be repeated.", metavar="FILES")
    ] = None,
    base: Annotated[
        Path | None, typer.Option(help="A scenario that gives what the home files lack.", metavar="SCENARIO")
    ] = None,
    modules: Annotated[str, typer.Option(help="Numbers of modules to try, such as 1,2,4.", metavar="N,N")] = "",
    batteries: Annotated[str, typer.Option(help="Numbers of batteries to try, such as 1,2.", metavar="N,N")] = "",
    draws: Annotated[int, typer.Option(help="Futures to draw.", metavar="N")] = MATCH_DRAWS,
    seed: Seed = None,
    out: Annotated[Path, typer.Option(help="Folder for the report.", metavar="DIR")] = Path("reports/match"),
    changes: Overrides = None,
    step: Step = None,
    language: Language = None,
    scheduler: Scheduler = None,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Which kit for which home, and how sure is that? Homes or kits that are not named are those that come with riskcalc."""
    quick = [f"study.pool_years={MATCH_POOL_YEARS}", *(changes or [])]
    overrides = all_overrides(quick, draws=draws, seed=seed, step=step)
    module_counts, battery_counts = _counts("--modules", modules), _counts("--batteries", batteries)

    from riskcalc.answers.match import cell_table, matching, page_dict, result
    from riskcalc.answers.shelf import shelf_files, told_apart
    from riskcalc.output import csv_text, json_text, write_files
    from riskcalc.pages.engine import start_engine
    from riskcalc.pages.page import match_page
    from riskcalc.pages.progress import steps_shown
    from riskcalc.pages.screen import matching_lines
    from riskcalc.scenario.sources import shelf_folder

    more_homes, more_kits = told_apart(shelf_files(files or []))
    home_files = sorted({*shelf_files(homes or []), *more_homes})
    kit_files = sorted({*shelf_files(kits or []), *more_kits})
    if not (home_files and kit_files):  # what is not named comes with riskcalc
        home_files = home_files or sorted((shelf_folder() / "homes").glob("*.toml"))
        kit_files = kit_files or sorted((shelf_folder() / "kits").glob("*.toml"))
    read = [*home_files, *kit_files, *([] if base is None else [base])]
    check_target(out, FILES, [], also=read, overwrite=overwrite)
    start_engine()
    with workers_at(scheduler) as workers, steps_shown("homes", len(home_files)) as one_done:
        found = matching(
            home_files,
            kit_files,
            base=base,
            modules=module_counts,
            batteries=battery_counts,
            changes=overrides,
            on_home=one_done,
            over=map if workers is None else workers.in_order,
        )
    figures = result(found)
    words = ["riskcalc", "match", *(f"--homes={path.as_posix()}" for path in home_files)]
    words += [f"--kits={path.as_posix()}" for path in kit_files]
    words += [] if base is None else [f"--base={base.as_posix()}"]
    words += [f"--modules={modules}"] * bool(modules) + [f"--batteries={batteries}"] * bool(batteries)
    words += [
        f"--draws={draws}",
        *([] if step is None else [f"--step={step}"]),
        *([] if seed is None else [f"--seed={seed}"]),
        *([] if language is None else [f"--language={language}"]),
    ]
    words += [word for change in changes or [] for word in ("--set", change)]
    page = page_made(
        lambda: match_page(page_dict(found, figures=figures, command=shlex.join(words))),
        title="Homes and kits",
        language=language or "en",
    )
    written = write_files(
        out, {"result.json": json_text(figures), "cells.csv": csv_text(*cell_table(found)), "report.html": page}
    )
    say_figures(figures, lambda: [*matching_lines(figures), written[-1]], as_json=as_json)


def _counts(option: str, text: str) -> list[int]:
    from riskcalc.errors import one_problem

    parts = [part.strip() for part in text.split(",") if part.strip()]
    if not all(part.isdecimal() and 1 <= int(part) <= 100 for part in parts):
        raise one_problem(option, "", text, "whole numbers from 1 to 100 with commas between them, such as 1,2,4")
    return [int(part) for part in parts]
