"""The fan of prices stands on the page over the history it is calibrated to."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from riskcalc.money.price_history import HISTORIES, read_price_history
from riskcalc.pages.exhibits import prices
from riskcalc.pages.look import NARROW, WIDE
from riskcalc.pages.page import assess_page


def found_in(spec: Any) -> Iterator[dict[str, float]]:
    """Yield every row of data with a year in a chart."""
    if isinstance(spec, dict):
        if isinstance(spec.get("year"), int | float):
            yield spec
        for part in spec.values():
            yield from found_in(part)
    elif isinstance(spec, list):
        for part in spec:
            yield from found_in(part)
    elif isinstance(spec, str) and spec.startswith("["):
        yield from found_in(json.loads(spec))


def test_the_page_shows_the_drawn_fan_over_its_history(example: dict[str, Any]) -> None:
    """The section stands on the page; its table and file hold the quantiles of the result, its words the history's years."""
    page = assess_page(example)
    assert "How prices may go" in page
    block = prices.price_block(example)
    assert block is not None
    fan = example["price_fan"]
    assert "1979 to 2021" in block.value.reading
    assert block.value.csv.splitlines()[-1].split(",")[0] == str(len(fan["p50"]) - 1)
    last = [float(cell) for cell in block.value.csv.splitlines()[-1].split(",")[1:]]
    assert last == pytest.approx([fan[name][-1] for name in ("p5", "p25", "p50", "p75", "p95")], rel=1e-6)


@pytest.mark.parametrize("width", [NARROW, WIDE])
def test_history_ends_where_the_fan_begins(example: dict[str, Any], width: int) -> None:
    """The drawn history is that of the table, over its last year, and ends at 1 in year 0, where every band starts."""
    points = [row for row in found_in(prices.price_chart(example, width=width).to_dict()) if "low" in row]
    years, price = read_price_history("bls_city_average")
    history = sorted((row["year"], row["low"]) for row in points if row["year"] < 0)
    assert [year for year, _ in history] == [int(year - years[-1]) for year in years[:-1]]
    assert [low for _, low in history] == pytest.approx((price / price[-1])[:-1])
    assert {row["low"] for row in points if row["year"] == 0 and "low" in row} == {1.0}
    assert float(np.max(price / price[-1])) <= 1.0 + 1e-12


def test_a_given_path_has_no_fan(example: dict[str, Any]) -> None:
    """Where the scenario gives the path, there is no section; every shipped history has a name in words."""
    del example["price_fan"]
    assert prices.price_block(example) is None
    assert "How prices may go" not in assess_page(example)
    assert set(prices.HISTORIES) == set(HISTORIES)
