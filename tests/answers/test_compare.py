"""Options on common draws: what must hold whatever the figures are, and figures worked out by hand."""

import json
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest

from riskcalc.answers.compare import best_shares, draw_table, page_dict, pair, pairs, regrets, result, value_of_knowing
from riskcalc.answers.options import comparison
from riskcalc.errors import InputError
from riskcalc.pages.exhibits.options import paid_words
from riskcalc.pages.figures import PLAIN
from riskcalc.pages.page import compare_page
from riskcalc.pages.screen import comparison_lines
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment
from riskcalc.uncertainty.summary import estimate, mean

SCENARIOS = Path(__file__).parents[2] / "scenarios"

UNCERTAIN = (
    'home.annual_use_kwh={distribution="uniform", low=1500, high=2500}',
    'kit.inverter.idle_w={distribution="uniform", low=5, high=20}',
    'purchase.price={distribution="uniform", low=200, high=900}',
    "prices.spread=0.04",
    "study.pool_years=4",
    "study.scrambles=4",
)
#: The tariff of the small scenario without its night rate, as text that replaces the table.
FLAT = "[tariff.rates.day]\nimport_price_per_kwh = 0.27\n\n[prices]"


@pytest.fixture
def small(small_file):
    """Return a function that reads the uncertain small scenario under a name, with changes."""
    return lambda name, *changes: read_scenario(small_file, (*UNCERTAIN, f'name="{name}"', *changes))


@pytest.fixture
def flat(small_file):
    """Return a function that reads the small home under a flat tariff, with or without the kit."""

    def read(name, *changes, kit=True):
        text = small_file.read_text()
        start, end = text.index("[tariff.rates.day]"), text.index("[prices]")
        text = text[:start] + FLAT + text[end + len("[prices]") :]
        text = text.replace('charge_at = ["night"]', "")
        if not kit:
            text = text[: text.index("[kit]")] + text[text.index("[study]") :]
        path = small_file.with_name(f"{name}.toml")
        path.write_text(text)
        return read_scenario(path, (*(UNCERTAIN if kit else (UNCERTAIN[0], *UNCERTAIN[3:])), *changes))

    return read


def by_name(found):
    """Return the options under their names."""
    return {option.name: option for option in found.options}


def test_an_option_less_itself_is_exactly_nothing(small):
    """The same scenario twice: worth agrees to the last bit in every draw, and the two share every future evenly."""
    found = by_name(comparison([small("a"), small("a")]))
    assert np.array_equal(found["a"].worth - found["a (2)"].worth, np.zeros(16))
    worth = np.stack([found["a"].worth, found["a (2)"].worth])
    assert np.array_equal(best_shares(worth), np.full((2, 16), 0.5))
    alone = pair("a", "a (2)", *worth, scrambles=4)
    assert alone.difference["mean"].value == 0.0
    assert alone.dominating is None


def test_the_order_of_options_changes_no_figure(small):
    """All orders of three options, one under a study of its own, give the same figures and the same draws."""
    options = [small("a"), small("b", "kit.battery.extra_batteries=1"), small("c", "study.seed=7", "study.draws=8")]
    told = set()
    for order in permutations(options):
        found = comparison(order)
        columns, rows = draw_table(found)
        figures = result(found)
        lettered = [(row["letter"], row["option"]) for row in figures.pop("compared")]
        assert lettered == list(zip("ABC", [option.name for option in order], strict=True))
        figures.pop("differing")  # its columns stand in the order of the letters
        told.add(json.dumps([figures, columns, list(rows)]))
    assert len(told) == 1


def test_worth_is_that_of_the_scenario_alone_where_the_inputs_are_the_same(small):
    """Two options with the same uncertain keys are drawn as each would be by itself."""
    one, two = small("a"), small("b", "kit.battery.extra_batteries=1")
    found = by_name(comparison([one, two]))
    assert np.array_equal(found["a"].worth, assessment(one).valuation.net_present_value)
    assert np.array_equal(found["b"].worth, assessment(two).valuation.net_present_value)


def test_best_shares_and_regret_by_hand():
    """Two choices in four draws, one tie: shares 1, 0, 1/2, 0 and what the better one has more."""
    worth = np.array([[3.0, 1.0, 2.0, -1.0], [1.0, 4.0, 2.0, 0.0]])
    assert best_shares(worth).tolist() == [[1.0, 0.0, 0.5, 0.0], [0.0, 1.0, 0.5, 1.0]]
    assert regrets(worth).tolist() == [[0.0, 3.0, 0.0, 1.0], [2.0, 0.0, 0.0, 0.0]]
    # Best of each draw: 3, 4, 2, 0, on average 2.25; best average: 7/4.
    assert value_of_knowing(worth, scrambles=2).value == pytest.approx(2.25 - 1.75)


def test_dominance_is_said_of_the_better_whichever_comes_first():
    """A choice that is better in every draw dominates at order 0, named from either side; crossing ones do not."""
    low, high = np.array([1.0, 2.0, 3.0, 4.0]), np.array([2.0, 3.0, 4.0, 5.0])
    for first, second in ((("low", low), ("high", high)), (("high", high), ("low", low))):
        found = pair(first[0], second[0], first[1], second[1], scrambles=2)
        assert (found.dominating, found.order) == ("high", 0)
    wide, narrow = np.array([0.0, 6.0, 0.0, 6.0]), np.array([3.0, 3.0, 3.0, 3.0])
    assert (pair("w", "n", wide, narrow, scrambles=2).dominating, pair("w", "n", wide, narrow, scrambles=2).order) == (
        "n",
        2,
    )
    assert pair("w", "n", wide, narrow + [0, 0, 0, -2.5], scrambles=2).dominating is None  # noqa: RUF005


def test_pairs_name_every_pair_once():
    """Three choices make three pairs, the first named less the second."""
    worth = np.array([[3.0, 3.0], [2.0, 2.0], [0.0, 0.0]])
    found = pairs(["a", "b", "c"], worth, scrambles=2)
    assert [(p.first, p.second, p.difference["mean"].value) for p in found] == [
        ("a", "b", 1),
        ("a", "c", 3),
        ("b", "c", 2),
    ]
    assert all(p.first_better.value == 1.0 and p.order == 0 for p in found)


def test_currencies_and_horizons_that_differ_are_refused(small, small_file):
    """Worths in two currencies or over two horizons cannot be compared, and the message names both."""
    other = small_file.with_name("pounds.toml")
    other.write_text(small_file.read_text().replace('"EUR"', '"GBP"'), encoding="utf-8")
    pounds = read_scenario(other, UNCERTAIN)
    with pytest.raises(InputError, match="the same currency in every option \\(EUR and GBP are given\\)"):
        comparison([small("a"), pounds])
    with pytest.raises(InputError, match="the same horizon in every option \\(3 and 4 years are given\\)"):
        comparison([small("a"), small("b", "study.horizon_years=4")])


def test_correlations_that_contradict_each_other_are_refused(small_file):
    """One pair of inputs cannot be correlated in two ways on common draws."""
    text = small_file.read_text()
    scenarios = []
    for name, value in (("a", 0.5), ("b", -0.5)):
        path = small_file.with_name(f"{name}.toml")
        path.write_text(
            f'{text}\n[[correlations]]\nbetween = ["home.annual_use_kwh", "purchase.price"]\nvalue = {value}\n'
        )
        scenarios.append(read_scenario(path, UNCERTAIN))
    with pytest.raises(InputError, match=r"the same correlation of home\.annual_use_kwh and purchase\.price"):
        comparison(scenarios)


def test_correlations_that_cannot_hold_together_name_the_file(small_file):
    """Each option is sound by itself; over all of them two inputs that go along with a third cannot run against each other."""
    keys = ("home.annual_use_kwh", "purchase.price", "prices.trend_per_year")
    spread = [f'{key}={{distribution="uniform",low={low},high={high}}}' for key, low, high in
              zip(keys, (1500, 500, 0), (2500, 700, 0.04), strict=True)]  # fmt: skip
    files, text = [], small_file.read_text()
    for name, (one, other), value in (("s", keys[:2], 0.9), ("t", keys[1:], 0.9), ("u", (keys[0], keys[2]), -0.9)):
        files.append(small_file.with_name(f"{name}.toml"))
        files[-1].write_text(f'{text}\n[[correlations]]\nbetween = ["{one}", "{other}"]\nvalue = {value}\n')
    with pytest.raises(InputError) as caught:
        comparison([read_scenario(file, spread) for file in files])
    (problem,) = caught.value.problems
    assert problem.file == files[0].as_posix()


def test_a_tariff_of_today_that_is_not_known_is_asked_for(small, flat):
    """Two tariffs in one home and nothing that says which holds today: refused with what to do."""
    with pytest.raises(InputError, match="name a scenario that has it with --today"):
        comparison([small("a"), flat("b")])


def test_changing_only_the_tariff_is_worth_the_difference_of_the_bills(small, flat):
    """Today flat, the kit with two rates: worth is that of the new tariff alone plus that of the kit under it."""
    fixed = ("home.annual_use_kwh=2000", "prices.spread=0", "study.pool_years=1")
    kit, today = small("kit", *fixed), flat("today", *fixed, kit=False)
    found = by_name(comparison([kit, today]))
    assert "today" not in found  # it is doing nothing under another name
    change = found["only change the tariff to the tariff with day and night"].worth
    two_rates, one_rate = assessment(kit).valuation, assessment(today).valuation
    yearly = one_rate.bill_without - two_rates.bill_without
    by_hand = sum(row / 1.04 ** (year + 1) for year, row in enumerate(yearly))
    assert np.ptp(yearly) < 1e-9
    assert abs(by_hand[0]) > 10.0
    assert change == pytest.approx(by_hand, rel=1e-6)
    # Inverter and price are drawn in the same places whether the tariff changes or not.
    assert found["kit"].worth - change == pytest.approx(two_rates.net_present_value, abs=1e-9)


def test_today_may_be_named_apart(small, flat):
    """The tariff of today from a scenario that is no option gives the same worths as the home without a kit."""
    listed = by_name(comparison([small("kit"), flat("today", kit=False)]))
    apart = by_name(comparison([small("kit")], today=flat("today", kit=False)))
    for name in listed:
        assert np.array_equal(listed[name].worth, apart[name].worth)


def test_money_in_savings_at_the_discount_rate_is_doing_nothing(small):
    """Without a rate of its own the account is worth nothing by definition and takes no share of being best."""
    rows = result(comparison([small("a")]))["options"]
    savings = next(row for row in rows if row["kind"] == "savings")
    assert savings["same_as"] == "do nothing"
    assert savings["net_present_value"]["mean"] == {"value": 0.0, "standard_error": 0.0}
    assert "best_share" not in savings
    shares = [row["best_share"]["value"] for row in rows if row["same_as"] is None]
    assert sum(shares) == pytest.approx(1.0)


def test_savings_earn_their_rate_on_the_dearest_kit(small):
    """600 kept for 3 years at 1 % against a discount rate of 4 %: 600 (1.01 / 1.04)^3 - 600 in every draw."""
    dear = ("purchase.price=600", "prices.savings_rate_per_year=0.01")
    found = by_name(comparison([small("dear", *dear), small("cheap", "purchase.price=500", dear[1])]))
    assert np.allclose(found["put the money in savings"].worth, 600 * (1.01 / 1.04) ** 3 - 600, rtol=1e-12)
    level = by_name(comparison([small("dear", dear[0], "prices.savings_rate_per_year=0.04")]))
    assert np.allclose(level["put the money in savings"].worth, 0.0, atol=1e-9)


SHORT = ("study.draws=128", "study.scrambles=16", "study.step_minutes=15", "study.pool_years=16")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("options", "at_least"),
    [
        pytest.param(
            (("terrace-rooftop", ()), ("terrace-rooftop", ("kit.arrays.string.modules_in_series=7",))),
            3.0,
            id="nine modules against seven",
        ),
        pytest.param(
            (
                ("tenant-balcony", ()),
                ("tenant-balcony", ("kit.battery.extra_batteries=1", "purchase.extra_battery_price=500")),
            ),
            3.0,
            id="one battery against two",
        ),
        pytest.param((("terrace-rooftop", ()), ("terrace-tenant", ())), 0.7, id="owning against renting"),
    ],
)
def test_common_draws_sharpen_the_difference(options, at_least):
    """Standard error of a difference on common draws against that of draws apart, where the variances add.

    At least 3 times less for two sizes of a kit; renting against owning shares less luck. The errors come from 16
    scrambles, so each is known to about 18 %.
    """
    scenarios = [
        read_scenario(SCENARIOS / f"{name}.toml", (*SHORT, f'name="{place}"', *changes))
        for place, (name, changes) in enumerate(options)
    ]
    found = by_name(comparison(scenarios))
    one, other = (found[str(place)].worth for place in range(2))
    common = estimate(one - other, mean, scrambles=16).standard_error
    apart = np.hypot(*(estimate(worth, mean, scrambles=16).standard_error for worth in (one, other)))
    assert apart / common >= at_least


def test_refused_futures_are_left_out_of_an_options_odds(small):
    """A quarter refused: the odds beside an option are those of the futures in which it is bought, as `assess` says them."""
    asked_for = ('tenure={kind="rent", permission_refused_chance=0.25}', "study.horizon_years=8")
    asked = small("asked", *asked_for)
    row = next(option for option in result(comparison([asked]))["options"] if option["option"] == "asked")
    found = assessment(asked)
    bought = found.simulation.course.bought
    assert 0 < (~bought).sum() < bought.size
    assert row["paid_back_share"]["value"] == pytest.approx((found.valuation.payback_years[bought] <= 8).mean())
    assert row["refused_share"]["value"] == (~bought).mean()
    assert row["outlay"]["value"] == pytest.approx(found.values["purchase.price"][bought].mean())
    assert row["first_year_saving"]["value"] == pytest.approx(found.valuation.saving[0][bought].mean())
    assert row["paid_back_within_stay_share"] is None, "nobody moves"
    share = f"In {round(100 * (~bought).mean())} % of futures permission is refused, so you buy nothing: ask before you buy."
    cheap = result(comparison([small("cheap", *asked_for, "purchase.price=50")]))
    assert share in " ".join(paid_words(cheap)).translate(PLAIN)


def test_an_options_odds_stand_within_the_stay_too(small):
    """Stays of 2 to 6 years: compare says the odds within the stay, as `assess` does, beside those to the horizon."""
    stay = 'tenure={kind="rent", stay_years={distribution="uniform", low=2, high=6}}'
    asked = small("asked", stay, "study.horizon_years=8", "purchase.price=200")
    figures = result(comparison([asked]))
    row = next(option for option in figures["options"] if option["option"] == "asked")
    found = assessment(asked)
    lived = np.maximum(1.0, np.floor(found.values["tenure.stay_years"] + 0.5))
    paid = (found.valuation.payback_years <= lived).mean()
    assert 0.0 < paid < row["paid_back_share"]["value"]
    assert row["paid_back_within_stay_share"]["value"] == pytest.approx(paid)
    said = " ".join(paid_words(figures)).translate(PLAIN)
    assert f"In {round(100 * paid)} % of futures that happens before you move out." in said


def test_what_looks_unusual_is_asked_in_compare_too(small):
    """A price of 9000 in one option, a question of both: each once, with the options it is asked of, on page and screen."""
    found = comparison([small("A"), small("B", "purchase.price=9000")])
    figures = result(found)
    asked = {row["key"]: row["options"] for row in figures["questions"]}
    assert asked["purchase.price"] == ["B"]
    assert asked["kit.runs_from_battery_on_mains"] == ["A", "B"]
    page = compare_page(page_dict(found, (), figures=figures, command="riskcalc compare"))
    for text in (page, "\n".join(comparison_lines(figures))):
        assert "B: Price of the kit" in " ".join(text.split())
