"""What the terminal shows of a comparison."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from riskcalc.uncertainty.quantity import counted


def comparison_lines(result: Mapping[str, Any]) -> list[str]:
    """Return the options as a table, then what separates the best from the others."""
    currency, draws = result["currency"], result["provenance"]["draws"]
    rows = [row for row in result["options"] if row["same_as"] is None]
    width = max(len(row["option"]) for row in rows)
    lines = [
        f"{draws} common futures of {counted(result['horizon_years'], 'year')}; worth in {currency} against doing nothing",
        "",
        f"{'':<{width}}  {'best in':>8}  {'worth':>16}  {'nine in ten':>20}  {'given up':>9}",
    ]
    for row in rows:
        worth = row["net_present_value"]
        spread = f"{worth['p5']['value']:,.0f} to {worth['p95']['value']:,.0f}"
        lines.append(
            f"{row['option']:<{width}}  {row['best_share']['value']:>8.0%}  {_with_error(worth['mean']):>16}  "
            f"{spread:>20}  {row['expected_regret']['value']:>9,.0f}"
        )
    lines += [f"{row['option']}: the same as {row['same_as']}" for row in result["options"] if row["same_as"]]
    return [*lines, "", *_pair_lines(result), *_stay_lines(result), *(f"note: {limit}" for limit in result["limits"])]


def _pair_lines(result: Mapping[str, Any]) -> Iterator[str]:
    for row in result["pairs"]:
        ahead = row["first_better_share"]["value"]
        gain = row["gain_of_common_draws"]
        sharper = "" if gain is None else f"; common draws cut its error {gain:.1f} times"
        mean = _with_error(row["difference"]["mean"])
        yield f"{row['first']} less {row['second']}: {mean}, ahead in {ahead:.0%}{sharper}"
        if row["dominating"] is not None:
            yield f"  {row['dominating']} dominates, order {row['dominance_order']}"


def _stay_lines(result: Mapping[str, Any]) -> Iterator[str]:
    for row in result["length_of_stay"]:
        at = row["break_even_years"]
        if at["value"] is not None:
            error = "" if at["standard_error"] is None else f" (±{at['standard_error']:.1f})"
            other = row["second"] if row["better_after"] == row["first"] else row["first"]
            yield f"{row['better_after']} ahead of {other} after a stay of {at['value']:.1f} years{error}"


def _with_error(figure: Mapping[str, Any]) -> str:
    error = figure["standard_error"]
    return f"{figure['value']:,.0f}" + ("" if not error else f" (±{error:,.0f})")
