"""One week of one future, half hour by half hour: power above, the battery below."""

from __future__ import annotations

import altair as alt
import numpy as np
from numpy.typing import NDArray

from riskcalc.pages.charts.look import PAPER, WIDE, finished, rows, sized, upright_title
from riskcalc.pages.data import WEEK_STEPS, Week

DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
DAYS_FROM = {name: index for index, name in enumerate(DAY_NAMES)}


def week_chart(week: Week, *, top_w: float, width: int) -> alt.TopLevelMixin:
    """Return demand, sun and grid in watts and, where there is a battery, its stored energy; `top_w` shares the scale.

    Both weeks of a report are drawn to the same `top_w`, so that they can be compared.
    """
    day = np.arange(WEEK_STEPS) / 48
    power_height = 210 if width >= WIDE else 180
    x = alt.X("day:Q", scale=alt.Scale(domain=[0, 7], nice=False), axis=_day_axis(week, labels=week.capacity_wh <= 0))
    y = alt.Y(
        "low:Q",
        scale=alt.Scale(domain=[0, top_w], nice=False, clamp=True),
        axis=alt.Axis(format=",.0f", tickCount=4, **upright_title("watts, mean of each half hour")),
    )
    layers = [
        _area(day, week.grid_import_w, "grid", 0.7, x, y),
        _line(day, week.solar_w, "solar", 2.0, x, y),
        _line(day, week.demand_w, "ink", 0.8, x, y),
    ]
    if float(week.export_w.sum()) > 0:
        layers.insert(1, _area(day, week.export_w, "solar", 0.45, x, y))
    if float(week.unmet_w.sum()) > 0:
        layers.append(_area(day, week.unmet_w, "unmet", 0.9, x, y))
    power = sized(alt.layer(*layers), width=width - 56, height=power_height)
    if week.capacity_wh <= 0:
        return finished(power)
    x_below = alt.X("day:Q", scale=alt.Scale(domain=[0, 7], nice=False), axis=_day_axis(week, labels=True))
    kwh = alt.Axis(tickCount=3, **upright_title("battery, kWh stored"))
    y_below = alt.Y(
        "low:Q", scale=alt.Scale(domain=[0, max(week.capacity_wh, week.battery_wh.max()) / 1000], nice=False), axis=kwh
    )
    stored = _area(day, week.battery_wh / 1000, "battery", 0.65, x_below, y_below)
    below = sized(alt.layer(stored), width=width - 56, height=70)
    return finished(alt.vconcat(power, below, resolve={"scale": {"x": "shared"}}))


def top_watts(weeks: tuple[Week, ...]) -> float:
    """Return a scale that both weeks fit on, a little above the highest half hour of either."""
    series = [np.max([week.demand_w, week.grid_import_w, week.solar_w, week.export_w]) for week in weeks]
    return 1.04 * float(max(series))


def _area(
    day: NDArray[np.float64], watts: NDArray[np.float64], colour: str, opacity: float, x: alt.X, y: alt.Y
) -> alt.Chart:
    data = rows(day=day, low=np.zeros(len(day)), high=watts)
    mark = alt.Chart(data).mark_area(color=PAPER[colour], opacity=opacity, interpolate="step-after")
    return mark.encode(x=x, y=y, y2=alt.Y2("high:Q"))


def _line(
    day: NDArray[np.float64], watts: NDArray[np.float64], colour: str, thickness: float, x: alt.X, y: alt.Y
) -> alt.Chart:
    mark = alt.Chart(rows(day=day, low=watts)).mark_line(
        color=PAPER[colour], strokeWidth=thickness, interpolate="step-after", strokeJoin="round"
    )
    return mark.encode(x=x, y=y)


def _day_axis(week: Week, *, labels: bool) -> alt.Axis:
    """Return ticks at noon, named by weekday from the week's first day, and lines at midnight."""
    first = DAYS_FROM.get(week.first_day[:3], 0)
    names = [DAY_NAMES[(first + index) % 7] for index in range(7)]
    pick = "[" + ",".join(f"'{name}'" for name in names) + "][floor(datum.value)]"
    return alt.Axis(
        title=None, values=[index + 0.5 for index in range(7)], labelExpr=pick, labels=labels, grid=False, labelAngle=0
    )
