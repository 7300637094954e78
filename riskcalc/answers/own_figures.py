"""What a reader's own figures need: energy and noise of every future, so that the page itself can recalculate the money.

The page repeats the money chain of `money` with prices, costs and rates that the reader types in. What only a new
simulation can tell (the size of the kit, use, habits) is not in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from riskcalc.answers.claims import OF_BILL, OF_MONEY, beyond_horizon, season_energy
from riskcalc.answers.paid_back import headline_stay
from riskcalc.dispatch import Billed
from riskcalc.money.bill import DAYS_PER_YEAR, Energy, block_charge, prices_of
from riskcalc.money.flows import extra_batteries, kit_price, modules_price, price_share, purchase_flows
from riskcalc.money.prices import fixed_path, paths_of
from riskcalc.money.valuation import energy_of
from riskcalc.scenario import Claim, Scenario, assumptions, unit_of
from riskcalc.scenario.schema import bounds_of
from riskcalc.study.model import Assessment
from riskcalc.types import Floats, Values
from riskcalc.uncertainty.draw_axis import of_draws
from riskcalc.uncertainty.sampling import Design
from riskcalc.years.simulation import Simulation

#: Futures that travel in the page of one scenario at the most, and those of all options of a page together.
MOST_DRAWS, MOST_OPTION_DRAWS = 1024, 4096

#: Keys that a reader may type in beside the import prices, in the order of the panel; first those that options share.
SHARED_KEYS = (
    "tariff.export_price_per_kwh",
    "tariff.standing_charge_per_day",
    "prices.trend_per_year",
    "prices.inflation_per_year",
    "prices.discount_rate_per_year",
)
PURCHASE_KEYS = ("purchase.price", "purchase.installation", "purchase.upkeep_per_year", "purchase.incentive")
TREND, INFLATION, STANDING = "prices.trend_per_year", "prices.inflation_per_year", "tariff.standing_charge_per_day"
#: What the money chain reads beside what can be typed.
READ_TOO = ("purchase.discount_share", "purchase.resale_share", "purchase.disposal_cost")


def own_figures(assessment: Assessment) -> dict[str, Any] | None:
    """Return what the panel of an assessment computes with, None where nothing is bought."""
    scenario = assessment.scenario
    if scenario.kit is None or scenario.purchase is None:
        return None
    some = kept_draws(assessment.design, options=1)
    simulation = of_draws(assessment.simulation, some)
    values = {key: drawn[some] for key, drawn in assessment.values.items()}
    option = own_option(scenario, assessment.design, simulation, values, some)
    stay = headline_stay(assessment)
    option["stay_years"] = None if stay is None else stay[some]
    option["claims"] = [
        own_claim(assessment, claim, place, some)
        for place, claim in enumerate(scenario.claims)
        if follows(assessment, claim)
    ]
    return own_panel([option], [scenario], assessment.design, some) | {
        "targets_searched": assessment.world.optimised is not None
    }


def shared_panel(
    options: Sequence[tuple[str, Scenario, dict[str, Any]]], random: Design, *, page_options: int
) -> dict[str, Any] | None:
    """Return the panel of options (title, scenario, its futures) under one tariff, None without any."""
    if not options:
        return None
    panel = own_panel(
        [option for _, _, option in options],
        [scenario for _, scenario, _ in options],
        random,
        kept_draws(random, options=page_options),
    )
    panel["options"] = [
        option | {"title": title} for (title, _, _), option in zip(options, panel["options"], strict=True)
    ]
    return panel


def own_panel(
    options: Sequence[dict[str, Any]], scenarios: Sequence[Scenario], random: Design, some: slice
) -> dict[str, Any]:
    """Return a panel: its inputs and its options. `option` of an input is the one it belongs to, None for all.

    All options have the tariff of the first. Options without a figure of their own for an input keep theirs when it is
    typed for another.
    """
    first = scenarios[0]
    standing = any(claim["measure"] in OF_BILL for option in options for claim in option["claims"])
    shared = [f"tariff.rates.{name}.import_price_per_kwh" for name in first.tariff.rates]
    shared += [
        key
        for key in SHARED_KEYS
        if (key != TREND or options[0]["trend_drawn"])
        and (key != STANDING or standing)
        and not (key == INFLATION and _fixed_inflation(first))
    ]
    asked: list[tuple[str, int | None, Scenario]] = [(key, None, first) for key in shared]
    asked += [(key, place, scenario) for place, scenario in enumerate(scenarios) for key in PURCHASE_KEYS]
    words = {place: {row.key: row.label for row in assumptions(scenario)} for place, scenario in enumerate(scenarios)}
    draws = some.stop - some.start
    return {
        "inputs": [
            {
                "key": key,
                "option": place if len(scenarios) > 1 else None,
                "label": words[place or 0].get(key, key),
                "unit": unit_of(key, scenario.currency),
                **dict(zip(("low", "high"), bounds_of(key), strict=True)),
            }
            for key, place, scenario in asked
        ],
        "rates": [
            {"key": f"tariff.rates.{name}.import_price_per_kwh", "mean": rate.import_price_per_kwh.expected()}
            for name, rate in first.tariff.rates.items()
        ],
        "horizon_years": first.study.horizon_years,
        "headline_years": min(first.study.horizon_years, first.study.odds_within_years or first.study.horizon_years),
        "draws": draws,
        "scrambles": max(1, random.scrambles * draws // random.draws),
        "all_draws": random.draws,
        "options": list(options),
    }


def own_option(
    scenario: Scenario, random: Design, simulation: Simulation, values: Values, some: slice
) -> dict[str, Any]:
    """Return the futures of one purchase; `simulation` and `values` are those of the draws `some`.

    Vectors are (draws,), tables (years, draws), of whole scrambles. `noise` holds price paths with the trend taken out:
    that of the dearest rate, of the other rates and of export, None where it is the first. `net_kwh` (rates, years,
    draws) is demand less import, `real_flows` gains and costs at prices of the day of purchase that no figure of the
    panel changes, `renewal_flows` those that nobody pays in the last year: replacements and moves. `handed_year` is the
    year at whose end the kit changes hands (0: never), `sale_factor` the share of its price that it then brings.
    """
    assert scenario.purchase is not None
    draws, years = some.stop - some.start, scenario.study.horizon_years
    year = np.arange(years)[:, None]
    is_drawn = fixed_path(scenario) is None
    paths = paths_of(scenario, values, of_draws(random.path, some))
    growth = (1.0 + values[TREND]) ** year if is_drawn else np.ones((years, draws))
    other = next((path for path in paths.rates if path is not paths.main), None)
    inflation = np.zeros((years, draws))
    inflation[1:] = paths.level[1:] / paths.level[:-1] - 1.0
    shock = np.where(year > 0, inflation - values[INFLATION], 0.0)
    billed = simulation.billed_kwh
    follows_series = scenario.tariff.series is None or scenario.tariff.series.export_follows
    real = purchase_flows(
        scenario, simulation, values, saving=np.zeros((years, draws)), level=np.ones((years, draws))
    ).by_kind
    nothing = np.zeros((years + 1, draws))
    price = kit_price(scenario, values) * price_share(scenario, values, simulation.course)
    sale, handed = real.get("sale", nothing), simulation.course.handed_over
    loan = scenario.purchase.loan
    rates = [f"tariff.rates.{name}.import_price_per_kwh" for name in scenario.tariff.rates]
    return {
        "trend_drawn": is_drawn,
        "values": {key: values[key] for key in (*rates, *SHARED_KEYS, *PURCHASE_KEYS, *READ_TOO)},
        "savings_rate": values.get("prices.savings_rate_per_year"),
        "noise": {
            "main": paths.main / growth,
            "other": None if other is None else other / growth,
            "export": None if paths.export is paths.main else paths.export / growth,
        },
        "inflation_shock": None if np.abs(shock).max() < 1e-12 else shock,
        "net_kwh": billed[Billed.DEMAND] - billed[Billed.IMPORT],
        "export_kwh": billed[Billed.EXPORT].sum(axis=0) if follows_series else energy_of(simulation).exported_kwh,
        "block_saving": _block_saving(scenario, simulation, values),
        "working": simulation.working,
        "bought": simulation.course.bought.astype(np.float64),
        "price_share": price_share(scenario, values, simulation.course),
        "added_price": modules_price(scenario, values)
        + extra_batteries(scenario) * values["purchase.extra_battery_price"],
        "real_flows": real["outages"][1:] if "outages" in real else None,
        "renewal_flows": (real["replacement"] + real.get("moving", nothing))[1:],
        "handed_year": np.where(handed.any(axis=0), handed.argmax(axis=0) + 1, 0),
        "sale_factor": np.divide(sale.sum(axis=0), price, out=np.zeros(draws), where=price > 0.0),
        "loan": None
        if loan is None
        else {
            "financed_share": values["purchase.loan.financed_share"],
            "rate": values["purchase.loan.rate_per_year"],
            "term_years": loan.term_years,
        },
        "claims": [],
    }


def own_claim(assessment: Assessment, claim: Claim, place: int, some: slice) -> dict[str, Any]:
    """Return what the page needs to hold a claim about money against the recalculated futures.

    `demand_kwh` and `net_kwh` (rates, draws), `exported_kwh` and `block_charge` (draws,) and the days of standing charge
    are those of the first year, or of the months of the claim.
    """
    row = {"place": place, "measure": claim.measure, "at_least": claim.at_least, "at_most": claim.at_most}
    row |= {"years": claim.years or 1, "bill": None}
    if claim.measure not in OF_BILL:
        return row
    blocks = None
    if claim.months is not None:
        of_all = season_energy(assessment, claim.months)
        energy = Energy(of_all.billed_kwh[..., some], of_all.exported_kwh[some], of_all.days)
    else:
        whole = energy_of(assessment.simulation)
        energy = Energy(whole.billed_kwh[:, :, 0, some], whole.exported_kwh[0, some], DAYS_PER_YEAR)
        if whole.block_kwh is not None:
            blocks = block_charge(prices_of(assessment.scenario, assessment.values), whole.block_kwh[0][:, 0])[some]
    series = assessment.scenario.tariff.series
    demand, imported, exported = (energy.billed_kwh[kind] for kind in (Billed.DEMAND, Billed.IMPORT, Billed.EXPORT))
    follows_series = series is None or series.export_follows
    row["bill"] = {
        "demand_kwh": demand,
        "net_kwh": demand - imported,
        "exported_kwh": exported.sum(axis=0) if follows_series else energy.exported_kwh,
        "days": float(np.max(energy.days)),
        "block_charge": blocks,
        "whole_year": claim.months is None,
    }
    return row


def follows(assessment: Assessment, claim: Claim) -> bool:
    """Return whether a claim moves with the panel: one about money that this run measures."""
    by_season = claim.measure in OF_BILL and claim.months is not None
    return (
        claim.measure in OF_MONEY
        and not beyond_horizon(claim, assessment.scenario.study.horizon_years)
        and not (by_season and bool(assessment.scenario.tariff.blocks))
    )


def kept_draws(random: Design, *, options: int) -> slice:
    """Return the draws that travel in the page: whole scrambles from the first on, as many as there is room for.

    Where not even one scramble has room, its first draws: a power of two, which is balanced by itself.
    """
    room = min(MOST_DRAWS, MOST_OPTION_DRAWS // options)
    each = random.draws // random.scrambles
    if each <= room:
        return slice(0, each * min(random.scrambles, room // each))
    return slice(0, 2 ** (max(8, room).bit_length() - 1))


def _block_saving(scenario: Scenario, simulation: Simulation, values: Values) -> Floats | None:
    """Return what the kit saves in blocks at first-year prices, (years, draws), None without blocks."""
    energy = energy_of(simulation)
    if energy.block_kwh is None:
        return None
    first = prices_of(scenario, values)
    needed, bought = (np.moveaxis(part, 1, 0) for part in energy.block_kwh)
    return np.stack([block_charge(first, n) - block_charge(first, b) for n, b in zip(needed, bought, strict=True)])


def _fixed_inflation(scenario: Scenario) -> bool:
    """Return whether the scenario gives inflation outright, so that a mean of it has no say."""
    fixed = fixed_path(scenario)
    return fixed is not None and fixed.inflation_per_year is not None
