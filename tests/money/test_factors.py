"""Discount factors against printed tables and written-out sums."""

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.money import measures as factors

HANDBOOK = "NIST Handbook 135, discount factors"


@pytest.mark.published
@pytest.mark.parametrize(
    ("quantity", "computed", "printed", "half_digit"),
    [
        ("SPV 3 %, 15 years", factors.single_present_value(0.03, 15), 0.642, 0.0005),
        ("UPV 3 %, 15 years", factors.uniform_present_value(0.03, 15), 11.94, 0.005),
    ],
)
def test_handbook_factors(quantity, computed, printed, half_digit, record_property):
    """The factor as printed, to half its last digit."""
    record_property("published", (quantity, HANDBOOK, printed, float(computed)))
    assert float(computed) == pytest.approx(printed, abs=half_digit)


rates = st.floats(0.001, 0.5)
terms = st.integers(1, 40)


@given(rate=rates, years=terms)
def test_factors_are_the_sums_they_stand_for(rate, years):
    """Each closed form equals its sum, term by term."""
    span = range(1, years + 1)
    assert factors.uniform_present_value(rate, years) == pytest.approx(sum((1 + rate) ** -t for t in span), rel=1e-11)


@given(rate=rates, years=terms)
def test_factors_agree_with_reference_library(rate, years):
    """numpy-financial (BSD licence) gives the same present value, future value and payments."""
    assert factors.uniform_present_value(rate, years) == pytest.approx(-npf.pv(rate, years, 1.0), rel=1e-11)
    assert factors.single_present_value(rate, years) == pytest.approx(-npf.pv(rate, years, 0.0, 1.0), rel=1e-12)
    assert factors.uniform_capital_recovery(rate, years) == pytest.approx(-npf.pmt(rate, years, 1.0), rel=1e-11)
    assert factors.single_compound_amount(rate, years) == pytest.approx(-npf.fv(rate, years, 0.0, 1.0), rel=1e-12)


def test_limits():
    """At rate 0 factors count years; a tiny rate joins on smoothly."""
    assert factors.uniform_present_value(0.0, 15) == 15
    assert factors.uniform_capital_recovery(0.0, 8) == 0.125
    assert factors.uniform_present_value(1e-9, 15) == pytest.approx(15 - 120e-9, abs=1e-12)


def test_discounting_broadcasts_over_draws():
    """One rate per draw: row y is multiplied by (1 + d)^-y of that draw."""
    flows = np.full((4, 2), 8.0)
    present = factors.discounted(flows, discount_rate=np.array([0.0, 1.0]))
    assert present.T.tolist() == [[8, 8, 8, 8], [8, 4, 2, 1]]


def test_rates_at_or_below_minus_one_are_refused():
    """Losing everything each year has no discount factor; neither has NaN."""
    with pytest.raises(ValueError, match="above -1"):
        factors.uniform_present_value(-1.0, 5)
    with pytest.raises(ValueError, match="above -1"):
        factors.single_present_value(np.nan, 5)
