"""The exhibits of money and odds: each chart with its words and its table."""

from __future__ import annotations

import numpy as np

from riskcalc.pages import findings
from riskcalc.pages.charts.futures import dots_per_year, futures_chart
from riskcalc.pages.charts.money import cash_chart, worth_chart
from riskcalc.pages.charts.odds import odds_chart
from riskcalc.pages.charts.ranking import share_chart, swing_chart, swings
from riskcalc.pages.data import ReportData
from riskcalc.pages.exhibit import Exhibit, exhibit
from riskcalc.pages.labels import capital
from riskcalc.pages.rounding import money, money_estimate, percent, percent_estimate, with_unit
from riskcalc.uncertainty.quantity import counted

UNKNOWN = float("nan")


def futures_exhibit(report: ReportData) -> Exhibit:
    """Return the hundred futures."""
    dots = dots_per_year(report.payback)
    names = [f"year {year}" for year in report.payback.years] + [
        f"never within {counted(report.horizon_years, 'year')}"
    ]
    return exhibit(
        "futures",
        lambda width: futures_chart(report.payback, width=min(width, 400)),
        title=findings.futures_title(report),
        reading=f"Each dot is one future in a hundred ({report.provenance.draws:,} were drawn).",
        alternative=f"{findings.futures_title(report)}. A dot for each future in a hundred, over the year in which it "
        "has paid for itself; those that never do stand apart at the right.",
        table=(("pays back in", "of 100 futures"), [(name, str(many)) for name, many in zip(names, dots, strict=True)]),
        columns={"year": [*map(int, report.payback.years), "never"], "futures_in_100": [*map(int, dots)]},
        small=True,
    )


def odds_exhibit(report: ReportData) -> Exhibit:
    """Return the odds of having paid back by each year."""
    payback = report.payback
    shares = zip(payback.years, payback.share_within, payback.share_within_se, payback.discounted_within, strict=True)
    cells = [(str(year), percent(share, se=se), percent(later, se=se)) for year, share, se, later in shares]
    never = (percent_estimate(payback.never_share), percent_estimate(payback.discounted_never_share))
    cells.append((f"never within {report.horizon_years}", *never))
    return exhibit(
        "odds",
        lambda width: odds_chart(payback, width=width),
        title=findings.odds_title(report),
        reading="Read upwards from a year: the share of futures that have paid it back by then. The band is "
        "two standard errors either way. The bar at the right holds the futures that never do within the horizon.",
        alternative=f"{findings.odds_title(report)}. Line of the share of futures paid back by year.",
        legend=(
            ("paid line", "paid back"),
            ("quiet dashed", "paid back with later money discounted"),
            ("never", "never"),
        ),
        table=(("by year", "paid back", "with discounting"), cells),
        columns={
            "year": [int(year) for year in payback.years],
            "share_paid_back": payback.share_within,
            "standard_error": payback.share_within_se,
            "share_paid_back_discounted": payback.discounted_within,
        },
    )


def cash_exhibit(report: ReportData) -> Exhibit:
    """Return the balance over the years."""
    fan, currency = report.cash, report.currency
    cells = [
        (str(year), *(money(value, currency, se=UNKNOWN) for value in column), percent(above))
        for year, column, above in zip(fan.years, fan.cash.T, fan.share_above_zero, strict=True)
    ]
    names = ("5 %", "25 %", "50 %", "75 %", "95 %")
    refused = (
        f" In {percent(fan.refused_share)} of them permission is refused and nothing is bought: these stay at zero, and "
        "the last column of the table leaves them out."
        if fan.refused_share > 0.0
        else ""
    )
    return exhibit(
        "cash",
        lambda width: cash_chart(fan, currency=currency, width=width),
        title=findings.cash_title(report),
        reading="The purchase, then savings less costs, added up year by year. The dark band holds the middle half of "
        f"the futures, the light band nine in ten, each year taken by itself.{refused}",
        alternative=f"{findings.cash_title(report)}. Bands of the balance against years; it starts at "
        f"{money(float(fan.cash[2, 0]), currency, se=UNKNOWN)} on the day of purchase.",
        table=(("year", *(f"{name} are below" for name in names), "at or above zero"), cells),
        columns={
            "year": [int(year) for year in fan.years],
            **{f"balance_p{name.removesuffix(' %')}": row for name, row in zip(names, fan.cash, strict=True)},
            "share_above_zero": fan.share_above_zero,
        },
    )


def worth_exhibit(report: ReportData) -> Exhibit:
    """Return the distribution of net present value."""
    worth, currency = report.worth, report.currency
    lines = [
        ("average", worth.mean),
        ("standard deviation", worth.sd),
        ("1 in 20 is below", worth.p5),
        ("1 in 4 is below", worth.p25),
        ("middle", worth.p50),
        ("1 in 4 is above", worth.p75),
        ("1 in 20 is above", worth.p95),
        ("average of the worst twentieth", worth.mean_of_worst_5_percent),
    ]
    cells = [(name, money_estimate(figure, currency, with_error=True)) for name, figure in lines]
    cells.append(("share of futures that lose money", percent_estimate(worth.loss_probability, with_error=True)))
    gathered = " The outermost bars also hold everything beyond them." if worth.ends_gathered else ""
    return exhibit(
        "worth",
        lambda width: worth_chart(worth, currency=currency, width=width),
        title=findings.worth_title(report),
        reading="Net present value: all the purchase brings less all it costs, later money discounted to that day. "
        f"The height of a bar is the share of futures in it.{gathered}",
        alternative=f"{findings.worth_title(report)}. Histogram of net present value, average "
        f"{money_estimate(worth.mean, currency)}, nine in ten between {money_estimate(worth.p5, currency)} and "
        f"{money_estimate(worth.p95, currency)}.",
        legend=(
            *(("never", "loses money"), ("paid", "gains money")),
            *([("quiet", "refused, nothing bought")] if worth.refused_share > 0.0 else []),
        ),
        table=(("net present value", "figure"), cells),
        columns={"from": worth.bin_edges[:-1], "to": worth.bin_edges[1:], "share_of_futures": worth.bin_share},
    )


def ranking_exhibits(report: ReportData) -> tuple[Exhibit, ...]:
    """Return what decides it: shares of variance, then swings; empty where nothing varies."""
    ranking = report.ranking
    if not ranking:
        return ()
    share = exhibit(
        "share",
        lambda width: share_chart(ranking, width=width),
        title=findings.share_title(report),
        reading="Share of the variance in worth that would go away if this one thing were known; the line is two "
        f"standard errors either way.{findings.ties_words(report)}",
        alternative=f"{findings.share_title(report)}. Bars of shares of the variance of worth, largest first.",
        table=(
            ("what", "family", "share of the variance"),
            [(capital(row.label), row.family, percent_estimate(row.share, with_error=True)) for row in ranking],
        ),
        columns={
            "key": [row.key for row in ranking],
            "label": [row.label for row in ranking],
            "family": [row.family for row in ranking],
            "share_of_variance": [_or_nan(row.share.value) for row in ranking],
            "standard_error": [row.share.se for row in ranking],
        },
        small=True,
    )
    return (share, _swing_exhibit(report)) if swings(ranking) else (share,)


def _swing_exhibit(report: ReportData) -> Exhibit:
    """Return the worth at the low and high end of each input."""
    currency = report.currency
    moving = swings(report.ranking)
    rows = [swing.row for swing in moving]
    low_ends = [_or_nan(row.input_p10) for row in rows]
    high_ends = [_or_nan(row.input_p90) for row in rows]
    cells = [
        (
            capital(swing.row.label),
            with_unit(low_end, swing.row.unit) if np.isfinite(low_end) else "low end",
            money_estimate(swing.low, currency),
            with_unit(high_end, swing.row.unit) if np.isfinite(high_end) else "high end",
            money_estimate(swing.high, currency),
        )
        for swing, low_end, high_end in zip(moving, low_ends, high_ends, strict=True)
    ]
    return exhibit(
        "swing",
        lambda width: swing_chart(report.ranking, currency=currency, width=width),
        title=findings.swing_title(report),
        reading="Average worth with the input at its low end (hollow: one future in ten is lower) and at its high end "
        "(full), everything else drawn.",
        alternative=f"{findings.swing_title(report)}. For each input, the average worth at its low and high end.",
        table=(("what", "low end", "worth there", "high end", "worth there"), cells),
        columns={
            "key": [row.key for row in rows],
            "label": [row.label for row in rows],
            "low_end": low_ends,
            "worth_at_low_end": [_or_nan(swing.low.value) for swing in moving],
            "high_end": high_ends,
            "worth_at_high_end": [_or_nan(swing.high.value) for swing in moving],
        },
        small=True,
    )


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value
