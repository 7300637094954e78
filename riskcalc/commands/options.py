"""Arguments that several commands share."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from collections.abc import Sequence

    from riskcalc.scenario import Scenario

ScenarioFile = Annotated[Path, typer.Argument(help="The scenario, a TOML file.", metavar="SCENARIO")]
Draws = Annotated[int | None, typer.Option(help="Futures to draw.", metavar="N")]
Seed = Annotated[int | None, typer.Option(help="Seed of every random number.", metavar="K")]
Step = Annotated[int | None, typer.Option(help="Time step of demand in minutes.", metavar="MINUTES")]
Overrides = Annotated[
    list[str] | None,
    typer.Option("--set", help="Change one key of the scenario; may be repeated.", metavar="KEY=VALUE"),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the figures as JSON instead of the summary.")]


def read(path: Path, overrides: Sequence[str] = ()) -> Scenario:
    """Return the scenario, read and checked."""
    from riskcalc.scenario import read_scenario

    return read_scenario(path, overrides)


def all_overrides(
    changes: Sequence[str] | None, *, draws: int | None = None, seed: int | None = None, step: int | None = None
) -> list[str]:
    """Return every change of the scenario as `key=value`; options of their own come last and so win."""
    options = {"study.seed": seed, "study.step_minutes": step, "study.draws": draws}
    return [*(changes or []), *(f"{key}={value}" for key, value in options.items() if value is not None)]


def command_line(name: str, paths: Sequence[Path], overrides: Sequence[str]) -> str:
    """Return the command that gives the same figures again, quoted for a shell."""
    words = ["riskcalc", name, *(path.as_posix() for path in paths)]
    for change in overrides:
        words += ["--set", change]
    return shlex.join(words)
