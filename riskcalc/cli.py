"""The command line: translates words into calls and figures into lines; computes nothing.

Heavy libraries are imported inside the commands, so that `--help` answers at once.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from riskcalc.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    from riskcalc.scenario import Scenario

BAD_INPUT = 2

app = typer.Typer(
    help="How sure is it that a battery unit, a few panels or a rooftop system pays back?",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

ScenarioFile = Annotated[Path, typer.Argument(help="The scenario, a TOML file.", metavar="SCENARIO")]
Overrides = Annotated[
    list[str] | None,
    typer.Option("--set", help="Change one key of the scenario; may be repeated.", metavar="KEY=VALUE"),
]


def main() -> None:
    """Run the command line; bad input becomes one clear block on stderr and exit code 2."""
    try:
        app()
    except InputError as error:
        count = len(error.problems)
        print(f"riskcalc: {count} problem{'s' if count > 1 else ''} with the input", file=sys.stderr)
        print(f"\n{error}", file=sys.stderr)
        sys.exit(BAD_INPUT)


@app.command()
def assess(
    scenario_file: ScenarioFile,
    draws: Annotated[int | None, typer.Option(help="Futures to draw.", metavar="N")] = None,
    seed: Annotated[int | None, typer.Option(help="Seed of every random number.", metavar="K")] = None,
    out: Annotated[Path | None, typer.Option(help="Folder for the report.", metavar="DIR")] = None,
    changes: Overrides = None,
    step: Annotated[int | None, typer.Option(help="Time step of demand in minutes.", metavar="MINUTES")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print result.json instead of the summary.")] = False,
) -> None:
    """Is the purchase worth it, and how sure is that? Writes report.html, result.json and draws.csv."""
    overrides = _overrides(changes, draws=draws, seed=seed, step=step)
    scenario = _scenario(scenario_file, overrides)

    from riskcalc.model import assessment
    from riskcalc.output import csv_text, json_text, write_files
    from riskcalc.page_data import report_data
    from riskcalc.report.page import report_html
    from riskcalc.result import draw_table, result
    from riskcalc.terminal import summary_lines, years_shown

    folder = out or Path("reports") / scenario.name
    with years_shown(scenario.study.horizon_years) as year_done:
        found = assessment(scenario, on_year=year_done)
    figures = result(found)
    page = report_html(report_data(found, command=_command("assess", scenario_file, overrides)))
    written = write_files(
        folder,
        {"result.json": json_text(figures), "draws.csv": csv_text(*draw_table(found)), "report.html": page},
    )
    lines = [json_text(figures).rstrip()] if as_json else [*summary_lines(figures), str(written[-1])]
    print("\n".join(lines))


@app.command()
def check(scenario_file: ScenarioFile, changes: Overrides = None) -> None:
    """Check a scenario's inputs and the electrical fit of its kit, without simulating."""
    scenario = _scenario(scenario_file, changes or [])

    from riskcalc.electrical import check_fit, scenario_fit
    from riskcalc.pools import weather_years
    from riskcalc.terminal import check_lines

    fit = scenario_fit(scenario, weather_years(scenario))
    print("\n".join(check_lines(scenario, fit)))
    check_fit(scenario, fit)


@app.command()
def trace(
    scenario_file: ScenarioFile,
    draw: Annotated[int, typer.Option(help="Which draw, counted from 0 as in draws.csv.", metavar="K")],
    year: Annotated[int, typer.Option(help="Which year of the horizon, counted from 1.", metavar="Y")],
    out: Annotated[Path, typer.Option(help="CSV file to write.", metavar="FILE")],
    draws: Annotated[int | None, typer.Option(help="As given to assess.", metavar="N")] = None,
    seed: Annotated[int | None, typer.Option(help="As given to assess.", metavar="K")] = None,
    changes: Overrides = None,
    step: Annotated[int | None, typer.Option(help="As given to assess.", metavar="MINUTES")] = None,
) -> None:
    """Write one draw and year step by step, so that anyone can redo the balance and the bill."""
    scenario = _scenario(scenario_file, _overrides(changes, draws=draws, seed=seed, step=step))

    from riskcalc.output import write_files
    from riskcalc.schedule import clock_of
    from riskcalc.trace import trace_table, traced_year

    columns = traced_year(scenario, draw=draw, year=year)
    (written,) = write_files(out.parent, {out.name: trace_table(scenario, columns, clock_of(scenario))})
    print(written)


@app.command()
def sites() -> None:
    """List the built-in climates and where their figures come from."""
    from riskcalc.terminal import site_lines

    print("\n".join(site_lines()))


@app.command()
def schema() -> None:
    """Print the JSON Schema of a scenario, for editors that complete and check TOML."""
    from riskcalc.output import json_text
    from riskcalc.scenario import json_schema

    print(json_text(json_schema()), end="")


def _scenario(path: Path, overrides: list[str]) -> Scenario:
    from riskcalc.scenario import read_scenario

    return read_scenario(path, overrides)


def _overrides(changes: list[str] | None, *, draws: int | None, seed: int | None, step: int | None) -> list[str]:
    """Return every change of the scenario as `key=value`; options of their own come last and so win."""
    options = {"study.draws": draws, "study.seed": seed, "study.step_minutes": step}
    return [*(changes or []), *(f"{key}={value}" for key, value in options.items() if value is not None)]


def _command(name: str, path: Path, overrides: list[str]) -> str:
    import shlex

    words = ["riskcalc", name, path.as_posix()]
    for change in overrides:
        words += ["--set", change]
    return shlex.join(words)


if __name__ == "__main__":
    main()
