"""One choice against another: the difference of their worth, and where one dominates."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from riskcalc.pages.exhibit import Block, items, table, words
from riskcalc.pages.exhibits.options import choices, first_word, in_sentence, letters, titles
from riskcalc.pages.figures import money, percent, say, significant
from riskcalc.types import Figures

#: What dominance of each order means to the buyer.
ORDER_WORDS = {
    0: "{better} is at least as good as {worse} in every future, and better in some.",
    1: "For any target amount, {better} is at least as likely as {worse} to reach it.",
    2: "Anyone who dislikes risk (is risk-averse) would choose {better} over {worse}.",
}


def dominance_words(row: Figures, called: Mapping[str, str]) -> str:
    """Return what dominance says about a pair, empty where neither dominates."""
    if row["dominating"] is None:
        return ""
    worse = row["second"] if row["dominating"] == row["first"] else row["first"]
    better, worse = (in_sentence(called.get(name, name)) for name in (row["dominating"], worse))
    return say(ORDER_WORDS[row["dominance_order"]], better=better, worse=worse)


def pairs_finding(result: Figures) -> str:
    """Return how often the best choice on average is ahead of the next."""
    first, *others = choices(result)
    if not others:
        return ""
    names = {first["option"], others[0]["option"]}
    pair = next(row for row in result["pairs"] if {row["first"], row["second"]} == names)
    return say(
        "{first} is ahead of {second} in {share} of the futures",
        first=first_word(in_sentence(titles(result)[pair["first"]])),
        second=in_sentence(titles(result)[pair["second"]]),
        share=percent(pair["first_better_share"]),
    )


def pair_blocks(result: Figures) -> Iterator[Block]:
    """Yield the differences of worth of every pair, where one dominates, and how precise they are."""
    called, currency = letters(result), result["currency"]
    yield words("Difference of worth in each future. The range holds nine futures in ten.", "reading")
    if result.get("compared"):
        names = [f"{row['letter']}: {row['title']}" for row in result["compared"]]
        yield words(f"{'; '.join(names)}.", "reading")
    cells = [pair_cells(row, called, currency) for row in result["pairs"]]
    yield table("Differences of worth", ("difference", "average", "nine in ten", "first ahead in"), cells, stacked=True)
    dominated = [said for row in result["pairs"] if (said := dominance_words(row, titles(result)))]
    if dominated:
        yield words("Where one is better throughout", "h3")
        yield items(tuple(first_word(said) for said in dominated))
        yield words("This holds for the futures drawn. With others, a near tie may turn out differently.", "small")
    gains = [
        say(
            "{first} against {second}: {gain} times as precise",
            first=called[row["first"]],
            second=called[row["second"]],
            gain=significant(row["gain_of_common_draws"], 2),
        )
        for row in result["pairs"]
        if row["gain_of_common_draws"] is not None
    ]
    if gains:
        message = "Comparing two choices in the same futures makes the difference between them more precise. {gains}."
        yield words(say(message, gains="; ".join(gains)), "small")


def pair_cells(row: Figures, called: Mapping[str, str], currency: str) -> tuple[str, ...]:
    """Return a pair of choices as text: names, mean difference, its range, how often the first is ahead."""
    difference = row["difference"]
    low, high = (money(difference[name], currency) for name in ("p5", "p95"))
    return (
        say("{first} less {second}", first=called[row["first"]], second=called[row["second"]]),
        money(difference["mean"], currency, with_error=True),
        say("{low} to {high}", low=low, high=high),
        percent(row["first_better_share"], with_error=True),
    )
