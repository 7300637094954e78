"""What a longer warranty is worth: by hand where failures are certain, nothing where nothing fails."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from riskcalc.answers import warranty
from riskcalc.answers.warranty import warranty_figures
from riskcalc.pages.exhibits.worth import warranty_words
from riskcalc.scenario import Scenario
from riskcalc.study.model import Assessment, assessment

FEW = ("study.draws=16", "study.scrambles=4", "study.pool_years=4", "study.horizon_years=10", "study.step_minutes=30")
REPLACED = (
    'purchase.when_worn="replace"',
    "purchase.electronics_replacement_price=100",
    "purchase.battery_replacement_price=0",
    "kit.ageing.failure_chance_per_year=0",
    "kit.ageing.end_of_life_share=0",
)


UNSURE_LIFE = 'kit.ageing.electronics_life_years={ distribution = "uniform", low = 1, high = 20 }'


def run_and_gained(
    read_small: Callable[..., Scenario], *changes: str, longer_years: int
) -> tuple[Assessment, NDArray[np.float64]]:
    """Return an assessment, and what each future gains in another with a longer warranty."""
    run = assessment(read_small(*changes))
    longer = assessment(read_small(*changes, f"purchase.warranty_years={longer_years}"))
    return run, longer.valuation.net_present_value - run.valuation.net_present_value


def test_a_certain_repair_within_the_added_years(read_small: Callable[..., Scenario]) -> None:
    """Electronics that live 3.5 years fail in years 4 and 7: five years of warranty save the first, worth its present value."""
    found = warranty_figures(assessment(read_small(*FEW, *REPLACED, "kit.ageing.electronics_life_years=3.5")))[
        "longer_warranty"
    ]
    # Failures after 3.5 years (paid at the end of the fourth, at today's price) and after 7 years; the warranty ends after 5.
    assert found["worth"]["value"] == pytest.approx(100.0 / 1.04**4, rel=1e-9)
    assert found["worth"]["standard_error"] == pytest.approx(0.0, abs=1e-9)
    assert found["helps_share"] == 1.0


def test_nothing_to_gain_where_nothing_fails(read_small: Callable[..., Scenario]) -> None:
    """Electronics that outlive the horizon make a warranty worth nothing, and the page does not speak of it."""
    figures = warranty_figures(assessment(read_small(*FEW, *REPLACED, "kit.ageing.electronics_life_years=90")))
    assert figures == {}
    assert warranty_words(figures) == []


def test_a_kit_that_ends_when_it_fails_loses_its_savings(read_small: Callable[..., Scenario]) -> None:
    """Where nobody repairs, five years more of warranty are worth the savings of the years that a failure would have ended."""
    retired = ('purchase.when_worn="retire"', "kit.ageing.electronics_life_years=2.5", *REPLACED[3:])
    run, gained = run_and_gained(read_small, *FEW, *retired, longer_years=5)
    found = warranty_figures(run)["longer_warranty"]
    assert found["worth"]["value"] == pytest.approx(float(gained.mean()), rel=1e-9)
    assert float(np.mean(gained)) > 0.0


@pytest.mark.parametrize("when_worn", ["replace", "retire", "keep"])
def test_it_is_the_difference_of_two_assessments(read_small: Callable[..., Scenario], when_worn: str) -> None:
    """Random lives, worn batteries, a few failures at any time: the gain is that of assessing each warranty by itself."""
    changes = (
        "study.draws=128",
        *FEW[1:],
        f'purchase.when_worn="{when_worn}"',
        "purchase.electronics_replacement_price=100",
        "purchase.battery_replacement_price=150",
        "purchase.warranty_years=2",
        UNSURE_LIFE,
        "kit.ageing.failure_chance_per_year=0.05",
        "kit.ageing.end_of_life_share=0.82",
    )
    run, gained = run_and_gained(read_small, *changes, longer_years=7)
    found = warranty_figures(run)["longer_warranty"]
    if when_worn == "replace":
        assert found["worth"]["value"] == pytest.approx(float(gained.mean()), rel=1e-9)
        assert found["helps_share"] == float((gained > 0.0).mean())
    assert abs(found["worth"]["value"] - float(gained.mean())) <= 3.0 * found["worth"]["standard_error"]
    assert 0.2 < found["helps_share"] <= 1.0
    assert found["worth"]["value"] > 0.0


def test_the_futures_followed_stand_for_all_that_change(
    read_small: Callable[..., Scenario], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Following more of the futures that change sharpens the figure; following all of them makes it exact."""
    changes = (
        "study.draws=256",
        *FEW[1:],
        'purchase.when_worn="retire"',
        UNSURE_LIFE,
        "kit.ageing.end_of_life_share=0",
        "kit.ageing.failure_chance_per_year=0",
    )
    run, gained = run_and_gained(read_small, *changes, longer_years=5)
    of = {}
    for followed in (8, 32, 256):
        monkeypatch.setattr(warranty, "DRAWS_FOLLOWED", followed)
        of[followed] = warranty_figures(run)["longer_warranty"]
    errors = [of[followed]["worth"]["standard_error"] for followed in (8, 32, 256)]
    assert errors[0] == max(errors)
    assert errors[1] > 0.9 * errors[-1]  # a sample may judge the spread a little low
    assert errors[-1] == pytest.approx(float(gained.std()) / 16.0, rel=1e-9)
    assert of[256]["worth"]["value"] == pytest.approx(float(gained.mean()), rel=1e-9)
    assert of[256]["helps_share"] == pytest.approx(float((gained > 0.0).mean()), rel=1e-9)
    assert abs(of[8]["worth"]["value"] - float(gained.mean())) < 3.0 * errors[0]
