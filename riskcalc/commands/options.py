"""Arguments that several commands share."""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from contextlib import contextmanager
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from riskcalc.answers.dask_border import Cluster
    from riskcalc.errors import Problem
    from riskcalc.scenario import Scenario

ScenarioFile = Annotated[Path, typer.Argument(help="The scenario, a TOML file.", metavar="SCENARIO")]
Draws = Annotated[int | None, typer.Option(help="Futures to draw.", metavar="N")]
Seed = Annotated[int | None, typer.Option(help="Seed of every random number.", metavar="K")]
Step = Annotated[int | None, typer.Option(help="Time step of demand in minutes.", metavar="MINUTES")]
Overrides = Annotated[
    list[str] | None,
    typer.Option("--set", help="Change one key of the scenario; may be repeated.", metavar="KEY=VALUE"),
]
#: Keys that have an option of their own.
OPTION_OF = {
    "study.draws": "--draws",
    "study.seed": "--seed",
    "study.step_minutes": "--step",
    "study.language": "--language",
}


class Spoken(StrEnum):
    """Languages of the pages."""

    en = "en"
    de = "de"


Language = Annotated[
    Spoken | None,
    typer.Option(
        help="Language of the page and of --brief; else study.language of the scenario. The terminal speaks English.",
        metavar="CODE",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the figures as JSON instead of the summary.")]
Overwrite = Annotated[
    bool, typer.Option("--overwrite", help="Replace files of the same name that riskcalc did not write.")
]

Scheduler = Annotated[
    str | None,
    typer.Option(
        "--scheduler",
        help="Let the workers of a Dask scheduler at this address do the work, such as tcp://127.0.0.1:8786; needs "
        "the extra `cluster`. Without it no network is used.",
        metavar="ADDRESS",
    ),
]


@contextmanager
def workers_at(address: str | None) -> Iterator[Cluster | None]:
    """Connect to a scheduler if an address is given; None stands for the threads of this process."""
    if address is None:
        yield None
        return
    from riskcalc.answers.dask_border import cluster_at

    with cluster_at(address) as cluster:
        yield cluster


def say(text: object, *, err: bool = False) -> None:
    """Print a text, or lines, without anything that could move the cursor or turn the direction of reading.

    Every command speaks through this; `err` takes the error stream.
    """
    from riskcalc.output import clean_text

    lines = [text] if isinstance(text, str) or not isinstance(text, Iterable) else text
    typer.echo(clean_text("\n".join(map(str, lines))), err=err)


def check_target(
    folder: Path, names: Sequence[str], scenarios: Sequence[Scenario], *, also: Sequence[Path] = (), overwrite: bool
) -> None:
    """Refuse, before the work is done, an output that is read by the run or is not ours, or a folder that takes no files."""
    from riskcalc.output import check_outputs

    read = [Path(used.path) for scenario in scenarios for used in scenario.files]
    check_outputs(folder, names, inputs=[*read, *also], overwrite=overwrite)


def page_made(make: Callable[[], str], *, title: str, language: str) -> str:
    """Return a page in a language; where no chart can be drawn it says so, and so does the error stream."""
    from riskcalc.language import speaking
    from riskcalc.pages.engine import EngineMissing, page_without_charts

    try:
        with speaking(language):
            return make()
    except EngineMissing as error:
        say(f"riskcalc: {error}", err=True)
        return page_without_charts(title)


def say_figures(figures: Mapping[str, Any], lines: Callable[[], Iterable[object]], *, as_json: bool) -> None:
    """Print the figures as JSON, or the lines that sum them up."""
    from riskcalc.output import json_text

    say(json_text(figures).rstrip() if as_json else lines())


def read(path: Path, overrides: Sequence[str] = ()) -> Scenario:
    """Return the scenario, read and checked."""
    from riskcalc.errors import InputError
    from riskcalc.scenario import read_scenario

    try:
        return read_scenario(path, overrides)
    except InputError as error:
        raise InputError(_as_typed(problem) for problem in error.problems) from error


def _as_typed(problem: Problem) -> Problem:
    """Return a problem of a change under the name of the option that makes it, if there is one."""
    option = OPTION_OF.get(problem.key) if problem.file == "--set" else None
    return replace(problem, file="command line", key=f"{option} ({problem.key})") if option else problem


def all_overrides(
    changes: Sequence[str] | None,
    *,
    draws: int | None = None,
    seed: int | None = None,
    step: int | None = None,
    language: Spoken | None = None,
) -> list[str]:
    """Return every change of the scenario as `key=value`; options of their own come last and so win."""
    options = {"study.language": language, "study.seed": seed, "study.step_minutes": step, "study.draws": draws}
    return [*(changes or []), *(f"{key}={value}" for key, value in options.items() if value is not None)]


def command_line(name: str, paths: Sequence[Path], overrides: Sequence[str], more: Sequence[str] = ()) -> str:
    """Return the command that gives the same figures again, with more options, quoted for a shell."""
    words = ["riskcalc", name, *(path.as_posix() for path in paths)]
    for change in overrides:
        words += ["--set", change]
    return shlex.join([*words, *more])
