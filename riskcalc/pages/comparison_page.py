"""The page of a comparison, from the figures of its result.json and the curves behind them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import altair as alt
import numpy as np
from numpy.typing import NDArray

from riskcalc.pages import comparison_words as words
from riskcalc.pages.cautions import cautions_of_all
from riskcalc.pages.charts.options import best_chart, line_colour, spread_chart, stay_chart
from riskcalc.pages.comparison_words import Row, choices, figure
from riskcalc.pages.document import html_document
from riskcalc.pages.exhibit import Exhibit, exhibit
from riskcalc.pages.rounding import money, money_estimate, percent_estimate, significant, years

Floats = NDArray[np.float64]
UNKNOWN = float("nan")


@dataclass(frozen=True)
class StayLines:
    """Average worth of each option by length of stay, (options, stays); `letters` mark the lines."""

    letters: tuple[str, ...]
    names: tuple[str, ...]
    stays: tuple[int, ...]
    worth: Floats


@dataclass(frozen=True)
class ComparisonPage:
    """What the page shows.

    `result` is the content of result.json.
    """

    title: str
    command: str
    result: Mapping[str, Any]
    stay: StayLines | None
    cautions: tuple[str, ...]


def comparison_page(figures: Mapping[str, Any]) -> ComparisonPage:
    """Return everything the page shows, from `answers.compare.page_dict`."""
    only = figures["page"]
    stay = only["stay"]
    lines = None
    if stay is not None:
        lines = StayLines(tuple(stay["letters"]), tuple(stay["titles"]), tuple(stay["stays"]), stay["mean_worth"])
    return ComparisonPage(
        title=listed([row["title"] for row in figures["compared"]]),
        command=only["command"],
        result=figures,
        stay=lines,
        cautions=cautions_of_all(only["traits"]),
    )


def listed(names: Sequence[str]) -> str:
    """Return names as a choice: "a or b", "a, b or c"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def comparison_html(page: ComparisonPage) -> str:
    """Return the whole page as one HTML document without a reference to anything outside it."""
    result = page.result
    called = words.titles(result)
    crossings = [row for row in result["length_of_stay"] if row["second"] != "do nothing"]
    return html_document(
        "comparison.html.j2",
        page=page,
        result=result,
        opening=words.opening(result),
        margin=words.margin(result),
        risk=words.risk_words(result),
        regret=words.regret_words(result),
        best=best_exhibit(result),
        spread=spread_exhibit(result),
        stay=None if page.stay is None else stay_exhibit(page.stay, crossings, called, currency=result["currency"]),
        stay_words=[words.stay_words(row, called) for row in result["length_of_stay"]],
        pair_rows=[pair_cells(row, words.letters(result), result["currency"]) for row in result["pairs"]],
        dominance=[said for row in result["pairs"] if (said := words.dominance_words(row, called))],
        gains=[
            gain_words(row, words.letters(result)) for row in result["pairs"] if row["gain_of_common_draws"] is not None
        ],
        same=[row for row in result["options"] if row["same_as"] is not None],
        called=called,
    )


def best_figure(result: Row, *, width: int) -> alt.TopLevelMixin:
    """Return the chart of how often each choice is the best."""
    shown = choices(result)
    return best_chart(names_of(shown, result), [figure(row["best_share"]) for row in shown], width=width)


def spread_figure(result: Row, *, width: int, most: int | None = None) -> alt.TopLevelMixin:
    """Return the chart of the spread of worth of each choice, of the `most` best ones if there are more."""
    shown = choices(result)[:most]
    worths = [row["net_present_value"] for row in shown]
    levels = np.array([[worth[name]["value"] for name in ("p5", "p25", "p75", "p95")] for worth in worths])
    means = np.array([worth["mean"]["value"] for worth in worths])
    names = names_of(shown, result)
    return spread_chart(names, levels, means, currency=result["currency"], width=width)


def names_of(shown: Sequence[Row], result: Row) -> list[str]:
    """Return how choices are called in drawings and tables."""
    labels = words.labels(result)
    return [labels[row["option"]] for row in shown]


def best_exhibit(result: Row) -> Exhibit:
    """Return how often each choice is the best, and what choosing it gives up."""
    shown = choices(result)
    names = names_of(shown, result)
    shares = [figure(row["best_share"]) for row in shown]
    currency = result["currency"]
    cells = [
        (
            name,
            percent_estimate(figure(row["best_share"]), with_error=True),
            money_estimate(figure(row["expected_regret"]), currency, with_error=True),
        )
        for name, row in zip(names, shown, strict=True)
    ]
    return exhibit(
        "best",
        lambda width: best_figure(result, width=width),
        title=words.best_title(result),
        reading="Share of futures in which the choice is worth more than every other; the line is two standard errors "
        "either way. Choices that tie share the future.",
        alternative=f"{words.best_title(result)}. Bars of the share of futures in which each choice is best.",
        table=(("choice", "best in", "given up on average"), cells),
        columns={
            "choice": names,
            "share_best": [figure.value for figure in shares],
            "standard_error": [figure.se for figure in shares],
            "expected_regret": [row["expected_regret"]["value"] for row in shown],
        },
        small=True,
    )


def spread_exhibit(result: Row, *, key: str = "spread", most: int | None = None) -> Exhibit:
    """Return the spread of worth of each choice, of the `most` best ones if there are more."""
    shown = choices(result)[:most]
    names, currency = names_of(shown, result), result["currency"]
    worths = [row["net_present_value"] for row in shown]
    levels = np.array([[worth[name]["value"] for name in ("p5", "p25", "p75", "p95")] for worth in worths])
    means = np.array([worth["mean"]["value"] for worth in worths])
    cells = [
        (
            name,
            money_estimate(figure(worth["mean"]), currency, with_error=True),
            money_estimate(figure(worth["p5"]), currency),
            money_estimate(figure(worth["p95"]), currency),
            percent_estimate(figure(worth["loss_probability"])),
            percent_estimate(figure(row["paid_back_share"])) if "paid_back_share" in row else "–",
            years(figure(row["payback_years"]["p50"])) if "payback_years" in row else "–",
        )
        for name, row, worth in zip(names, shown, worths, strict=True)
    ]
    header = ("choice", "average", "1 in 20 is below", "1 in 20 is above", "lose money", "pay back", "half by")
    return exhibit(
        key,
        lambda width: spread_figure(result, width=width, most=most),
        title=words.spread_title(result),
        reading="Net present value against doing nothing under the tariff of today. Thin: nine futures in ten; thick: "
        "the middle half; dot: the average.",
        alternative=f"{words.spread_title(result)}. For each choice the range of its net present value.",
        table=(header, cells),
        columns={
            "choice": names,
            "mean": means,
            **{name: levels[:, index] for index, name in enumerate(("p5", "p25", "p75", "p95"))},
        },
    )


def stay_exhibit(lines: StayLines, crossings: Sequence[Row], called: Mapping[str, str], *, currency: str) -> Exhibit:
    """Return average worth by length of stay."""
    row = crossings[0] if crossings else None
    crossing = None if row is None else row["break_even_years"]["value"]
    title = words.stay_words(row, called).rstrip(".") if row is not None else "A longer stay is worth more"
    if row is None and bool((lines.worth[:, -1] < lines.worth[:, 0]).all()):
        title = "A longer stay is worth less"
    cells = [
        (str(stay), *(money(float(value), currency, se=UNKNOWN) for value in column))
        for stay, column in zip(lines.stays, lines.worth.T, strict=True)
    ]
    return exhibit(
        "stay",
        lambda width: stay_chart(
            lines.letters,
            np.array(lines.stays, dtype=np.float64),
            lines.worth,
            crossing=crossing,
            currency=currency,
            width=width,
        ),
        title=title,
        reading="Average net present value if the household moves once, after so many years; at the right end it never "
        "moves within the horizon. What a move does to the kit is what each option says.",
        alternative=f"{title}. A line of average worth against length of stay for each option.",
        table=(("years", *lines.letters), cells),
        legend=[
            (f"{line_colour(place)} line", f"{letter}: {name}")
            for place, (letter, name) in enumerate(zip(lines.letters, lines.names, strict=True))
        ],
        columns={"years": lines.stays, **dict(zip(lines.names, lines.worth, strict=True))},
    )


def pair_cells(row: Row, called: Mapping[str, str], currency: str) -> tuple[str, ...]:
    """Return a pair of choices as text: names, mean difference, its range, how often the first is ahead."""
    difference = row["difference"]
    low, high = (money_estimate(figure(difference[name]), currency) for name in ("p5", "p95"))
    return (
        f"{called[row['first']]} less {called[row['second']]}",
        money_estimate(figure(difference["mean"]), currency, with_error=True),
        f"{low} to {high}",
        percent_estimate(figure(row["first_better_share"]), with_error=True),
    )


def gain_words(row: Row, called: Mapping[str, str]) -> str:
    """Return how much sharper the difference is for being taken on common draws."""
    gain = row["gain_of_common_draws"]
    return f"{called[row['first']]} less {called[row['second']]}: {significant(gain, 2)} times"
