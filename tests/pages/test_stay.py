"""Payback every way a household asks, days without power, and refused permission: what page and screen say of them.

Expected shares are counted here from the draws of the assessment.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
import pytest

from riskcalc.answers.page_dict import page_dict, whole_result
from riskcalc.pages.exhibits.answer import answer_words, reasons, verdict_words
from riskcalc.pages.exhibits.futures import dots_per_year, early_dots
from riskcalc.pages.exhibits.payback import dot_shares, headline_shares
from riskcalc.pages.exhibits.stay import ends_table, sale_brief
from riskcalc.pages.exhibits.worth import first_saving, outlay
from riskcalc.pages.figures import PLAIN
from riskcalc.pages.page import assess_page
from riskcalc.pages.screen import summary_lines
from riskcalc.study.model import Assessment, assessment

UNCERTAIN = (
    'home.annual_use_kwh={distribution="uniform", low=1500, high=2500}',
    'purchase.price={distribution="uniform", low=150, high=500}',
    "study.draws=128",
    "study.scrambles=4",
    "study.horizon_years=8",
    "study.step_minutes=30",
)
MOVES = ('tenure.kind="rent"', 'tenure.stay_years={distribution="uniform", low=2, high=6}')


def told(read_small: Any, *changes: str) -> tuple[Assessment, dict[str, Any], str, str]:
    """Return an assessment, the figures of its page, and page and screen as plain text."""
    found = assessment(read_small(*UNCERTAIN, *changes))
    figures = page_dict(found, figures=whole_result(found), command="riskcalc assess small.toml")
    texts = (assess_page(figures), "\n".join(summary_lines(figures)))
    page, screen = (" ".join(text.replace("&#39;", "'").translate(PLAIN).split()) for text in texts)
    return found, figures, page, screen


def percent(share: float) -> str:
    """Return a share as page and screen round it."""
    return f"{round(100 * share)} %"


def test_a_tenant_reads_the_odds_within_the_stay(read_small: Any) -> None:
    """Stays of 2 to 6 years: the odds by the first move, how long stays last, and in how many futures the kit goes along."""
    found, figures, page, screen = told(read_small, *MOVES, "tenure.new_home_sun_chance=0.5")
    stay = np.maximum(1.0, np.floor(found.values["tenure.stay_years"] + 0.5))
    paid = (found.valuation.payback_years <= stay).mean()
    assert 0.05 < paid < 0.95
    ever = np.isfinite(found.valuation.payback_years).mean()
    assert ever > paid + 0.1
    for text in (page, screen):
        assert "In half of the futures you move within 4 years." in text
        assert (
            "If you buy it and take it with you when you move, it pays for itself within 8 years in "
            f"{percent(ever)} of futures." in text
        )
    table = ends_table(figures)
    assert table is not None
    along = ("you take it along", "100 %", percent(paid))
    assert [tuple(cell.translate(PLAIN) for cell in row) for row in table.value["cells"]] == [along]
    assert f"By the first move, the kit has paid back in {percent(paid)} of futures." in page
    assert f"In {round(100 * ever)} of 100 futures the kit pays for itself within 8 years" in page
    assert "paid back, but only after you move" in page
    assert f"paid back before you move out: {percent(paid)}" in screen
    assert f"paid back within 8 years: {percent(ever)}" in screen
    assert "not within 8 years" in screen


def test_dots_of_the_stay_stand_over_their_year_of_payback(read_small: Any) -> None:
    """The hundred dots count what pays back in each year before the first move; the rest is apart."""
    found, figures, _, _ = told(read_small, *MOVES)
    stay = np.maximum(1.0, np.floor(found.values["tenure.stay_years"] + 0.5))
    payback = found.valuation.payback_years
    wanted = [((payback <= stay) & (payback <= year)).mean() for year in range(1, 9)]
    assert headline_shares(figures).tolist() == pytest.approx(wanted)
    assert wanted[-1] == pytest.approx((payback <= stay).mean())
    assert wanted[-1] < np.isfinite(payback).mean()


def test_asked_years_rule_headline_summary_and_dots(read_small: Any) -> None:
    """With `study.odds_within_years` verdict, dots and bars speak of those years, and the stay stands below."""
    found, figures, page, screen = told(read_small, *MOVES, "study.odds_within_years=3")
    paid = (found.valuation.payback_years <= 3).mean()
    stay = np.maximum(1.0, np.floor(found.values["tenure.stay_years"] + 0.5))
    before = (found.valuation.payback_years <= stay).mean()
    for text in (page, screen):
        assert f"pays for itself within 3 years in {percent(paid)} of futures." in text
        assert "before you move out" not in text
        assert f"By the first move, the kit has paid back in {percent(before)} of futures." in text
    assert headline_shares(figures).tolist() == pytest.approx(
        [(found.valuation.payback_years <= year).mean() for year in (1, 2, 3)]
    )
    assert f"paid back within 3 years: {percent(paid)}" in screen
    assert "not within 3 years" in screen


def test_who_moves_after_the_horizon_reads_of_the_horizon(read_small: Any) -> None:
    """A stay of at least nine years over a horizon of eight: the headline is about eight years."""
    _, _, page, screen = told(read_small, 'tenure.kind="rent"', "tenure.stay_years=9")
    for text in (page, screen):
        assert "pays for itself within 8 years in" in text
        assert "before you move out" not in text


@pytest.mark.parametrize(("paid", "said"), [(1.0, "Yes: with every input fixed"), (0.0, "No: with every input fixed")])
def test_a_certain_future_is_judged_within_its_stay(read_small: Any, paid: float, said: str) -> None:
    """Every future the same: paid back before the move or not, though by the horizon it is in any case."""
    _, figures, _, _ = told(read_small, *MOVES)
    figures["net_present_value"]["sd"]["value"] = 0.0
    figures["payback_years"]["p50"] = {"value": 3.0, "standard_error": 0.0}
    figures["stay"]["paid_back"] = {"value": paid, "standard_error": 0.0}
    assert verdict_words(figures).startswith(said)


@pytest.mark.parametrize(
    ("paid", "loss", "said"),
    [
        (
            0.2,
            0.2,
            "Hard to say: the kit beats a savings account in 80 % of futures, but often does not pay for itself before you",
        ),
        (0.2, 0.8, "Probably not worth buying: the kit beats a savings account in only 20 % of futures."),
        (
            0.8,
            0.7,
            "Rather not worth buying: the kit often pays for itself, yet beats a savings account in only 30 % of futures.",
        ),
        (0.8, 0.5, "Hard to say: the kit often pays for itself, yet beats a savings account in only 50 % of futures."),
        (0.8, 0.2, "Probably worth buying: the kit beats a savings account in 80 % of futures."),
    ],
)
def test_the_verdict_weighs_the_stay_against_the_worth(read_small: Any, paid: float, loss: float, said: str) -> None:
    """Few pay back within the stay, most gain in the end: hard to say, and why; where both agree there is none."""
    _, figures, _, _ = told(read_small, *MOVES)
    figures["stay"]["paid_back"] = {"value": paid, "standard_error": 0.01}
    for name, share in (("loss_probability", loss), ("gain_probability", 1 - loss)):
        figures["net_present_value"][name] = {"value": share, "standard_error": 0.01}
    assert verdict_words(figures).translate(PLAIN).startswith(said)


def test_reasons_and_dots_of_a_kit_that_goes_along_count_later_homes(read_small: Any) -> None:
    """Why and picture state one share, that within the years looked at; the dots tell apart what pays back before a move."""
    found, figures, _, _ = told(read_small, *MOVES)
    payback = found.valuation.payback_years
    within, early = dot_shares(figures)
    assert within.tolist() == pytest.approx([(payback <= year).mean() for year in range(1, 9)])
    assert early is not None
    assert (early <= within).all()
    dots = dots_per_year(within)
    assert 0 < early_dots(early, dots).sum() < dots[:-1].sum()
    assert (early_dots(early, dots) <= dots[:-1]).all()
    figures["paid_back_within_years"][-1]["value"] = 0.7
    figures["net_present_value"]["gain_probability"] = {"value": 0.3, "standard_error": 0.01}
    along, harder = (text.translate(PLAIN) for text in reasons(figures))
    assert along == (
        "If you buy it and take it with you when you move, it pays for itself within 8 years in 70 % of futures."
    )
    assert harder.startswith("Beating a savings account is harder")


def test_what_a_kit_adds_to_the_home_is_said_once(read_small: Any) -> None:
    """A kit left with the home: where the odds by the move and by the horizon round alike they are not said twice."""
    _, figures, _, _ = told(read_small, *MOVES, 'tenure.at_move="leave"', "tenure.resale_share=0.6")
    for name, share in (("paid_back_with_sale_within_years", 0.76), ("paid_back_within_years", 0.6)):
        figures.setdefault(name, [dict(row) for row in figures["paid_back_within_years"]])[-1]["value"] = share
    figures["stay"] |= {
        "paid_back_with_sale": {"value": 0.761, "standard_error": 0.01},
        "paid_back": {"value": 0.601, "standard_error": 0.01},
    }
    assert sale_brief(figures).translate(PLAIN) == (
        "Counting what the kit adds to the price of the home, it pays back in 76 % of futures; without that, in "
        "60 %. Gains and losses count this money; the odds that it pays for itself, given first, do not."
    )


@pytest.mark.parametrize(("at_move", "said"), [("sell", "you sell it"), ("leave", "you leave it with the home")])
def test_what_becomes_of_the_kit_at_the_move_is_said(read_small: Any, at_move: str, said: str) -> None:
    """Sold or left at the first move, in every future that moves."""
    _, figures, page, _ = told(read_small, *MOVES, f'tenure.at_move="{at_move}"', "tenure.resale_share=0.6")
    table = ends_table(figures)
    assert table is not None
    assert [row[:2] for row in table.value["cells"]] == [(said, "100\u202f%")]
    assert said in page
    assert "works on in the next home" not in page
    paid = percent(figures["stay"]["paid_back"]["value"])
    assert (
        f"If you buy it, then in {paid} of futures it pays for itself within 8 years and before you move out." in page
    )


def test_what_becomes_of_the_kit_is_a_row_each(read_small: Any) -> None:
    """Where the kit may be broken or stay, each has its row; rounded parts are not added up to a rounded whole."""
    _, figures, _, _ = told(read_small, 'tenure={kind="rent", stay_years={distribution="uniform", low=2, high=16}}')
    table = ends_table(figures)
    assert table is not None
    assert len(table.value["cells"]) == len(figures["stay"]["ends"]) > 1


def test_a_sale_is_told_beside_the_payback_without_it(read_small: Any) -> None:
    """A kit that is sold at the move: odds with and without what the sale brings."""
    found, _, page, screen = told(read_small, *MOVES, 'tenure.at_move="sell"', "tenure.resale_share=0.6")
    money = found.valuation
    with_sale, without = (np.isfinite(years).mean() for years in (money.payback_with_sale_years, money.payback_years))
    assert with_sale > without + 0.1
    stay = np.maximum(1.0, np.floor(found.values["tenure.stay_years"] + 0.5))
    in_stay, before = ((years <= stay).mean() for years in (money.payback_with_sale_years, money.payback_years))
    # Every household moves within the horizon, so nothing pays back later and the two pairs of odds are one.
    assert (in_stay, before) == (with_sale, without)
    said = (
        f"Counting what a sale at a move brings, it pays back in {percent(in_stay)} of futures; without that, in "
        f"{percent(before)}. Gains and losses count this money; the odds that it pays for itself, given first, do not."
    )
    assert said in page
    assert said in screen


def test_a_loan_is_told_both_ways(read_small: Any) -> None:
    """Half of the price borrowed at 12 %: payback of the household's own money, and as if paid in cash."""
    loan = "purchase.loan={financed_share=0.5, rate_per_year=0.12, term_years=8}"
    found, _, page, screen = told(read_small, loan)
    borrowed, cash = (
        np.isfinite(years).mean() for years in (found.valuation.payback_years, found.valuation.payback_in_cash_years)
    )
    assert borrowed < cash
    for text in (page, screen):
        assert f"Counted in the household's own money, {percent(borrowed)} of futures pay back within 8 years" in text
        assert f"If paid in cash, {percent(cash)} would" in text


def test_who_neither_moves_nor_borrows_reads_none_of_it(read_small: Any) -> None:
    """No stay, no sale, no loan: no such sentence."""
    _, _, page, screen = told(read_small)
    for text in (page, screen):
        for words in ("first moves", "sale at a move", "borrowed", "short of power"):
            assert words not in text


def test_days_without_power_stand_on_the_first_screen(read_small_without: Any) -> None:
    """Off grid: days of the first year on which some demand is not met, on page and screen."""
    off_grid = ('kit.coupling="off_grid"', "home.annual_use_kwh=600")
    found, figures, page, screen = told(partial(read_small_without, ("kit.charger", "dispatch")), *off_grid)
    days = round(float(found.simulation.short_days[0].mean()))
    assert 0 < days < 365
    assert any(f"{days} days" in text.translate(PLAIN) for text in reasons(figures))
    for text in (page, screen):
        assert f"on {days} days a year the kit cannot supply everything you want to run." in text


def test_the_answer_names_the_days_short_of_power(read_small_without: Any) -> None:
    """Off grid: their number is the last reason; a kit that always carries everything has no such sentence."""
    off_grid = ('kit.coupling="off_grid"', "home.annual_use_kwh=600")
    _, figures, _, _ = told(partial(read_small_without, ("kit.charger", "dispatch")), *off_grid)
    first = figures["loss_of_load"]["first_year"]["days_share"]
    for days, said in (
        (
            104,
            "One drawback: on 104 days a year the kit cannot supply everything you want to run.",
        ),
        (
            1,
            "One drawback: on 1 day a year the kit cannot supply everything you want to run.",
        ),
    ):
        first["value"] = days / 365
        assert said in answer_words(figures)
    first["value"] = 0.0
    assert "cannot supply" not in answer_words(figures)


def test_outlay_and_saving_are_those_of_futures_that_buy(read_small: Any) -> None:
    """A quarter refused: what is paid and saved on the first screen is the mean over the others."""
    found, figures, page, _ = told(read_small, 'tenure={kind="rent", permission_refused_chance=0.25}')
    bought = found.simulation.course.bought
    assert bought.mean() == 0.75
    assert outlay(figures)["value"] == pytest.approx(found.values["purchase.price"][bought].mean())
    saving = found.valuation.saving[0][bought]
    assert first_saving(figures)["value"] == pytest.approx(saving.mean())
    assert figures["first_year_p10_p90"]["saving"] == pytest.approx(np.quantile(saving, [0.1, 0.9]))
    assert "In 25 % of futures permission is refused, so you buy nothing: ask before you buy." in page
