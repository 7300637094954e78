"""What a run cannot say well, in words for the answer itself rather than a footnote."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from riskcalc.money.valuation import valuation
from riskcalc.scenario import assumptions
from riskcalc.scenario.outages import bridges
from riskcalc.study.draw_blocks import values_of
from riskcalc.study.model import Assessment
from riskcalc.uncertainty.draw_axis import of_draws
from riskcalc.uncertainty.factor_model import enough_draws
from riskcalc.uncertainty.ranking import Ranking
from riskcalc.uncertainty.summary import DRAWS_BEYOND_QUANTILE, enough_draws_for
from riskcalc.weather.pool import LEAST_YEARS

#: Ranked beside the inputs: the luck that no input describes.
PRICE_LUCK, YEAR_LUCK = "luck.prices", "luck.weather_years"

#: Share of the variance of the worth from which on something is said to decide the answer; common practice, no source.
DECIDES = 0.15
#: Change of the mean worth, over the standard deviation between futures, from which on a fixed default decides as well.
SHIFTS = 0.25
#: Settings of the price path and of the weather generator: their luck has the size that these give it.
PATH_KEYS = (
    "prices.spread",
    "prices.persistence",
    "prices.jump_chance_per_year",
    "prices.jump_mean",
    "prices.jump_spread",
    "prices.jump_fall_share",
    "prices.jump_fade_share",
)
SPREAD_KEY = "site.weather.yearly_spread"
#: Defaults that only touch money, with a change that nobody would call unlikely; common practice, no source.
STEPS = {"prices.trend_per_year": 0.01, "prices.inflation_per_year": 0.01}
#: Draws that such a change is tried on.
TRIED_DRAWS = 512
#: Real weather years from which on a new one rarely lies outside all of them.
ENOUGH_REAL_YEARS = 20
#: Share beyond the outermost quantiles that are stated.
OUTER = 0.05


def limits(assessment: Assessment, found: Ranking) -> Iterator[str]:
    """Yield every limit of an assessment whose worth is ranked as `found`."""
    yield from outage_limits(assessment)
    yield from draw_limits(assessment, found)
    yield from weather_limits(assessment)
    yield from default_limits(assessment, found)


def outage_limits(assessment: Assessment) -> Iterator[str]:
    """Yield that outages are worth nothing because the kit is not said to bridge them."""
    scenario = assessment.scenario
    if scenario.outages is None or scenario.kit is None or scenario.outages.kit_bridges is not None:
        return
    if not bridges(scenario.outages, scenario.kit.coupling):
        yield (
            "outages count as worth 0: a wired kit goes off with the supply unless it has equipment to carry the home; "
            "say in the scenario whether it has (outages.kit_bridges)"
        )


def draw_limits(assessment: Assessment, found: Ranking) -> Iterator[str]:
    """Yield which figures the number of draws cannot carry."""
    draws, scrambles, inputs = assessment.draws, assessment.design.scrambles, len(assessment.design.unit)
    if not enough_draws_for(OUTER, draws=draws):
        yield f"{draws} futures are too few to tell the best and worst 5 %; run at least 128"
    elif not enough_draws_for(OUTER, draws=draws // scrambles):
        enough = int(np.ceil(DRAWS_BEYOND_QUANTILE / OUTER)) * scrambles
        yield f"{draws} futures give only a rough idea of the best and worst 5 %; run at least {enough}"
    varies = np.ptp(assessment.valuation.net_present_value) > 0.0
    if varies and inputs and not found.inputs and not enough_draws(inputs, draws=draws):
        yield f"{draws} futures are too few to say which of the {inputs} uncertain inputs decides most"
    if not assessment.scenario.uncertain():
        yield "no input is uncertain: these odds hold nothing but the luck of prices, weather and failures"


def weather_limits(assessment: Assessment) -> Iterator[str]:
    """Yield how much the weather years behind the run leave out.

    Of n real years and a new one each is as likely to be the highest or lowest, so the new one lies outside with chance
    2 / (n + 1) if years are alike and independent.
    """
    study, weather = assessment.scenario.study, assessment.world.pools.weather
    if weather.real_years == 1:
        yield (
            "only one year of this place's weather is known. How far other years may differ from it is taken from the usual "
            "differences in such a climate"
        )
    elif 1 < weather.real_years < LEAST_YEARS:
        yield (
            f"only {weather.real_years} years of this place's weather are known. How far other years may differ from them is "
            "taken from the usual differences in such a climate"
        )
    elif LEAST_YEARS <= weather.real_years < ENOUGH_REAL_YEARS:
        outside = 2.0 / (weather.real_years + 1)
        yield (
            f"only {weather.real_years} real weather years are known, and the chance that a new year lies outside all of them "
            f"is {_percent(outside)}: good and bad years are too mild in these odds"
        )
    if study.pool_years == 1:
        yield (
            f"1 year in the pool is less than the {study.scrambles} repeats: "
            "the standard errors leave out the luck of the weather"
        )
    elif study.pool_years < study.scrambles:
        yield (
            f"{study.pool_years} years in the pool are fewer than the {study.scrambles} repeats: "
            "the standard errors leave out the luck of the weather"
        )


def default_limits(assessment: Assessment, found: Ranking) -> Iterator[str]:
    """Yield which defaults were left untouched although they decide the answer."""
    scenario = assessment.scenario
    words = {row.key: row.label for row in assumptions(scenario)}
    for row in found.inputs:
        if row.share < DECIDES:
            continue
        if row.key == PRICE_LUCK and scenario.prices.import_path is None:
            if scenario.prices.history is None and not all(scenario.is_given(key) for key in PATH_KEYS):
                yield (
                    f"jumps of electricity prices from year to year decide {_percent(row.share)} of the difference between "
                    "good and bad futures; the size of the moves is our estimate. You can change it in your scenario, "
                    "under prices"
                )
        elif row.key == YEAR_LUCK:
            if scenario.site.weather.source == "climate" and not scenario.is_given(SPREAD_KEY):
                yield (
                    f"whether weather years are good or bad decides {_percent(row.share)} of the difference between good and "
                    f"bad futures; how much they differ is our estimate. You can change it with '{words[SPREAD_KEY]}'"
                )
        elif row.key in scenario.uncertain() and not scenario.is_given(row.key):
            share = _percent(row.share)
            yield (
                f"you gave no figure for '{words[row.key]}', so we used ours. It decides {share} of the difference between good "
                "and bad futures"
            )
    yield from shifting_defaults(assessment)


def shifting_defaults(assessment: Assessment) -> Iterator[str]:
    """Yield which fixed defaults would move the mean worth by much of its spread if they were a little different.

    No future varies a fixed default, so no ranking sees it; what only touches money is tried here at no cost.
    """
    scenario, values = assessment.scenario, assessment.values
    spread = float(assessment.valuation.net_present_value.std())
    words = {row.key: row.label for row in assumptions(scenario)}
    tried = slice(0, min(TRIED_DRAWS, assessment.draws))
    simulation, path = of_draws(assessment.simulation, tried), of_draws(assessment.design.path, tried)
    own = values_of(values, tried)
    before = float(assessment.valuation.net_present_value[tried].mean())
    for key, step in STEPS.items():
        if scenario.is_given(key) or (key == "prices.trend_per_year" and scenario.prices.import_path is not None):
            continue
        moved = valuation(scenario, simulation, own | {key: own[key] + step}, path)
        change = float(moved.net_present_value.mean()) - before
        if abs(change) > SHIFTS * spread and abs(change) >= 1.0:
            yield (
                f"you gave no figure for '{words[key]}', so we used {_percent(own[key][0])}. With {_percent(step)} more, the "
                f"average worth changes by {change:,.0f} {scenario.currency}"
            )


def _percent(share: float) -> str:
    return f"{100.0 * float(share):.2g} %"
