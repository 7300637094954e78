"""How factors are called in words."""

from pathlib import Path

import pytest

from riskcalc.answers.rows import factor_words
from riskcalc.scenario import read_scenario

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.mark.parametrize(("name", "asked"), [("terrace-portable", False), ("terrace-tenant", True)])
def test_permission_is_named_only_where_somebody_is_asked(name: str, asked: bool) -> None:
    """Nobody permits an owner; a tenant asks the landlord."""
    assert ("permission" in factor_words(read_scenario(SCENARIOS / f"{name}.toml"))["luck.tenure"]) is asked
