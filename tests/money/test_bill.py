"""The one bill: rates, years, a series of prices, export, blocks and the standing charge against sums made by hand."""

import numpy as np
import pytest

from riskcalc.answers.measured import predicted_months
from riskcalc.money.bill import Energy, bill, prices_of
from riskcalc.money.prices import PricePaths
from riskcalc.study.model import assessment

TWO_YEARS = np.array([[1.0], [1.1]])


def test_a_bill_by_hand(read_small):
    """Two rates on paths of their own over two years, export, a block of the year and 365 days of standing charge.

    Year 1, without: 1000 x 0.30 + 500 x 0.15 + 365 x 0.5 + 500 x 0.2 = 657.50; with: 600 x 0.30 + 800 x 0.15 + 182.50
    + 400 x 0.2 - 100 x 0.05 = 557.50. Year 2: day 1.1 times, night 0.9, export 2, block and standing charge 1.1 times.
    """
    scenario = read_small("tariff.blocks.second={above_kwh=1000, extra_per_kwh=0.2}", 'tariff.block_period="year"')
    values = {key: quantity.quantile(np.array([0.5])) for key, quantity in scenario.quantities().items()}
    night, export = np.array([[1.0], [0.9]]), np.array([[1.0], [2.0]])
    billed = np.zeros((3, 2, 2, 1))
    billed[0, 0], billed[0, 1] = 1000.0, 500.0
    billed[1, 0], billed[1, 1] = 600.0, 800.0
    billed[2, 0] = 100.0
    use, bought = np.zeros((12, 2, 1)), np.zeros((12, 2, 1))
    use[3], bought[3] = 1500.0, 1400.0
    paths = PricePaths((TWO_YEARS, night), TWO_YEARS, export, TWO_YEARS)
    energy = Energy(billed, billed[2].sum(axis=0), 365, (use, bought))
    both = bill(prices_of(scenario, values, paths), energy)
    assert both.without[:, 0] == pytest.approx([657.5, 330 + 500 * 0.135 + 1.1 * (182.5 + 100)], rel=1e-14)
    assert both.with_kit[:, 0] == pytest.approx([557.5, 198 + 800 * 0.135 + 1.1 * (182.5 + 80) - 10], rel=1e-14)
    assert both.charging[:, 0] == pytest.approx([300 * 0.15, 300 * 0.135], rel=1e-14)
    second = bill(prices_of(scenario, values, paths, year=1), Energy(billed[:, :, 1], billed[2, :, 1].sum(axis=0), 365))
    assert second.without == pytest.approx([330 + 500 * 0.135 + 1.1 * 182.5], rel=1e-14), "one year, blocks left out"


def test_measured_months_are_billed_on_each_rates_own_path(read_small):
    """With rates that move apart the twelve bills of a year add up to the year's bill in every draw, year 3 too."""
    apart = "prices.spread=0.2", "prices.rate_correlation=0", "prices.export_correlation=0", "study.pool_years=4"
    found = assessment(read_small(*apart))
    months = predicted_months(found, years=3)
    assert np.ptp(found.valuation.import_path[2]) > 0.1
    assert months.bill.sum(axis=1) == pytest.approx(found.valuation.bill_with[:3], rel=1e-9)
