"""Plain rows of what was found: months in words, units, what is certain."""

import pytest

from riskcalc.answers.claims import ClaimResult
from riskcalc.answers.rows import claim_row, joined_label, measure_unit, month_words
from riskcalc.scenario import Claim
from riskcalc.uncertainty.summary import Estimate


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


def row_of(**claim):
    """Return the row of a claim that half of the futures bear out, and a bit more."""
    claim = Claim(sentence="So it is said.", **claim)
    return claim_row(ClaimResult(claim, Estimate(0.75, 0.01), 2.0, 1.0, 3.0, None), {}, "EUR")


def test_a_row_says_the_months_and_years_of_its_claim():
    """A list of months where there are some, nothing where there are none; the measure in words says them too."""
    summer = row_of(measure="bill_cut_share", at_least=0.3, months=(6, 7, 8))
    assert (summer["months"], summer["years"]) == ([6, 7, 8], None)
    assert summer["measure_in_words"].endswith(", June to August")
    year = row_of(measure="bill_cut_share", at_least=0.3)
    assert year["months"] is None
    assert year["measure_in_words"].endswith(", first year")
    three = row_of(measure="saving_per_year", at_least=100.0, years=3)
    assert (three["months"], three["years"], three["unit"]) == (None, 3, "EUR")
    assert three["measure_in_words"].endswith(", average of the first 3 years")
    assert row_of(measure="saving_per_year", at_least=100.0, years=1)["measure_in_words"].endswith(", first year")
    payback = row_of(measure="payback_years", at_most=6.0)
    assert (payback["at_least"], payback["at_most"]) == (None, 6.0)
    assert not payback["measure_in_words"].endswith("first year")


def test_a_row_says_the_odds_and_the_spread_of_its_claim():
    """Each figure under its own name; a claim that a run does not measure has none."""
    row = row_of(measure="payback_years", at_most=6.0)
    assert row["probability"] == {"value": 0.75, "standard_error": 0.01}
    assert (row["p10"], row["p50"], row["p90"]) == (1.0, 2.0, 3.0)
    assert (row["is_even_chance"], row["even_chance"]) == (False, None)
    nothing = claim_row(
        ClaimResult(Claim(sentence="x", measure="payback_years", at_most=6.0), None, None, None, None, None), {}, "EUR"
    )
    assert nothing["probability"] is None


def test_inputs_that_move_as_one_read_as_one_name():
    """Only the first keeps its capital; a key without a name stands as it is."""
    words = {"a": "Inflation", "b": "Trend of electricity prices"}
    assert joined_label(["a", "b"], words) == "Inflation and trend of electricity prices"
    assert joined_label(["a"], words) == "Inflation"
    assert joined_label(["c"], words) == "c"
