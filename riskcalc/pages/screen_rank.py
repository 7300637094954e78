"""What `riskcalc rank` shows in the terminal: order, intervals, agreement, odds, information, break-even, claims.

Figures carry no more digits than their standard errors support, as on the page.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from riskcalc.answers.limits import PRICE_LUCK
from riskcalc.pages.estimate import Estimate
from riskcalc.pages.insight import value_text
from riskcalc.pages.insight_data import BreakEvenRow
from riskcalc.pages.labels import capital
from riskcalc.pages.rounding import MINUS, error, money, money_estimate, percent, percent_estimate
from riskcalc.pages.screen_summary import PLAIN
from riskcalc.uncertainty.quantity import counted

#: Factors listed of a long ranking, and names listed of those that tie with one place.
MOST_ROWS, MOST_RIVALS = 12, 3
OUTCOMES = {"net_present_value": "worth (net present value)", "first_year_saving": "saving of the first year"}
METHODS = {"revalued": "", "simulated": "; simulated anew", "shifted": "; estimated from the draws"}


def ranking_lines(figures: Mapping[str, Any]) -> list[str]:
    """Return the whole ranking as text."""
    sobol, step = figures["sobol"], figures["provenance"]["step_minutes"]
    lines = [
        f"{figures['scenario']}: {sobol['points']:,} points, {sobol['futures']:,} futures, "
        f"{sobol['futures_simulated']:,} of them simulated, at steps of {step} minute{'s' if step > 1 else ''}"
    ]
    still = sobol["outcomes_that_do_not_vary"]
    lines += [f"{OUTCOMES[outcome]} does not vary: nothing to rank" for outcome in still]
    for outcome, found in sobol["outcomes"].items():
        lines += ["", f"what decides the {OUTCOMES[outcome]}", *_order_lines(found["order"], sobol["most_points"])]
        lines += [
            "",
            *_index_lines(found["factors"], "share of its spread"),
            *_index_lines(found["families"], "by family"),
        ]
        lines += _index_notes(found["factors"])
    if figures["agreement"] is not None:
        lines += ["", *_agreement_lines(figures["agreement"])]
    lines += ["", *_effect_lines(figures["range_effects"], figures["currency"])]
    lines += ["", *_odds_lines(figures["odds_ranking"])]
    lines += ["", *information_lines(figures["value_of_information"], figures["currency"])]
    lines += ["", *break_even_lines(figures["break_even"], figures["currency"])]
    if figures["claims"]:
        lines += ["", *claim_lines(figures["claims"], figures["currency"])]
    return [line.translate(PLAIN) for line in lines]


def _order_lines(order: Mapping[str, Any], most_points: int) -> list[str]:
    lines = []
    for tier in order["tiers"]:
        first, last = tier["places"]
        where = f"{first}." if first == last else f"{first}. to {last}."
        who = "; ".join(capital(row["label"]) for row in tier["factors"])
        if tier["settled"]:
            lines.append(f"  {where} {who}: settled, ahead of all others at 95 %")
            continue
        state = "a tie" if tier["is_tie"] else "not settled"
        others = f", or as well {_names(tier['outside'])}" if tier["outside"] else ", in any order"
        lines.append(f"  {where} {state}: {who}{others}")
        lines += [f"     {_tie_reason(tier['hardest_to_part'], most_points)}"] if tier["is_tie"] else []
    needed = order["futures_that_would_settle"]
    if needed is not None:
        lines.append(
            f"  about {order['points_that_would_settle']:,} points ({needed:,} simulated futures) would settle what is not: "
            "--until settled"
        )
    return lines


def _tie_reason(hardest: Mapping[str, Any], most_points: int) -> str:
    """Return how near the two of a tie are that are hardest to part, and why more points are not the way."""
    gap = hardest["difference"]
    apart = f"{percent(gap['value'], se=gap['standard_error'])}{error(100 * gap['standard_error'])} of the spread apart"
    needed = hardest["points_that_would_part"]
    if needed is None:
        return f"{apart}: the same for every use"
    return f"{apart}: it would take some {needed:,} points to part them, more than the {most_points:,} allowed"


def _names(rows: Sequence[Mapping[str, Any]]) -> str:
    said = [row["label"] for row in rows[:MOST_RIVALS]]
    left = len(rows) - MOST_RIVALS
    return f"{'; '.join(said)} or one of {left} more" if left > 0 else "; ".join(said)


def _index_lines(rows: Sequence[Mapping[str, Any]], title: str) -> list[str]:
    # The first three in any case, of the others those that round to 1 % at least.
    shown = [row for place, row in enumerate(rows[:MOST_ROWS]) if place < 3 or row["total_order"]["value"] >= 0.005]
    width = max(len(title), *(len(row["label"]) for row in shown))
    lines = [f"  {title:<{width}}  {'alone':>20}  {'with interactions':>20}"]
    lines += [
        f"  {capital(row['label']):<{width}}  {_interval(row['first_order']):>20}  {_interval(row['total_order']):>20}"
        for row in shown
    ]
    left = rows[len(shown) :]
    if not left:
        return lines
    return [*lines, f"  and {len(left)} more, none above {percent(max(0.0, left[0]['total_order']['value']))}"]


def _index_notes(rows: Sequence[Mapping[str, Any]]) -> list[str]:
    said = [
        "in brackets: 95 % intervals; what interacts counts for each involved, so the last column adds up to more than 100 %"
    ]
    if any(row[order]["value"] < -0.005 for row in rows for order in ("first_order", "total_order")):
        said.append("a share below 0 is the noise of few points")
    return [f"  {line}" for line in said]


def _agreement_lines(found: Mapping[str, Any]) -> list[str]:
    lines = []
    methods = (
        ("given_data", "estimates from the draws of the assessment (given data, each thing alone) name"),
        ("screening", "Morris screening names"),
    )
    for name, words in methods:
        if found[name]:
            verdict = "the same three, as far as both can tell" if found[f"{name}_agrees"] else "others"
            lines.append(f"{words} {verdict}: {'; '.join(row['label'] for row in found[name])}")
    return lines


def _effect_lines(rows: Sequence[Mapping[str, Any]], currency: str) -> list[str]:
    """Return how the worth changes over the range of each input, strongest first, where it is clear of its error."""
    lines = ["expected worth with one thing near its low end (10 % point) and near its high end (90 %), all else drawn"]
    clear = [row for row in rows if "effect" in row and abs(row["effect"]["value"]) > _two_errors(row["effect"])]
    clear.sort(key=lambda row: -abs(row["effect"]["value"]))
    for row in clear[:MOST_ROWS]:
        change = _estimate(row["effect"])
        low, high = (money(row[f"worth_at_{end}_percent"], currency, se=change.se) for end in (10, 90))
        sign = "" if (change.value or 0.0) < 0.0 else "+"
        lines.append(
            f"  {capital(row['label'])}: {low} to {high}, {sign}{money_estimate(change, currency, with_error=True)}"
        )
    return lines if clear else [*lines, "  nothing rises above its error"]


def _two_errors(figure: Mapping[str, Any]) -> float:
    return 2.0 * (figure["standard_error"] or 0.0)


def _odds_lines(found: Mapping[str, Any]) -> list[str]:
    lines = [
        f"what decides the odds of payback within {counted(found['within_years'], 'year')} ({percent(found['odds'])})",
        "  odds near its low and its high end; in brackets how far the odds of a tenth of the futures by it are off on average",
    ]
    if found["too_rare_for_shares"]:
        lines.append(
            f"  no shares of variance: odds outside {percent(found['rare_below'])} to {percent(1 - found['rare_below'])} "
            "rest on too few futures"
        )
    strong = [row for row in found["factors"] if row["odds_gap"] > found["gap_of_no_effect"]]
    lines += [
        f"  {capital(row['label'])}: {_ends(row)} ({100 * row['odds_gap']:.0f} points)" for row in strong[:MOST_ROWS]
    ]
    chance = f"  less than {100 * found['gap_of_no_effect']:.0f} points may be chance and is left out"
    return [*lines, chance] if strong else [*lines, "  nothing rises above chance"]


def _ends(row: Mapping[str, Any]) -> str:
    """Return the odds at both ends; chances of several kinds together have no low and high end."""
    if row["factor"].startswith("luck.") and row["factor"] != PRICE_LUCK:
        return "by how it falls"
    return f"{percent(row['odds_at_10_percent'])} to {percent(row['odds_at_90_percent'])}"


def information_lines(found: Mapping[str, Any], currency: str) -> list[str]:
    """Return what it is worth to find out before buying."""
    lines = [f"what it is worth to find out before buying: everything {_money(found['everything'], currency)}"]
    for row in [*found["families"], *found["factors"]]:
        error = row["standard_error"]
        if error is not None and row["value"] > 2.0 * error and (row["held_out"] or 0.0) > 0.0:
            label = f"all of {row['label']}" if row in found["families"] else capital(row["label"])
            lines.append(f"  {label}: {_money(row, currency)}")
    return lines if len(lines) > 1 else [*lines, "  no single thing: none would change the decision often enough"]


def break_even_lines(rows: Sequence[Mapping[str, Any]], currency: str) -> list[str]:
    """Return the values that reach the asked odds, and how many inputs have none."""
    lines = []
    for statement in dict.fromkeys(row["statement"] for row in rows):
        own = [row for row in rows if row["statement"] == statement]
        lines.append(f"value at which the odds of {statement} are {percent(own[0]['odds'])}, everything else drawn")
        found = [row for row in own if row["value"] is not None and row["settled"]]
        lines += [f"  {capital(row['label'])}: {_value(row, currency)}{METHODS[row['method']]}" for row in found]
        others = "of the others " if found else ""
        left = len(own) - len(found)
        lines += [f"  no clear value {others}within what was drawn or near it ({left} tried)"] if left else []
    return lines


def claim_lines(rows: Sequence[Mapping[str, Any]], currency: str) -> list[str]:
    """Return each claim with the probability that it is true."""
    lines = ["claims"]
    for row in rows:
        chance = row["probability"]
        if chance is None:
            lines.append(f"  not measured by this run: {row['sentence']}")
            continue
        lines.append(
            f"  true in {percent_estimate(_estimate(chance), with_error=True)} of the futures: {row['sentence']}"
        )
        move = row["even_chance"]
        if row["is_even_chance"]:
            lines.append("    an even chance as it stands")
        elif move is None:
            lines.append("    no single input brings it to an even chance")
        else:
            lines.append(
                f"    an even chance with {move['label']} at {_value(move, currency)}{METHODS[move['method']]}"
            )
    return lines


def _interval(index: Mapping[str, Any]) -> str:
    low, high = index["interval_95"]
    return f"{_whole(index['value'])} % ({_whole(low)} to {_whole(high)})"


def _whole(share: float) -> str:
    text = f"{100.0 * share:.0f}"
    return "0" if text == "-0" else text.replace("-", MINUS)


def _value(row: Mapping[str, Any], currency: str) -> str:
    return value_text(BreakEvenRow(row["label"], row["unit"], _estimate(row), row["method"]), currency=currency)


def _estimate(row: Mapping[str, Any]) -> Estimate:
    return Estimate(row["value"], float("nan") if row["standard_error"] is None else row["standard_error"])


def _money(row: Mapping[str, Any], currency: str) -> str:
    return money_estimate(_estimate(row), currency, with_error=True)
