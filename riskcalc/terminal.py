"""What the terminal shows: a short summary, tables in plain text, progress only where somebody watches."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from typing import Any

from riskcalc.fit import FitLine
from riskcalc.scenario import Scenario, assumptions

BAR_WIDTH = 40


def years_shown(years: int) -> AbstractContextManager[Callable[..., None]]:
    """Show progress year by year while the block runs; silent when stderr is not a terminal."""
    return steps_shown("years simulated", years)


@contextmanager
def steps_shown(what: str, total: int) -> Iterator[Callable[..., None]]:
    """Show how many steps of `total` are done while the block runs; silent when stderr is not a terminal."""
    if not sys.stderr.isatty():
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn()
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task(what, total=total)
        yield lambda *_: progress.advance(task)


def summary_lines(result: Mapping[str, Any]) -> list[str]:
    """Return the answer in a few lines with a text histogram of when the purchase pays back."""
    horizon, currency = result["horizon_years"], result["currency"]
    payback, worth = result["payback_years"], result["net_present_value"]
    never = payback["never_share"]
    draws = result["provenance"]["draws"]
    lines = [
        f"{result['scenario']}: {draws} futures of {horizon} years",
        f"pays back within {horizon} years in {_percent(_rest(never))} of them",
        f"half have paid back by {_years(payback['p50'], horizon)}; one in twenty by {_years(payback['p5'], horizon)}",
        f"worth today {_money(worth['mean'], currency)} on average, "
        f"{_money(worth['p5'], currency)} to {_money(worth['p95'], currency)} in nine of ten; "
        f"a loss in {_percent(worth['loss_probability'])}",
        "",
        *histogram_lines(result["paid_back_within_years"], never["value"]),
        "",
    ]
    ranked = [row for row in result["ranking"] if row["key"] != "interactions"][:3]
    if ranked:
        lines += ["what decides it: " + ", ".join(row["key"] for row in ranked)]
    return [*lines, *(f"note: {limit}" for limit in result["limits"])]


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


def check_lines(scenario: Scenario, fit: Sequence[FitLine]) -> list[str]:
    """Return what was read and the electrical fit, one comparison per line."""
    rows = assumptions(scenario)
    uncertain = [row for row in rows if row.key in scenario.uncertain()]
    defaults = sum(row.is_default for row in rows)
    lines = [
        f"{scenario.name}: {len(rows)} settings read from {len(scenario.files)} files, {defaults} of them defaults",
        f"uncertain ({len(uncertain)}):",
        *(f"  {row.label}: {row.given} {row.unit}".rstrip() for row in uncertain),
    ]
    if not fit:
        return [*lines, "electrical fit: no modules"]
    lines.append("electrical fit:")
    for row in fit:
        allowed = f"at {row.bound} {row.limit:.4g} {row.unit}"
        lines.append(f"  {row.verdict:<8} {row.what}: {row.value:.4g} {row.unit}, allowed {allowed}")
        lines += [f"           {row.advice}"] if row.advice else []
    return [*lines, "Local codes come first, and a licensed electrician decides what may be connected."]


def site_lines() -> list[str]:
    """Return the built-in climates as a table, and their sources."""
    from riskcalc.weather.climates import climate, climate_names

    entries = [climate(name) for name in climate_names()]
    width = max(len(entry.key) for entry in entries)
    lines = [f"{'region':<{width}}  latitude  solar kWh/m2/yr  air C  place"]
    for entry in entries:
        solar_kwh = float(entry.ghi_w_m2 @ [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 0.024
        lines.append(
            f"{entry.key:<{width}}  {entry.latitude_deg:8.1f}  {solar_kwh:15.0f}  {entry.temp_air_c.mean():5.1f}  {entry.name}"
        )
    return [*lines, "", *dict.fromkeys(f"source: {entry.source}" for entry in entries)]


def _rest(share: Mapping[str, float]) -> dict[str, float]:
    return {**share, "value": 1.0 - share["value"]}


def _percent(figure: Mapping[str, Any]) -> str:
    error = figure["standard_error"]
    return f"{figure['value']:.0%}" + ("" if error is None else f" (±{error:.1%})")


def _years(figure: Mapping[str, Any], horizon: int) -> str:
    return f"no year of the {horizon}" if figure["value"] is None else f"year {figure['value']:.1f}"


def _money(figure: Mapping[str, Any], currency: str) -> str:
    return f"{figure['value']:,.0f} {currency}"
