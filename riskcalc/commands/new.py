"""`riskcalc new`: a first scenario from a few answers."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from riskcalc.scenario.new import Question


def _regions(incomplete: str) -> list[str]:
    from riskcalc.weather.climates import climate_names

    return [name for name in climate_names() if name.startswith(incomplete)]


def _kits(incomplete: str) -> list[str]:
    from riskcalc.scenario.new import shelf_kits

    return [name for name in shelf_kits() if name.startswith(incomplete)]


def _one_of(*words: str) -> Callable[[str], list[str]]:
    return lambda incomplete: [word for word in words if word.startswith(incomplete)]


def new(
    file: Annotated[Path, typer.Argument(help="The scenario to write.", metavar="FILE")] = Path("my-home.toml"),
    place: Annotated[
        str | None, typer.Option(help="Climate region, or path of an EPW or TMY3 file.", autocompletion=_regions)
    ] = None,
    zone: Annotated[str | None, typer.Option(help="IANA time zone of the clock on the wall.")] = None,
    currency: Annotated[str | None, typer.Option(help="Currency code.")] = None,
    tenure: Annotated[str | None, typer.Option(help="rent or own.", autocompletion=_one_of("rent", "own"))] = None,
    stay: Annotated[str | None, typer.Option(help="Years you expect to stay, if you rent.")] = None,
    kit: Annotated[
        str | None, typer.Option(help="Kit of the shelf, or path of a kit file.", autocompletion=_kits)
    ] = None,
    cost: Annotated[str | None, typer.Option(help="Price of the kit with its installation.")] = None,
    facing: Annotated[str | None, typer.Option(help="Where the modules face: s, sw, 200 ...")] = None,
    use: Annotated[str | None, typer.Option(help="Electricity used in a year, in kWh.")] = None,
    plugged: Annotated[str | None, typer.Option(help="Appliances plugged into the unit, with commas.")] = None,
    tariff: Annotated[
        str | None, typer.Option(help="flat or two-rate.", autocompletion=_one_of("flat", "two-rate"))
    ] = None,
    price: Annotated[str | None, typer.Option(help="Price of a kWh, by day if there are two rates.")] = None,
    night_price: Annotated[str | None, typer.Option(help="Price of a kWh by night.")] = None,
    night: Annotated[str | None, typer.Option(help="Hours of the night rate, such as 00:30-07:30.")] = None,
    export_price: Annotated[str | None, typer.Option(help="What a kWh sent to the grid earns.")] = None,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Ask nothing: defaults for all that is not given.")] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace FILE if it is there.")] = False,
) -> None:
    """Write a scenario by answering a few questions, or by options; Enter takes what stands in brackets."""
    given = {
        "place": place,
        "zone": zone,
        "currency": currency,
        "tenure": tenure,
        "stay": stay,
        "kit": kit,
        "cost": cost,
        "facing": facing,
        "use": use,
        "plugged": plugged,
        "tariff": tariff,
        "price": price,
        "night_price": night_price,
        "night": night,
        "export_price": export_price,
    }

    from riskcalc.errors import one_problem
    from riskcalc.output import json_text, write_files
    from riskcalc.scenario import json_schema
    from riskcalc.scenario.new.text import SCHEMA_FILE, scenario_text

    if file.suffix != ".toml":
        raise one_problem("command line", "FILE", file, "a name that ends in .toml")
    if file.exists() and not overwrite:
        raise one_problem(file, "", "a file that is there already", "a new name", "--overwrite replaces it")
    answers = _answers(given, ask=not yes)
    where = answers["place"]
    if where.file:
        from_there = os.path.relpath(Path(where.file).resolve(), file.resolve().parent)
        answers["place"] = replace(where, file=Path(from_there).as_posix())
    text = scenario_text(answers, file=file.as_posix())
    _check(text, file)
    write_files(file.parent, {SCHEMA_FILE: json_text(json_schema()), file.name: text})
    typer.echo(f"{file}\nNext: riskcalc check {file}, then riskcalc assess {file}")


def _answers(given: Mapping[str, str | None], *, ask: bool) -> dict[str, Any]:
    """Return an answer to every question that applies: the option, what is typed, or the default."""
    from riskcalc.errors import InputError, Problem
    from riskcalc.scenario.new import QUESTIONS

    answers: dict[str, Any] = {}
    problems = []
    for question in QUESTIONS:
        option = given[question.name]
        if not question.applies(answers):
            if option is not None:
                accepted = "nothing: the other answers leave no room for it"
                problems.append(Problem("command line", question.option, option, accepted))
            continue
        usual = question.usual(answers)
        if option is None and ask and question.told(answers) and not problems:
            answers[question.name] = _asked(question, answers, usual)
            continue
        try:
            answers[question.name] = question.read(usual if option is None else option)
        except ValueError as error:
            problems.append(Problem("command line", question.option, str(option), str(error)))
            answers[question.name] = question.read(usual)
    if problems:
        raise InputError(problems)
    return answers


def _asked(question: Question, answers: Mapping[str, Any], usual: str) -> Any:
    """Ask until the answer can be read."""
    from riskcalc.errors import InputError

    def read(text: str) -> Any:
        try:
            return question.read(text)
        except ValueError as error:
            raise typer.BadParameter(f"accepted: {error}") from error
        except InputError as error:
            raise typer.BadParameter(str(error)) from error

    for line in question.notes(answers):
        typer.echo(line)
    return typer.prompt(question.words, default=usual, value_proc=read)


def _check(text: str, file: Path) -> None:
    """Read the scenario before it takes its place, so that a bad answer leaves nothing behind."""
    import tempfile

    from riskcalc.errors import InputError
    from riskcalc.interruption import putting_away
    from riskcalc.scenario import read_scenario

    file.parent.mkdir(parents=True, exist_ok=True)
    with (
        putting_away(),
        tempfile.NamedTemporaryFile("w", suffix=".toml", prefix="new-", dir=file.parent, encoding="utf-8") as draft,
    ):
        draft.write(text)
        draft.flush()
        try:
            read_scenario(draft.name)
        except InputError as error:
            raise InputError(replace(problem, file=file.as_posix()) for problem in error.problems) from error
