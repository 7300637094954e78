"""What the terminal shows: a short summary, tables in plain text, progress only where somebody watches."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import Any

from riskcalc.pages.estimate import Estimate
from riskcalc.pages.rounding import money_estimate, percent_estimate, years
from riskcalc.pages.screen_check import question_lines
from riskcalc.uncertainty.quantity import counted

BAR_WIDTH = 40
#: Spaces that keep figures together on the page; a terminal needs none of them.
PLAIN = str.maketrans({"\u00a0": " ", "\u202f": " ", "\u2060": ""})


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


def summary_lines(result: Mapping[str, Any]) -> list[str]:
    """Return the answer in a few lines with a text histogram of when the purchase pays back.

    Words and rounding are those of the page: no more digits than the standard error supports.
    """
    horizon, currency = result["horizon_years"], result["currency"]
    payback, worth = result["payback_years"], result["net_present_value"]
    never, draws = payback["never_share"], result["provenance"]["draws"]
    paid = Estimate(1.0 - never["value"], _estimate(never).se)

    def money(name: str, *, with_error: bool = False) -> str:
        return money_estimate(_estimate(worth[name]), currency, with_error=with_error)

    lines = [
        f"{result['title']}: {draws:,} futures of {counted(horizon, 'year')}",
        *_outlay_lines(result),
        f"paid back within {counted(horizon, 'year')} in {percent_estimate(paid, with_error=True)} of them",
        _when(payback),
        f"worth in today's money {money('mean', with_error=True)} on average, "
        f"{money('p5')} to {money('p95')} in nine of ten; "
        f"{percent_estimate(_estimate(worth['loss_probability']))} lose money",
        "",
        *histogram_lines(result["paid_back_within_years"], never["value"]),
        "",
    ]
    ranked = [row for row in result["ranking"] if row["key"] != "interactions"][:3]
    if ranked:
        lines += ["what decides it: share of the spread in worth that each explains alone"]
        lines += [f"  {_ranked_share(row):>5}  {row['label'][0].upper()}{row['label'][1:]}" for row in ranked]
    lines += [f"claimed: {row['sentence']}  {_truth(row)}" for row in result.get("claims", ())]
    lines += _running_lines(result)
    lines += _foresight_lines(result)
    lines += [*(f"note: {limit}" for limit in result["limits"]), *question_lines(result.get("questions", []))]
    return [line.translate(PLAIN) for line in lines]


def _outlay_lines(result: Mapping[str, Any]) -> Iterator[str]:
    """Yield what is paid on the day of purchase, on average over the futures in which something is bought."""
    bought, purchase = result["bought_share"]["value"], _estimate(result["worth_by_kind"]["purchase"])
    if bought and purchase.value:
        yield f"costs {money_estimate(Estimate(-purchase.value / bought, purchase.se), result['currency'])} to buy"


def _running_lines(result: Mapping[str, Any]) -> Iterator[str]:
    """Yield what was found of charging targets, switch dates, hold-back and export, if anything was."""
    found = result.get("running")
    if found is None:
        return
    yield from _target_lines(found)
    if found["solar_only_from"] is not None:
        yield f"on solar only from {found['solar_only_from']} to {found['solar_only_until']}"
    if any(found["hold_back_share"]):
        held = " ".join(f"{100 * share:.0f}" for share in found["hold_back_share"])
        yield f"kept for the dearest hours, January first: {held} %"
    if found.get("export_stored_above_share") is not None:
        kept = " ".join(f"{100 * share:.0f}" for share in found["export_stored_above_share"])
        yield f"stored energy exported down to, January first: {kept} %"


def _target_lines(found: Mapping[str, Any]) -> Iterator[str]:
    """Yield the targets of charging: of each household's own, or by the month and kind of day."""
    by_need = found.get("by_need")
    if by_need is None:
        for place, kind in enumerate(found["forecasts"] or [""]):
            shares = " ".join(f"{100 * row[place]:.0f}" for row in found["target_share"])
            yield f"charged from the supply for {f'a {kind}' if kind else 'each'} day up to, January first: {shares} %"
        return
    told = "forecast" if found["forecasts"] else "usual in the month"
    shares = " ".join(f"{100 * share:.0f}" for share in by_need["offset_share"])
    yield (
        f"charged from the supply for {100 * by_need['need_share']:.0f} % of what the coming day usually needs, less "
        f"{100 * by_need['sun_share']:.0f} % of the sun {told}"
    )
    yield f"  and beside that, January first: {shares} % of the battery"


def _foresight_lines(result: Mapping[str, Any]) -> Iterator[str]:
    """Yield how near the rule comes to perfect foresight, where that was asked for."""
    seen = result.get("foresight")
    if seen is not None and seen["taken_share"]["value"] is not None:
        taken = percent_estimate(_estimate(seen["taken_share"]), with_error=True)
        yield (
            f"run by the rule, the battery saves {taken} of what perfect foresight could "
            f"(year {seen['year']} of {seen['draws']} futures, {seen['step_minutes']}-minute steps)"
        )


def _truth(row: Mapping[str, Any]) -> str:
    """Return in how many of the futures a claim is true."""
    chance = row["probability"]
    return "Not measured." if chance is None else f"True in {percent_estimate(_estimate(chance))} of them."


def _when(payback: Mapping[str, Any]) -> str:
    """Return when half and one in twenty have paid back, or that so few ever do."""
    half, twentieth = (_estimate(payback[level]) for level in ("p50", "p5"))
    if twentieth.value is None:
        return "fewer than one in twenty ever pay back"
    said = "fewer than half ever do" if half.value is None else f"half have paid back after {years(half)}"
    return f"{said}; one in twenty after {years(twentieth)}"


def histogram_lines(within: Sequence[Mapping[str, Any]], never_share: float) -> list[str]:
    """Return one bar per year of the horizon in which draws pay back, and one for those that never do."""
    shares, before = [], 0.0
    for entry in within:
        shares.append((f"year {entry['years']:>2}", entry["value"] - before))
        before = entry["value"]
    shares.append(("never", never_share))
    longest = max(share for _, share in shares) or 1.0
    return [
        f"{name:>8} {'█' * round(BAR_WIDTH * share / longest):<{BAR_WIDTH}} {share:6.1%}"
        for name, share in shares
        if share > 0.0
    ]


def _estimate(figure: Mapping[str, Any]) -> Estimate:
    error = figure["standard_error"]
    return Estimate(figure["value"], float("nan") if error is None else error)


def _ranked_share(row: Mapping[str, Any]) -> str:
    share = _estimate(row["share_of_variance"])
    return percent_estimate(Estimate(max(share.value or 0.0, 0.0), share.se))
