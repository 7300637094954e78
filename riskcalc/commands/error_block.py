"""Bad input as one clear block, in colour where a person watches."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from riskcalc.errors import InputError

COLOURS = {"given": "red", "accepted": "green", "hint": "cyan"}


def show_error(error: InputError) -> None:
    """Print bad input to the error stream. A problem is one clean line for each of its parts, whatever a file held."""
    typer.echo(error_block(error, coloured=wants_colour()), err=True)


def error_block(error: InputError, *, coloured: bool) -> str:
    """Return every problem of an error under one headline; coloured or not, the words are the same."""
    count = len(error.problems)
    headline = f"riskcalc: {count} problem{'s' if count > 1 else ''} with the input"
    if not coloured:
        return f"{headline}\n\n{error}"
    return "\n".join([typer.style(headline, bold=True), "", *(_coloured(line) for line in str(error).splitlines())])


def wants_colour() -> bool:
    """Return whether the error stream is a terminal that wants colour: NO_COLOR (no-color.org) and TERM=dumb do not."""
    return sys.stderr.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def _coloured(line: str) -> str:
    word, colon, rest = line.partition(":")
    colour = COLOURS.get(word.strip()) if word.startswith("  ") else None
    if colour is None:
        return line if line.startswith("  ") else typer.style(line, bold=True)
    return typer.style(f"{word}{colon}", fg=colour) + rest
