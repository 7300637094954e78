"""Table [prices]: how prices may change, and what money is worth later."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import model_validator

from riskcalc.scenario.complaints import Complaint
from riskcalc.scenario.fields import Table, absent, default, default_number, field_study, needed, optional
from riskcalc.scenario.series import Yearly
from riskcalc.scenario.study import Study
from riskcalc.scenario.texts import Text
from riskcalc.scenario.uncertain import Number, Uncertain
from riskcalc.uncertainty.quantity import Quantity

#: Largest standard deviation of the logarithm of the price over the horizon; beyond it figures mean nothing; judgement.
MOST_PATH_SPREAD = 4.0
Growth = Uncertain(-0.3, 0.5, unit="share/year")


class Prices(Table):
    """How prices may change, in nominal terms (money of the day)."""

    discount_rate_per_year: Annotated[Quantity, Uncertain(-0.05, 0.5, unit="share/year")] = needed(
        "nominal discount rate: what the money could earn elsewhere, such as 0.045",
        title="Interest on savings (discount rate)",
    )
    savings_rate_per_year: Annotated[Quantity, Uncertain(-0.05, 0.5, unit="share/year")] | None = optional(
        "nominal interest of the savings account that a purchase is compared with, after tax",
        "the account earns the discount rate, so that saving is worth nothing by definition",
        title="Interest of the savings account",
    )
    history: Literal["eia_residential", "bls_city_average", "ons_electricity"] | None = optional(
        "history of household prices that trend, persistence and spread are calibrated to, unless they are given: "
        "eia_residential (United States 1990-2021), bls_city_average (United States 1979-2021) or ons_electricity (United"
        " Kingdom 1988-2025)",
        "their own defaults, between the two histories of the United States",
        title="History the prices are calibrated to",
    )
    trend_per_year: Annotated[Quantity, Growth] = default_number(
        0.02,
        "growth of the electricity price that paths have on average, jumps included",
        field_study("household prices of the United States grew by 1.8 % (1990-2021) and 2.5 % (1979-2021) a year"),
        title="Trend of electricity prices",
    )
    persistence: Annotated[Quantity, Uncertain(-0.95, 0.95)] = default_number(
        0.3,
        "how much of a year's departure from the trend is left in the next year",
        field_study("household prices of the United States, years without jumps: 0.29 (1990-2021), 0.26 (1979-2021)"),
        title="Persistence of price changes",
    )
    spread: Annotated[Quantity, Uncertain(0, 0.5, unit="share/year")] = default_number(
        0.03,
        "standard deviation of the yearly change, jumps left out",
        field_study("household prices of the United States, years without jumps: 0.023 (1990-2021), 0.033 (1979-2021)"),
        title="Spread of price changes",
    )
    jump_chance_per_year: Annotated[Quantity, Uncertain(0, 1, unit="1/year")] = default_number(
        0.05,
        "chance of a sudden jump in a year, up or down",
        field_study(
            "5 of 110 years of three histories rose by 15 % or more, 2 of 73 in the United States; this gives 2.7 %"
        ),
        title="Chance of a price jump",
    )
    jump_mean: Annotated[Quantity, Uncertain(-0.95, 3, unit="share")] = default_number(
        0.2,
        "median size of a jump; a fall takes off what such a rise adds",
        field_study(
            "yearly rises of 15 % or more in three histories: 16 and 19 % (United States 1980, 1981), 22, 16 and 49 % (United"
            " Kingdom 2006, 2008, 2022)"
        ),
        title="Size of price jumps",
    )
    jump_spread: Annotated[Quantity, Uncertain(0, 2, unit="share")] = default_number(
        0.1,
        "standard deviation of the logarithm of a jump",
        field_study("the logarithms of those five rises differ by 0.11"),
        title="Spread of price jumps",
    )
    jump_fall_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = default_number(
        0.25,
        "share of the jumps that are falls",
        field_study(
            "one of six yearly changes beyond 15 % in three histories was a fall (United Kingdom 2024); falls of a tenth: 1 of"
            " 110 years, this gives 1.0 %"
        ),
        title="Share of falls among price jumps",
    )
    jump_fade_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = default_number(
        0.5,
        "share of a jump that has faded away three years later",
        field_study(
            "of the British rise of 2022 (49 %) half was gone in 2025, beside the mean growth since 1988; of the American one of"
            " 1979-1982 a third after eight years"
        ),
        title="Fading of price jumps",
    )
    export_correlation: Annotated[float, Number(-1, 1)] = default(
        0.5,
        "correlation between the yearly changes of import and export price",
        title="Import and export price correlation",
    )
    rate_correlation: Annotated[float, Number(-1, 1)] = default(
        1.0,
        "correlation between the yearly changes of the dearest import rate and of the others",
        absent("all rates move together unless given"),
        title="Correlation between rates",
    )
    import_path: Annotated[tuple[float, ...], Yearly(0, 100, above=True, first=1.0)] | None = optional(
        "price of each year over the first year's, in place of drawn paths; the first is 1",
        "paths are drawn",
        title="Given path of prices",
    )
    growth_path: Annotated[tuple[float, ...], Yearly(-0.9, 5, unit="share/year")] | None = optional(
        "growth of the price from each year to the next, in place of drawn paths",
        "paths are drawn",
        title="Given growth of prices",
    )
    path_file: Text | None = optional(
        "CSV file of prices by year: columns year, import and perhaps export, inflation",
        "paths are drawn",
        title="File of prices by year",
    )
    inflation_spread: Annotated[Quantity, Uncertain(0, 0.1, unit="share/year")] = default_number(
        0.0,
        "standard deviation of inflation from year to year",
        absent("the same inflation every year unless given"),
        title="Spread of inflation",
    )
    inflation_correlation: Annotated[float, Number(-1, 1)] = default(
        0.0,
        "correlation between the yearly changes of the import price and of inflation",
        absent("independent unless given"),
        title="Correlation of inflation",
    )
    inflation_per_year: Annotated[Quantity, Growth] = default_number(
        0.02, "growth of all other prices: upkeep, replacements", title="General inflation"
    )

    @model_validator(mode="before")
    @classmethod
    def calibrated(cls, given: Any) -> Any:
        """Fill in what the named history says where the scenario says nothing."""
        name = given.get("history") if isinstance(given, dict) else None
        if not isinstance(name, str) or name not in CALIBRATED:
            return given
        source = f"calibrated to {name}"
        return {key: {"value": value, "source": source} for key, value in CALIBRATED[name].items()} | given


#: Trend, persistence and spread of the shipped histories; `money.price_history.calibrated` works them out, a test holds them.
CALIBRATED = {
    "eia_residential": {"trend_per_year": 0.0183, "persistence": 0.288, "spread": 0.0228},
    "bls_city_average": {"trend_per_year": 0.0248, "persistence": 0.264, "spread": 0.0331},
    "ons_electricity": {"trend_per_year": 0.0473, "persistence": 0.529, "spread": 0.0383},
}

#: Whose history stands for a currency, where it is not that of the defaults (the United States).
HISTORY_OF_CURRENCY = {"GBP": "ons_electricity"}


def path_complaints(prices: Prices, study: Study | None) -> Iterator[Complaint]:
    """Yield what is wrong with a given path of prices; paths start at `prices`."""
    years = 0 if study is None else study.horizon_years
    given = [name for name in ("import_path", "growth_path", "path_file") if getattr(prices, name) is not None]
    if len(given) > 1:
        yield Complaint(("prices", given[1]), " and ".join(given), "one of import_path, growth_path and path_file")
    for name, least in (("import_path", years), ("growth_path", years - 1)):
        path = getattr(prices, name)
        if path is not None and len(path) < least:
            accepted = f"at least {least} numbers for a horizon of {years} years"
            yield Complaint(("prices", name), f"{len(path)} numbers", accepted)
    if years and not given:
        yield from _runaway(prices, years)


def path_spread(spread: float, persistence: float, years: int) -> float:
    """Return about how far the logarithm of the price spreads over the years: its standard deviation.

    Yearly changes with persistence p and standard deviation s add up to about s sqrt(years) / (1 - p); never to more
    than s years, which they reach where each change repeats the last.
    """
    return spread * min(math.sqrt(years) / (1 - persistence), years)


def _runaway(prices: Prices, years: int) -> Iterator[Complaint]:
    """Refuse paths that leave all bounds: a mean of 1e22 is no price."""
    least = path_spread(prices.spread.practical_support[0], prices.persistence.practical_support[0], years)
    if least > MOST_PATH_SPREAD:
        given = f"{prices.spread.words()} beside a persistence of {prices.persistence.words()} over {years} years"
        accepted = f"figures with which prices stay within a factor of {math.exp(MOST_PATH_SPREAD):.0f} in two futures of three"
        yield Complaint(
            ("prices", "spread"), given, accepted, "the shipped histories have a spread of some 0.03 to 0.05"
        )
