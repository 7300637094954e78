"""When it pays back: the odds of having paid back by each year, within the headline's years or stay."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np

from riskcalc.pages.exhibit import Block, chart
from riskcalc.pages.figures import (
    complement,
    error_of,
    estimate,
    not_within,
    number,
    percent,
    say,
    value_of,
    whole_years,
    years,
    years_range,
)
from riskcalc.pages.grammar import alt
from riskcalc.pages.look import PAPER, WIDE, finished, layered, rows, upright_title, years_axis
from riskcalc.types import Figures, Floats

#: Odds of payback that, below one half, still round to about half: the page then says "just under half". Our own choice.
NEARLY = 0.48
#: Room for the bar of futures that do not pay back, with its words [px].
NEVER_ROOM = 84


def headline_years(figures: Figures) -> int:
    """Return the N of "pays back within N years" that the page, the screen and the dots speak of."""
    only, odds = figures.get("page", {}), figures.get("odds_ranking", {})
    return int(only.get("headline_years") or odds.get("within_years") or figures["horizon_years"])


def headline_stay(figures: Figures) -> Figures | None:
    """Return the figures of the stay where the headline is about it, None where it is about a number of years."""
    stay = figures.get("stay")
    # A result.json of an earlier version has the stay without its years.
    known = stay is not None and "paid_back_by_year" in stay
    return stay if known and figures["headline"]["within_stay"] else None


def counts_later_homes(figures: Figures) -> bool:
    """Return whether the odds to the horizon count homes that the headline, which ends at the first move, leaves out."""
    stay = headline_stay(figures)
    return stay is not None and "taken_along" in stay["ends"]


def paid_share(figures: Figures) -> dict[str, Any]:
    """Return the share of futures paid back within the headline's years or stay (first crossing, money of the day)."""
    stay = headline_stay(figures)
    row = stay["paid_back"] if stay else figures["paid_back_within_years"][headline_years(figures) - 1]
    return estimate(row["value"], row["standard_error"])


def headline_shares(figures: Figures) -> Floats:
    """Return the shares paid back by the end of each year of the headline, and of their own stay if it is about that."""
    stay = headline_stay(figures)
    rows_ = stay["paid_back_by_year"] if stay else figures["paid_back_within_years"][: headline_years(figures)]
    return np.array([row["value"] for row in rows_])


def by_stay(figures: Figures) -> bool:
    """Return whether the dots are about the stay alone: the household moves, and the kit does not go along."""
    return headline_stay(figures) is not None and not counts_later_homes(figures)


def dot_shares(figures: Figures) -> tuple[Floats, Floats | None]:
    """Return what the dots show by year: shares paid back, and which of them before the first move if the kit goes along."""
    if not counts_later_homes(figures):
        return headline_shares(figures), None
    rows_ = figures["paid_back_within_years"][: headline_years(figures)]
    return np.array([row["value"] for row in rows_]), headline_shares(figures)


def beyond_words(figures: Figures) -> str:
    """Return what is said of the futures that do not pay back within the headline's years, or before you leave the kit."""
    return say("not before you move out") if by_stay(figures) else not_within(headline_years(figures))


def odds_block(figures: Figures) -> Block:
    """Return the odds of having paid back by each year."""
    horizon, payback = figures["horizon_years"], figures["payback_years"]
    by_year, later = figures["paid_back_within_years"], figures["discounted_paid_back_within_years"]
    cells = [
        (str(row["years"]), percent(row, with_error=True), percent(share, se=row["standard_error"] or 0.0))
        for row, share in zip(by_year, later, strict=True)
    ]
    never, never_later = payback["never_share"], figures["discounted_payback_years"]["never_share"]
    cells.append((not_within(horizon), percent(never, with_error=True), percent(never_later)))
    title = odds_title(figures)
    reading = say(
        "Above each year: the share of futures that have paid back by then. The shaded band shows how far chance may shift "
        "the line. The bar at the right: the futures that do not pay back within {years}.",
        years=whole_years(horizon),
    )
    later_homes = say("Later homes count here.") if counts_later_homes(figures) else ""
    return chart(
        figures,
        "odds",
        partial(odds_chart, figures),
        title=title,
        reading=f"{reading} {later_homes}".strip(),
        alternative=say("{title}. A line of the share of futures paid back by year.", title=title),
        legend=(
            ("paid line", "paid back"),
            ("quiet dashed", "paid back, interest counted"),
            ("never", not_within(horizon)),
        ),
        table=(("by year", "paid back", "interest counted"), cells),
        columns={
            "year": [row["years"] for row in by_year],
            "share_paid_back": [row["value"] for row in by_year],
            "standard_error": [np.nan if row["standard_error"] is None else row["standard_error"] for row in by_year],
            "share_paid_back_discounted": later,
        },
    )


def when_finding(figures: Figures) -> str:
    """Return between which years the middle half of the futures pays back, or how few pay back at all."""
    payback, horizon = figures["payback_years"], figures["horizon_years"]
    low, high = payback["p25"], payback["p75"]
    if not value_of(figures["net_present_value"]["sd"]):
        if low["value"] is None:
            return say("It does not pay back within {years}", years=whole_years(horizon))
        return say("It pays back within {years}", years=years(low, horizon=horizon))
    if low["value"] is None:
        return say("Fewer than one future in four pays back within {years}", years=whole_years(horizon))
    if high["value"] is None:
        return say(
            "One future in four pays back within {years}; the others take longer or do not",
            years=years(low, horizon=horizon),
        )
    return say(
        "The middle half of the futures pays back in {low} to {high}",
        low=number(low["value"], se=error_of(low), most_decimals=1),
        high=years(high, horizon=horizon),
    )


def odds_title(figures: Figures) -> str:
    """Return by when half have paid back, and the share that does not."""
    horizon, payback = figures["horizon_years"], figures["payback_years"]
    never, half = payback["never_share"], payback["p50"]
    if half["value"] is None and 1.0 - value_of(never) >= NEARLY:
        return say("Just under half of the futures pay back within {years}", years=whole_years(horizon))
    if half["value"] is None:
        return say(
            "Fewer than half of the futures pay back: {share} do not within {years}",
            share=percent(never),
            years=whole_years(horizon),
        )
    middle = years(half, horizon=horizon)
    if not never["value"]:
        return say("Half of the futures pay back within {middle}, and all do in the end", middle=middle)
    return say(
        "Half of the futures pay back within {middle}; {share} do not within {years}",
        middle=middle,
        share=percent(never),
        years=whole_years(horizon),
    )


def when_words(figures: Figures) -> list[str]:
    """Return the detail of when it pays back: quantiles with their intervals, headline odds, payback that lasts."""
    horizon, payback = figures["horizon_years"], figures["payback_years"]
    said: list[str] = []
    if not value_of(figures["net_present_value"]["sd"]):
        return said
    for level, message in (
        ("p5", "The best 5 % of futures pay back within {years}."),
        ("p25", "A quarter of the futures pay back within {years}."),
        ("p50", "Half of the futures pay back within {years}."),
        ("p75", "Three quarters of the futures pay back within {years}."),
    ):
        if payback[level]["value"] is not None:
            said.append(say(message, years=years(payback[level], horizon=horizon, with_error=True)))
            between = years_range(payback[level], horizon=horizon)
            if between and payback[level].get("standard_error") is None:
                said.append(
                    say("That is rough. The true figure may lie anywhere in this range: {between}.", between=between)
                )
    if payback["p50"]["value"] is None:
        between = years_range(payback["p50"], horizon=horizon)
        said.append(
            say("Half: {between}.", between=between)
            if between
            else say("Fewer than half of the futures ever pay back.")
        )
    said.append(
        say(
            "Within {years}, {share} of futures pay back; {never} do not.",
            years=whole_years(horizon),
            share=percent(complement(payback["never_share"]), with_error=True),
            never=percent(payback["never_share"]),
        )
    )
    if figures.get("page", {}).get("lasting_differs"):
        lasting = complement(figures["lasting_payback_years"]["never_share"])
        said.append(
            say(
                "A later replacement can push the balance below zero again. In {share} of futures it stays paid back.",
                share=percent(lasting, with_error=True),
            )
        )
    return said


def odds_chart(figures: Figures, *, width: int) -> alt.TopLevelMixin:
    """Return the cumulative odds, simple and discounted, the band of two standard errors, and the bar of the rest."""
    by_year = figures["paid_back_within_years"]
    when = np.array([0, *(row["years"] for row in by_year)])
    share = np.array([0.0, *(row["value"] for row in by_year)])
    spread = 2 * np.array([0.0, *(row["standard_error"] or 0.0 for row in by_year)])
    last = int(when[-1])
    # Room at the right for the bar and its words, in pixels whatever the horizon.
    plot_width = width - 60
    per_year = (plot_width - NEVER_ROOM) / last
    bar_left, bar_right = last + 16 / per_year, last + 36 / per_year
    end = last + NEVER_ROOM / per_year
    x = years_axis(last, pixels=per_year * last, title="years after the purchase", domain_end=end)
    y = alt.Y(
        "share:Q",
        scale=alt.Scale(domain=[0, 1]),
        axis=alt.Axis(
            format=".0%", values=[0, 0.25, 0.5, 0.75, 1], **upright_title("share of futures paid back by then")
        ),
    )
    band = (
        alt.Chart(rows(year=when, low=np.clip(share - spread, 0, 1), high=np.clip(share + spread, 0, 1)))
        .mark_area(color=PAPER["paid"], opacity=0.22)
        .encode(x=x, y=alt.Y("low:Q"), y2=alt.Y2("high:Q"))
    )
    simple = alt.Chart(rows(year=when, share=share)).mark_line(color=PAPER["paid"], strokeWidth=2.5).encode(x=x, y=y)
    discounted = (
        alt.Chart(rows(year=when, share=np.array([0.0, *figures["discounted_paid_back_within_years"]])))
        .mark_line(color=PAPER["quiet"], strokeWidth=1.8, strokeDash=[5, 4])
        .encode(x=x, y=y)
    )
    reached = float(share[-1])
    never = (
        alt.Chart(rows(left=[bar_left], right=[bar_right], low=[reached], high=[1.0]))
        .mark_rect(color=PAPER["never"])
        .encode(x=alt.X("left:Q"), x2=alt.X2("right:Q"), y=alt.Y("low:Q"), y2=alt.Y2("high:Q"))
    )
    said = [percent(figures["payback_years"]["never_share"]), say("do not")]
    text = alt.Chart(rows(year=[bar_right], share=[(1 + reached) / 2])).mark_text(
        align="left", dx=6, baseline="middle", color=PAPER["never"], fontWeight="bold", text=said, lineHeight=15
    )
    layers = [band, discounted, simple]
    if reached < 1:
        layers += [never, text.encode(x=x, y=y)]
    return finished(layered(*layers), width=plot_width, height=300 if width >= WIDE else 240)
