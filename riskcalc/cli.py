"""The command line: names the commands and turns bad input into one clear block and exit code 2; computes nothing."""

from __future__ import annotations

import atexit
import contextlib
import errno
import io
import os
import signal
import sys
import warnings
from collections.abc import Callable
from typing import Annotated, Any

import typer

from riskcalc import __version__
from riskcalc.commands.assess import assess
from riskcalc.commands.cache import cache
from riskcalc.commands.charts import charts
from riskcalc.commands.check import check
from riskcalc.commands.compare import compare
from riskcalc.commands.error_block import show_error
from riskcalc.commands.live import live
from riskcalc.commands.match import match
from riskcalc.commands.new import new
from riskcalc.commands.open_report import open_report
from riskcalc.commands.options import say
from riskcalc.commands.rank import rank
from riskcalc.commands.replay import replay
from riskcalc.commands.schema import schema
from riskcalc.commands.trace import trace
from riskcalc.commands.update import update
from riskcalc.commands.weather import sites, weather
from riskcalc.errors import InputError
from riskcalc.interruption import answer

BAD_INPUT = 2
#: What typer raises for words it cannot take. It names the kinds of it only; their texts may hold what was typed as it is.
USAGE_ERROR: Any = typer.BadParameter.__base__
#: What the system says when something cannot be written although it is open.
NO_ROOM = (errno.ENOSPC, errno.EFBIG, errno.EDQUOT, errno.EIO)

# Before numpy is met: our systems of equations are small, and a second thread waits more than it helps, by seconds on
# a busy machine. One thread also keeps the order of their sums. The kernels have threads of their own.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

app = typer.Typer(
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
#: What the list of commands says of each, short enough that none is cut off.
COMMANDS = (
    ("new", new, "Write a scenario by answering a few questions."),
    ("check", check, "Check a scenario and the electrical fit of its kit."),
    ("assess", assess, "Is it worth it, and how sure is that? The report."),
    ("rank", rank, "Which assumption decides, which to find out."),
    ("compare", compare, "Which of several options is best?"),
    ("match", match, "Which kit for which home?"),
    ("live", live, "Turn a figure and see the answer move."),
    ("trace", trace, "One future, step by step, as a table."),
    ("update", update, "Measured months: is it on track?"),
    ("replay", replay, "Run an earlier result again and compare."),
    ("charts", charts, "The charts of a result as pictures, for slides."),
    ("open", open_report, "Show the last report in the browser."),
    ("weather", weather, "Fetch real weather years of any place."),
    ("sites", sites, "The built-in climates and their sources."),
    ("cache", cache, "What is kept between runs; clears it."),
    ("schema", schema, "JSON Schema of a scenario, for editors."),
)
for name, command, short in COMMANDS:
    # Southern and western places are negative numbers, not options.
    app.command(name, short_help=short, context_settings={"ignore_unknown_options": name == "weather"})(command)


def _version(asked: bool) -> None:
    if asked:
        say(f"riskcalc {__version__}")
        raise typer.Exit


@app.callback()
def about(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version and end.")
    ] = False,
) -> None:
    """How sure is it that a battery unit, a few panels or a rooftop system pays back?"""


def main() -> None:
    """Run the command line; an error of ours keeps its traceback and exit code 1.

    Every message leaves through `say`, those of typer too.
    """
    warnings.showwarning = _shown(warnings.showwarning)
    # Tidying at the very end takes milliseconds and is not interrupted.
    atexit.register(answer, signal.SIG_IGN)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal that knows no bars gets question marks, not a traceback
    try:
        _run()
    except InputError as error:
        show_error(error)
        sys.exit(BAD_INPUT)
    except MemoryError:
        say("riskcalc: not enough memory for this run; fewer --draws or a coarser --step need less", err=True)
        sys.exit(BAD_INPUT)
    except OSError as error:
        if error.errno not in NO_ROOM:
            raise
        # Files of ours name themselves; what is left is the output, or a temporary file.
        with contextlib.suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or the end tries to write it again
        say(f"riskcalc: the output cannot be written: {error.strerror}", err=True)
        sys.exit(BAD_INPUT)


def _shown(usual: Callable[..., None]) -> Callable[..., None]:
    """Return what shows a warning: one of ours as a plain line, any other as Python does."""

    def show(message: Warning | str, category: type[Warning], *rest: Any, **named: Any) -> None:
        if category.__module__.partition(".")[0] == "riskcalc":
            say(f"riskcalc: {message}", err=True)
        else:
            usual(message, category, *rest, **named)

    return show


def _run() -> None:
    try:
        code = app(standalone_mode=False)
    except USAGE_ERROR as error:
        said = io.StringIO()
        error.show(said)
        say(said.getvalue().rstrip("\n"), err=True)
        sys.exit(error.exit_code)
    except typer.Abort:
        say("Aborted!", err=True)
        sys.exit(1)
    else:
        sys.exit(code)
    finally:
        # The work is done or given up; threads that still run (of compilation, say) may be ended at once, in silence.
        answer(signal.SIG_DFL)


if __name__ == "__main__":
    main()
