"""Staying, moving, selling, refusal: what they do to the kit and to the money, draw by draw."""

import numpy as np
import pytest

from riskcalc.answers.curves import cash_balance
from riskcalc.errors import InputError
from riskcalc.study.model import assessment
from riskcalc.years.tenure import geometric_years, whole_years

UNCERTAIN = (
    'home.annual_use_kwh={distribution="uniform", low=1500, high=2500}',
    'purchase.price={distribution="uniform", low=100, high=500}',
    "prices.spread=0.04",
    "study.scrambles=4",
    "study.draws=64",
    "study.pool_years=4",
    "study.horizon_years=8",
    "study.step_minutes=30",
)


def money_of(read_small, *changes):
    """Return the assessment of the small scenario with uncertain inputs and these changes."""
    return assessment(read_small(*UNCERTAIN, *changes))


def test_a_tenant_who_never_moves_equals_an_owner_exactly(read_small):
    """Same portable unit, no move within the horizon, permission certain: every draw agrees to the last bit.

    Held both for a tenant without any stay and for one whose stay ends after the horizon, whatever a move would cost.
    """
    owner = money_of(read_small, 'tenure.kind="own"')
    still = money_of(read_small, 'tenure.kind="rent"')
    later = money_of(
        read_small,
        'tenure.kind="rent"',
        "tenure.stay_years=30",
        "tenure.moving_cost=500",
        "tenure.new_home_sun_chance=0",
    )
    for tenant in (still, later):
        for name in ("saving", "net_present_value", "payback_years", "lasting_payback_years", "cash_balance"):
            assert np.array_equal(getattr(owner.valuation, name), getattr(tenant.valuation, name)), name


def test_selling_at_a_move_ends_the_saving_and_brings_the_value_at_that_age(read_small):
    """Moving after 3 years and selling: savings of 3 years to the bit, then price x 0.6 x 0.9^3 (hand-computed)."""
    stays = money_of(read_small, 'tenure.kind="rent"')
    sells = money_of(
        read_small,
        'tenure.kind="rent"',
        'tenure.at_move="sell"',
        "tenure.stay_years=3",
        "tenure.resale_share=0.6",
        "tenure.resale_decline_per_year=0.1",
        "purchase.resale_share=0.2",
    )
    assert np.array_equal(sells.valuation.saving[:3], stays.valuation.saving[:3])
    assert np.all(sells.valuation.saving[3:] == 0.0)
    sale = sells.valuation.flows.by_kind["sale"]
    assert sale[3] == pytest.approx(sells.values["purchase.price"] * 0.6 * 0.729, rel=1e-12)
    assert np.count_nonzero(sale) == sale.shape[1]
    assert not sells.valuation.flows.by_kind["resale"].any(), "what is sold already is not sold again"


def test_a_fixed_system_stays_with_the_home_and_returns_part_of_its_value(read_small):
    """A whole-home system is left at a move unless said otherwise; 0.5 of its value at that age comes back."""
    found = money_of(
        read_small,
        'kit.coupling="whole_home"',
        'tenure.kind="own"',
        "tenure.stay_years=5",
        "tenure.value_returned_share=0.5",
        "tenure.resale_decline_per_year=0.2",
    )
    assert np.all(found.valuation.saving[:5] != 0.0)
    assert np.all(found.valuation.saving[5:] == 0.0)
    assert found.valuation.flows.by_kind["sale"][5] == pytest.approx(
        found.values["purchase.price"] * 0.5 * 0.8**5, rel=1e-12
    )


def test_a_move_into_the_shade_leaves_the_night_tariff_only(read_small):
    """Taken along into homes without sun: no solar energy after the move, full solar before, the kit still works."""
    found = money_of(read_small, 'tenure.kind="rent"', "tenure.stay_years=4", "tenure.new_home_sun_chance=0")
    solar = found.simulation.yearly_kwh[2]
    assert np.all(solar[:4] > 0.0)
    assert np.all(solar[4:] == 0.0)
    assert found.simulation.working.all()
    assert np.array_equal(found.simulation.course.moved_along.sum(axis=1), [0, 0, 0, 64, 0, 0, 0, 0])


def test_a_kit_may_be_sold_when_the_new_home_has_no_sun(read_small):
    """No sun for certain after 4 years: sold then as under at_move = "sell", to the bit; moving costs nothing."""
    moving = ('tenure.kind="rent"', "tenure.stay_years=4", "tenure.moving_cost=70", "tenure.resale_share=0.6")
    sunless = money_of(read_small, *moving, "tenure.new_home_sun_chance=0", 'tenure.if_no_sun="sell"')
    sells = money_of(read_small, *moving, 'tenure.at_move="sell"')
    for name in ("saving", "net_present_value", "payback_years"):
        assert np.array_equal(getattr(sunless.valuation, name), getattr(sells.valuation, name)), name
    assert np.all(sunless.valuation.flows.by_kind["sale"][4] > 0.0)


def test_only_the_draws_without_sun_sell(read_small):
    """Sun with chance 0.5, one move: those with sun go on as if the kit were kept, the others hold nothing after."""
    moving = ('tenure.kind="rent"', "tenure.stay_years=5", "tenure.new_home_sun_chance=0.5")
    kept, sold = (money_of(read_small, *moving, f'tenure.if_no_sun="{what}"') for what in ("keep", "sell"))
    sunny = kept.simulation.course.yield_share[5] > 0.0
    assert 0.35 < sunny.mean() < 0.65
    worth = [found.valuation.net_present_value for found in (kept, sold)]
    assert np.array_equal(worth[0][sunny], worth[1][sunny])
    assert not sold.simulation.course.held[5:, ~sunny].any()
    assert np.all(sold.valuation.saving[5:, ~sunny] == 0.0)
    assert np.array_equal(sold.simulation.course.handed_over.any(axis=0), ~sunny)


def test_a_kit_without_modules_does_not_mind_the_shade(read_small_without):
    """Nothing to lose, nothing sold: the course with "sell" is that with "keep"."""
    moving = ('tenure.kind="rent"', "tenure.stay_years=2", "tenure.new_home_sun_chance=0")
    bare = ("kit.module", "kit.arrays.one", "kit.inputs.solar")
    kept, sold = (
        assessment(read_small_without(bare, *moving, f'tenure.if_no_sun="{what}"')) for what in ("keep", "sell")
    )
    assert np.array_equal(kept.valuation.net_present_value, sold.valuation.net_present_value)
    assert sold.simulation.course.held.all()


def test_the_new_home_yields_its_share_and_every_move_costs(read_small):
    """Sun certain, yield share 0.5: half the solar energy after the first move; moving cost 40 at each of 3 moves.

    With the price level at 1.02 a year the cost of a move at the end of year y is 40 x 1.02^(y - 1).
    """
    found = money_of(
        read_small,
        'tenure.kind="rent"',
        "tenure.stay_years=2",
        "tenure.new_home_sun_chance=1",
        "tenure.new_home_yield_share=0.5",
        "tenure.moving_cost=40",
        "prices.inflation_per_year=0.02",
        "kit.ageing.module_decline_per_year=0",
        "study.pool_years=1",
    )
    solar = found.simulation.yearly_kwh[2]
    assert solar[3] == pytest.approx(0.5 * solar[0], rel=1e-9)
    expected = [0, 0, -40 * 1.02, 0, -40 * 1.02**3, 0, -40 * 1.02**5, 0, 0]
    assert found.valuation.flows.by_kind["moving"][:, 0] == pytest.approx(expected, rel=1e-12)


def test_refusal_means_nothing_happens_in_its_share_of_draws(read_small):
    """Refused with chance 0.25: a quarter of the draws buys nothing, flows exactly 0, worth 0, never paid back."""
    found = money_of(read_small, 'tenure.kind="rent"', "tenure.permission_refused_chance=0.25")
    granted = money_of(read_small, 'tenure.kind="rent"')
    refused = ~found.simulation.course.bought
    assert refused.sum() == 16, "Sobol' points put exactly a quarter below 0.25"
    assert np.all(found.valuation.flows.total[:, refused] == 0.0)
    assert np.all(np.isinf(found.valuation.payback_years[refused]))
    assert np.all(found.valuation.net_present_value[refused] == 0.0)
    ahead = cash_balance(found)["share_above_zero"]
    assert ahead[0] == 0.0, "a purchase that is refused is neither a gain nor paid back"
    assert ahead[-1] == (found.valuation.cash_balance[-1, ~refused] >= 0.0).mean()
    assert granted.simulation.course.bought.all()


def test_refusal_may_leave_the_kit_without_its_modules(read_small):
    """Refused for certain, bought without modules at 0.6 of the price: no solar energy, 60 % of the outlay."""
    found = money_of(
        read_small,
        'tenure.kind="rent"',
        "tenure.permission_refused_chance=1",
        'tenure.if_refused="without_modules"',
        "tenure.price_share_without_modules=0.6",
    )
    assert np.all(found.simulation.yearly_kwh[2] == 0.0)
    assert found.simulation.working.all()
    outlay = -found.valuation.flows.by_kind["purchase"][0]
    assert outlay == pytest.approx(0.6 * found.values["purchase.price"], rel=1e-12)


def test_a_yearly_chance_gives_geometric_stays():
    """Inverse of 1 - (1 - p)^n at p = 0.2: mean 5 years, P(1) = 0.2, P(2) = 0.16; chance 0 never, chance 1 at once."""
    luck = (np.arange(200_000) + 0.5) / 200_000
    years = geometric_years(luck, chance=np.full(luck.size, 0.2))
    assert years.mean() == pytest.approx(5.0, rel=1e-3)
    assert (years == 1).mean() == pytest.approx(0.2, abs=1e-5)
    assert (years == 2).mean() == pytest.approx(0.16, abs=1e-5)
    assert np.all(np.isinf(geometric_years(luck[:3], chance=np.zeros(3))))
    assert np.all(geometric_years(luck[:3], chance=np.ones(3)) == 1.0)


def test_stays_are_rounded_to_whole_years():
    """Half a year and more rounds up, and nobody stays less than a year."""
    assert whole_years(np.array([0.2, 1.4, 1.5, 6.49, 6.5])).tolist() == [1, 1, 2, 6, 7]


def test_moves_by_chance_happen_as_often_as_the_chance_says(read_small):
    """Chance 0.3 a year over 7 year ends: 2.1 moves per draw, within four standard errors of 64 draws."""
    found = money_of(read_small, 'tenure.kind="rent"', "tenure.moving_chance_per_year=0.3")
    moves = found.simulation.course.moved_along.sum(axis=0)
    assert abs(moves.mean() - 2.1) < 4 * np.sqrt(7 * 0.3 * 0.7 / 64)


def test_the_chance_of_sun_holds_in_every_new_home(read_small):
    """Sun with chance 0.5 in the first new home and the next: half the draws each, within 0.15."""
    found = money_of(
        read_small,
        'tenure.kind="rent"',
        "tenure.stay_years=2",
        'tenure.new_home_yield_share={distribution="uniform", low=0.4, high=0.8}',
    )
    share = found.simulation.course.yield_share
    for year in (2, 4, 6):
        sunny = share[year] > 0.0
        assert abs(sunny.mean() - 0.5) < 0.15
        assert np.all((share[year][sunny] >= 0.4) & (share[year][sunny] <= 0.8))


@pytest.mark.parametrize(
    ("changes", "key", "accepted"),
    [
        (
            ("tenure.stay_years=4", "tenure.moving_chance_per_year=0.2"),
            "tenure.moving_chance_per_year",
            "stay_years or moving_chance_per_year, not both",
        ),
        (
            ('tenure.if_refused="without_modules"',),
            "tenure.price_share_without_modules",
            'needed for if_refused = "without_modules"',
        ),
    ],
)
def test_what_contradicts_itself_is_refused(read_small, changes, key, accepted):
    """Two ways to say how long somebody stays, or a kit without modules whose price nobody knows: said with the key."""
    with pytest.raises(InputError) as caught:
        read_small('tenure.kind="rent"', *changes)
    assert [(problem.key, problem.accepted) for problem in caught.value.problems] == [(key, accepted)]
