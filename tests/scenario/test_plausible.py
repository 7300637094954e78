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


def asked(name: str, *changes: str) -> list[str]:
    """Return the keys that are questioned."""
    return [question.key for question in questions(read_scenario(SCENARIOS / f"{name}.toml", changes))]


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


def test_prices_are_questioned_in_every_currency() -> None:
    """35 a kWh is a slip in kronor as in pounds; 350 yen are not 350 of anything else."""
    rate = "tariff.rates.all_day.import_price_per_kwh"
    asks = asked("terrace-portable", 'currency="SEK"', f"{rate}=35")
    assert rate in asks
    assert rate not in asked("terrace-portable", 'currency="SEK"', f"{rate}=2.8")
    assert rate not in asked("terrace-portable", 'currency="JPY"', f"{rate}=31")


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        (["kit.battery.capacity_kwh=0.05", "kit.battery.discharge_w=200000"], "kit.battery.discharge_w"),
        (["prices.persistence=0.95", "prices.spread=0.5", "study.horizon_years=60"], "prices.spread"),
    ],
)
def test_what_cannot_be_is_refused(changes: list[str], key: str) -> None:
    """A cell that is empty within a second; prices whose mean has 22 digits."""
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
