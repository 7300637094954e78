"""Plain rows of what was found: months in words, units, what is certain."""

import pytest

from riskcalc.answers.rows import measure_unit, month_words


@pytest.mark.parametrize(
    ("months", "said"),
    [
        ((6, 7, 8), "June to August"),
        ((11, 12, 1, 2), "November to February"),
        ((12, 1, 2), "December to February"),
        (tuple(range(1, 13)), "January to December"),
        ((6,), "June"),
        ((6, 7), "June, July"),
        ((12, 1), "December, January"),
        ((6, 8, 10), "June, August, October"),
        ((1, 2, 4), "January, February, April"),
        ((8, 7, 6), "August, July, June"),
        ((6, 7, 6), "June, July, June"),
    ],
)
def test_months_of_a_claim_in_words(months, said):
    """Three months or more in a row, over new year too, are a stretch; all others are named one by one."""
    assert month_words(months) == said


@pytest.mark.parametrize(
    ("measure", "unit"),
    [
        ("import_kwh", "kWh"),
        ("bill_cut_share", "share"),
        ("discounted_payback_years", "years"),
        ("overload_minutes", "minutes"),
        ("short_days", "days"),
        ("short_hours", "hours"),
        ("hours_bridged", "hours"),
        ("months_without_grid_use", "months"),
        ("saving_per_year", "EUR"),
    ],
)
def test_units_of_measures(measure, unit):
    """The end of its name tells the unit of a measure; what has none is money."""
    assert measure_unit(measure, "EUR") == unit
