"""How precise the draws so far are: beside the progress while it runs, and as a line of the summary."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from riskcalc.study.precision import Precision, Settled


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
    return (
        f"{made['draws']:,} draws: standard error of the odds {_error(odds, 100.0)} percentage points "
        f"(asked: {100.0 * tolerance:.3g}), of the median payback {said} (asked: {tolerance * horizon_years:.3g})"
    )


def until_lines(made: Settled) -> list[str]:
    """Return what the doublings came to."""
    horizon = made.assessment.scenario.study.horizon_years
    line = round_line(made.rounds[-1].as_dict(), tolerance=made.tolerance, horizon_years=horizon)
    if made.reached:
        return [f"precise enough with {line}"]
    return [
        f"NOT as precise as asked: {line}",
        f"stopped before more than {made.most_draws:,} draws; --most-draws {4 * made.rounds[-1].draws} allows two "
        "more doublings, which halve a standard error at best",
    ]


def _error(error: float | None, factor: float = 1.0) -> str:
    return "not known" if error is None else f"{factor * error:.3g}"
