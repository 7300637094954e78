"""Where the energy goes in the first year: month by month, in figures, and what fails when the supply does."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

import numpy as np

from riskcalc.language import months as month_names
from riskcalc.language import told
from riskcalc.pages.exhibit import Block, chart, table, words
from riskcalc.pages.figures import (
    NO_BREAK,
    UNKNOWN,
    energy,
    error,
    in_unit,
    money,
    number,
    percent,
    say,
    significant,
    value_of,
)
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, WIDE, finished, layered, rows, upright_title
from riskcalc.types import Figures

#: Pieces of the demand from the ground up: field, words, colour.
DEMAND = (
    ("from_solar_kwh", "straight from the sun", "solar"),
    ("from_battery_kwh", "from the battery", "battery"),
    ("from_grid_kwh", "from the grid", "grid"),
    ("out_of_reach_kwh", "out of reach: on sockets that the kit does not feed", "beyond"),
    ("unmet_kwh", "not met", "unmet"),
)
SOLAR = {
    "solar_used_kwh": "used, kWh",
    "solar_used_p10_kwh": "used: 1 in 10 is below",
    "solar_used_p90_kwh": "used: 1 in 10 is above",
    "curtailed_kwh": "curtailed: not used",
    "export_kwh": "exported to the grid",
    "losses_kwh": "losses of the kit",
    "grid_to_battery_kwh": "grid into battery",
}
#: First-year figures shown, with their words and units.
FIRST_YEAR = (
    ("saving", "Saving on the bill", "money"),
    ("bill_without", "Bill without the kit", "money"),
    ("bill_with", "Bill with the kit", "money"),
    ("demand_kwh", "Demand: electricity used", "kWh"),
    ("reachable_demand_kwh", "Demand within reach of the kit", "kWh"),
    ("import_kwh", "Import: taken from the grid", "kWh"),
    ("export_kwh", "Export: sent to the grid", "kWh"),
    ("solar_available_kwh", "Solar energy the modules offered", "kWh"),
    ("solar_used_kwh", "Solar energy used", "kWh"),
    ("grid_to_battery_kwh", "Charged from the grid", "kWh"),
    ("battery_throughput_kwh", "Battery throughput: given back by the cells", "kWh"),
    ("losses_kwh", "Losses in conversion and idle draw", "kWh"),
    ("overload_kwh", "Overload: demand in minutes above the inverter's rating", "kWh"),
    ("unmet_kwh", "Unmet: demand that nothing served", "kWh"),
    ("short_days", "Days on which some demand was not served", "days"),
)
#: Tables of some scenarios only: place in result.json, title, note, rows of (path, words, unit).
OUTAGES = (
    ("hours_per_year", "Hours without supply in a year", "h"),
    ("hours_bridged_per_year", "Hours of them that the kit bridges", "h"),
    ("bridged_share", "Share bridged", "share"),
    ("kwh_served_per_year", "Energy served meanwhile", "kWh"),
)
WITHOUT_SUPPLY = (
    ("hours_share", "Hours in which some demand is not served", "share"),
    ("days_share", "Days on which some demand is not served", "share"),
    ("unmet_kwh", "Unmet demand in a year", "kWh"),
    ("unmet_share", "Unmet share of the demand", "share"),
)
FORESIGHT = (
    ("saved_by_rule", "What the battery saves in a year, run by the rule", "money"),
    ("saved_with_foresight", "What it could save if every hour were known in advance", "money"),
    ("taken_share", "Share achieved by the rule", "share"),
)
CABLE = (
    ("life_cycle_cost.kit", "Life-cycle cost of the kit", "money"),
    ("life_cycle_cost.cable", "Life-cycle cost of the cable and its supply", "money"),
    ("kit_cheaper.share", "Futures in which the kit is cheaper", "share"),
    ("break_even_length_m.p50", "Length of cable from which the kit is cheaper, middle future", "m"),
)


def demand_block(figures: Figures) -> Block:
    """Return the demand of each month by what served it."""
    months = figures["first_year_by_month"]
    return served_by_month(
        figures,
        "demand",
        months,
        title=demand_title(months),
        reading="What served the demand of each month, average over the futures. The whole bar is the demand.",
    )


def served_by_month(figures: Figures, key: str, months: Figures, *, title: str, reading: str) -> Block:
    """Return the chart and the table of what served the demand of twelve months, fields of `months` [kWh]."""
    pieces = demand_pieces(months)
    values = np.array([months[field] for field, _, _ in pieces])
    said = [say(name) for _, name, _ in pieces]
    return chart(
        figures,
        key,
        partial(demand_chart, months),
        title=title,
        reading=reading,
        alternative=say("{title}. Stacked bars for twelve months: {pieces}.", title=title, pieces=", ".join(said)),
        legend=[(colour, name) for (_, _, colour), name in zip(pieces, said, strict=True)],
        table=(
            ("month", *(f"{name}, kWh" for name in said), "demand, kWh"),
            _month_cells(np.vstack([values, values.sum(axis=0)])),
        ),
        columns={"month": range(1, 13), **{field: months[field] for field, _, _ in pieces}},
    )


def energy_finding(figures: Figures) -> str:
    """Return what the kit saves on the first bill."""
    saving = figures["first_year"]["saving"]
    if value_of(saving) <= 0.0:
        return "The kit saves nothing in its first year"
    return say("The kit saves {saving} in its first year", saving=money(saving, figures["currency"]))


def demand_pieces(months: Figures) -> list[tuple[str, str, str]]:
    """Return the pieces of `DEMAND` that are there at all."""
    return [piece for piece in DEMAND if float(np.sum(months[piece[0]])) > 0]


def demand_title(months: Figures) -> str:
    """Return the share of the first year's demand that the kit serves and the share it cannot reach."""
    solar, battery, _, beyond, unmet = (float(np.sum(months[field])) for field, _, _ in DEMAND)
    whole = sum(float(np.sum(months[field])) for field, _, _ in DEMAND)
    served = percent((solar + battery) / whole)
    if beyond > 0:
        message = "The kit serves {served} of the first year’s demand; {left} is out of its reach"
        return say(message, served=served, left=percent(beyond / whole))
    if unmet > 0:
        message = "The kit serves {served} of the first year’s demand; {left} is not met"
        return say(message, served=served, left=percent(unmet / whole))
    return say("The kit serves {served} of the first year’s demand", served=served)


def solar_block(figures: Figures) -> Block | None:
    """Return the solar energy of each month; None without any sun on modules."""
    months = {name: np.array(values) for name, values in figures["first_year_by_month"].items()}
    if float(np.sum(months["solar_used_kwh"] + months["curtailed_kwh"])) == 0:
        return None
    wasted = float(np.sum(months["curtailed_kwh"])) > 0.005 * float(np.sum(months["solar_used_kwh"]))
    shown = {field: said for field, said in SOLAR.items() if float(np.sum(months[field])) > 0}
    title = solar_title(months)
    reading = say("Solar energy put to use, average over the futures. The line spans eight futures in ten.")
    return chart(
        figures,
        "solar",
        partial(solar_chart, months),
        title=title,
        reading=f"{reading} {say('The hollow part could not be used.')}" if wasted else reading,
        alternative=say("{title}. Bars for the twelve months.", title=title),
        legend=(("solar", "used"), ("solar hollow", "not used")) if wasted else (),
        table=(("month", *shown.values()), _month_cells(np.array([months[field] for field in shown]))),
        columns={"month": range(1, 13), **{field: months[field] for field in SOLAR}},
    )


def solar_title(months: Figures) -> str:
    """Return the best and the poorest month for solar energy used."""
    used = months["solar_used_kwh"]
    best, worst = int(np.argmax(used)), int(np.argmin(used))
    return say(
        "Solar energy used runs from {low} in {worst} to {high} in {best}",
        low=f"{significant(float(used[worst]), 2)}{NO_BREAK}kWh",
        worst=month_names()[worst],
        high=f"{significant(float(used[best]), 2)}{NO_BREAK}kWh",
        best=month_names()[best],
    )


def first_year_table(figures: Figures) -> Iterator[Block]:
    """Yield the first year in figures; what is zero in every future is left out."""
    means, ends, currency = figures["first_year"], figures["first_year_p10_p90"], figures["currency"]
    plug_in = figures.get("page", {}).get("coupling") == "plug_in"
    cells = []
    for key, label, unit in FIRST_YEAR:
        if key not in means or (key not in ends and means[key]["value"] == 0.0 and key != "saving"):
            continue
        if key == "overload_kwh" and plug_in:
            continue  # the grid fills what is above its rating: no overload in that sense
        range_ = [_in_unit(value, unit, currency, se=UNKNOWN) for value in ends.get(key, ())]
        between = say("{low} to {high}", low=range_[0], high=range_[1]) if range_ else ""
        cells.append((say(label), _with_error(means[key], unit, currency), between))
    yield words("The first year in figures", "h3")
    yield table("The first year in figures", ("figure", "average", "eight futures in ten"), cells)


def details(figures: Figures) -> Iterator[Block]:
    """Yield the tables that only some scenarios need."""
    currency, load = figures["currency"], (figures.get("loss_of_load") or {}).get("first_year") or {}
    note = "First year, average over the futures. An estimate from stored energy, sun and loads."
    yield from _detail("When the supply fails", note, OUTAGES, figures.get("outages") or {}, currency)
    if "running" in figures:
        yield from _running(figures["running"])
    seen = figures.get("foresight")
    if seen is not None:
        note = say(
            "First year of {draws} futures, minutes taken together in steps of {step}. No rule can reach this bound, "
            "because nobody knows the year in advance.",
            draws=seen["draws"],
            step=seen["step_minutes"],
        )
        yield from _detail("How well the battery is run", note, FORESIGHT, seen, currency)
    note = "First year, average over the futures."
    yield from _detail("What is not served", note, WITHOUT_SUPPLY, load, currency)
    note = "All costs over the horizon, discounted to the day of purchase, average over the futures."
    yield from _detail("Against a cable", note, CABLE, figures.get("alternative") or {}, currency)


def demand_chart(months: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return the demand of each month, stacked by what served it."""
    pieces = demand_pieces(months)
    values = np.array([months[field] for field, _, _ in pieces])
    upper = values.cumsum(axis=0)
    names = [said for _, said, _ in pieces]
    data = rows(
        month=list(month_names()) * len(pieces),
        low=(upper - values).ravel(),
        high=upper.ravel(),
        piece=[name for name in names for _ in range(12)],
    )
    colours = alt.Scale(domain=names, range=[PAPER[colour] for _, _, colour in pieces])
    bars = (
        alt.Chart(data)
        .mark_bar(stroke=PAPER["paper"], strokeWidth=0.7)
        .encode(
            x=_months(width),
            y=alt.Y("low:Q", axis=alt.Axis(tickCount=5, **upright_title("kWh a month"))),
            y2=alt.Y2("high:Q"),
            color=alt.Color("piece:N", legend=None, scale=colours),
        )
    )
    return finished(bars, width=width - 44, height=260 if width >= WIDE else 210)


def solar_chart(months: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return the solar energy used in each month, eight futures in ten as a line, and what was not used on top."""
    used, wasted = np.array(months["solar_used_kwh"]), np.array(months["curtailed_kwh"])
    axis = alt.Axis(tickCount=5, **upright_title("kWh a month"))
    x = _months(width)

    def layer(low: Any, high: Any, mark: str, **look: Any) -> alt.Chart:
        drawn: alt.Chart = getattr(alt.Chart(rows(month=month_names(), low=low, high=high)), mark)(**look)
        return drawn.encode(x=x, y=alt.Y("low:Q", axis=axis), y2=alt.Y2("high:Q"))

    bars = layer([0.0] * 12, used, "mark_bar", color=PAPER["solar"])
    waste = layer(
        used, used + wasted, "mark_bar", fill=PAPER["paper"], fillOpacity=0, stroke=PAPER["solar"], strokeWidth=1.2
    )
    ends = (months["solar_used_p10_kwh"], months["solar_used_p90_kwh"])
    reach = layer(*ends, "mark_rule", color=PAPER["ink"], strokeWidth=1.6)
    layers = [bars, waste, reach] if float(wasted.sum()) > 0.005 * float(used.sum()) else [bars, reach]
    return finished(layered(*layers), width=width - 44, height=260 if width >= WIDE else 210)


def _running(found: Figures) -> Iterator[Block]:
    """Yield the targets and what is held back, month by month, with the switch dates in the note."""
    by_need = found.get("by_need")
    if by_need is None:
        meaning = say("The target says how full the supply charges the battery.")
        targets = [say("target, {kind} day", kind=told(kind)) for kind in found["forecasts"]] or ["target"]
        shares = found["target_share"]
    else:
        need, sun = (f"{100 * by_need[name]:.0f}{NO_BREAK}%" for name in ("need_share", "sun_share"))
        meaning = say(
            "Each household charges to its own target. It is {need} of what such a day usually needs, less {sun} of the "
            "sun forecast for that day, plus the share of the battery shown."
            if found["forecasts"]
            else "Each household charges to its own target. It is {need} of what such a day usually needs, less {sun} of "
            "the sun usual in that month, plus the share of the battery shown.",
            need=need,
            sun=sun,
        )
        targets = ["beside the need"]
        shares = [[share] for share in by_need["offset_share"]]
    note = say("Optimised on {draws} futures.", draws=found["draws"])
    note = f"{note} {meaning} {say('“Held back” is the share kept for the dearest hours.')}"
    held, columns = [found["hold_back_share"]], ["held back"]
    if found.get("export_stored_above_share") is not None:
        held.append(found["export_stored_above_share"])
        columns.append("exported down to")
        note += " " + say("Stored energy is exported down to the last share.")
    if found["solar_only_from"] is not None:
        note += " " + say(
            "From {start} to {end} it runs on solar only and does not charge.",
            start=told(found["solar_only_from"]),
            end=told(found["solar_only_until"]),
        )
    cells = [
        (month, *(percent(share) for share in (*row, *levels)))
        for month, row, *levels in zip(month_names(), shares, *held, strict=True)
    ]
    yield words("When the battery is charged", "h3")
    yield words(note, "reading")
    yield table("When the battery is charged", ("month", *targets, *columns), cells)


def _detail(
    title: str, note: str, shown: tuple[tuple[str, str, str], ...], figures: Figures, currency: str
) -> Iterator[Block]:
    """Yield heading, note and table of the rows that are not zero; nothing when none has a figure."""
    cells = []
    for path, label, unit in shown:
        place: Any = figures
        for part in path.split("."):
            place = place.get(part, {}) if isinstance(place, Mapping) else {}
        if place.get("value"):
            cells.append((say(label), in_unit(place, unit, currency)))
    if cells:
        yield words(title, "h3")
        yield words(note, "reading")
        yield table(title, ("figure", "average"), cells)


def _with_error(figure: Figures, unit: str, currency: str) -> str:
    if unit == "days":
        se = figure["standard_error"] or 0.0
        return number(value_of(figure), se=se, most_decimals=1) + error(se, most_decimals=1)
    return in_unit(figure, unit, currency, with_error=True)


def _in_unit(value: float, unit: str, currency: str, *, se: float) -> str:
    if unit == "money":
        return money(value, currency, se=se)
    return energy(value, se=se) if unit == "kWh" else significant(value, 2)


def _months(width: int) -> alt.X:
    first_letter = "substring(datum.label, 0, 1)" if width < WIDE else "datum.label"
    axis = alt.Axis(title=None, labelAngle=0, labelExpr=first_letter)
    return alt.X("month:N", sort=list(month_names()), axis=axis, scale=alt.Scale(paddingInner=0.25, paddingOuter=0.1))


def _month_cells(values: np.ndarray) -> list[tuple[str, ...]]:
    """Return rows of text per month and for the year; two digits, as a monthly mean has no error of its own."""
    cells = [
        (name, *(significant(float(v), 2) for v in column))
        for name, column in zip(month_names(), values.T, strict=True)
    ]
    return [*cells, (say("year"), *(significant(float(total), 3) for total in values.sum(axis=1)))]
