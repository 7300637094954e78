"""The electricity bill: every rate, every year, a series of prices, export, blocks and the standing charge.

All bills are made here: those of whole years, of a season, of measured months, of days in a search, and the prices of
single slots in a trace. Arrays carry the draws on the last axis; the axis before it, if any, is the years, months or
days that are billed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from riskcalc.dispatch import Billed, SlotPlan
from riskcalc.money.flows import sum_in_order
from riskcalc.money.prices import PricePaths
from riskcalc.scenario import Scenario
from riskcalc.scenario.tariff import Block
from riskcalc.types import Floats, Values

DAYS_PER_YEAR = 365


@dataclass(frozen=True)
class Energy:
    """What is billed, draws last.

    `billed_kwh` (3, rates, ..., draws) has the rows of `dispatch.Billed`, each slot times its weight in a series of
    prices. `exported_kwh` (..., draws) is plain energy. `days` of standing charge, anything that broadcasts.
    `block_kwh` is what blocks count: demand and import by month, (12, ..., draws) each; None leaves blocks out.
    """

    billed_kwh: Floats
    exported_kwh: Floats
    days: ArrayLike = 0
    block_kwh: tuple[Floats, Floats] | None = None


@dataclass(frozen=True)
class Bill:
    """Money for some energy, (..., draws): the bill without the kit, what the kit saves, what charging adds.

    `charging` is what the supply delivers at each rate beyond the demand at that rate, at its price.
    """

    without: Floats
    saving: Floats
    charging: Floats

    @property
    def with_kit(self) -> Floats:
        """The bill with the kit, export deducted."""
        return self.without - self.saving


@dataclass(frozen=True)
class Prices:
    """What a tariff asks and pays: `rates` in their order and `export` per kWh, (..., draws) each.

    `standing_per_day` and `block_extra` are those of the first year; `main` is the path that they follow, 1 at
    first-year prices. `export_follows`: the weights of a series of prices hold for export as well.
    """

    rates: tuple[Floats, ...]
    export: Floats
    standing_per_day: Floats
    blocks: Mapping[str, Block]
    block_extra: Mapping[str, Floats]
    by_month: bool
    main: Floats | float
    export_follows: bool


def prices_of(
    scenario: Scenario, values: Values, paths: PricePaths | None = None, *, year: int | None = None
) -> Prices:
    """Return the prices of the first year, of every year of `paths`, or of one of them counted from 0."""
    tariff = scenario.tariff
    rates = tuple(values[f"tariff.rates.{name}.import_price_per_kwh"] for name in tariff.rates)
    export: Floats = values["tariff.export_price_per_kwh"]
    main: Floats | float = 1.0
    if paths is not None:
        which: slice | int = slice(None) if year is None else year
        rates = tuple(price * path[which] for price, path in zip(rates, paths.rates, strict=True))
        export, main = export * paths.export[which], paths.main[which]
    return Prices(
        rates,
        export,
        values["tariff.standing_charge_per_day"],
        tariff.blocks,
        {name: values[f"tariff.blocks.{name}.extra_per_kwh"] for name in tariff.blocks},
        tariff.block_period == "month",
        main,
        tariff.series is None or tariff.series.export_follows,
    )


def bill(prices: Prices, energy: Energy) -> Bill:
    """Return the bill for some energy.

    Notes
    -----
    without = sum over rates of price x demand + days x standing charge + blocks of the demand
    saving  = sum over rates of price x (demand - import) + export price x export + blocks of demand less of import
    """
    demand, imported, exported = (energy.billed_kwh[row] for row in (Billed.DEMAND, Billed.IMPORT, Billed.EXPORT))
    without, saving, charging = (np.zeros(energy.billed_kwh.shape[2:]) for _ in range(3))
    for rate, price in enumerate(prices.rates):
        without += price * demand[rate]
        # Demand less import before the price: a kit that changes nothing saves exactly nothing.
        saving += price * (demand[rate] - imported[rate])
        charging += price * np.maximum(imported[rate] - demand[rate], 0.0)
        if prices.export_follows:
            saving += prices.export * exported[rate]
    if not prices.export_follows:
        saving += prices.export * energy.exported_kwh
    if prices.blocks and energy.block_kwh is not None:
        needed, bought = energy.block_kwh
        # Both sums hold the same energy where a kit changes nothing, added up in another order.
        bought = np.where(np.abs(bought - needed) <= 1e-9 * needed, needed, bought)
        blocks = [block_charge(prices, kwh) for kwh in (needed, bought)]
        without += blocks[0] * prices.main
        saving += (blocks[0] - blocks[1]) * prices.main
    without += np.asarray(energy.days) * prices.standing_per_day * prices.main
    return Bill(without, saving, charging)


def block_charge(prices: Prices, monthly_kwh: Floats) -> Floats:
    """Return what blocks add to a bill at first-year prices, (..., draws), from energy by month, (12, ..., draws).

    Sum over periods and blocks of extra price x energy bought above the threshold; energy sent to the grid does not
    lower the count. Limits: a threshold of 0 is a dearer rate; one out of reach adds nothing.
    """
    periods = list(monthly_kwh) if prices.by_month else [sum_in_order(list(monthly_kwh))]
    return sum_in_order(
        [
            prices.block_extra[name] * np.maximum(kwh - block.above_kwh, 0.0)
            for name, block in prices.blocks.items()
            for kwh in periods
        ]
    )


def slot_prices(prices: Prices, plan: SlotPlan, draw: int) -> tuple[Floats, Floats]:
    """Return import and export price of every slot in one draw, (slots,) each [per kWh]; prices of a single year."""
    bought = np.asarray([price[draw] for price in prices.rates])[plan.rate] * plan.rate_weight
    paid = prices.export[draw]
    return bought, paid * plan.rate_weight if prices.export_follows else np.full(plan.slots, paid)
