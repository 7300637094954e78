"""Worth by length of stay: cut flows against a full simulation, break-even by hand."""

import numpy as np
import pytest

from riskcalc.answers.compare import result
from riskcalc.answers.options import comparison
from riskcalc.answers.stay import (
    FOR_GOOD,
    StayCurve,
    against_nothing,
    break_even,
    handed_over,
    stay_curves,
    stay_pair,
    stay_pairs,
    stays_followed,
)
from riskcalc.money.valuation import valuation
from riskcalc.pages.exhibits.stays import stay_words
from riskcalc.scenario import read_scenario
from riskcalc.study.model import design_of, drawn_values, world_of
from riskcalc.years.simulation import Plant, simulate

UNCERTAIN = (
    'kit.inverter.idle_w={distribution="uniform", low=5, high=20}',
    'purchase.price={distribution="uniform", low=200, high=500}',
    'kit.ageing.electronics_life_years={distribution="uniform", low=1, high=4}',
    "purchase.when_worn=replace",
    "purchase.battery_replacement_price=150",
    "purchase.electronics_replacement_price=100",
    "study.horizon_years=4",
    "study.pool_years=4",
    "study.scrambles=4",
)
RENT = ('tenure.kind="rent"', 'tenure.at_move="take"', "tenure.new_home_sun_chance=0.5")
OWN = ('tenure.kind="own"', 'tenure.at_move="sell"', "tenure.resale_share=0.4")


@pytest.fixture
def small(small_file):
    """Return a function that reads the uncertain small scenario under a name, with changes."""
    return lambda name, *changes: read_scenario(small_file, (*UNCERTAIN, f'name="{name}"', *changes))


def test_break_even_is_where_the_line_crosses_for_the_last_time():
    """Differences -4, 2, -1, 3 at stays 1, 2, 3, 5: the last crossing lies a quarter of the way from 3 to 5."""
    stays = np.array([1.0, 2.0, 3.0, 5.0])
    assert break_even(stays, np.array([-4.0, 2.0, -1.0, 3.0])) == pytest.approx(3.5)
    assert break_even(stays, np.array([4.0, 2.0, 1.0, -1.0])) == pytest.approx(4.0)
    assert break_even(stays, np.array([1.0, 2.0, 1.0, 3.0])) == np.inf
    assert break_even(stays, np.zeros(4)) == np.inf


def test_a_pair_says_who_is_ahead_after_the_crossing():
    """Owning loses 10 at a stay of 1 and gains 10 at 3: it is ahead from 2 years on, in every draw at 3."""
    own = StayCurve("own", "own", (1, 3), np.array([[-10.0] * 4, [10.0] * 4]), 2)
    rent = StayCurve("rent", "rent", (1, 3), np.zeros((2, 4)), 2)
    (found,) = stay_pairs([rent, own])
    assert (found.first, found.second, found.better_after) == ("own", "rent", "own")
    assert found.break_even_years.value == pytest.approx(2.0)
    assert [share.value for share in found.first_better] == [0.0, 1.0]
    assert stay_pair(rent, own).better_after == "own"
    assert against_nothing(own).break_even_years.value == pytest.approx(2.0)


def test_stays_end_with_the_horizon():
    """The last length of stay is the horizon, which stands for a household that does not move."""
    assert stays_followed(4) == (1, 2, 3, 4)
    assert stays_followed(15) == (1, 2, 3, 5, 7, 10, 15)


@pytest.mark.parametrize(("coupling", "at_move"), [("sockets", "sell"), ("whole_home", "leave")])
def test_a_kit_handed_over_is_a_kit_that_stays_cut_short(small, coupling, at_move):
    """Cutting what a kit that stays for good does gives the money of a simulation in which it is handed over."""
    worth_money = (
        "outages.per_year=3",
        "outages.hours_each=2",
        "outages.value_per_hour=5",
        "tariff.blocks.second.above_kwh=60",
        "tariff.blocks.second.extra_per_kwh=0.05",
        "purchase.upkeep_per_year=10",
        "purchase.disposal_cost=20",
        "tenure.value_returned_share=0.3",
    )
    tenure = (f'kit.coupling="{coupling}"', f'tenure.at_move="{at_move}"', f"tenure.stay_years={FOR_GOOD}")
    scenario = small("own", 'tenure.kind="own"', *tenure, *worth_money)
    random = design_of(scenario)
    values = drawn_values(scenario, random)
    world = world_of(scenario)

    def plant(stay):
        moved = values | {"tenure.stay_years": np.full(random.draws, stay)}
        return Plant(scenario, world.pools, world.plan, moved, random.pool_year)

    whole = simulate(plant(FOR_GOOD), years=4)
    for stay in (1.0, 2.0, 3.0):
        moved = plant(stay)
        fully, cut = simulate(moved, years=4), handed_over(whole, moved.course)
        assert np.array_equal(cut.working, fully.working)
        assert np.array_equal(cut.battery_replaced, fully.battery_replaced)
        assert np.array_equal(cut.electronics_replaced, fully.electronics_replaced)
        assert np.array_equal(cut.billed_kwh[:, :, : int(stay)], fully.billed_kwh[:, :, : int(stay)])
        money, money_cut = (valuation(scenario, done, moved.values, random.path) for done in (fully, cut))
        for kind, flows in money.flows.by_kind.items():
            # The kit that has left carries nothing; its home's demand is added up in another order.
            assert money_cut.flows.by_kind[kind] == pytest.approx(flows, abs=1e-3), kind
        assert money_cut.net_present_value == pytest.approx(money.net_present_value, abs=1e-2)


def test_a_stay_to_the_horizon_is_the_comparison_itself(small):
    """At the longest stay the curve is the worth of a household that never moves, draw by draw, rent or own."""
    options = [small("rent", *RENT), small("own", *OWN)]
    curves = {curve.name: curve for curve in stay_curves(comparison(options).entries)}
    # Neither has a length of stay: both stay for good, and the same portable kit is then worth the same.
    assert np.array_equal(curves["rent"].worth[-1], curves["own"].worth[-1])
    rows = result(comparison(options), list(curves.values()))["length_of_stay"]
    assert [(row["first"], row["second"]) for row in rows] == [
        ("own", "rent"),
        ("own", "do nothing"),
        ("rent", "do nothing"),
    ]
    assert rows[0]["stays"][-1]["difference"]["value"] == 0.0


def test_options_without_tenure_have_no_curve(small):
    """Nothing is said about a length of stay where no scenario says who moves how."""
    found = comparison([small("a")])
    assert stay_curves(found.entries) == ()
    assert result(found)["length_of_stay"] == []


@pytest.mark.parametrize(
    ("at_move", "said"),
    [
        ("take", "takes the kit with it and uses it"),
        ("sell", "it sells the kit"),
        ("leave", "the kit stays with the home"),
    ],
)
def test_the_length_of_stay_says_what_happens_to_the_kit(small, at_move, said):
    """Beside the stay from which on a kit is ahead stands what a move does to it."""
    tenure = f'tenure={{kind="rent", stay_years=4, at_move="{at_move}", resale_share=0.3}}'
    asked = comparison([small("kit", tenure, "purchase.price=250", "study.horizon_years=8")])
    rows = result(asked, stay_curves(asked.entries))["length_of_stay"]
    assert [row["at_move"] for row in rows] == [{"first": at_move, "second": None}]
    assert rows[0]["break_even_years"]["value"] is not None
    assert said in stay_words(rows[0], {}, horizon=8)
