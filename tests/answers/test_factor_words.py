"""How factors are called in words, and which chances are one factor."""

from pathlib import Path

import pytest

from riskcalc.answers.factors import factors_of
from riskcalc.answers.rows import factor_words
from riskcalc.scenario import read_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.mark.parametrize(
    ("name", "asked"), [("terrace-portable", False), ("terrace-tenant", False), ("tenant-balcony", True)]
)
def test_permission_is_a_factor_only_where_it_may_be_refused(name: str, asked: bool) -> None:
    """Permission is luck where it may be refused, and a factor of its own beside the moves."""
    found = {factor.name: factor for factor in factors_of(read_scenario(SCENARIOS / f"{name}.toml")).entries}
    assert ("luck.permission" in found) is asked
    if asked:
        assert found["luck.permission"].keys == ("tenure.luck_permission",)
        assert found["luck.permission"].family == found["luck.moves"].family
        assert all(key.startswith("tenure.luck_move") for key in found["luck.moves"].keys)
        assert all(key.startswith("tenure.luck_new_home") for key in found["luck.later_sun"].keys)


@pytest.mark.parametrize(
    ("name", "chance", "said"),
    [
        ("terrace-tenant", False, "length of stay in later homes"),
        ("terrace-tenant", True, "when you move"),
        ("terrace-rooftop", True, "when you move"),
    ],
)
def test_the_luck_of_moves_is_called_by_what_it_holds(name: str, chance: bool, said: str) -> None:
    """Under a yearly chance the first move is luck too, whether or not the kit goes along."""
    scenario = read_scenario(SCENARIOS / f"{name}.toml")
    assert scenario.tenure is not None
    if chance:
        stay = {"stay_years": None, "moving_chance_per_year": scenario.tenure.permission_refused_chance}
        scenario = scenario.model_copy(update={"tenure": scenario.tenure.model_copy(update=stay)})
    assert factor_words(scenario)["luck.moves"] == said
