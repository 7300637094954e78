"""`riskcalc new`: a first scenario from a few answers."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from riskcalc.commands.options import say

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
        str | None,
        typer.Option(
            help="Climate region, latitude and longitude, or path of a weather file.", autocompletion=_regions
        ),
    ] = None,
    zone: Annotated[str | None, typer.Option(help="IANA time zone of the clock on the wall.")] = None,
    currency: Annotated[
        str | None, typer.Option(help="Currency code; another than the kit's needs every price.")
    ] = None,
    language: Annotated[
        str | None,
        typer.Option(
            help="Language of the pages, en or de; else that of the country of zone and currency.",
            autocompletion=_one_of("en", "de"),
        ),
    ] = None,
    tenure: Annotated[str | None, typer.Option(help="rent or own.", autocompletion=_one_of("rent", "own"))] = None,
    stay: Annotated[str | None, typer.Option(help="Years you expect to stay, or always.")] = None,
    kit: Annotated[
        str | None, typer.Option(help="Kit of the shelf, or path of a kit file.", autocompletion=_kits)
    ] = None,
    cost: Annotated[
        str | None, typer.Option(help="Whole price of the kit: modules, batteries and installation included.")
    ] = None,
    loan: Annotated[str | None, typer.Option(help="Share of the price that you borrow, 0 to 1.")] = None,
    loan_rate: Annotated[str | None, typer.Option(help="Interest of the loan a year, such as 0.07.")] = None,
    loan_years: Annotated[str | None, typer.Option(help="Years until the loan is paid back.")] = None,
    on_mains: Annotated[
        str | None,
        typer.Option(
            help="Does a portable unit run from sun and battery while plugged in: yes or no.",
            autocompletion=_one_of("yes", "no"),
        ),
    ] = None,
    facing: Annotated[str | None, typer.Option(help="Where the modules face: s, sw, 200 ...")] = None,
    meter: Annotated[str | None, typer.Option(help="Meter file of a year, in place of --use and --plugged.")] = None,
    pv: Annotated[str | None, typer.Option(help="File of measured solar power, in place of the model's.")] = None,
    pv_peak: Annotated[str | None, typer.Option(help="Rated power of the modules that were measured, in W.")] = None,
    use: Annotated[str | None, typer.Option(help="Electricity used in a year, in kWh.")] = None,
    plugged: Annotated[str | None, typer.Option(help="Appliances plugged into the unit, with commas.")] = None,
    reach: Annotated[str | None, typer.Option(help="Share of the metered use that is plugged into the unit.")] = None,
    tariff: Annotated[
        str | None, typer.Option(help="flat or two-rate.", autocompletion=_one_of("flat", "two-rate"))
    ] = None,
    price: Annotated[str | None, typer.Option(help="Price of a kWh, by day if there are two rates.")] = None,
    night_price: Annotated[str | None, typer.Option(help="Price of a kWh by night.")] = None,
    night: Annotated[str | None, typer.Option(help="Hours of the night rate, such as 00:30-07:30.")] = None,
    export_price: Annotated[str | None, typer.Option(help="What a kWh sent to the grid earns.")] = None,
    outages: Annotated[str | None, typer.Option(help="Power cuts in a year.")] = None,
    outage_hours: Annotated[str | None, typer.Option(help="Hours that a power cut lasts.")] = None,
    outage_worth: Annotated[str | None, typer.Option(help="What an hour without a power cut is worth to you.")] = None,
    bridges: Annotated[
        str | None,
        typer.Option(help="Does the kit carry loads in a power cut: yes or no.", autocompletion=_one_of("yes", "no")),
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Ask nothing: defaults for all that is not given.")] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace FILE if it is there.")] = False,
) -> None:
    """Write a scenario by answering a few questions, or by options; Enter takes what stands in brackets."""
    given = {name: answer for name, answer in locals().items() if name not in ("file", "yes", "overwrite")}

    from riskcalc.errors import one_problem
    from riskcalc.output import check_outputs, json_text, write_files
    from riskcalc.scenario import json_schema
    from riskcalc.scenario.new.text import SCHEMA_FILE, scenario_text

    if file.suffix != ".toml":
        raise one_problem("command line", "FILE", file, "a name that ends in .toml")
    if file.exists() and not overwrite:
        raise one_problem(file, "", "a file that is there already", "a new name", "--overwrite replaces it")
    check_outputs(file.parent, [SCHEMA_FILE], overwrite=overwrite)
    answers = _answers(given, ask=not yes)
    folder = file.resolve().parent

    def seen_from_there(path: str) -> str:
        return Path(os.path.relpath(Path(path).resolve(), folder)).as_posix()

    where = answers["place"]
    if where.file:
        answers["place"] = replace(where, file=seen_from_there(where.file))
    for name in ("meter", "pv"):
        if answers.get(name):
            answers[name] = seen_from_there(answers[name])
    text = scenario_text(answers, file=file.as_posix())
    _check(text, file)
    write_files(file.parent, {SCHEMA_FILE: json_text(json_schema()), file.name: text})
    say(f"{file}\nNext: riskcalc check {file}, then riskcalc assess {file}")


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
                problems.append(Problem("command line", question.option, option, f"an answer only {question.only}"))
            continue
        usual = question.usual(answers)
        if option is None and ask and question.told(answers) and not problems:
            answers[question.name] = _asked(question, answers, usual)
            continue
        try:
            answers[question.name] = question.read(usual if option is None else option)
        except ValueError as error:
            hint = "" if usual else question.missing.format(currency=answers.get("currency"))
            problems.append(Problem("command line", question.option, option or "nothing", str(error), hint))
            answers[question.name] = question.read(usual) if usual else 1.0  # stands in, so that all is told at once
    if problems:
        raise InputError(problems)
    return answers


def _asked(question: Question, answers: Mapping[str, Any], usual: str) -> Any:
    """Ask until the answer can be read."""
    from riskcalc.errors import InputError
    from riskcalc.output import clean_text

    def read(text: str) -> Any:
        try:
            return question.read(text)
        except ValueError as error:
            raise typer.BadParameter(clean_text(f"accepted: {error}")) from error
        except InputError as error:
            raise typer.BadParameter(clean_text(str(error))) from error

    for line in question.notes(answers):
        say(line)
    return typer.prompt(question.words, default=usual or None, value_proc=read)


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
            # What is wrong with the draft is told of the file to be; a meter or weather file keeps its own name.
            raise InputError(
                replace(problem, file=file.as_posix()) if Path(problem.file) == Path(draft.name) else problem
                for problem in error.problems
            ) from error
