"""Internal rate of return and the count of sign changes."""

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from riskcalc.money.measures import internal_rate_of_return, net_present_value, sign_changes

LIBRARY = "numpy-financial documentation and tests"


@pytest.mark.published
@pytest.mark.parametrize(
    ("flows", "printed", "half_digit"),
    [
        ([-250000, 100000, 150000, 200000, 250000, 300000], 0.5672303344358536, 1e-14),
        ([-100, 39, 59, 55, 20], 0.28095, 0.000005),
    ],
)
def test_worked_rates(flows, printed, half_digit, record_property):
    """The rate as printed; sixteen digits to the rounding of doubles, five digits to half of the last."""
    got = internal_rate_of_return(np.array(flows, dtype=float)[:, None])
    record_property("published", ("internal rate of return", LIBRARY, printed, float(got.rate[0])))
    assert got.rate[0] == pytest.approx(printed, abs=half_digit)
    assert (got.sign_changes[0], got.roots[0]) == (1, 1)


@settings(deadline=None)
@given(cost=st.integers(10, 10_000), gains=st.lists(st.integers(0, 2000), min_size=12, max_size=12))
def test_worth_at_the_rate_is_zero(cost, gains):
    """With one sign change there is one rate, worth is zero there, and the reference library agrees."""
    assume(sum(gains) > 0.01 * cost)  # else the rate may lie below the lowest searched
    flows = np.array([-cost, *gains], dtype=float)
    got = internal_rate_of_return(flows[:, None])
    assert got.roots[0] == 1
    rate = got.rate[0]
    scale = sum(abs(flow) * (1 + rate) ** -y for y, flow in enumerate(flows))
    assert net_present_value(flows[:, None], discount_rate=rate)[0] == pytest.approx(0.0, abs=1e-9 * scale)
    assert rate == pytest.approx(npf.irr(flows), abs=1e-8)


def test_two_rates_are_counted_and_the_one_nearest_zero_given():
    """-1600, 10000, -10000 is worth zero at 25 % and at 400 %: v = 0.8 and 0.2 solve -1.6 + 10 v - 10 v^2 = 0."""
    got = internal_rate_of_return(np.array([[-1600.0], [10000.0], [-10000.0]]))
    assert (got.sign_changes[0], got.roots[0]) == (2, 2)
    assert got.rate[0] == pytest.approx(0.25, abs=1e-12)
    # (1 - 1.1 v)(1 - 0.4 v) = 1 - 1.5 v + 0.44 v^2: rates +10 % and -60 %
    assert internal_rate_of_return(np.array([[1.0], [-1.5], [0.44]])).rate[0] == pytest.approx(0.1, abs=1e-12)


def test_no_rate():
    """All costs, all gains, all zeros, or two changes without a real root: NaN, and no root counted."""
    flows = np.array([[-1.0, 1, 0, -1], [-1, 1, 0, 1], [-1, 1, 0, -1]])
    got = internal_rate_of_return(flows)
    assert np.isnan(got.rate).all()
    assert got.roots.tolist() == [0, 0, 0, 0]
    assert got.sign_changes.tolist() == [0, 0, 0, 2]


def test_rates_below_zero_are_found():
    """Half the money back after one year is -50 %; a tenth after five years about -37 % a year."""
    got = internal_rate_of_return(np.array([[-100.0, -100], [50, 0], [0, 0], [0, 0], [0, 0], [0, 10]]))
    assert got.rate == pytest.approx([-0.5, 0.1 ** (1 / 5) - 1], abs=1e-12)


def test_sign_changes_skip_zeros():
    """- 0 + + 0 - has two changes; a leading zero counts for nothing."""
    flows = np.array([[-1.0, 0], [0, -1], [1, 0], [1, 2], [0, 0], [-1, 3]])
    assert sign_changes(flows).tolist() == [2, 1]


def test_flows_that_are_not_finite_are_refused():
    """NaN stops the run."""
    with pytest.raises(ValueError, match="not finite"):
        internal_rate_of_return(np.array([[np.nan], [1.0]]))
