"""What the purchase is worth: the distribution of net present value, what it is made of, and the usual measures."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any, Literal

import numpy as np

from riskcalc.language import translated
from riskcalc.pages.exhibit import Block, chart, table, words
from riskcalc.pages.figures import capital, estimate, in_unit, money, percent, say, value_of, whole_years
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, WIDE, finished, layered, rows, upright_title
from riskcalc.types import Figures

#: What each kind of flow is called; a kind that is not named here is shown under its own name.
KINDS = {
    "purchase": "Purchase and installation",
    "incentive": "Incentive",
    "loan": "Loan: received less repaid",
    "saving": "Savings on the bill",
    "outages": "Outages bridged",
    "upkeep": "Upkeep",
    "replacement": "Replacements",
    "moving": "Moving",
    "sale": "Sale at a move",
    "resale": "Resale value at the end",
    "disposal": "Disposal",
}
MEASURES = (
    ("internal_rate_of_return", "Internal rate of return", "share/year"),
    ("adjusted_internal_rate_of_return", "Adjusted internal rate of return", "share/year"),
    ("savings_to_investment_ratio", "Savings-to-investment ratio", ""),
    ("annual_equivalent", "Annual equivalent of the worth", "money"),
    ("cost_per_kwh_delivered", "Cost of a kWh delivered", "money"),
    ("largest_cumulative_shortfall", "Largest cumulative shortfall", "money"),
)


def outlay(figures: Figures) -> dict[str, Any]:
    """Return what is paid on the day of purchase, on average over the futures in which something is bought."""
    bought, purchase = value_of(figures["bought_share"]), figures["worth_by_kind"]["purchase"]
    return estimate(-purchase["value"] / bought if bought else 0.0, purchase["standard_error"])


def first_saving(figures: Figures) -> dict[str, Any]:
    """Return what is saved in the first year, on average over the futures in which something is bought."""
    bought, saving = value_of(figures["bought_share"]), figures["first_year"]["saving"]
    return estimate(saving["value"] / bought if bought else 0.0, saving["standard_error"])


def worth_block(figures: Figures) -> Block:
    """Return the distribution of net present value."""
    worth, currency, bins = figures["net_present_value"], figures["currency"], figures["worth_histogram"]
    lines = {
        "mean": "average",
        "sd": "standard deviation",
        "p5": "1 in 20 is below",
        "p25": "1 in 4 is below",
        "p50": "middle",
        "p75": "1 in 4 is above",
        "p95": "1 in 20 is above",
        "mean_of_worst_5_percent": "average of the worst 5 %",
    }
    cells = [(say(said), money(worth[name], currency, with_error=True)) for name, said in lines.items()]
    cells.append(
        (say("futures in which savings would bring more"), percent(worth["loss_probability"], with_error=True))
    )
    refused = 1.0 - value_of(figures["bought_share"])
    title = worth_title(figures)
    reading = say(
        "Net present value: all the purchase brings less all it costs, with later money discounted to the day of "
        "purchase. The height of a bar is the share of futures in it."
    )
    if figures.get("page", {}).get("ends_gathered"):
        reading += " " + say("The outermost bars also hold everything beyond them.")
    return chart(
        figures,
        "worth",
        partial(worth_chart, figures),
        title=title,
        reading=reading,
        alternative=say(
            "{title}. Bars of net present value: {mean} on average, nine in ten from {low} to {high}.",
            title=title,
            mean=money(worth["mean"], currency),
            low=money(worth["p5"], currency),
            high=money(worth["p95"], currency),
        ),
        legend=(
            *(("never", "savings would bring more"), ("paid", "the kit brings more")),
            *([("quiet", "permission refused, nothing bought")] if refused > 0.0 else []),
        ),
        table=(("net present value", "figure"), cells),
        columns={"from": bins["edges"][:-1], "to": bins["edges"][1:], "share_of_futures": bins["share"]},
    )


def worth_title(figures: Figures) -> str:
    """Return in how many futures savings would bring more than the kit."""
    loss = figures["net_present_value"]["loss_probability"]
    if not loss["value"]:
        return say("In no future would savings bring more than the kit")
    return say("In {share} of futures savings would bring more than the kit", share=percent(loss))


def money_finding(figures: Figures) -> str:
    """Return where nine futures in ten end, or where all do."""
    worth, currency = figures["net_present_value"], figures["currency"]
    if not value_of(worth["sd"]):
        return say("Its net present value is {mean} in every future", mean=money(worth["mean"], currency))
    low, high = (money(worth[name], currency) for name in ("p5", "p95"))
    return say("Nine futures in ten end between {low} and {high}", low=low, high=high)


def worth_words(figures: Figures) -> list[str]:
    """Return the detail of what it is worth: average and range, losses, the worst of them, with standard errors."""
    worth, currency = figures["net_present_value"], figures["currency"]
    if not value_of(worth["sd"]):
        return [say("Its net present value is {mean}.", mean=money(worth["mean"], currency))]
    return [
        say("On average its net present value is {mean}.", mean=money(worth["mean"], currency, with_error=True)),
        say(
            "Savings would bring more in {share} of the futures.",
            share=percent(worth["loss_probability"], with_error=True),
        ),
        say(
            "The worst 5 % average {worst}.",
            worst=money(worth["mean_of_worst_5_percent"], currency, with_error=True),
        ),
        *warranty_words(figures),
    ]


def warranty_words(figures: Figures) -> list[str]:
    """Return what a longer warranty is worth, where anything fails that it would cover."""
    longer = figures.get("longer_warranty")
    if not longer:
        return []
    return [
        say(
            "{years} more of warranty would be worth {worth} on average: repairs not paid, and savings not lost to a failure. It "
            "helps in {share} of the futures.",
            years=whole_years(round(longer["years"])),
            worth=money(longer["worth"], figures["currency"], with_error=True),
            share=percent(longer["helps_share"]),
        )
    ]


def made_of(figures: Figures) -> Iterator[Block]:
    """Yield the table of what the worth is made of; every kind of flow has its row, so the rows sum to the average."""
    currency, kinds = figures["currency"], figures["worth_by_kind"]
    order = [*(kind for kind in KINDS if kind in kinds), *(kind for kind in kinds if kind not in KINDS)]
    cells = [
        (translated(KINDS.get(kind, capital(kind.replace("_", " ")))), money(kinds[kind], currency))
        for kind in order
        if kinds[kind]["value"]
    ]
    if not cells:
        return
    cells.append((say("Net present value"), money(figures["net_present_value"]["mean"], currency)))
    yield words("What the net present value is made of", "h3")
    yield words(
        "Present value of each kind of flow, average over the futures. The rows add up to the last one.", "reading"
    )
    yield table("What the net present value is made of", ("kind", "average"), cells)


def investment(figures: Figures) -> Iterator[Block]:
    """Yield the measures that investors use."""
    measures, currency = figures.get("measures") or {}, figures["currency"]
    levels = ("p5", "p50", "p95")
    cells = [
        (say(said), *(in_unit(measures[name][level], unit, currency) for level in levels))
        for name, said, unit in MEASURES
        if name in measures and any(measures[name][level]["value"] for level in levels)
    ]
    if not cells:
        return
    unclear = (measures.get("internal_rate_of_return") or {}).get("ambiguous_share") or {}
    note = say("Only futures in which something is bought count. Loans are left out.")
    if unclear.get("value"):
        note += " " + say("In some futures, costs and gains alternate: these have no single internal rate of return.")
    yield words("As an investment", "h3")
    yield words(note, "reading")
    yield table("As an investment", ("measure", "1 in 20 below", "middle future", "1 in 20 above"), cells)


def worth_chart(figures: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return the histogram of net present value, losses and gains told apart, with the average marked."""
    edges = np.array(figures["worth_histogram"]["edges"])
    share, refused = np.array(figures["worth_histogram"]["share"]), 1.0 - value_of(figures["bought_share"])
    left, right = edges[:-1], edges[1:]
    x = alt.X(
        "left:Q",
        scale=alt.Scale(domain=[float(left[0]), float(right[-1])], nice=False),
        axis=alt.Axis(
            title=say("net present value in {currency}, money of today", currency=figures["currency"]),
            format=",.0f",
            tickCount=width // 90,
            titleAnchor="start",
            labelFlush=True,
        ),
    )
    y_axis = alt.Axis(format=".0%", tickCount=4, **upright_title("share of futures"))
    # A bin that straddles zero is cut there, its height kept, so that the colours say exactly what is lost.
    # Where nothing is bought the worth is exactly 0, which is neither: a bar of its own, taken out of its bin.
    at_zero = int(np.clip(np.searchsorted(edges, 0.0, side="right") - 1, 0, len(share) - 1))
    shares = share - refused * (np.arange(len(share)) == at_zero)
    parts = [(a, b, s) for a, b, s in zip(left, right, shares, strict=True) if s > 1e-12]
    cut = [piece for a, b, s in parts for piece in (((a, 0.0, s), (0.0, b, s)) if a < 0 < b else ((a, b, s),))]
    data = rows(
        left=[a for a, _, _ in cut],
        right=[b for _, b, _ in cut],
        share=[s for _, _, s in cut],
        side=["loss" if b <= 0 else "gain" for _, b, _ in cut],
    )
    colours = alt.Scale(domain=["loss", "gain"], range=[PAPER["never"], PAPER["paid"]])
    ground = {"x2": alt.X2("right:Q"), "y": alt.Y("share:Q", axis=y_axis), "y2": alt.Y2Datum(0)}
    bars = (
        alt.Chart(data)
        .mark_rect(stroke=PAPER["paper"], strokeWidth=0.6)
        .encode(x=x, color=alt.Color("side:N", legend=None, scale=colours), **ground)
    )
    narrow = 0.2 * float(right[0] - left[0])
    bar = (
        alt.Chart(rows(left=[-narrow], right=[narrow], share=[refused]))
        .mark_rect(color=PAPER["quiet"], stroke=PAPER["paper"], strokeWidth=0.6)
        .encode(x=x, **ground)
    )
    top, mean = float(max(shares.max(), refused)), value_of(figures["net_present_value"]["mean"])
    mark = alt.Chart(rows(left=[mean])).mark_rule(color=PAPER["ink"], strokeWidth=1.6, strokeDash=[4, 3]).encode(x=x)
    side: Literal["left", "right"] = "left" if mean < (left[0] + right[-1]) / 2 else "right"
    text = (
        alt.Chart(rows(left=[mean], share=[top]))
        .mark_text(align=side, dx=6 if side == "left" else -6, dy=-8, baseline="bottom", text=say("average"))
        .encode(x=x, y=alt.Y("share:Q"))
    )
    layers = [bars, bar, mark, text] if refused > 0.0 else [bars, mark, text]
    return finished(layered(*layers), width=width - 56, height=220 if width >= WIDE else 190)
