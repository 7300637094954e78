"""Limits of a run are said in the answer: too few draws, few weather years, defaults that decide."""

from dataclasses import replace

import numpy as np
import pytest

from riskcalc.answers.assess import result, worth_ranking
from riskcalc.answers.limits import limits, shifting_defaults, weather_limits
from riskcalc.scenario import read_scenario
from riskcalc.study.model import assessment

PRICE = 'purchase.price={ distribution = "uniform", low = 400, high = 800 }'


def said(found):
    """Return all limits of an assessment as one text."""
    return "\n".join(limits(found, worth_ranking(found)))


@pytest.mark.parametrize(
    ("draws", "message"),
    [
        (16, "16 futures are too few to tell the best and worst 5 %; run at least 128"),
        (128, "128 futures give only a rough idea of the best and worst 5 %; run at least 800"),
        (1024, None),
    ],
)
def test_too_few_draws_for_the_outer_quantiles(read_small, draws, message):
    """A handful of draws must lie beyond a stated quantile, in all and, for its error, in every scramble."""
    text = said(assessment(read_small(PRICE, f"study.draws={draws}", "study.pool_years=8", "study.horizon_years=1")))
    assert (message in text) if message else ("5 %" not in text)


def test_too_few_draws_to_rank(read_small):
    """Sixteen draws and five uncertain inputs give no ranking, and that is said."""
    more = [
        f'{key}={{ distribution = "uniform", low = {low}, high = {high} }}'
        for key, low, high in (
            ("home.annual_use_kwh", 1000, 3000),
            ("kit.inverter.idle_w", 5, 15),
            ("home.surfaces.balcony.shading", 0, 0.3),
            ("kit.battery.capacity_kwh", 0.8, 1.2),
        )
    ]
    wanted = "16 futures are too few to say which of the 5 uncertain inputs decides most"
    assert wanted in said(assessment(read_small(PRICE, *more)))


def test_nothing_uncertain_is_said(read_small):
    """Odds of a scenario without any uncertain input are odds of luck alone."""
    assert "no input is uncertain" in said(assessment(read_small()))
    assert "no input is uncertain" not in said(assessment(read_small(PRICE)))


def test_few_real_years_and_a_typical_year_are_said(read_small):
    """A new year lies outside n real ones with chance 2 / (n + 1): eleven leave 17 %; fewer than ten get generated ones."""
    found = assessment(read_small())

    def with_years(years):
        pools = replace(found.world.pools, weather=replace(found.world.pools.weather, real_years=years))
        return "\n".join(weather_limits(replace(found, world=replace(found.world, pools=pools))))

    assert "a new year lies outside all of them is 17 %" in with_years(11)
    assert "only 8 years of this place's weather are known. How far other years may differ" in with_years(8)
    assert "only one year of this place's weather is known. How far other years may differ" in with_years(1)
    assert "known" not in with_years(25)
    assert "known" not in with_years(0)


def test_the_chance_that_a_new_year_lies_outside_is_right():
    """By counting: of 200,000 samples of 8 + 1 independent years the last is the highest or lowest in 2 of 9."""
    years = np.random.default_rng(1).normal(size=(200_000, 9))
    outside = (years[:, 8] > years[:, :8].max(axis=1)) | (years[:, 8] < years[:, :8].min(axis=1))
    assert outside.mean() == pytest.approx(2 / 9, abs=4 * np.sqrt(2 / 9 * 7 / 9 / 200_000))


LONG = ("study.horizon_years=10", "study.draws=256", "study.pool_years=8", "study.step_minutes=30")


def test_defaults_that_decide_are_named(small_file):
    """Without any word on prices, their luck decides the worth and the defaults behind it are named; given, they are not."""
    text = small_file.read_text()
    for key in ("trend_per_year", "spread", "jump_chance_per_year", "inflation_per_year"):
        text = "\n".join(line for line in text.splitlines() if not line.startswith(f"{key} ="))
    small_file.write_text(text)
    cheap = 'purchase.price={ distribution = "uniform", low = 590, high = 610 }'
    found = assessment(read_scenario(small_file, (cheap, *LONG)))
    words = said(found)
    assert "jumps of electricity prices from year to year decide" in words
    assert "the size of the moves is our estimate. You can change it in your scenario, under prices" in words
    assert (
        "you gave no figure for 'Trend of electricity prices', so we used 2 %. With 1 % more, the average worth changes by"
        in words
    )
    names = ("spread=0.04", "persistence=0.3", "jump_chance_per_year=0.05", "jump_mean=0.2", "jump_spread=0.1")
    names = (*names, "jump_fall_share=0.25", "jump_fade_share=0.5")
    given = [f"prices.{name}" for name in (*names, "trend_per_year=0.02", "inflation_per_year=0.02")]
    given.append("site.weather.yearly_spread=0.05")
    assert "our" not in said(assessment(read_scenario(small_file, (cheap, *LONG, *given))))


def test_the_change_a_default_makes_is_that_of_a_run_with_it(small_file):
    """The change that is told equals the difference of two whole runs."""
    text = "\n".join(line for line in small_file.read_text().splitlines() if not line.startswith("trend_per_year"))
    small_file.write_text(text)
    plain, moved = (
        assessment(read_scenario(small_file, LONG + extra)) for extra in ((), ("prices.trend_per_year=0.03",))
    )
    change = float(np.mean(moved.valuation.net_present_value - plain.valuation.net_present_value))
    assert any(f"by {change:,.0f} EUR" in line for line in shifting_defaults(plain))


def test_limits_are_in_the_result(read_small):
    """What is yielded stands in result.json."""
    found = assessment(read_small())
    assert result(found)["limits"] == list(limits(found, worth_ranking(found)))
