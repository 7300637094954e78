"""What `riskcalc rank` shows in the terminal: order, intervals, agreement, odds, information, break-even, claims."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

#: Factors listed of a long ranking.
MOST_ROWS = 12
OUTCOMES = {"net_present_value": "worth (net present value)", "first_year_saving": "saving of the first year"}
METHODS = {"revalued": "", "simulated": "; simulated anew", "shifted": "; estimated from the draws"}


def ranking_lines(figures: Mapping[str, Any]) -> list[str]:
    """Return the whole ranking as text."""
    sobol = figures["sobol"]
    lines = [
        f"{figures['scenario']}: {sobol['points']} points, {sobol['futures']} futures, "
        f"{sobol['futures_simulated']} of them simulated"
    ]
    still = sobol["outcomes_that_do_not_vary"]
    lines += [f"{OUTCOMES[outcome]} does not vary: nothing to rank" for outcome in still]
    for outcome, found in sobol["outcomes"].items():
        lines += ["", f"what decides the {OUTCOMES[outcome]}", *_order_lines(found["order"], sobol["most_points"])]
        lines += _index_lines(found["factors"], "factor")
        lines += _index_lines(found["families"], "family")
    if figures["agreement"] is not None:
        lines += ["", *_agreement_lines(figures["agreement"])]
    lines += ["", *_effect_lines(figures["range_effects"], figures["currency"])]
    lines += ["", *_odds_lines(figures["odds_ranking"])]
    lines += ["", *information_lines(figures["value_of_information"], figures["currency"])]
    lines += ["", *break_even_lines(figures["break_even"])]
    if figures["claims"]:
        lines += ["", *claim_lines(figures["claims"])]
    return lines


def _order_lines(order: Mapping[str, Any], most_points: int) -> list[str]:
    lines = []
    for number, place in enumerate(order["places"], start=1):
        if place["settled"]:
            lines.append(f"  {number}. {place['label']}, settled at 95 %")
        else:
            rivals = ", ".join(rival["label"] for rival in place["cannot_be_told_from"])
            lines.append(f"  {number}. not settled: {place['label']} cannot be told from {rivals}")
    needed = order["futures_that_would_settle"]
    if needed is not None:
        lines.append(
            f"  about {order['points_that_would_settle']} points ({needed} simulated futures) would settle it: "
            "--until settled"
        )
    elif not order["settled"]:
        lines.append(f"  the rest are ties: it would take more than {most_points} points to part them")
    return lines


def _index_lines(rows: Sequence[Mapping[str, Any]], title: str) -> list[str]:
    width = max(len(title), *(len(row["label"]) for row in rows))
    lines = [f"  {title:<{width}}  {'alone':>22}  {'with interactions':>22}   95 % intervals in brackets"]
    lines += [
        f"  {row['label']:<{width}}  {_interval(row['first_order']):>22}  {_interval(row['total_order']):>22}"
        for row in rows[:MOST_ROWS]
    ]
    left = len(rows) - MOST_ROWS
    if left <= 0:
        return lines
    weakest = _share(rows[MOST_ROWS]["total_order"]["value"])
    return [*lines, f"  and {left} more, none above {weakest}"]


def _agreement_lines(found: Mapping[str, Any]) -> list[str]:
    lines = []
    for name, words in (("given_data", "given-data estimates name"), ("screening", "Morris screening names")):
        if found[name]:
            verdict = "the same" if found[f"{name}_agrees"] else "another order"
            lines.append(f"{words} {verdict} at the top: {'; '.join(row['label'] for row in found[name])}")
    return lines


def _effect_lines(rows: Sequence[Mapping[str, Any]], currency: str) -> list[str]:
    """Return how the worth changes over the range of each input, strongest first, where it is clear of its error."""
    lines = ["worth with one thing at its 10 % and at its 90 % point, all else drawn"]
    clear = [row for row in rows if "effect" in row and abs(row["effect"]["value"]) > _two_errors(row["effect"])]
    clear.sort(key=lambda row: -abs(row["effect"]["value"]))
    for row in clear[:MOST_ROWS]:
        low, high = (f"{row[f'worth_at_{end}_percent']:,.0f}" for end in (10, 90))
        change = f"{row['effect']['value']:+,.0f}"
        lines.append(f"  {row['label']}: {low} to {high} {currency}, change {change}{_plus_minus(row['effect'])}")
    return lines if clear else [*lines, "  nothing rises above its error"]


def _two_errors(figure: Mapping[str, Any]) -> float:
    return 2.0 * (figure["standard_error"] or 0.0)


def _odds_lines(found: Mapping[str, Any]) -> list[str]:
    lines = [
        f"what decides the odds of payback within {found['within_years']} years ({found['odds']:.1%}); "
        f"a gap below {found['gap_of_no_effect']:.1%} is chance"
    ]
    if found["too_rare_for_shares"]:
        lines.append(
            f"  no shares of variance: odds outside {found['rare_below']:.0%} to {1 - found['rare_below']:.0%} rest on "
            "too few futures"
        )
    strong = [row for row in found["factors"] if row["odds_gap"] > found["gap_of_no_effect"]]
    lines += [
        f"  {row['label']}: gap {row['odds_gap']:.1%}, odds {row['odds_at_10_percent']:.0%} at its low end "
        f"to {row['odds_at_90_percent']:.0%} at its high end"
        for row in strong[:MOST_ROWS]
    ]
    return lines if strong else [*lines, "  nothing rises above chance"]


def information_lines(found: Mapping[str, Any], currency: str) -> list[str]:
    """Return what it is worth to find out before buying."""
    lines = [f"what it is worth to find out before buying: everything {_money(found['everything'], currency)}"]
    for row in [*found["families"], *found["factors"]]:
        error = row["standard_error"]
        if error is not None and row["value"] > 2.0 * error and (row["held_out"] or 0.0) > 0.0:
            lines.append(f"  {row['label']}: {_money(row, currency)}")
    return lines if len(lines) > 1 else [*lines, "  no single thing: none would change the decision often enough"]


def break_even_lines(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return the values that reach the asked odds, and the inputs of which none does."""
    lines = []
    for statement in dict.fromkeys(row["statement"] for row in rows):
        own = [row for row in rows if row["statement"] == statement]
        lines.append(f"value at which the odds of {statement} are {own[0]['odds']:.0%}, everything else drawn")
        lines += [
            f"  {row['label']}: {row['value']:.4g}{_plus_minus(row)}{_unit(row)}{METHODS[row['method']]}"
            for row in own
            if row["value"] is not None
        ]
        none = [row["label"] for row in own if row["value"] is None]
        if none:
            lines.append(f"  no value does of: {'; '.join(none)}")
    return lines


def claim_lines(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """Return each claim with the probability that it is true."""
    lines = ["claims"]
    for row in rows:
        chance = row["probability"]
        if chance is None:
            lines.append(f"  not measured by this run: {row['sentence']}")
            continue
        error = "" if chance["standard_error"] is None else f" ±{chance['standard_error']:.1%}"
        lines.append(f"  true in {chance['value']:.1%}{error} of the futures: {row['sentence']}")
        move = row["even_chance"]
        if row["is_even_chance"]:
            lines.append("    an even chance as it stands")
        elif move is None:
            lines.append("    no single input brings it to an even chance")
        else:
            lines.append(
                f"    an even chance with {move['label']} at {move['value']:.4g}{_unit(move)}{METHODS[move['method']]}"
            )
    return lines


def _interval(index: Mapping[str, Any]) -> str:
    low, high = index["interval_95"]
    return f"{_share(index['value'])} ({_share(low)} to {_share(high)})"


def _share(value: float) -> str:
    text = f"{value:.2f}"
    return "0.00" if text == "-0.00" else text


def _plus_minus(row: Mapping[str, Any]) -> str:
    return "" if row["standard_error"] is None else f" ±{row['standard_error']:.2g}"


def _unit(row: Mapping[str, Any]) -> str:
    return f" {row['unit']}" if row["unit"] else ""


def _money(row: Mapping[str, Any], currency: str) -> str:
    error = "" if row["standard_error"] is None else f" ±{row['standard_error']:,.0f}"
    return f"{row['value']:,.0f}{error} {currency}"
