"""What `update` shows: is the purchase on track, and what are the odds now."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from riskcalc.uncertainty.quantity import counted

#: A change of an input's mean below this share of its spread is not worth a line.
LEAST_SHIFT = 0.1

NAMES = {"import_kwh": "taken from the grid", "generation_kwh": "generated", "bill": "bills"}


def update_lines(found: Mapping[str, Any]) -> list[str]:
    """Return the update in a few lines."""
    measured, currency = found["measured"], found["currency"]
    before, now = found["before"], found["revised"]
    within = now["paid_back_within"]["years"]
    lines = [
        f"{found['scenario']}: {found['verdict']} after {measured['months']} months, "
        f"{measured['from']} to {measured['to']}",
        *(_track(row, currency) for row in found["tracks"]),
        f"paid back within {counted(within, 'year')}: {_percent(before['paid_back_within'])} before, "
        f"{_percent(now['paid_back_within'])} now",
        f"half have paid back by {_years(before['payback_years']['p50'])} before, "
        f"{_years(now['payback_years']['p50'])} now",
        f"worth {_money(before['net_present_value']['mean'])} {currency} before, "
        f"{_money(now['net_present_value']['mean'])} {currency} now; a loss in "
        f"{_percent(before['net_present_value']['loss_probability'])} before, "
        f"{_percent(now['net_present_value']['loss_probability'])} now",
    ]
    moved = [row for row in found["inputs"] if abs(row["shift"]) >= LEAST_SHIFT][:3]
    lines += [
        f"{row['key']}: {row['before']['p50']:.4g} before, {row['revised']['p50']:.4g} now "
        f"({row['revised']['p10']:.4g} to {row['revised']['p90']:.4g} in eight of ten)"
        for row in moved
    ]
    lines.append(f"{found['draws']} futures, worth {found['effective_draws']:.0f} in the light of what was measured")
    return [*lines, *(f"note: {limit}" for limit in found["limits"])]


def _track(row: Mapping[str, Any], currency: str) -> str:
    unit = currency if row["quantity"] == "bill" else "kWh"
    expected = row["expected"]
    return (
        f"{NAMES[row['quantity']]}: {row['measured']:.5g} {unit}, expected {expected['p50']:.5g} "
        f"({expected['p10']:.5g} to {expected['p90']:.5g} in eight of ten): {row['verdict']}"
    )


def _percent(figure: Mapping[str, Any]) -> str:
    error = figure["standard_error"]
    return f"{figure['value']:.0%}" + ("" if error is None else f" (±{error:.1%})")


def _years(figure: Mapping[str, Any]) -> str:
    return "no year of the horizon" if figure["value"] is None else f"year {figure['value']:.1f}"


def _money(figure: Mapping[str, Any]) -> str:
    return f"{figure['value']:,.0f}"
