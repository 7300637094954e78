"""`riskcalc charts`: the charts of an earlier result as pictures, for slides and video, without a browser."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from riskcalc.commands.options import Overwrite, Spoken, say


class Format(StrEnum):
    """Kind of picture."""

    png = "png"
    svg = "svg"


class Shape(StrEnum):
    """Width to height."""

    page = "page"
    wide = "16:9"
    square = "square"


def charts(
    result_file: Annotated[
        Path, typer.Argument(help="result.json, ranking.json or update.json of an earlier run.", metavar="RESULT")
    ],
    file_format: Annotated[Format, typer.Option("--format", help="Kind of picture.")] = Format.png,
    shape: Annotated[Shape, typer.Option(help="As wide as on the page, for a slide, or square.")] = Shape.page,
    language: Annotated[Spoken, typer.Option(help="Language of the words on the pictures.")] = Spoken.en,
    out: Annotated[
        Path | None, typer.Option(help="Folder for the pictures; else that of RESULT.", metavar="DIR")
    ] = None,
    overwrite: Overwrite = False,
) -> None:
    """Draw the charts of an earlier result, each with title, legend, units and source line inside."""
    from riskcalc.answers.replay import read_figures
    from riskcalc.language import speaking
    from riskcalc.output import check_outputs, write_files
    from riskcalc.pages.page import charts_in

    figures = read_figures(result_file)
    folder = out or result_file.parent
    ending = "" if shape is Shape.page else f"-{shape.name}"
    with speaking(language.value):
        drawn = {f"{chart.key}{ending}.{file_format.value}": chart for chart in charts_in(figures)}
    check_outputs(folder, drawn, inputs=[result_file], overwrite=overwrite)
    made: dict[str, str | bytes] = {
        name: chart.saved(shape.value) if file_format is Format.svg else chart.picture(shape.value)
        for name, chart in drawn.items()
    }
    say(write_files(folder, made))
