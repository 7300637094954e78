"""The first screen says what the figures say, also where they are extreme."""

from __future__ import annotations

from typing import Any

import pytest

from riskcalc.pages.exhibits import answer
from riskcalc.pages.exhibits.boxes import check_words
from riskcalc.pages.exhibits.more import paying_words, worth_words
from riskcalc.pages.exhibits.payback import headline_years, odds_title, paid_share, when_words
from riskcalc.pages.figures import PLAIN, estimate
from riskcalc.pages.page import assess_page
from riskcalc.pages.screen import summary_lines


def plain(text: str) -> str:
    """Return text with ordinary blanks."""
    return text.translate(PLAIN)


def with_odds(figures: dict[str, Any], paid: float, gains: float | None = None) -> dict[str, Any]:
    """Return the figures with that share paid back, evenly over the years, and that share ending above zero."""
    years = figures["horizon_years"]
    for row in figures["paid_back_within_years"]:
        row["value"] = paid * row["years"] / years
    figures["payback_years"]["never_share"] = estimate(1 - paid, 0.01)
    gains = paid if gains is None else gains
    figures["net_present_value"] |= {
        "loss_probability": estimate(1 - gains, 0.01),
        "gain_probability": estimate(gains, 0.01),
    }
    return figures


@pytest.mark.parametrize(
    ("paid", "gains", "verdict"),
    [
        (0.97, 0.96, "yes"),
        (0.97, 0.7, "probably"),
        (0.61, 0.6, "probably"),
        (0.8, 0.5, "toss-up"),
        (0.5, 0.5, "toss-up"),
        (0.39, 0.3, "probably not"),
        (0.02, 0.03, "no"),
        (0.0, 0.0, "no"),
    ],
)
def test_the_verdict_needs_both_payback_and_gain(
    example: dict[str, Any], paid: float, gains: float, verdict: str
) -> None:
    """Yes only where payback and a worth above zero are both likely, no only where neither is."""
    assert answer.verdict(with_odds(example, paid, gains)) == verdict


def test_the_verdict_is_one_sentence_with_one_figure(example: dict[str, Any]) -> None:
    """How often the kit beats savings; none and all with their number; no plus-minus on the first screen."""
    for paid, gains, said in (
        (0.97, 0.96, "Worth buying: the kit beats a savings account in 96 % of futures."),
        (0.97, 0.7, "Probably worth buying: the kit beats a savings account in 70 % of futures."),
        (1.0, 1.0, "Worth buying: the kit beats a savings account in all 512 futures."),
        (0.55, 0.45, "Could go either way: the kit beats a savings account in 45 % of futures."),
        (0.8, 0.5, "Hard to say: the kit often pays for itself, yet beats a savings account in only 50 % of futures."),
        (
            0.2,
            0.8,
            "Hard to say: the kit beats a savings account in 80 % of futures, but often does not pay for itself within 6 years.",
        ),
        (0.39, 0.3, "Probably not worth buying: the kit beats a savings account in only 30 % of futures."),
        (0.0, 0.0, "Not worth buying: the kit beats a savings account in 0 of 512 futures."),
    ):
        assert plain(answer.verdict_words(with_odds(example, paid, gains))) == said


def test_where_permission_may_be_refused_the_verdict_counts_all_futures(example: dict[str, Any]) -> None:
    """Where 1 future in 10 buys nothing, the kit beats a savings account in what neither loses nor is refused."""
    figures = with_odds(example, 0.3, 0.38)
    figures["net_present_value"]["gain_probability"] = estimate(0.28, 0.01)
    assert (
        plain(answer.verdict_words(figures))
        == "Probably not worth buying: the kit beats a savings account in only 28 % of futures."
    )


def test_why_it_pays_back_more_often_than_it_beats_savings_is_said(example: dict[str, Any]) -> None:
    """Payback counts no interest, the verdict does; nothing is explained where it beats savings more often."""
    harder = "Beating a savings account is harder, because savings earn interest."
    assert list(map(plain, answer.reasons(with_odds(example, 0.8, 0.5)))) == [
        "If you buy it, it pays for itself within 6 years in 80 % of futures.",
        harder,
    ]
    assert list(map(plain, answer.reasons(with_odds(example, 0.0, 0.2)))) == [
        "If you buy it, it pays for itself within 6 years in 0 of 512 futures."
    ]


def test_headline_dots_and_summary_follow_the_years_asked_for(example: dict[str, Any]) -> None:
    """With `odds_within_years` of 3, sentence, dots and screen speak of 3 years and of their odds."""
    example["page"]["headline_years"] = 3
    assert headline_years(example) == 3
    assert paid_share(example)["value"] == example["paid_back_within_years"][2]["value"]
    assert "within 3 years" in plain(answer.answer_words(example))
    page = plain(assess_page({**example, "page": {**example["page"], "weeks": []}}))
    assert (
        "pays for itself within 3 years"
        in page[page.index('id="futures-chart"') : page.index('id="futures-chart"') + 200]
    )
    lines = summary_lines(example)
    assert any(line.startswith("paid back within 3 years") for line in lines)
    assert any(line.strip().startswith("not within 3 years") for line in lines)
    assert not any(line.strip().startswith("year 4 ") for line in lines)


def test_what_was_asked_names_kit_home_and_outlay(example: dict[str, Any]) -> None:
    """The outlay is the purchase of result.json, over the futures in which something is bought."""
    example["worth_by_kind"]["purchase"] = estimate(-150.0, 0.0)
    example["bought_share"] = estimate(0.5, 0.0)
    said = plain(answer.asked_words(example))
    assert (
        said
        == "Kit: Small unit (invented). Home: Two rooms (invented). Cost with installation: €300. Time looked at: 6 years."
    )
    assert "paid on the day of purchase: €300 (kit and installation)" in summary_lines(example)


def test_costs_and_gains_in_the_middle_future_and_a_bad_one(example: dict[str, Any]) -> None:
    """Gains and losses are amounts in words; the average and the middle payback stand in the second part."""
    example["net_present_value"] |= {
        "mean": estimate(95.0, 1.0),
        "p50": estimate(84.0, 1.0),
        "p5": estimate(-61.0, 1.0),
    }
    example["payback_years"] |= {"p50": estimate(2.5, 0.01)}
    rows = {plain(name): (plain(figure), plain(below)) for name, figure, below in answer.key_figures(example)}
    assert list(rows) == [
        "Paid on the day of purchase",
        "Saved in the first year",
        "In the middle future, after 6 years",
        "In a bad future",
    ]
    assert rows["In the middle future, after 6 years"] == (
        "€84 better off",
        "than with a savings account; half of the futures turn out better than this one, half worse",
    )
    assert rows["In a bad future"] == (
        "€61 worse off",
        "than with a savings account; only 5 futures in 100 turn out worse than this one",
    )
    assert "€95 better off than a savings account" in plain(worth_words(example)[0])
    # Better on average and seldom better: the box agrees with the verdict, not with the average.
    example["net_present_value"] |= {"p50": estimate(-20.0, 1.0), "loss_probability": estimate(0.6, 0.01)}
    assert [plain(figure) for name, figure, _ in answer.key_figures(example) if name.startswith("In the middle")] == [
        "€20 worse off"
    ]
    assert plain(paying_words(example)[1]) == "Half of the futures have earned it back within 2.5 years."


def test_the_one_thing_to_check_is_the_most_decisive_that_can_be_checked(example: dict[str, Any]) -> None:
    """Nobody can check the luck of prices; the next in the ranking is named with its share."""
    row = {"effect": estimate(1.0, 0.1), "label": "price of the kit", "share_of_variance": estimate(0.5, 0.01)}
    example["ranking"] = [
        row | {"key": "luck.prices"},
        row | {"key": "purchase.price", "share_of_variance": estimate(0.31, 0.01)},
    ]
    assert answer.check_first(example) == "Get a written quote for the kit, with installation and every extra."
    assert plain(check_words(example)[0]) == (
        "Get a written quote for the kit, with installation and every extra. Price of the kit decides 31 % of the difference "
        "between good and bad futures."
    )
    example["ranking"] = []
    assert answer.ranked_check(example) == ""
    assert answer.check_first(example) == "Get a written quote for the kit, with installation and every extra."
    assert check_words(example)[1].startswith("Ask how long the warranty on the electronics")
    example["bought_share"] = estimate(0.8, 0.01)
    assert plain(answer.check_first(example)) == ("Get permission in writing, for example from the landlord.")


def test_an_average_far_from_the_middle_says_why(example: dict[str, Any]) -> None:
    """Of a range of 1000, 60 above the middle is far, 40 is not."""
    worth = example["net_present_value"]
    worth |= {"p5": estimate(-400.0, 1.0), "p50": estimate(0.0, 1.0), "p95": estimate(600.0, 1.0)}
    for mean, said in ((60.0, "A few very good futures lift"), (-60.0, "A few very bad futures pull")):
        worth["mean"] = estimate(mean, 1.0)
        assert said in answer.worth_in_brief(example)
    worth["mean"] = estimate(40.0, 1.0)
    assert "A few" not in answer.worth_in_brief(example)


def test_off_grid_nobody_is_asked_for_a_bill_or_a_contract(example: dict[str, Any]) -> None:
    """Where no supplier sends a bill, use is listed and the cost of a kWh is worked out."""
    example["page"]["coupling"] = "off_grid"
    row = {"effect": estimate(1.0, 0.1), "label": "x", "share_of_variance": estimate(0.5, 0.01)}
    for key, said in (
        ("home.annual_use_kwh", "List the appliances"),
        ("tariff.rates.fuel.import_price_per_kwh", "Work out what"),
    ):
        example["ranking"] = [row | {"key": key}]
        assert answer.check_first(example).startswith(said)
    example["page"]["coupling"] = "sockets"
    assert answer.check_first(example).startswith("Read the prices per kWh from your own contract.")


def test_everything_fixed_is_said_without_odds(example: dict[str, Any]) -> None:
    """With one future only there is no talk of frequencies or averages."""
    worth = example["net_present_value"]
    worth |= {"sd": estimate(0.0, 0.0), "mean": estimate(210.0, 0.0), "p50": estimate(210.0, 0.0)}
    example["payback_years"] |= {"p50": estimate(4.44, 0.0), "never_share": estimate(0.0, 0.0)}
    assert (
        plain(answer.verdict_words(example)) == "Yes: with every input fixed, the kit pays for itself within 4.4 years."
    )
    assert (
        plain(answer.worth_in_brief(example))
        == "Over 6 years it leaves you €210 better off than a savings account would, in today's money."
    )
    assert when_words(example) == []


def test_five_sentences_to_read_aloud(example: dict[str, Any]) -> None:
    """Five of them, and the same in Markdown under the title."""
    lines = answer.brief_lines(example)
    assert len(lines) == 5
    text = answer.brief_markdown(example)
    assert text.startswith("## A flat in the south\n")
    assert all(line in text for line in lines)
    assert "local codes come first" in text


def test_the_five_sentences_hold_both_kinds_of_refusal(example: dict[str, Any]) -> None:
    """A permission refused in a fifth of the futures, and a string that must not be connected, are read aloud too."""
    example["bought_share"] = estimate(0.8, 0.01)
    example["electrical_fit"][0] |= {"verdict": "refused", "advice": "2 in series would fit"}
    for said in (plain("\n".join(answer.brief_lines(example))), plain(answer.brief_markdown(example))):
        assert "In 20 % of futures permission is refused, so you buy nothing: ask before you buy." in said
        assert (
            said.index("Do not connect this as described.")
            < said.index("2 in series would fit")
            < said.index("savings")
        )


def test_a_middle_future_at_even_odds_is_not_said_to_fail(example: dict[str, Any]) -> None:
    """With 49.8 % paid back the odds read 50 %: the middle future says about half, not that it does not pay back."""
    for paid, said, title in (
        (
            0.498,
            "Just under half of the futures have earned it back within 6 years.",
            "Just under half of the futures pay back",
        ),
        (
            0.42,
            "Fewer than half of the futures earn it back within 6 years.",
            "Fewer than half of the futures pay back: 58 %",
        ),
    ):
        example["payback_years"] |= {"p50": estimate(None), "never_share": estimate(1 - paid, 0.001)}
        assert plain(paying_words(example)[1]) == said
        assert plain(odds_title(example)).startswith(title)


def test_a_refused_fit_is_said_above_the_answer(example: dict[str, Any]) -> None:
    """A string that must not be connected is no line lost further down."""
    example["electrical_fit"][0] |= {"verdict": "refused", "advice": "2 in series would fit"}
    example["page"]["weeks"] = []
    page = assess_page(example)
    assert page.index("Do not connect this as described") < page.index('class="opening"')


def test_unusual_inputs_are_asked_about_near_the_answer(example: dict[str, Any]) -> None:
    """Each question names the key, what was given and the usual range, right behind the answer."""
    usual = {"usual": "0.2 to 5 kWh", "effect": "the saving grows", "source": "x"}
    example["questions"] = [{"key": "kit.battery.capacity_kwh", "given": "384 kWh"} | usual]
    example["page"]["weeks"] = []
    page = assess_page(example)
    assert " is 384 kWh. Usual: 0.2 to 5 kWh. The saving grows." in page
    assert "kit.battery.capacity_kwh is 384" not in page
    assert page.index('id="answer"') < page.index('id="right"') < page.index('id="when"')
    assert any("Usual: 0.2 to 5 kWh" in line for line in summary_lines(example))


def test_a_median_without_an_error_has_its_interval(example: dict[str, Any]) -> None:
    """A quantile whose standard error is not known is printed with its interval, which may have no upper end."""
    example["payback_years"]["p50"] = {"value": 5.5, "standard_error": None, "interval_95": [4.25, None]}
    said = plain(" ".join(when_words(example)))
    assert "Half of the futures pay back within 5.5 years." in said
    assert "The true figure may lie anywhere in this range: from 4.2 years to not within 6 years" in said
