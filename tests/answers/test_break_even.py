"""Break-even values and the margins they rest on."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from riskcalc.answers.break_even import (
    _error,
    _shifted_margin,
    break_even,
    closed_in,
    crossing,
    says_something,
    within_reach,
)
from riskcalc.answers.statements import Margins, paid_back, payback_margin, resimulated_margins, worth_positive
from riskcalc.money.measures import balance, simple_payback_years
from riskcalc.study.model import assessment, design_of, drawn_values, evaluated

PRICE = "purchase.price={ distribution = 'uniform', low = 20, high = 400 }"
USE = "home.annual_use_kwh={ distribution = 'uniform', low = 1000, high = 3000 }"


def test_margin_agrees_with_the_payback_for_any_flows():
    """The margin is at or above 0 in exactly the draws that pay back within N years, also within a year and never."""
    rng = np.random.default_rng(4)
    flows = np.concatenate([-rng.uniform(1, 10, (1, 500)), rng.normal(1.0, 2.0, (6, 500))])
    payback = simple_payback_years(flows)
    for within in (1, 2.5, 4, 6):
        margin = payback_margin(balance(flows), payback, within_years=within)
        assert np.isfinite(margin).all()
        assert np.array_equal(margin >= 0.0, payback <= within)


def test_nothing_bought_is_not_paid_back():
    """A draw without a purchase has a balance of 0 throughout, no payback and a margin below 0."""
    assert payback_margin(np.zeros((4, 1)), np.array([np.inf]), within_years=3)[0] < 0.0


def test_price_that_pays_back_in_three_years_is_three_savings(read_small):
    """Everything else fixed, the purchase pays back within 3 years up to a price of 3 yearly savings (no trend, no upkeep)."""
    found = assessment(read_small(PRICE))
    saving = found.valuation.saving[:, 0]
    answer = break_even(found, paid_back(3), "purchase.price", level=0.5)
    assert answer.method == "revalued"
    assert answer.value == pytest.approx(saving.sum(), rel=1e-3)
    assert answer.odds_low == 1.0
    assert answer.odds_high == 0.0
    assert 0.0 < answer.place < 1.0


def test_price_of_zero_worth_is_the_present_value_of_the_savings(read_small):
    """Worth is 0 at a price equal to the sum of savings over 1.04^t, by hand."""
    found = assessment(read_small(PRICE))
    present = sum(saving / 1.04 ** (year + 1) for year, saving in enumerate(found.valuation.saving[:, 0]))
    assert break_even(found, worth_positive(), "purchase.price", level=0.5).value == pytest.approx(present, rel=1e-3)


def test_level_of_the_odds_is_met_on_the_draws(read_small):
    """At the value found, valued anew, the odds are the asked ones to within two draws."""
    found = assessment(read_small(USE, "purchase.price=200", "study.draws=64", "study.pool_years=4"))
    for level in (0.25, 0.8):
        answer = break_even(found, paid_back(3), "purchase.price", level=level)
        cost = answer.value
        odds = (cost <= found.valuation.saving.sum(axis=0)).mean()
        assert odds == pytest.approx(level, abs=2 / found.draws)


def test_no_value_does(read_small):
    """An input that does not touch the outcome has no break-even value, and says at which odds both ends leave it."""
    found = assessment(
        read_small(PRICE, "tariff.export_price_per_kwh={ distribution = 'uniform', low = 0, high = 0.3 }")
    )
    answer = break_even(found, worth_positive(), "tariff.export_price_per_kwh", level=0.99)
    assert answer.value is None
    assert answer.odds_low == answer.odds_high
    assert break_even(found, worth_positive(), "kit.inverter.idle_w", level=0.5) is None


def test_quick_and_simulated_answers_agree(read_small):
    """For yearly use the estimate from the draws and new simulations agree to 5 % of its range, twice their standard errors.

    Sixteen weather years: with four, the luck of the few leaves the quick value open by half of the range.
    """
    scenario = read_small(USE, "study.draws=256", "study.pool_years=16", "study.step_minutes=30")
    found = assessment(scenario)
    middle = float(np.median(found.valuation.saving.sum(axis=0)))
    statement = paid_back(3)
    found = assessment(
        read_small(USE, f"purchase.price={middle}", "study.draws=256", "study.pool_years=16", "study.step_minutes=30")
    )
    quick = break_even(found, statement, "home.annual_use_kwh", level=0.5)
    margins = resimulated_margins(found, ["home.annual_use_kwh"], [statement])
    anew = break_even(found, statement, "home.annual_use_kwh", level=0.5, resimulated=margins)
    assert (quick.method, anew.method) == ("shifted", "simulated")
    assert within_reach(quick)
    assert anew.value == pytest.approx(quick.value, abs=0.05 * 2000)


def test_simulated_margin_at_a_drawn_value_is_that_of_the_draw(read_small):
    """Margins at a simulated value are, to the last bit, those of a run of all draws with the input set there."""
    common = ("study.draws=32", "study.pool_years=4", "study.step_minutes=30", "purchase.price=100")
    found = assessment(read_small(USE, *common))
    statement = worth_positive()
    margins = resimulated_margins(found, ["home.annual_use_kwh"], [statement])["home.annual_use_kwh", statement.name]
    values = {**found.values, "home.annual_use_kwh": np.full(found.draws, margins.values[2])}
    _, money = evaluated(found.scenario, found.world, found.design, values)
    assert np.array_equal(margins.at(margins.values[2]), money.net_present_value)


def test_few_draws_are_set_right_by_all(read_small):
    """An input without effect on the odds leaves them, at any value, at the odds of all draws, not of the few simulated."""
    changes = (USE, PRICE, "home.moved_share={ distribution = 'uniform', low = 0, high = 0.5 }")
    found = assessment(read_small(*changes, "study.draws=256", "study.pool_years=4", "study.step_minutes=30"))
    statement = worth_positive()
    margins = resimulated_margins(found, ["home.moved_share"], [statement])["home.moved_share", statement.name]
    odds = statement.holds(found).mean()
    assert margins.margins.shape[1] < found.draws
    # No load of this home can be moved, so the input changes nothing at all.
    assert margins.holding_at(np.array([0.2])).mean() == pytest.approx(odds, abs=1e-12)


def test_margins_run_in_straight_lines():
    """Between two simulated values a margin lies on the line between theirs; at the ends it is theirs."""
    held = Margins(np.array([0.0, 1.0, 3.0]), np.array([[0.0], [10.0], [30.0]]), np.ones(1))
    assert [held.at(value)[0] for value in (0.0, 0.5, 1.0, 2.0, 3.0)] == [0.0, 5.0, 10.0, 20.0, 30.0]


def test_a_root_is_closed_in_as_a_library_does():
    """Brent's method in scipy as reference: steps of counted draws, smooth odds, a flat cubic; no more values are tried."""
    rng, tried = np.random.default_rng(5), {"here": 0, "library": 0, "neither": 0}
    for turn in range(200):
        draws, level = np.sort(rng.normal(rng.normal(), 1.0, rng.integers(3, 500))), rng.uniform(0.05, 0.95)
        gaps = (
            lambda x, d=draws, at=level: np.searchsorted(d, x) / len(d) - at,
            lambda x, d=draws, at=level: np.tanh(3.0 * (x - d[0])) + 0.5 - at,
            lambda x, d=draws, at=level: (x - d[0]) ** 3 - 0.1 * at,
        )

        def counting(x, who, gap=gaps[turn % 3]):
            tried[who] += 1
            return float(gap(x))

        one, other = (-6.0, counting(-6.0, "here")), (6.0, counting(6.0, "here"))
        root = closed_in(lambda x: counting(x, "here"), one, other, within=1e-5)
        known = brentq(lambda x: counting(x, "library"), -6.0, 6.0, xtol=1e-5, rtol=1e-8)
        if turn % 3:
            assert root == pytest.approx(known, abs=2.1e-5)
        assert counting(root, "neither") == 0.0 or np.sign(counting(root - 1.1e-5, "neither")) != np.sign(
            counting(root + 1.1e-5, "neither")
        )
    assert tried["here"] <= 1.1 * tried["library"]


def test_crossing_takes_the_root_nearest_to_the_start():
    """Odds of a parabola reach 0.25 twice; the root on the side of the start is found; beyond the range there is none."""

    def odds(x):
        return x * x

    assert crossing(odds, level=0.25, low=-1.0, high=1.0, start=0.9)[0] == pytest.approx(0.5, abs=1e-4)
    assert crossing(odds, level=0.25, low=-1.0, high=1.0, start=-0.9)[0] == pytest.approx(-0.5, abs=1e-4)
    assert crossing(odds, level=2.0, low=-1.0, high=1.0, start=0.0) == (None, 1.0, 1.0)


def test_crossing_counts_the_distance_from_the_start():
    """With roots at 1, 2 and 3 and none at 0, a start near one of them finds that one; a root on the grid is hit exactly."""

    def odds(x):
        return 0.5 + (x - 1.0) * (x - 2.0) * (x - 3.0)

    for start, root in ((1.2, 1.0), (2.1, 2.0), (2.9, 3.0), (0.4, 1.0), (3.9, 3.0)):
        assert crossing(odds, level=0.5, low=0.0, high=4.0, start=start)[0] == pytest.approx(root, abs=1e-3), start
    assert crossing(odds, level=0.5, low=0.0, high=4.0, start=2.0)[0] == 2.0
    ends = crossing(odds, level=0.5, low=0.0, high=4.0, start=2.0)[1:]
    assert ends == pytest.approx((-5.5, 6.5), abs=1e-12)


def test_a_value_says_something_where_its_error_is_small_beside_the_range():
    """An eighth of the range at most; without an error nothing is said."""
    assert says_something(0.01, (10.0, 11.0))
    assert says_something(0.125, (10.0, 11.0))
    assert not says_something(0.13, (10.0, 11.0))
    assert not says_something(5.0, (10.0, 11.0))
    assert not says_something(None, (10.0, 11.0))


def test_an_even_odds_value_has_an_error_even_where_scrambles_agree(read_small):
    """Use alone is uncertain and balanced in each scramble, so scrambles agree; 20 designs scatter by no more than stated.

    All designs meet the same weather year: its luck is another matter.
    """
    changes = (USE, "purchase.price=200", "study.draws=64", "study.pool_years=1")
    first = assessment(read_small(*changes))
    values, errors = [], []
    for seed in range(20):
        scenario = read_small(*changes, f"study.seed={seed}")
        design = design_of(scenario)
        drawn = drawn_values(scenario, design)
        simulation, money = evaluated(scenario, first.world, design, drawn)
        found = replace(first, scenario=scenario, design=design, values=drawn, simulation=simulation, valuation=money)
        answer = break_even(found, paid_back(3), "purchase.price", level=0.5)
        values.append(answer.value)
        errors.append(answer.error)
    assert min(errors) > 0.0
    assert np.std(values, ddof=1) <= 1.2 * np.sqrt(np.mean(np.square(errors)))


def test_odds_of_payback_leave_out_refused_purchases(read_small):
    """With a permission that half are refused, the price at even odds is that of the futures in which the kit is bought."""
    tenure = ("tenure.kind=rent", "tenure.permission_refused_chance=0.5")
    found = assessment(read_small(USE, "purchase.price=200", "study.draws=64", "study.pool_years=4", *tenure))
    bought = found.simulation.course.bought
    assert 0.2 < bought.mean() < 0.8
    answer = break_even(found, paid_back(3), "purchase.price", level=0.5)
    savings = np.sort(found.valuation.saving.sum(axis=0)[bought])
    assert savings[len(savings) // 2 - 2] <= answer.value <= savings[len(savings) // 2 + 1]
    assert worth_positive().counted(found).sum() == found.draws


def test_a_value_has_no_error_where_the_odds_stand_still_or_nothing_scatters():
    """Odds that no value moves say nothing of where they cross; one scramble says nothing of its scatter."""
    places = (np.arange(64) + 0.5) / 64

    def moving(points):
        return (places < points[:, None]) * 1.0

    assert _error(moving, 0.5, 0.0, 1.0, scrambles=8) > 0.0
    assert _error(lambda points: moving(np.full(len(points), 0.5)), 0.5, 0.0, 1.0, scrambles=8) is None
    assert _error(moving, 0.5, 0.0, 1.0, scrambles=1) is None


def test_an_input_without_effect_shifts_no_margin(read_small):
    """What the fit makes of noise is left out, however far the input is moved: the sockets sell nothing."""
    export = "tariff.export_price_per_kwh={ distribution = 'uniform', low = 0.01, high = 0.2 }"
    found = assessment(read_small(PRICE, USE, export, "study.draws=64"))
    statement = worth_positive()
    shifted = _shifted_margin(found, statement, "tariff.export_price_per_kwh")
    for row in shifted(np.array([0.02, 0.1, 0.19])):
        np.testing.assert_array_equal(row, statement.margin(found))
