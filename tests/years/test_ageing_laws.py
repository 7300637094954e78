"""Ageing laws against their published equations, and how losses grow when conditions change.

The papers print equations and coefficients, not tables of results. The numbers called published below are those
equations evaluated apart from this code (to the digits shown); a wrong coefficient, exponent or unit shows at once.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.scenario.kit_parts import Ageing
from riskcalc.years import ageing
from riskcalc.years.ageing import LAWS, AgeingState, Conditions, aged, grown_loss, new_battery

NAUMANN_2018 = "Naumann et al., J. Energy Storage 17 (2018) 153-169, equation"
NAUMANN_2020 = "Naumann et al., J. Power Sources 451 (2020) 227666, equation"
SCHMALSTIEG_2014 = "Schmalstieg et al., J. Power Sources 257 (2014) 325-334, equation"

MILD = {"depth": 0.8, "soc_mean": 0.5, "temp_c": 25.0, "c_rate": 0.5}
EXTRA = {"datasheet": {"cycles_to_80_percent": 3000.0, "years_to_80_percent": 15.0}}


@pytest.mark.published
@pytest.mark.parametrize(
    ("temp_c", "soc", "years", "loss_percent"),
    [
        (0, 0.5, 10, 7.146485),
        (10, 0.25, 15, 10.576615),
        (25, 0.0, 1, 1.730608),
        (25, 0.5, 1, 4.253032),
        (25, 0.5, 10, 13.449267),
        (25, 1.0, 10, 21.425872),
        (40, 0.5, 10, 18.724762),
        (60, 1.0, 15, 54.224289),
    ],
)
def test_calendar_loss_of_lfp(temp_c, soc, years, loss_percent, record_property):
    """Loss at rest, through the one entry and in yearly steps; six decimals of a percent."""
    state = new_battery(1)
    for _ in range(years):
        state = aged("lfp", state, full_cycles=0.0, depth=0.5, soc_mean=soc, temp_c=temp_c, c_rate=0.5)
    computed = 100 * state.calendar_loss[0]
    record_property(
        "published", (f"calendar loss %, {temp_c} C, {soc}, {years} a", NAUMANN_2018, loss_percent, computed)
    )
    assert computed == pytest.approx(loss_percent, abs=6e-7)
    assert state.cycle_loss[0] == 0.0


@pytest.mark.published
@pytest.mark.parametrize(
    ("c_rate", "depth", "cycles", "loss_percent"),
    [
        (0.2, 0.1, 1000, 2.043729),
        (0.5, 0.8, 3000, 7.920671),
        (1.0, 0.1, 100, 0.943209),
        (1.0, 0.8, 6000, 13.945283),
        (1.0, 1.0, 1000, 6.834380),
        (1.0, 1.0, 3000, 11.837493),
    ],
)
def test_cycle_loss_of_lfp(c_rate, depth, cycles, loss_percent, record_property):
    """Loss by full equivalent cycles, spread over ten periods; six decimals of a percent."""
    state = new_battery(1)
    for _ in range(10):
        state = aged(
            "lfp", state, full_cycles=cycles / 10, depth=depth, soc_mean=0.5, temp_c=25.0, c_rate=c_rate, years=0.0
        )
    computed = 100 * state.cycle_loss[0]
    record_property("published", (f"cycle loss %, {c_rate} C, {depth}, {cycles}", NAUMANN_2020, loss_percent, computed))
    assert computed == pytest.approx(loss_percent, abs=6e-7)
    assert state.calendar_loss[0] == 0.0


@pytest.mark.published
def test_calendar_and_cycle_loss_of_nmc(record_property):
    """Coefficients and capacity at 3.7 V: 365 days at 25 C; 100 days at 35 C with 1,000 Ah through at full depth."""
    alpha = float(ageing.nmc_calendar_rate_per_day(3.7, 25.0))
    rest = 1.0 - grown_loss(0.0, rate=alpha, amount=365.0, exponent=LAWS["nmc"].calendar_exponent)
    beta = float(ageing.nmc_cycle_rate_per_ah(3.667, 1.0))
    warm = float(ageing.nmc_calendar_rate_per_day(3.7, 35.0))
    used = 1.0 - grown_loss(0.0, rate=warm, amount=100.0, exponent=LAWS["nmc"].calendar_exponent)
    used -= grown_loss(0.0, rate=beta, amount=1000.0, exponent=LAWS["nmc"].cycle_exponent)
    for quantity, expected, computed, tolerance in (
        ("calendar coefficient, 3.7 V, 25 C", 2.867759e-4, alpha, 5e-11),
        ("capacity after 365 d at rest", 0.976052, float(rest), 5e-7),
        ("cycle coefficient, 3.667 V, DOD 1", 4.841e-3, beta, 5e-13),
        ("capacity after 100 d and 1000 Ah", 0.827537, float(used), 5e-7),
    ):
        record_property("published", (quantity, SCHMALSTIEG_2014, expected, computed))
        assert computed == pytest.approx(expected, abs=tolerance), quantity


def test_nmc_entry_uses_days_and_ampere_hours():
    """Through the entry: a year is 365.25 days, a full cycle twice 2.15 Ah; half charge rests at 3.667 V."""
    state = aged("nmc", new_battery(1), full_cycles=200.0, depth=0.7, soc_mean=0.5, temp_c=25.0, c_rate=0.5, years=2.0)
    alpha = (7.543 * 3.667 - 23.75) * 1e6 * np.exp(-6976 / 298.15)
    assert state.calendar_loss[0] == pytest.approx(alpha * (2 * 365.25) ** 0.75, rel=1e-12)
    assert state.cycle_loss[0] == pytest.approx((7.600e-4 + 4.081e-3 * 0.7) * np.sqrt(200 * 4.3), rel=1e-12)


def test_datasheet_by_hand():
    """3,000 cycles and 15 years to 80 %: 300 cycles in a year lose 0.02 and 0.2/15; without the years only 0.02."""
    state = aged("datasheet", new_battery(1), full_cycles=300.0, **MILD, **EXTRA["datasheet"])
    assert (state.cycle_loss[0], state.calendar_loss[0]) == pytest.approx((0.02, 0.2 / 15), rel=1e-14)
    bare = aged("datasheet", new_battery(1), full_cycles=300.0, **MILD, cycles_to_80_percent=3000.0)
    assert bare.calendar_loss[0] == 0.0


@pytest.mark.parametrize("law", list(LAWS))
def test_splitting_a_period_changes_nothing(law):
    """Twelve months one by one lose what the year loses, for every law."""
    year = aged(law, new_battery(3), full_cycles=240.0, **MILD, **EXTRA.get(law, {}))
    state = new_battery(3)
    for _ in range(12):
        state = aged(law, state, full_cycles=20.0, years=1 / 12, **MILD, **EXTRA.get(law, {}))
    assert state.cycle_loss == pytest.approx(year.cycle_loss, rel=1e-12)
    assert state.calendar_loss == pytest.approx(year.calendar_loss, rel=1e-12, abs=1e-15)


@given(
    law=st.sampled_from(["lfp", "nmc"]),
    temperatures=st.lists(st.floats(1, 45), min_size=2, max_size=6),
    charges=st.lists(st.floats(0.05, 1.0), min_size=6, max_size=6),
)
def test_changing_conditions_follow_virtual_time(law, temperatures, charges):
    """Year by year, the loss is first turned into the time that would have caused it now, in plain Python."""
    exponent = {"lfp": 0.5, "nmc": 0.75}[law]
    state, loss = new_battery(1), 0.0
    for temp_c, soc in zip(temperatures, charges, strict=False):
        state = aged(law, state, full_cycles=0.0, depth=0.5, soc_mean=soc, temp_c=temp_c, c_rate=0.5, scale=1.3)
        rate = 1.3 * float(LAWS[law].calendar_rate(Conditions(0.5, soc, temp_c, 0.5)))
        virtual_years = (loss / rate) ** (1 / exponent)
        loss = rate * (virtual_years + 1.0) ** exponent
    assert state.calendar_loss[0] == pytest.approx(loss, rel=1e-10)


@given(
    law=st.sampled_from(list(LAWS)),
    full_cycles=st.floats(0, 500),
    depth=st.floats(0, 1),
    soc_mean=st.floats(0, 1),
    temp_c=st.floats(-20, 70),
    c_rate=st.floats(0.01, 12),
    scale=st.floats(0, 5),
    before=st.floats(0, 0.9),
)
def test_batteries_never_recover(law, full_cycles, depth, soc_mean, temp_c, c_rate, scale, before):
    """Whatever happens, no loss shrinks, and the capacity left stays between 0 and 1."""
    state = AgeingState(np.array([before]), np.array([before]))
    conditions = {"depth": depth, "soc_mean": soc_mean, "temp_c": temp_c, "c_rate": c_rate}
    after = aged(law, state, full_cycles=full_cycles, scale=scale, **conditions, **EXTRA.get(law, {}))
    assert after.calendar_loss[0] >= before
    assert after.cycle_loss[0] >= before
    assert 0.0 <= after.capacity_share[0] <= 1.0


@pytest.mark.parametrize("law", list(LAWS))
def test_scale_multiplies_the_loss(law):
    """Under constant conditions a scale of 0, 1, 1.5 gives 0, 1 and 1.5 times the loss, draw by draw."""
    state = new_battery(3)
    for _ in range(8):
        state = aged(law, state, full_cycles=150.0, scale=np.array([0.0, 1.0, 1.5]), **MILD, **EXTRA.get(law, {}))
    assert state.capacity_share[0] == 1.0
    assert state.cycle_loss[2] == pytest.approx(1.5 * state.cycle_loss[1], rel=1e-12)
    assert state.calendar_loss[2] == pytest.approx(1.5 * state.calendar_loss[1], rel=1e-12, abs=1e-15)


@pytest.mark.parametrize("law", list(LAWS))
def test_a_period_of_nothing_changes_nothing(law):
    """No time and no cycles leave the state as it is, to rounding."""
    state = AgeingState(np.array([0.05]), np.array([0.08]))
    after = aged(law, state, full_cycles=0.0, years=0.0, **MILD, **EXTRA.get(law, {}))
    assert (after.calendar_loss[0], after.cycle_loss[0]) == pytest.approx((0.05, 0.08), rel=1e-15)


@pytest.mark.parametrize("law", ["lfp", "nmc"])
def test_directions(law):
    """Warmer, fuller and deeper age faster; for LFP a higher rate too."""

    def loss(**changes):
        state = aged(law, new_battery(1), full_cycles=250.0, **{**MILD, **changes})
        return float(1.0 - state.capacity_share[0])

    base = loss()
    assert loss(temp_c=35.0) > base
    assert loss(soc_mean=0.9) > base
    assert loss(depth=1.0) > base
    assert (loss(c_rate=1.0) > base) == (law == "lfp")


def test_outside_the_fit_the_edge_is_used():
    """-15 C counts as 0 C for LFP, 3 C-rate as 1."""
    cold = aged("lfp", new_battery(1), full_cycles=10.0, **{**MILD, "temp_c": -15.0, "c_rate": 3.0})
    edge = aged("lfp", new_battery(1), full_cycles=10.0, **{**MILD, "temp_c": 0.0, "c_rate": 1.0})
    assert cold.capacity_share[0] == edge.capacity_share[0]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"soc_mean": 1.2}, "soc_mean: lowest 1.2, highest 1.2; accepted: 0 to 1"),
        ({"depth": np.array([0.5, -0.1])}, "depth: lowest -0.1, highest 0.5; accepted: 0 to 1"),
        ({"full_cycles": -1.0}, "full_cycles: lowest -1, highest -1; accepted: 0 or above"),
        ({"scale": np.nan}, "scale: lowest nan"),
        ({"temp_c": np.nan}, "temp_c: holds values that are not finite"),
    ],
)
def test_impossible_conditions_are_refused(changes, message):
    """Shares outside 0 to 1, negative amounts and NaN stop the run and name the offender."""
    with pytest.raises(ValueError, match=message):
        aged("lfp", new_battery(2), **{"full_cycles": 100.0, **MILD, **changes})


def test_laws_that_cannot_be_used_are_refused():
    """An unknown law; a datasheet law without, or with an impossible, number of cycles."""
    with pytest.raises(ValueError, match="law: 'lead'; accepted: lfp, nmc, datasheet"):
        aged("lead", new_battery(1), full_cycles=1.0, **MILD)
    with pytest.raises(ValueError, match="the datasheet law needs it"):
        aged("datasheet", new_battery(1), full_cycles=1.0, **MILD)
    with pytest.raises(ValueError, match="cycles_to_80_percent: must be above 0"):
        aged("datasheet", new_battery(1), full_cycles=1.0, **MILD, cycles_to_80_percent=0.0)


@pytest.mark.published
@pytest.mark.parametrize("law", ["lfp", "nmc"])
def test_the_default_speed_is_that_of_homes_in_use(law, record_property):
    """Homes lose 2 to 3 % of the usable capacity a year (21 systems, up to 8 years): the median loses 2.5 %, nine in ten 1 to 5.

    A home's use: 250 cycles a year of 0.8, half full, 20 C, a quarter of the capacity an hour, over 8 years.
    """
    scale = Ageing.model_validate({"law": law}).scale.quantile(np.array([0.05, 0.5, 0.95]))
    state = new_battery(3)
    for _ in range(8):
        state = aged(law, state, full_cycles=250.0, depth=0.8, soc_mean=0.5, temp_c=20.0, c_rate=0.25, scale=scale)
    low, middle, high = ((1.0 - state.capacity_share) / 8).tolist()
    record_property(
        "published", (f"capacity lost a year, {law}", "Figgener et al., Nature Energy 9 (2024)", 0.025, middle)
    )
    assert middle == pytest.approx(0.025, abs=0.002)
    assert 0.01 < low < 0.02
    assert 0.03 < high < 0.05
