"""One week of one future, half hour by half hour: power above, the battery below."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.clock import CALENDAR_YEAR
from riskcalc.language import day_in_words, told, weekdays
from riskcalc.pages.exhibit import Block, chart
from riskcalc.pages.figures import NO_BREAK, capital, percent, say, significant
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, WIDE, finished, layered, rows, sized, upright_title
from riskcalc.types import Figures

#: Weeks are shown in half hours.
WEEK_STEPS = 336
#: What a table of the week shows: field, words.
FLOWS = {
    "demand_w": "demand",
    "solar_w": "sun on the modules",
    "grid_import_w": "from the grid",
    "export_w": "to the grid",
    "unmet_w": "not met",
}


def week_blocks(figures: Figures, weeks: Sequence[Figures]) -> list[Block]:
    """Return the weeks, drawn to one scale.

    Each week holds power in means of half hours [W] and stored energy at their ends [Wh], arrays of (336,).
    """
    if not weeks:
        return []
    series = [np.max([week[name] for name in ("demand_w", "grid_import_w", "solar_w", "export_w")]) for week in weeks]
    top_w = 1.04 * float(max(series))
    return [_week_block(figures, week, top_w) for week in weeks]


def _week_block(figures: Figures, week: Figures, top_w: float) -> Block:
    present = {field: said for field, said in FLOWS.items() if float(np.sum(week[field])) > 0}
    days = {field: np.asarray(week[field]).reshape(7, 48).sum(axis=1) / 2000 for field in present}
    cells = [
        (say("day {day}", day=day + 1), *(significant(float(kwh[day]), 2) for kwh in days.values())) for day in range(7)
    ]
    legend = [("ink line", "demand"), ("solar line", "what the modules could give"), ("grid", "from the grid")]
    legend += [("solar", "to the grid")] if "export_w" in present else []
    legend += [("unmet", "not met")] if "unmet_w" in present else []
    legend += [("battery", "stored in the battery")] if week["capacity_wh"] > 0 else []
    title = week_title(week)
    shown = say("{title}. Demand, solar power and grid power in watts through seven days.", title=title)
    return chart(
        figures,
        f"week-{week['season']}",
        partial(week_chart, week, top_w=top_w),
        title=title,
        reading=say(
            "{first_day} and the next six days in one future (number {draw}, year {year}). An example, not an average.",
            first_day=day_in_words(week["first_day"], CALENDAR_YEAR),
            draw=week["draw"],
            year=week["year"],
        ),
        alternative=f"{shown} {say('The energy in the battery stands below.')}" if week["capacity_wh"] > 0 else shown,
        legend=legend,
        table=(("day", *(f"{say(said)}, kWh" for said in present.values())), cells),
        columns={
            "half_hour": range(WEEK_STEPS),
            **{field: week[field] for field in ("demand_w", "out_of_reach_w", *list(FLOWS)[1:], "battery_wh")},
        },
    )


def weeks_finding(weeks: Sequence[Figures]) -> str:
    """Return how the weeks compare in what the grid supplies or, without a grid, in what is not met."""
    if not weeks:
        return ""
    taken, missing = ([float(np.sum(week[name])) for week in weeks] for name in ("grid_import_w", "unmet_w"))
    if not any(taken):
        if not any(missing):
            return "The kit supplies everything in these weeks"
        most = max(zip(missing, weeks, strict=True), key=lambda pair: pair[0])
        share = percent(most[0] / float(np.sum(most[1]["demand_w"])))
        return say("In the {season} week {share} of the demand is not met", season=told(most[1]["season"]), share=share)
    least, most_taken = min(taken), max(taken)
    if most_taken < 1.1 * least or len(weeks) < 2:
        return "These weeks take about the same from the grid"
    seasons = {value: told(week["season"]) for value, week in zip(taken, weeks, strict=True)}
    if least < most_taken / 100:
        return say("Only the {season} week takes much from the grid", season=seasons[most_taken])
    return say(
        "The {season} week takes {times} times as much from the grid as the {other} week",
        season=seasons[most_taken],
        times=significant(most_taken / least, 2),
        other=seasons[least],
    )


def week_title(week: Figures) -> str:
    """Return what the grid still supplies in that week, or what is not met without one."""
    demand, imported, unmet = (float(np.sum(week[name])) / 2000 for name in ("demand_w", "grid_import_w", "unmet_w"))
    season, used = capital(told(week["season"])), f"{significant(demand, 2)}{NO_BREAK}kWh"
    if imported == 0 and unmet == 0:
        return say("{season} week: the kit supplies all of the {used} used", season=season, used=used)
    if imported == 0 and unmet < 0.01 * demand:
        return say("{season} week: the kit supplies nearly all of the {used} used", season=season, used=used)
    if imported == 0:
        missing = f"{significant(unmet, 2)}{NO_BREAK}kWh"
        return say("{season} week: {missing} of {used} are not met", season=season, missing=missing, used=used)
    bought = f"{significant(imported, 2)}{NO_BREAK}kWh"
    if imported > demand:
        message = "{season} week: {bought} come from the grid for {used} used; the kit itself takes the rest"
        return say(message, season=season, bought=bought, used=used)
    return say("{season} week: {bought} of the {used} used come from the grid", season=season, bought=bought, used=used)


def week_chart(week: Figures, *, top_w: float, width: int) -> alt.TopLevelMixin:
    """Return demand, sun and grid in watts and, where there is a battery, its stored energy; `top_w` shares the scale."""
    day = np.arange(WEEK_STEPS) / 48
    capacity = week["capacity_wh"]
    x = alt.X("day:Q", scale=alt.Scale(domain=[0, 7], nice=False), axis=_day_axis(week, labels=capacity <= 0))
    y = alt.Y(
        "low:Q",
        scale=alt.Scale(domain=[0, top_w], nice=False, clamp=True),
        axis=alt.Axis(format=",.0f", tickCount=4, **upright_title("watts, mean of each half hour")),
    )
    layers = [
        _area(day, week["grid_import_w"], ("grid", 0.7), x, y),
        _line(day, week["solar_w"], ("solar", 2.0), x, y),
        _line(day, week["demand_w"], ("ink", 0.8), x, y),
    ]
    if float(np.sum(week["export_w"])) > 0:
        layers.insert(1, _area(day, week["export_w"], ("solar", 0.45), x, y))
    if float(np.sum(week["unmet_w"])) > 0:
        layers.append(_area(day, week["unmet_w"], ("unmet", 0.9), x, y))
    power = sized(layered(*layers), width=width - 56, height=210 if width >= WIDE else 180)
    if capacity <= 0:
        return finished(power)
    stored = np.asarray(week["battery_wh"]) / 1000
    x_below = alt.X("day:Q", scale=alt.Scale(domain=[0, 7], nice=False), axis=_day_axis(week, labels=True))
    kwh = alt.Axis(tickCount=3, **upright_title("battery, kWh stored"))
    scale = alt.Scale(domain=[0, max(capacity / 1000, float(stored.max()))], nice=False)
    area = _area(day, stored, ("battery", 0.65), x_below, alt.Y("low:Q", scale=scale, axis=kwh))
    below = sized(layered(area), width=width - 56, height=70)
    both = alt.VConcatChart(resolve={"scale": {"x": "shared"}})
    both.vconcat = [power, below]  # set as in `layered`
    return finished(both)


def _area(day: NDArray[np.float64], watts: Any, look: tuple[str, float], x: alt.X, y: alt.Y) -> alt.Chart:
    data = alt.Chart(rows(day=day, low=np.zeros(len(day)), high=watts))
    mark = data.mark_area(color=PAPER[look[0]], opacity=look[1], interpolate="step-after")
    return mark.encode(x=x, y=y, y2=alt.Y2("high:Q"))


def _line(day: NDArray[np.float64], watts: Any, look: tuple[str, float], x: alt.X, y: alt.Y) -> alt.Chart:
    data = alt.Chart(rows(day=day, low=watts))
    mark = data.mark_line(color=PAPER[look[0]], strokeWidth=look[1], interpolate="step-after", strokeJoin="round")
    return mark.encode(x=x, y=y)


def _day_axis(week: Figures, *, labels: bool) -> alt.Axis:
    """Return ticks at noon, named by weekday from the week's first day, and lines at midnight."""
    first = next((index for index, name in enumerate(weekdays()) if week["first_day"].startswith(name)), 0)
    names = [weekdays()[(first + index) % 7] for index in range(7)]
    pick = "[" + ",".join(f"'{name}'" for name in names) + "][floor(datum.value)]"
    return alt.Axis(
        title=None, values=[index + 0.5 for index in range(7)], labelExpr=pick, labels=labels, grid=False, labelAngle=0
    )
