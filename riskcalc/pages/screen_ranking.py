"""What the terminal shows of a ranking: the same words and rounding as its page."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from riskcalc.pages.exhibits import effects, findout, order
from riskcalc.pages.figures import capital, counted, grouped, money, percent, say, whole_years
from riskcalc.pages.screen import plain, question_lines
from riskcalc.types import Figures


def ranking_lines(figures: Figures) -> list[str]:
    """Return the whole ranking as text."""
    sobol, step, currency = figures["sobol"], figures["provenance"]["step_minutes"], figures["currency"]
    message = (
        "{scenario}: {futures} futures from {points} starting points; energy simulated "
        "for {simulated}, the others differ in money only; steps of {step}"
    )
    minutes = counted("{count} minute", "{count} minutes", step)
    parts = {"points": sobol["points"], "futures": sobol["futures"], "simulated": sobol["futures_simulated"]}
    said = {name: grouped(value) for name, value in parts.items()}
    lines = [say(message, scenario=figures["scenario"], step=minutes, **said)]
    still = sobol["outcomes_that_do_not_vary"]
    lines += [say("{outcome} does not vary: nothing to rank", outcome=order.OUTCOMES[outcome]) for outcome in still]
    for outcome, found in sobol["outcomes"].items():
        places = [f"  {line}" for line in order.order_lines(found["order"], sobol["most_points"])]
        if found["order"]["futures_that_would_settle"] is not None:
            places[-1] += " (riskcalc rank --until settled)"
        lines += ["", say("what decides the {outcome}", outcome=order.OUTCOMES[outcome]), *places, ""]
        lines += _index_lines(found["factors"], "share of its spread")
        lines += [*_index_lines(found["families"], "by family"), *_index_notes(found["factors"])]
    if figures["agreement"] is not None:
        lines += ["", *order.agreement_lines(figures["agreement"])]
    lines += [
        "",
        "expected worth near the low end (10 %) and the high end (90 %) of each input, all else still uncertain",
    ]
    cells = [effects.effect_cells(row, currency) for row in effects.clear_effects(figures["range_effects"])]
    lines += [f"  {name}: {low} to {high}, {change}" for name, low, high, change in cells[: order.MOST_ROWS]]
    lines += [] if cells else ["  no effect exceeds its error"]
    lines += ["", *_odds_lines(figures["odds_ranking"])]
    lines += ["", *_information_lines(figures["value_of_information"], currency)]
    lines += ["", *_break_even_lines(figures["break_even"], currency)]
    lines += ["", *_claim_lines(figures)] if figures["claims"] else []
    return plain([*lines, *question_lines(figures)])


def _index_lines(rows: Sequence[Figures], title: str) -> list[str]:
    # The first three in any case, of the others those that round to 1 % at least.
    shown = [
        row for place, row in enumerate(rows[: order.MOST_ROWS]) if place < 3 or row["total_order"]["value"] >= 0.005
    ]
    width = max(len(title), *(len(row["label"]) for row in shown))
    lines = [f"  {title:<{width}}  {'alone':>20}  {'with interactions':>20}"]
    for row in shown:
        alone, total = (order.interval_text(row[name]) for name in ("first_order", "total_order"))
        lines.append(f"  {capital(row['label']):<{width}}  {alone:>20}  {total:>20}")
    left = rows[len(shown) :]
    if not left:
        return lines
    most = percent(max(0.0, left[0]["total_order"]["value"]))
    message = "  and {count} more, each below 1 %" if most.startswith("<") else "  and {count} more, none above {most}"
    return [*lines, say(message, count=len(left), most=most)]


def _index_notes(rows: Sequence[Figures]) -> Iterator[str]:
    yield "  in brackets: 95 % intervals"
    yield "  an interaction counts for each input in it, so the last column can add up to more than 100 %"
    if any(row[name]["value"] < -0.005 for row in rows for name in ("first_order", "total_order")):
        yield "  a share below 0 is only chance: few futures were run"


def _odds_lines(found: Figures) -> Iterator[str]:
    message = "what moves the odds of payback within {years} ({odds})"
    yield say(message, years=whole_years(found["within_years"]), odds=percent(found["odds"]))
    yield "  odds near the low and the high end of the input"
    yield "  in brackets: how far, on average, the odds of ten groups sorted by it lie from the overall odds"
    if found["too_rare_for_shares"]:
        rare = found["rare_below"]
        message = "  no shares of variance: odds outside {low} to {high} rest on too few futures"
        yield say(message, low=percent(rare), high=percent(1 - rare))
    strong = [row for row in found["factors"] if row["odds_gap"] > found["gap_of_no_effect"]]
    for row in strong[: order.MOST_ROWS]:
        # Chances of several kinds together have no low and high end.
        chance = row["factor"].startswith("luck.") and row["factor"] != "luck.prices"
        ends = (
            "by chance" if chance else f"{percent(row['odds_at_10_percent'])} to {percent(row['odds_at_90_percent'])}"
        )
        yield f"  {capital(row['label'])}: {ends} ({100 * row['odds_gap']:.0f} points)"
    least = f"{100 * found['gap_of_no_effect']:.0f}"
    yield (
        say("  less than {least} points may be chance and is left out", least=least)
        if strong
        else "  nothing exceeds chance"
    )


def _information_lines(found: Figures, currency: str) -> list[str]:
    amount = money(found["everything"], currency, with_error=True)
    lines = [say("what research before buying is worth: knowing everything {amount}", amount=amount)]
    cells = findout.information_cells(found, currency)
    lines += [f"  {name}: {worth}" for name, worth in cells]
    return lines if cells else [*lines, "  no single input: none would change the decision often enough"]


def _break_even_lines(rows: Sequence[Figures], currency: str) -> Iterator[str]:
    for statement in dict.fromkeys(row["statement"] for row in rows):
        own = [row for row in rows if row["statement"] == statement]
        yield say("{title}, everything else still uncertain", title=findout.break_even_title(own))
        found = [row for row in own if row["value"] is not None and row["settled"]]
        for row in found:
            yield f"  {capital(row['label'])}: {findout.break_even_value(row, currency, with_error=True)}"
        left = len(own) - len(found)
        if left:
            yield counted(
                "  no clear plausible value for {count} input", "  no clear plausible value for {count} inputs", left
            )


def _claim_lines(figures: Figures) -> Iterator[str]:
    yield "claims"
    for row in figures["claims"]:
        said = findout.claim_words(row, figures["currency"], figures["horizon_years"])
        yield say("  {verdict} {claim}", verdict=said["verdict"], claim=row["sentence"])
        if said["change"]:
            yield f"    {said['change']}"
