"""Built-in climates: figures of the published tables, names, and what is said about a wrong name."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from riskcalc.errors import InputError
from riskcalc.weather.climates import climate, climate_names
from riskcalc.weather.csv_years import read_csv_years

NEW_YORK = Path(__file__).parents[2] / "scenarios" / "data" / "weather_new_york_hourly.csv"


@pytest.mark.published
def test_figures_of_the_published_tables() -> None:
    """UK average and Thames read as printed in SAP 2012 Appendix U, tables U1 to U4 (pp. 172-176)."""
    average = climate("uk_average")
    assert average.ghi_w_m2.tolist() == [26, 54, 96, 150, 192, 200, 189, 157, 115, 66, 33, 21]
    assert average.temp_air_c.tolist() == [4.3, 4.9, 6.5, 8.9, 11.7, 14.6, 16.6, 16.4, 14.1, 10.6, 7.1, 4.2]
    assert average.wind_speed_m_s.tolist() == [5.1, 5.0, 4.9, 4.4, 4.3, 3.8, 3.8, 3.7, 4.0, 4.3, 4.5, 4.7]
    assert (average.latitude_deg, average.altitude_m) == (53.5, 79.0)
    assert climate("thames").latitude_deg == 51.6
    assert climate("south_west_england").ghi_w_m2[2] == 111.0
    assert climate("shetland").latitude_deg == 60.1


def test_names_are_found_whatever_their_spelling() -> None:
    """Key, full name, other case and hyphens lead to the same climate; 22 UK regions, 9 US places, 15 German, one Italian."""
    assert len(climate_names()) == 47
    assert climate("South East England").key == climate("south-east-england").key == "south_east_england"
    for name in climate_names():
        assert climate(name).key == name
        assert climate(climate(name).name).key == name


def test_unknown_name_gives_the_nearest() -> None:
    """A misspelt region names the nearest ones and the full list."""
    with pytest.raises(InputError, match="nearest: thames") as caught:
        climate("Tames")
    assert "uk_average" in str(caught.value)


def test_new_york_is_the_typical_years_means() -> None:
    """The monthly means of New York are those of the shipped hourly year, to the digits kept."""
    pool = read_csv_years(
        NEW_YORK, zone="America/New_York", label="middle", latitude_deg=40.7, longitude_deg=-74.0, altitude_m=10.0
    )
    place = climate("new_york")
    assert np.abs(pool.monthly_means("ghi")[0] - place.ghi_w_m2).max() <= 0.0501
    assert np.abs(pool.monthly_means("temp_air")[0] - place.temp_air_c).max() <= 0.00501
