"""What a reader's own figures need: energy and noise of every future, so that the page itself can make the money anew.

The page repeats the money chain of `money` with prices, costs and rates that the reader types in. What only a new
simulation can tell (the size of the kit, use, habits) is not in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch import Billed
from riskcalc.money.bill import block_charge, prices_of
from riskcalc.money.flows import extra_batteries, kit_price, modules_price, price_share, purchase_flows
from riskcalc.money.prices import dearest_rate, fixed_path, paths_of
from riskcalc.money.valuation import energy_of
from riskcalc.scenario import Scenario, unit_of
from riskcalc.scenario.schema import bounds_of
from riskcalc.study.model import Assessment
from riskcalc.uncertainty.draw_axis import of_draws

Floats = NDArray[np.float64]

#: Futures that travel in the page at the most; beyond that whole scrambles are left out.
MOST_DRAWS = 1024

#: Keys that a reader may type in beside the import prices, in the order of the panel.
MONEY_KEYS = (
    "tariff.export_price_per_kwh",
    "prices.trend_per_year",
    "prices.inflation_per_year",
    "prices.discount_rate_per_year",
    "purchase.price",
    "purchase.installation",
    "purchase.upkeep_per_year",
    "purchase.incentive",
)
TREND, INFLATION = "prices.trend_per_year", "prices.inflation_per_year"


def own_figures(assessment: Assessment, labels: Mapping[str, str]) -> dict[str, Any] | None:
    """Return what the panel computes with, None where nothing is bought; `labels` are the names of keys in words.

    Vectors are (draws,), tables (years, draws), of whole scrambles. `noise` holds price paths with the trend taken out,
    `net_kwh` (rates, years, draws) demand less import, `real_flows` gains and costs at prices of the day of purchase
    that no figure of the panel changes, `renewal_flows` those that nobody pays in the last year: replacements and moves.
    `handed_year` is the year at whose end the kit changes hands (0: never), `sale_factor` the share of its price that it
    then brings.
    """
    scenario = assessment.scenario
    if scenario.kit is None or scenario.purchase is None:
        return None
    kept = whole_scrambles(assessment.draws, scrambles=assessment.design.scrambles)
    some = slice(0, kept * assessment.draws // assessment.design.scrambles)
    values = {key: drawn[some] for key, drawn in assessment.values.items()}
    simulation, noise = of_draws(assessment.simulation, some), of_draws(assessment.design.path, some)
    draws, years = some.stop, scenario.study.horizon_years
    year = np.arange(years)[:, None]
    is_drawn = fixed_path(scenario) is None
    paths = paths_of(scenario, values, noise)
    growth = (1.0 + values[TREND]) ** year if is_drawn else np.ones((years, draws))
    names = list(scenario.tariff.rates)
    dearest = names.index(dearest_rate(scenario))
    other = next((index for index in range(len(names)) if index != dearest), dearest)
    inflation = np.zeros((years, draws))
    inflation[1:] = paths.level[1:] / paths.level[:-1] - 1.0
    shock = np.where(year > 0, inflation - values[INFLATION], 0.0)
    keys = typed_keys(scenario, trend_drawn=is_drawn)
    billed = simulation.billed_kwh
    follows = scenario.tariff.series is None or scenario.tariff.series.export_follows
    energy = energy_of(simulation)
    blocks = None
    if energy.block_kwh is not None:
        first = prices_of(scenario, values)
        needed, bought = (np.moveaxis(part, 1, 0) for part in energy.block_kwh)
        blocks = np.stack(
            [block_charge(first, n) - block_charge(first, b) for n, b in zip(needed, bought, strict=True)]
        )
    real = purchase_flows(
        scenario, simulation, values, saving=np.zeros((years, draws)), level=np.ones((years, draws))
    ).by_kind
    nothing = np.zeros((years + 1, draws))
    price = kit_price(scenario, values) * price_share(scenario, values, simulation.course)
    sale, handed = real.get("sale", nothing), simulation.course.handed_over
    loan = scenario.purchase.loan
    return {
        "inputs": [
            {"key": key, "label": labels.get(key, key), "unit": unit_of(key, scenario.currency)}
            | dict(zip(("low", "high"), bounds_of(key), strict=True))
            for key in keys
        ],
        "rates": len(names),
        "dearest": dearest,
        "horizon_years": years,
        "scrambles": kept,
        "all_draws": assessment.draws,
        "trend_drawn": is_drawn,
        "values": {key: values[key] for key in dict.fromkeys((*keys, TREND))},
        "noise": {
            "main": paths.main / growth,
            "other": None if other == dearest or paths.rates[other] is paths.main else paths.rates[other] / growth,
            "export": None if paths.export is paths.main else paths.export / growth,
        },
        "inflation_shock": None if np.abs(shock).max() < 1e-12 else shock,
        "net_kwh": billed[Billed.DEMAND] - billed[Billed.IMPORT],
        "export_kwh": billed[Billed.EXPORT].sum(axis=0) if follows else energy.exported_kwh,
        "block_saving": blocks,
        "working": simulation.working,
        "bought": simulation.course.bought.astype(np.float64),
        "price_share": price_share(scenario, values, simulation.course),
        "added_price": modules_price(scenario, values)
        + extra_batteries(scenario) * values["purchase.extra_battery_price"],
        "discount_share": values["purchase.discount_share"],
        "resale_share": values["purchase.resale_share"],
        "real_flows": real["outages"][1:] if "outages" in real else None,
        "renewal_flows": (real["replacement"] + real.get("moving", nothing))[1:],
        "disposal": values["purchase.disposal_cost"],
        "handed_year": np.where(handed.any(axis=0), handed.argmax(axis=0) + 1, 0),
        "sale_factor": np.divide(sale.sum(axis=0), price, out=np.zeros(draws), where=price > 0.0),
        "loan": None
        if loan is None
        else {
            "financed_share": values["purchase.loan.financed_share"],
            "rate": values["purchase.loan.rate_per_year"],
            "term_years": loan.term_years,
        },
    }


def whole_scrambles(draws: int, *, scrambles: int) -> int:
    """Return how many whole scrambles travel in the page: as many as `MOST_DRAWS` has room for, at least one."""
    return max(1, min(scrambles, MOST_DRAWS * scrambles // draws))


def typed_keys(scenario: Scenario, *, trend_drawn: bool) -> tuple[str, ...]:
    """Return the keys that a reader may type in: the prices of every rate first."""
    rates = (f"tariff.rates.{name}.import_price_per_kwh" for name in scenario.tariff.rates)
    return (*rates, *(key for key in MONEY_KEYS if trend_drawn or key != TREND))
