"""Figures are shown to the digit that their standard error supports."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from riskcalc.pages import figures as rounding
from riskcalc.pages.figures import estimate, frequency, short, shown_unit, with_unit

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


def test_a_payback_that_is_not_reached_names_the_horizon() -> None:
    """No number stands in for a quantile that is not reached, and no bare "never"."""
    assert rounding.years(estimate(None), horizon=15) == f"not within 15{NB}years"
    assert rounding.years(estimate(None), horizon=1) == f"not within 1{NB}year"
    assert rounding.years(estimate(9.44, 0.06), horizon=15, with_error=True) == f"9.4{NB}±{NB}0.1{NB}years"
    assert rounding.years(estimate(9.44, 2.0), horizon=15) == f"9{NB}years"
    assert rounding.years(estimate(1.02, 2.0), horizon=15) == f"1{NB}year"


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ([11.52, 14.1], "from 11.5 to 14.1 years"),
        ([11.52, None], "from 11.5 years to not within 15\u00a0years"),
        ([None, None], ""),
        (None, ""),
    ],
)
def test_an_interval_may_have_no_upper_end(ends: list[float | None] | None, said: str) -> None:
    """A censored time: the upper end may lie beyond the horizon."""
    assert rounding.years_range({"value": 12.0, "interval_95": ends}, horizon=15) == said


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "none of 1,000 futures"),
        (0.0041, "about 1 in 250 futures"),
        (0.0476, "about 1 in 20 futures"),
        (0.24, "about 1 in 4 futures"),
        (0.34, "about 1 in 3 futures"),
        (0.5, "about half of all futures"),
        (0.71, "about 7 in 10 futures"),
        (0.975, "all but about 1 in 40 futures"),
        (1.0, "all 1,000 futures"),
    ],
)
def test_a_share_is_said_as_a_frequency(share: float, said: str) -> None:
    """The nearest frequency people can picture; none and all name the number of futures."""
    assert frequency(estimate(share, 0.01), 1000).replace(NB, " ") == said


@given(st.floats(0.001, 0.999))
def test_a_frequency_is_close_to_its_share(share: float) -> None:
    """What is said, read back as a number, is within 5 points of the share, or within a sixth of a small one."""
    said = frequency(estimate(share, 0.01), 1000).replace(NB, " ").replace(",", "")
    numbers = [int(word) for word in said.split() if word.isdigit()]
    read = 0.5 if "half" in said else numbers[0] / numbers[1]
    small, read_small = min(share, 1 - share), min(read, 1 - read)
    assert (read > 0.5) == (share > 0.5) or abs(share - 0.5) < 0.051 or said.startswith("all but")
    assert abs(read_small - small) <= (0.051 if small > 0.095 else small / 6)


@pytest.mark.parametrize(
    ("label", "said"),
    [
        ("light lost to shade: share of the year's", "Light lost to shade"),
        ("Import price (night)", "Import price (night)"),
        ("x" * 60, "…"),
    ],
)
def test_a_label_is_cut_where_a_phone_has_no_room(label: str, said: str) -> None:
    """What stands before a colon, with a capital, a name in brackets kept."""
    assert said in short(label)
    assert len(short(label)) <= rounding.LONGEST


def test_units_are_shown_as_people_read_them() -> None:
    """A share of 0.042 is 4.2 %, other units stay."""
    assert with_unit(0.042, "share") == f"4.2{NB}%"
    assert with_unit(0.042, "share/year") == f"4.2{NB}% a year"
    assert with_unit(0.042, "GBP/kWh") == f"0.042{NB}GBP/kWh"
    assert shown_unit("") == (1.0, "")


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
