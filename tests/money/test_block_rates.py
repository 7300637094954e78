"""Block rates: a bill that is not linear in use."""

import numpy as np
import pytest

from riskcalc.errors import InputError
from riskcalc.study.model import assessment

SECOND = "tariff.blocks.second={above_kwh=100, extra_per_kwh=0.2}"


def test_a_block_that_starts_at_nothing_is_a_dearer_rate(read_small):
    """Limiting case: threshold 0 and 0.1 more equals both rates 0.1 dearer; one never reached changes nothing."""
    block = assessment(read_small("tariff.blocks.all={above_kwh=0, extra_per_kwh=0.1}")).valuation
    dearer = assessment(
        read_small("tariff.rates.day.import_price_per_kwh=0.40", "tariff.rates.night.import_price_per_kwh=0.25")
    ).valuation
    assert block.saving == pytest.approx(dearer.saving, rel=1e-12)
    assert block.bill_without == pytest.approx(dearer.bill_without, rel=1e-12)
    plain = assessment(read_small()).valuation
    never = assessment(read_small("tariff.blocks.far={above_kwh=9000, extra_per_kwh=5}")).valuation
    assert np.array_equal(never.saving, plain.saving)


@pytest.mark.parametrize("period", ["month", "year"])
def test_the_blocks_of_a_bill_by_hand(read_small, period):
    """Each period's use above 100 kWh (a year's above 100) costs 0.2 more, with and without the kit: summed by hand."""
    plain = assessment(read_small()).valuation
    found = assessment(read_small(SECOND, f'tariff.block_period="{period}"'))
    monthly = found.simulation.first_year_monthly_kwh[:, :, 0]
    extra = []
    for use in (monthly[0] + monthly[1], monthly[8]):
        periods = use if period == "month" else [use.sum()]
        extra.append(0.2 * sum(max(kwh - 100.0, 0.0) for kwh in periods))
    assert extra[0] > extra[1] > 0.0
    assert found.valuation.bill_without[0, 0] == pytest.approx(plain.bill_without[0, 0] + extra[0], rel=1e-12)
    assert found.valuation.saving[0, 0] == pytest.approx(plain.saving[0, 0] + extra[0] - extra[1], rel=1e-12)


def test_doing_nothing_under_blocks_saves_exactly_nothing(read_small_without):
    """Without a kit the bill with and without it is the same to the last bit, blocks or not."""
    parts = "kit", "kit.module", "kit.arrays.one", "kit.inputs.solar", "kit.battery", "kit.inverter", "kit.charger"
    found = assessment(read_small_without((*parts, "dispatch", "purchase"), SECOND))
    assert np.all(found.valuation.saving == 0.0)
    assert found.valuation.bill_without.min() > 0.0


def test_blocks_and_a_series_of_prices_exclude_each_other(read_small, tmp_path):
    """A scenario with both is refused: what a kWh above the threshold costs would have no meaning."""
    (tmp_path / "prices.csv").write_text("time,price_per_kwh\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_small(SECOND, f'tariff.series={{file="{tmp_path / "prices.csv"}"}}')
    assert [problem.key for problem in caught.value.problems] == ["tariff.series"]
