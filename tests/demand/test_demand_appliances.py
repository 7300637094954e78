"""The appliance table against its published source, and its checks."""

import pytest

from riskcalc.demand.appliances import (
    CLASSES,
    REACHES,
    Appliance,
    appliance_keys,
    appliance_table,
    check_appliances,
    cycle_phases,
)
from riskcalc.demand.habits import activity_names
from riskcalc.errors import InputError

RICHARDSON = "Richardson et al. 2010, appliance table"
PUBLISHED = [row for row in appliance_table().values() if row.stated_kwh_per_year and row.cycles_per_year]


def _last_digit_kwh(row: Appliance) -> float:
    return 0.005 + 0.005 * row.mean_cycle_power_w * row.cycle_length_min / 60_000.0


@pytest.mark.published
@pytest.mark.parametrize("row", [r for r in PUBLISHED if r.key != "lighting"], ids=lambda row: row.key)
def test_published_energy_recomputes(row: Appliance, record_property):
    """Richardson et al. 2010, appliance table: power, length, cycles and standby give the stated kWh.

    Tolerance: half the last digit of the energy and of the cycles, both printed with two decimals.
    """
    stated = float(row.stated_kwh_per_year or 0.0)
    record_property("published", (f"{row.key} kWh/year", RICHARDSON, stated, float(row.kwh_per_year)))
    assert row.kwh_per_year == pytest.approx(row.stated_kwh_per_year, abs=_last_digit_kwh(row))


@pytest.mark.published
@pytest.mark.parametrize(
    ("key", "kwh"),
    [("kettle", 160.67), ("fridge_freezer", 426.06), ("washing_machine", 191.04), ("tumble_dryer", 313.82),
     ("personal_computer", 348.61), ("vacuum", 73.58), ("chest_freezer", 271.13)],
)  # fmt: skip
def test_energies_as_printed(key: str, kwh: float, record_property):
    """Richardson et al. 2010: energies typed in again, so that an edit of the table's stated column cannot hide."""
    row = appliance_table()[key]
    record_property("published", (f"{key} kWh/year, typed again", RICHARDSON, kwh, float(row.kwh_per_year)))
    assert row.kwh_per_year == pytest.approx(kwh, abs=_last_digit_kwh(row))


@pytest.mark.published
def test_fridge_freezer_runs_a_quarter_of_the_time(record_property):
    """Richardson et al. 2010: 6115.76 cycles of 22 minutes are 25.6 % of a year."""
    share = appliance_table()["fridge_freezer"].hours_on / 8760.0
    record_property("published", ("fridge_freezer share of time on", RICHARDSON, 0.256, share))
    assert share == pytest.approx(0.256, abs=0.0005)


@pytest.mark.published
def test_lighting_is_the_survey_total(record_property):
    """Household Electricity Survey 2010-11: 483 kWh a year for lighting; our lamp and cycles give it within 0.1 %."""
    lighting = appliance_table()["lighting"].kwh_per_year
    record_property("published", ("lighting kWh/year", "Household Electricity Survey 2010-11", 483.0, lighting))
    assert lighting == pytest.approx(483.0, rel=1e-3)


def test_every_row_can_be_used():
    """Class, reach, activity and source of every row are ones the model knows."""
    steady = {"constant", "thermostat"}
    for row in appliance_table().values():
        assert row.appliance_class in CLASSES
        assert row.usually in REACHES
        assert row.activity in steady or row.activity in activity_names(), row.key
        assert row.source
        assert 0.0 <= row.ownership <= 1.0
        assert row.standby_w <= row.mean_cycle_power_w


def test_cycle_phases_last_as_long_as_the_cycle():
    """A shaped cycle has as many minutes as the table says, so its mean power gives the table's energy."""
    for key, phases in cycle_phases().items():
        assert sum(minutes for minutes, _ in phases) == appliance_table()[key].cycle_length_min


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"ketle": "unit"}, "home.appliances.ketle"),
        ({"ketle": "unit"}, "did you mean kettle"),
        ({"kettle": "plugged"}, 'given:    \'plugged\'\n  accepted: "unit" or "elsewhere"'),
    ],
)
def test_wrong_appliances_are_named(given: dict, message: str):
    """An unknown appliance or reach is refused with its key and what is accepted."""
    with pytest.raises(InputError) as error:
        check_appliances(given)
    assert message in str(error.value)


def test_all_problems_come_at_once():
    """Three faults give three problems; a sound list gives none."""
    with pytest.raises(InputError) as error:
        check_appliances({"a": "unit", "kettle": "x", "hob": "elsewhere", "zz": "unit"})
    assert len(error.value.problems) == 3
    check_appliances(dict.fromkeys(appliance_keys(), "unit"))
