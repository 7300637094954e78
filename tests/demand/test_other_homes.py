"""Homes of other countries: air conditioning and electric water heating; frequencies that are scaled are said with the answer."""

from __future__ import annotations

import pytest

from riskcalc.answers.page_dict import whole_result
from riskcalc.demand.appliances import appliance_table
from riskcalc.pages.screen import summary_lines
from riskcalc.study.model import assessment

FEW = ("study.draws=8", "study.horizon_years=1")


@pytest.mark.parametrize(
    ("key", "least_kwh", "most_kwh"),
    [
        ("air_conditioner", 100, 1500),
        ("central_air_conditioner", 800, 4000),
        ("electric_heating", 1000, 12000),
        ("tank_water_heater", 1000, 4500),
    ],
)
def test_appliances_of_other_countries_are_there(key: str, least_kwh: float, most_kwh: float) -> None:
    """Each is in the table with a yearly use of the size that surveys give (bounds from memory: US RECS end uses)."""
    row = appliance_table()[key]
    assert least_kwh <= row.kwh_per_year <= most_kwh
    assert row.source


def test_a_water_heater_is_too_much_for_a_small_unit(read_small) -> None:
    """A tank of 4.5 kW on the wires of the home counts in the annual use, and is out of the unit's reach."""
    plain, heated = (
        assessment(read_small(*FEW, *more)).simulation
        for more in ((), ('home.appliances.tank_water_heater="elsewhere"', "home.annual_use_kwh=4500"))
    )
    from riskcalc.dispatch import Flow

    wired = [found.yearly_kwh[Flow.DEMAND_WIRED, 0].mean() for found in (plain, heated)]
    assert wired[1] > wired[0] + 1500.0


def test_scaled_frequencies_are_said_where_the_answer_stands(read_small) -> None:
    """Four times the use that the list explains: said among the questions of the answer, in result and on the screen."""
    found = assessment(read_small(*FEW, "home.annual_use_kwh=8000"))
    figures = whole_result(found)
    notes = " ".join(figures["provenance"]["notes"]) if "notes" in figures["provenance"] else str(figures)
    assert "times the published mean, to meet 8,000 kWh a year" in notes
    asked = [row["given"] for row in figures["questions"] if row["key"] == "home.annual_use_kwh"]
    assert any("the listed appliances take" in given for given in asked)
    assert any("is this right?" in line and "8,000 kWh" in line for line in summary_lines(figures))
