"""The price paths of a scenario: drawn and correlated, given outright, or from a file."""

import json

import numpy as np
import pytest

from riskcalc.answers.assess import result
from riskcalc.errors import InputError
from riskcalc.money.price_file import read_price_file
from riskcalc.money.prices import dearest_rate, paths_of
from riskcalc.study.model import assessment, design_of, drawn_values

DRAWN = ("prices.spread=0.05", "prices.persistence=0", "study.draws=4096", "study.horizon_years=3")


def paths(scenario):
    """Return the paths of a scenario's own draws."""
    random = design_of(scenario)
    return paths_of(scenario, drawn_values(scenario, random), random.path)


def growth(path):
    """Return log growth in the first step, (draws,)."""
    return np.log(path[1] / path[0])


def test_day_night_export_and_inflation_correlate_as_asked(read_small):
    """Correlations 0.6, 0.3 and 0.5 of yearly log growth with the dearest rate's, within four standard errors."""
    scenario = read_small(
        *DRAWN,
        "prices.rate_correlation=0.6",
        "prices.export_correlation=0.3",
        "prices.inflation_correlation=0.5",
        "prices.inflation_spread=0.01",
        "prices.inflation_per_year=0.02",
    )
    found = paths(scenario)
    assert dearest_rate(scenario) == "day"
    assert found.rates[0] is found.main
    for other, asked in ((found.rates[1], 0.6), (found.export, 0.3), (found.level, 0.5)):
        measured = np.corrcoef(growth(found.main), growth(other))[0, 1]
        assert abs(measured - asked) < 4 * (1 - asked**2) / np.sqrt(4096)
    assert growth(found.rates[1]).std() == pytest.approx(0.05, rel=0.02)
    assert (found.level[1] - 1.0).mean() == pytest.approx(0.02, abs=1e-4)
    assert (found.level[1] - 1.0).std() == pytest.approx(0.01, rel=0.02)


def test_rates_move_together_unless_said_otherwise(read_small):
    """By default every rate has one and the same path, and asking for less changes no other path."""
    plain, apart = paths(read_small(*DRAWN)), paths(read_small(*DRAWN, "prices.rate_correlation=0.5"))
    assert plain.rates[1] is plain.main
    assert np.array_equal(plain.main, apart.main)
    assert np.array_equal(plain.export, apart.export)
    assert np.array_equal(plain.level, apart.level)
    assert not np.array_equal(apart.rates[1], apart.main)


def test_a_spread_between_rates_matters_to_what_lives_on_their_difference(read_small):
    """A kit charged at night and used by day: worth scatters more when night and day prices part ways."""
    changes = ("prices.spread=0.08", "study.draws=64", "study.horizon_years=10", "study.step_minutes=30")
    together = assessment(read_small(*changes)).valuation.net_present_value
    apart = assessment(read_small(*changes, "prices.rate_correlation=0")).valuation.net_present_value
    assert apart.std() != pytest.approx(together.std(), rel=1e-3)


@pytest.mark.parametrize("given", ["prices.import_path=[1, 1.5, 1.2]", "prices.growth_path=[0.5, -0.2]"])
def test_a_given_path_is_every_price_in_every_draw(read_small, given):
    """1, 1.5, 1.2 or growths 0.5, -0.2: saving in year y is the first year's times the path, exactly alike kWh."""
    still = ("study.pool_years=1", "kit.ageing.module_decline_per_year=0", "kit.ageing.scale=0.05")
    plain = assessment(read_small(*still)).valuation
    found = assessment(read_small(*still, given, "prices.spread=0.3")).valuation
    assert found.import_path[:, 0] == pytest.approx([1.0, 1.5, 1.2], rel=1e-12)
    assert found.saving == pytest.approx(plain.saving * np.array([[1.0], [1.5], [1.2]]), rel=1e-12)


def test_a_file_gives_import_export_and_inflation(read_small, tmp_path):
    """Prices 0.20, 0.30, 0.25 and export 0.1, 0.1, 0.05: ratios to the first row; inflation compounds from row 2 on."""
    path = tmp_path / "path.csv"
    path.write_text("year,import,export,inflation\n2025,0.20,0.1,0.09\n2026,0.30,0.1,0.02\n2027,0.25,0.05,0.03\n")
    found = paths(read_small(f'prices.path_file="{path}"'))
    assert found.main[:, 3] == pytest.approx([1.0, 1.5, 1.25])
    assert found.export[:, 3] == pytest.approx([1.0, 1.0, 0.5])
    assert found.level[:, 3] == pytest.approx([1.0, 1.02, 1.02 * 1.03])


@pytest.mark.parametrize(
    ("text", "key", "given"),
    [
        ("jahr,import\n", "line 1", "jahr,import"),
        ("year,import\n", "line 2", "no rows"),
        ("year,import\n2025,0.2\n2026,dear\n", "line 3, import", "'dear'"),
        ("year,import\n2025,0.2\n2027,0.3\n", "line 3, year", "not the year after the one above"),
        ("year,import\n2025,0.2\n2026,0\n", "line 3, import", "0"),
        ("year,import,export\n2025,0.2,0\n2026,0.2,0.1\n", "line 2, export", "0"),
        ("year,import,inflation\n2025,0.2,0\n2026,0.2,2\n", "line 3, inflation", "2"),
        ("year,import\n2025,0.2\n2026,0.3\n", "year", "2 years"),
    ],
)
def test_what_is_wrong_with_a_file_is_told_with_its_line(tmp_path, text, key, given):
    """Header, figures, order, signs and length: each fault names where it stands and what was found."""
    path = tmp_path / "path.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_price_file(path, years=3)
    problem = caught.value.problems[0]
    assert (problem.file, problem.key, problem.given) == (str(path), key, given)


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        (("prices.import_path=[1, 1.1]",), "prices.import_path"),
        (("prices.growth_path=[0.1]",), "prices.growth_path"),
        (("prices.import_path=[0.3, 0.31, 0.35]",), "prices.import_path[1]"),
        (("prices.growth_path=[0.1, 25]",), "prices.growth_path[2]"),
        (("prices.import_path=[1, 1, 1]", "prices.growth_path=[0, 0]"), "prices.growth_path"),
    ],
)
def test_a_path_that_cannot_be_is_refused_with_its_key(read_small, changes, key):
    """Too short for the horizon, not starting at 1, a per cent figure, two ways at once: refused."""
    with pytest.raises(InputError) as caught:
        read_small(*changes)
    assert [problem.key for problem in caught.value.problems] == [key]


@pytest.mark.parametrize(
    "given",
    [
        "prices.growth_path=[0.3, 0, 0, 0, 0]",
        "prices.import_path=[1, 2, 2, 2, 2, 2]",
        "prices.growth_path=[0, 0, 0, 0, 0.9]",
    ],
)
def test_a_path_that_moves_once_is_told_without_a_correlation(read_small, given):
    """Prices that move in one year only have no correlation of neighbouring years: none is given, and JSON holds no NaN."""
    figures = result(assessment(read_small("study.horizon_years=6", given)))
    json.dumps(figures, allow_nan=False)
    assert figures["price_growth"]["drawn"]["lag1"] is None


def test_a_named_history_sets_what_is_left_open(read_small_without):
    """`prices.history` fills trend, persistence and spread where nothing is said, and nothing else."""
    scenario = read_small_without(
        ("prices",),
        "study.horizon_years=5",
        'prices={discount_rate_per_year=0.04, spread=0.01, history="eia_residential"}',
    )
    prices = scenario.prices
    assert (prices.trend_per_year.value, prices.persistence.value, prices.spread.value) == (0.0183, 0.288, 0.01)
    assert prices.jump_chance_per_year.value == 0.05
    fan = result(assessment(scenario))["price_fan"]
    assert fan["history"]["name"] == "eia_residential"
    assert fan["history"]["price_over_last"][-1] == 1.0
    assert fan["p5"][0] == fan["p95"][0] == 1.0
    assert fan["p5"][2] < fan["p50"][2] < fan["p95"][2]
