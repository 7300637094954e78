"""Figures are shown to the digit that their standard error supports."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.pages import rounding
from riskcalc.pages.estimate import Estimate

NB = "\u00a0"
THIN = "\u202f"
MINUS = "−\u2060"


@pytest.mark.parametrize(
    ("value", "se", "shown"),
    [
        (343.2, 17.0, "£340"),
        (343.2, 4.0, "£343"),
        (343.2, 0.2, "£343"),
        (343.2, 96.0, "£300"),
        (343.2, 0.0, "£343"),
        (-343.2, 17.0, f"{MINUS}£340"),
        (-3.0, 12.0, "£0"),
        (12.345, 0.001, "£12.35"),
        (12.345, 0.2, "£12.3"),
        (12345.6, 3.0, "£12,346"),
        (12345.6, math.nan, "£12,000"),
        (7.7, math.nan, "£8"),
    ],
)
def test_money_stops_at_the_decade_of_its_standard_error(value: float, se: float, shown: str) -> None:
    """The last digit of an amount stands where the first digit of its standard error does; worked out by hand."""
    assert rounding.money(value, "GBP", se=se) == shown


@pytest.mark.parametrize(
    ("currency", "shown"), [("EUR", "€20"), ("USD", "US$20"), ("CHF", f"CHF{NB}20"), ("DKK", f"DKK{NB}20")]
)
def test_a_currency_without_an_unmistakable_sign_is_shown_by_its_code(currency: str, shown: str) -> None:
    """Dollars say whose, francs and crowns are written as ISO 4217 codes."""
    assert rounding.money(20.0, currency) == shown


@pytest.mark.parametrize(
    ("share", "se", "shown"),
    [
        (0.684, 0.012, f"68{THIN}%"),
        (0.684, 0.12, f"70{THIN}%"),
        (0.684, 0.0001, f"68{THIN}%"),
        (0.0042, 0.0004, f"0.4{THIN}%"),
        (0.0042, 0.04, f"<1{THIN}%"),
        (0.0, 0.0, f"0{THIN}%"),
        (1.0, 0.0, f"100{THIN}%"),
        (0.998, 0.01, f">99{THIN}%"),
        (0.99951, 0.0002, f">99{THIN}%"),
    ],
)
def test_a_share_is_never_rounded_into_certainty(share: float, se: float, shown: str) -> None:
    """Only an exact 0 or 1 is shown as 0 % or 100 %."""
    assert rounding.percent(share, se=se) == shown


def test_errors_are_shown_with_one_digit() -> None:
    """17 is shown as 20; an error below the last digit shown as less than it; none where it is zero or unknown."""
    assert rounding.error(17.0) == f"{NB}±{NB}20"
    assert rounding.error(0.96, most_decimals=1) == f"{NB}±{NB}1"
    assert rounding.error(0.2) == f"{NB}±{NB}<1"
    assert rounding.error(0.0) == ""
    assert rounding.error(math.nan) == ""


def test_a_payback_that_is_not_reached_is_said_to_be_never() -> None:
    """No number stands in for a quantile that is not reached."""
    assert rounding.years(Estimate(None)) == "never"
    assert rounding.years(Estimate(9.44, 0.06), with_error=True) == f"9.4{NB}±{NB}0.1{NB}years"
    assert rounding.years(Estimate(9.44, 2.0)) == f"9{NB}years"
    assert rounding.years(Estimate(1.02, 0.3)) == f"1{NB}year" or rounding.years(Estimate(1.02, 0.3)) == f"1.0{NB}years"


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0.28, "0.28"), (1920.0, "1,920"), (52.149, "52.1"), (0.0, "0"), (-0.0034, "−0.0034"), (2.0, "2")],
)
def test_inputs_keep_three_digits(value: float, shown: str) -> None:
    """Inputs have no standard error: three significant digits, no trailing zeros."""
    assert rounding.significant(value) == shown


@given(value=st.floats(-1e6, 1e6), se=st.floats(1e-3, 1e5))
def test_rounding_moves_no_figure_by_more_than_half_the_decade_of_its_error(value: float, se: float) -> None:
    """The figure shown lies within half a unit of the last place, and that place is never finer than the error's."""
    shown = rounding.number(value, se=se, most_decimals=6)
    read = float(shown.replace("−", "-").replace(",", ""))
    place = 10.0 ** math.floor(math.log10(float(f"{se:.0e}")))
    assert abs(read - value) <= 0.5 * max(place, 1e-6) * (1 + 1e-9) + 1e-9
    assert abs(read / place - round(read / place)) < 1e-6 * max(1.0, abs(read / place))
