"""An assessment with one figure of money moved: the short way to payback and worth against the whole valuation."""

from pathlib import Path

import numpy as np
import pytest

from riskcalc.answers.break_even import KEPT, varied
from riskcalc.answers.factors import is_money_only
from riskcalc.money.valuation import valuation
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment

SCENARIOS = Path(__file__).parents[2] / "scenarios"
QUICK = ("study.draws=64", "study.pool_years=8", "study.horizon_years=6", "study.step_minutes=30")


@pytest.mark.parametrize("name", ["tenant-balcony", "terrace-rooftop"])
def test_payback_and_worth_have_the_bits_of_the_whole_valuation(name):
    """For every figure of money that is drawn, also one that moves the bill or the paths; the energy stays."""
    found = assessment(read_scenario(SCENARIOS / f"{name}.toml", QUICK))
    keys = [key for key in found.scenario.quantities() if is_money_only(key)]
    assert {"purchase.price", "prices.discount_rate_per_year", "prices.trend_per_year"} <= set(keys)
    moved = 0
    for key in keys:
        values = {**found.values, key: 1.3 * found.values[key] + 0.01}
        values[key] = np.broadcast_to(values[key].max(), values[key].shape)
        short = varied(found, key, float(values[key][0])).valuation
        whole = valuation(found.scenario, found.simulation, values, found.design.path)
        for figure in KEPT:
            assert np.array_equal(getattr(short, figure), getattr(whole, figure)), (key, figure)
        assert np.array_equal(short.lasting_payback_years, whole.lasting_payback_years)
        moved += not np.array_equal(whole.net_present_value, found.valuation.net_present_value)
    assert moved >= 8
