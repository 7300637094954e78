"""Tables of the page that only some readers or scenarios need: the investment, outages, life without a supply."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from riskcalc.pages import data as page
from riskcalc.pages.charts.energy import MONTHS

#: Figures of one table: place in result.json, words, unit.
Rows = tuple[tuple[tuple[str, ...], str, str], ...]

WORTH: Rows = (
    (("purchase",), "Purchase and installation", "money"),
    (("incentive",), "Incentive", "money"),
    (("loan",), "Loan: received less repaid", "money"),
    (("saving",), "Savings on the bill", "money"),
    (("outages",), "Outages bridged", "money"),
    (("upkeep",), "Upkeep", "money"),
    (("replacement",), "Replacements", "money"),
    (("moving",), "Moving", "money"),
    (("sale",), "Sale at a move", "money"),
    (("resale",), "What it still fetches at the end", "money"),
    (("disposal",), "Disposal", "money"),
)
INVESTMENT: Rows = (
    (("internal_rate_of_return",), "Internal rate of return", "share/year"),
    (("adjusted_internal_rate_of_return",), "Adjusted internal rate of return", "share/year"),
    (("savings_to_investment_ratio",), "Savings-to-investment ratio", ""),
    (("annual_equivalent",), "Worth as a yearly amount", "money"),
    (("cost_per_kwh_delivered",), "Cost of a kWh delivered", "money"),
    (("largest_drawdown",), "Deepest debt on the way", "money"),
)
OUTAGES: Rows = (
    (("hours_per_year",), "Hours without supply in a year", "h"),
    (("hours_bridged_per_year",), "of which the kit bridges", "h"),
    (("bridged_share",), "Share bridged", "share"),
    (("kwh_served_per_year",), "Energy served meanwhile", "kWh"),
)
WITHOUT_SUPPLY: Rows = (
    (("hours_share",), "Hours in which some demand is not served", "share"),
    (("days_share",), "Days on which some demand is not served", "share"),
    (("unmet_kwh",), "Demand not served in a year", "kWh"),
    (("unmet_share",), "Share of demand not served", "share"),
)
FORESIGHT: Rows = (
    (("saved_by_rule",), "What the battery saves in a year, run by the rule", "money"),
    (("saved_with_foresight",), "What it could save if every hour were known beforehand", "money"),
    (("taken_share",), "Share of that which the rule takes", "share"),
)
CABLE: Rows = (
    (("life_cycle_cost", "kit"), "Life-cycle cost of the kit", "money"),
    (("life_cycle_cost", "cable"), "Life-cycle cost of the cable and its supply", "money"),
    (("kit_cheaper", "share"), "Futures in which the kit is cheaper", "share"),
    (("break_even_length_m", "p50"), "Length of cable from which the kit is cheaper, middle future", "m"),
)


def details(figures: Mapping[str, Any]) -> tuple[page.Detail, ...]:
    """Return the tables for which `figures`, the content of result.json, has something to say."""
    return tuple(_details(figures))


def _details(figures: Mapping[str, Any]) -> Iterator[page.Detail]:
    means, spread = ("average",), ("one in twenty below", "middle future", "one in twenty above")
    yield from _detail(
        "worth", "What the worth is made of",
        "Present value of each kind of flow, average over the futures; they add up.", means, WORTH, figures["worth_by_kind"],
    )  # fmt: skip
    measures = figures.get("measures") or {}
    unclear = (measures.get("internal_rate_of_return") or {}).get("ambiguous_share") or {}
    note = "Over the futures in which something is bought; loans left out."
    if unclear.get("value"):
        note += " In some of them the flows change sign more than once and the internal rate has no single value."
    yield from _detail(
        "investment", "As an investment", note, spread, INVESTMENT, measures, levels=("p5", "p50", "p95")
    )
    note = "First year, average over the futures; an estimate from stored energy, sun and loads."
    yield from _detail("outages", "When the supply fails", note, means, OUTAGES, figures.get("outages") or {})
    if "running" in figures:
        yield _running(figures["running"])
    if "foresight" in figures:
        seen = figures["foresight"]
        note = (
            f"First year of {seen['draws']} futures, in steps of {seen['step_minutes']} minutes; a bound that no rule "
            "can reach, since nobody knows the year beforehand."
        )
        yield from _detail("foresight", "How well the battery is run", note, means, FORESIGHT, seen)
    load = (figures.get("loss_of_load") or {}).get("first_year") or {}
    note = "First year, average over the futures."
    yield from _detail("without_supply", "What is not served", note, means, WITHOUT_SUPPLY, load)
    note = "All costs over the horizon discounted to the day of purchase, average over the futures."
    yield from _detail("cable", "Against a cable", note, means, CABLE, figures.get("alternative") or {})


def _running(found: Mapping[str, Any]) -> page.Detail:
    """Return the targets and what is held back, month by month, with the switch dates in the note."""
    by_need = found.get("by_need")
    if by_need is None:
        meaning = "the share of the battery that the supply fills it to for a day of the month"
        targets = [f"target, {kind} day" for kind in found["forecasts"]] or ["target"]
        shares = found["target_share"]
    else:
        sun = "forecast for it" if found["forecasts"] else "usual in its month"
        need_percent, sun_percent = (f"{100 * by_need[name]:.0f} %" for name in ("need_share", "sun_share"))
        meaning = (
            f"for every household its own target, {need_percent} of what a weekday or weekend day of the month usually "
            f"needs less {sun_percent} of the sun {sun}, and beside it the share of the battery shown"
        )
        targets = ["beside the need"]
        shares = [[share] for share in by_need["offset_share"]]
    held, columns = [found["hold_back_share"]], ["held back"]
    note = f"Found on {found['draws']} futures: {meaning}; and the share kept for the dearest hours."
    if found.get("export_stored_above_share") is not None:
        held.append(found["export_stored_above_share"])
        columns.append("exported down to")
        note += " Stored energy is exported down to the last share."
    if found["solar_only_from"] is not None:
        note += f" On solar only, without charging, from {found['solar_only_from']} to {found['solar_only_until']}."
    cells = [
        tuple(page.Estimate(share, 0.0) for share in (*row, *levels))
        for row, *levels in zip(shares, *held, strict=True)
    ]
    rows = tuple(page.DetailRow(month, "share", row) for month, row in zip(MONTHS, cells, strict=True))
    return page.Detail("running", "When the battery is charged", note, (*targets, *columns), rows)


def _detail(
    key: str,
    title: str,
    note: str,
    columns: tuple[str, ...],
    rows: Rows,
    figures: Mapping[str, Any],
    *,
    levels: tuple[str, ...] = (),
) -> Iterator[page.Detail]:
    """Yield the table of the rows that have figures and are not zero throughout; nothing when none has."""
    found = []
    for path, label, unit in rows:
        place: Any = figures
        for part in path:
            place = place.get(part, {}) if isinstance(place, Mapping) else {}
        shown = [place.get(level, {}) for level in levels] if levels else [place]
        values = [entry.get("value") for entry in shown]
        if all(value in (None, 0.0) for value in values):
            continue
        found.append(page.DetailRow(label, unit, tuple(_estimate(entry) for entry in shown)))
    if found:
        yield page.Detail(key, title, note, columns, tuple(found))


def _estimate(entry: Mapping[str, Any]) -> page.Estimate:
    error = entry.get("standard_error")
    return page.Estimate(entry.get("value"), float("nan") if error is None else error)
