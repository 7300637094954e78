"""What is possible but unusual is asked; what is impossible is refused; what is usual passes without a word."""

from pathlib import Path

import pytest

from riskcalc.errors import InputError
from riskcalc.scenario import read_scenario
from riskcalc.scenario.fields import all_keys
from riskcalc.scenario.plausible import PER_DOLLAR, USUAL, questions
from riskcalc.scenario.schema import Scenario
from riskcalc.scenario.texts import CURRENCIES

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.mark.parametrize("path", sorted(SCENARIOS.glob("*.toml")), ids=lambda path: path.stem)
def test_shipped_scenarios_are_not_questioned(path: Path) -> None:
    """A question that everybody meets is no question."""
    assert questions(read_scenario(path)) == ()


@pytest.mark.parametrize(
    ("name", "change", "key"),
    [
        ("terrace-portable", "kit.battery.capacity_kwh=384", "kit.battery.capacity_kwh"),
        ("terrace-portable", "home.annual_use_kwh=50", "home.annual_use_kwh"),
        ("terrace-rooftop", "home.annual_use_kwh=90000", "home.annual_use_kwh"),
        ("terrace-rooftop", "tariff.export_price_per_kwh=4.9", "tariff.export_price_per_kwh"),
        ("terrace-rooftop", "purchase.incentive=50000", "purchase.incentive"),
        ("terrace-portable", "kit.battery.extra_batteries=50", "purchase.price"),
        ("terrace-portable", "tariff.standing_charge_per_day=18", "tariff.standing_charge_per_day"),
        ("terrace-rooftop", "site.record_low_c=25", "site.record_low_c"),
        ("terrace-rooftop", "prices.spread=0.4", "prices.spread"),
        ("workshop-off-grid", "prices.trend_per_year=0.3", "prices.trend_per_year"),
    ],
)
def test_what_is_unusual_is_questioned(name: str, change: str, key: str) -> None:
    """Each with the value, the usual range, where that comes from and what it does."""
    found = [q for q in questions(read_scenario(SCENARIOS / f"{name}.toml", [change])) if q.key == key]
    assert found, change
    assert all((q.given and q.usual and q.effect and q.source) for q in found)
    assert not any("e+" in q.given for q in found), "as people write figures"


def test_prices_are_questioned_in_every_currency(small_file: Path) -> None:
    """35 a kWh is a slip in kronor as in pounds; 31 yen are not 31 of anything else."""
    rate = "tariff.rates.day.import_price_per_kwh"

    def asks(currency: str, price: float) -> bool:
        path = small_file.with_name(f"{currency}.toml")
        path.write_text(small_file.read_text().replace('"EUR"', f'"{currency}"'), encoding="utf-8")
        return rate in [question.key for question in questions(read_scenario(path, [f"{rate}={price}"]))]

    assert asks("SEK", 35)
    assert not asks("SEK", 2.8)
    assert not asks("JPY", 31)
    assert asks("EUR", 1.4)


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        (["kit.battery.capacity_kwh=0.05", "kit.battery.discharge_w=200000"], "kit.battery.discharge_w"),
        (["tariff.standing_charge_per_day=180"], "tariff.standing_charge_per_day"),
        (["prices.persistence=0.95", "prices.spread=0.5", "study.horizon_years=60"], "prices.spread"),
    ],
)
def test_what_cannot_be_is_refused(changes: list[str], key: str) -> None:
    """A cell that is empty within a second; pence taken for pounds; prices whose mean has 22 digits."""
    with pytest.raises(InputError) as caught:
        read_scenario(SCENARIOS / "terrace-portable.toml", changes)
    assert key in [problem.key for problem in caught.value.problems]


def test_every_range_belongs_to_a_key() -> None:
    """No range is left behind when a key is renamed, and every rate of exchange is of a currency."""
    from fnmatch import fnmatchcase

    keys = [key.replace("<name>", "x") for key in all_keys(Scenario)]
    lost = [usual.key for usual in USUAL if not any(fnmatchcase(key, usual.key) for key in keys)]
    assert lost == []
    assert set(PER_DOLLAR) <= CURRENCIES


def test_what_is_left_open_and_decides_by_itself_is_asked(small_file: Path) -> None:
    """A unit that may only pass the mains through, outages that nothing bridges, outages that are worth nothing."""
    outages = ["outages.per_year=3", "outages.hours_each=2", "outages.value_per_hour=5"]

    def keys(*changes: str) -> list[str]:
        asked = (question.key for question in questions(read_scenario(small_file, changes)))
        return [key for key in asked if key.startswith(("outages", "kit.runs"))]

    assert keys() == ["kit.runs_from_battery_on_mains"]
    assert keys("kit.runs_from_battery_on_mains=true") == []
    assert keys("kit.runs_from_battery_on_mains=false") == ["kit.runs_from_battery_on_mains"]
    wired = ['kit.coupling="whole_home"', "kit.battery.capacity_kwh=5", "purchase.price=2500", *outages]
    assert keys(*wired) == ["outages.kit_bridges"]
    assert keys(*wired, "outages.kit_bridges=true") == []
    assert keys("kit.runs_from_battery_on_mains=true", *outages[:2]) == ["outages.value_per_hour"]


@pytest.mark.parametrize(
    ("price", "said"),
    [
        (lambda hour: 4000.0 if hour == 5000 else 0.3, "times the mean"),
        (lambda hour: 0.30 if hour % 2 else -0.28, "beside prices of 0.29 in size"),
        (lambda hour: 0.2 + 0.1 * (hour % 24 > 16), ""),
    ],
)
def test_a_price_series_is_questioned(price, said: str) -> None:
    """One spike that outweighs the year, a mean near 0; a usual series is not."""
    import numpy as np

    from riskcalc.price_series import PriceSeries

    asked = PriceSeries(np.array([price(hour) for hour in range(8760)]), 60, ()).questions
    assert [said in question.given for question in asked] == ([True] if said else [])


def test_british_bills_are_asked_for_british_prices(small_file: Path) -> None:
    """The defaults follow the United States; British prices grew twice as fast. Asked unless history or figures are given."""

    def asked(currency: str, *changes: str) -> list[str]:
        path = small_file.with_name("home.toml")
        path.write_text(small_file.read_text().replace('"EUR"', f'"{currency}"'), encoding="utf-8")
        return [found.given for found in questions(read_scenario(path, list(changes))) if found.key == "prices.history"]

    (given,) = asked("GBP", "prices.trend_per_year=0.03", "prices.spread=0.04")
    assert given == "not given: prices change as in the United States"
    assert not asked("EUR")
    assert not asked("USD")
    assert not asked("GBP", "prices.history=ons_electricity")
    assert not asked("GBP", "prices.trend_per_year=0.03", "prices.spread=0.04", "prices.persistence=0.5")
    assert not asked("GBP", "prices.growth_path=[0.02, 0.02, 0.02, 0.02, 0.02, 0.02, 0.02, 0.02, 0.02, 0.02]")
