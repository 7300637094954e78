"""Progress in the terminal, only where somebody watches: steps done, how fast, the time left, precision so far."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from typing import Any

from riskcalc.pages.figures import grouped, say
from riskcalc.study.precision import Precision, Settled


def years_shown(years: int) -> AbstractContextManager[Callable[..., None]]:
    """Show progress year by year while the block runs; silent when stderr is not a terminal."""
    return steps_shown("years simulated", years)


@contextmanager
def steps_shown(what: str, total: int) -> Iterator[Callable[..., None]]:
    """Show how many steps of `total` are done, how fast, and the time left; silent when stderr is not a terminal."""
    if not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, Task, TextColumn, TimeRemainingColumn

    class Rate(TextColumn):
        """Steps a second, or seconds a step where they are slow."""

        def render(self, task: Task) -> Any:
            speed = task.finished_speed or task.speed
            self.text_format = "" if not speed else f"{speed:.1f}/s" if speed >= 1.0 else f"{1 / speed:.1f} s each"
            return super().render(task)

    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), Rate(""), TimeRemainingColumn()
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(what, total=total)
        yield lambda *_: progress.advance(task)


@contextmanager
def precision_shown(
    horizon_years: int, *, tolerance: float
) -> Iterator[tuple[Callable[[int], None], Callable[[Precision], None]]]:
    """Show the years of each doubling, the draws so far, their standard errors and those asked for.

    Yields what is to be told of each year and of each doubling; silent when stderr is not a terminal.
    """
    if not sys.stderr.isatty():
        yield (lambda _: None), (lambda _: None)
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("years simulated", total=horizon_years)

        def round_done(made: Precision) -> None:
            progress.console.print(round_line(made.as_dict(), tolerance=tolerance, horizon_years=horizon_years))
            progress.reset(task, total=horizon_years)

        yield (lambda _: progress.advance(task)), round_done


def round_line(made: Mapping[str, Any], *, tolerance: float, horizon_years: int) -> str:
    """Return one doubling in a line: draws, standard errors, what is asked."""
    odds = max(
        (made[name]["standard_error"] for name in ("odds_paid_back", "odds_worth_above_zero")),
        key=lambda error: float("inf") if error is None else error,
    )
    median = made["median_payback_years"]
    said = "there is none" if median["value"] is None else f"{_error(median['standard_error'])} years"
    return say(
        "{draws} draws: standard error of the odds {odds} percentage points (asked: {asked}), of the median payback "
        "{median} (asked: {years})",
        draws=grouped(made["draws"]),
        odds=_error(odds, 100.0),
        asked=f"{100.0 * tolerance:.3g}",
        median=said,
        years=f"{tolerance * horizon_years:.3g}",
    )


def until_lines(made: Settled) -> list[str]:
    """Return what the doublings came to."""
    horizon = made.assessment.scenario.study.horizon_years
    line = round_line(made.rounds[-1].as_dict(), tolerance=made.tolerance, horizon_years=horizon)
    if made.reached:
        return [say("precise enough with {line}", line=line)]
    return [
        say("NOT as precise as asked: {line}", line=line),
        say(
            "stopped before more than {most} draws; --most-draws {next} allows two more doublings, which halve a "
            "standard error at best",
            most=grouped(made.most_draws),
            next=4 * made.rounds[-1].draws,
        ),
    ]


def _error(error: float | None, factor: float = 1.0) -> str:
    return "not known" if error is None else f"{factor * error:.3g}"
