"""Tables [tariff] and [prices]: what a kilowatt-hour costs today and how that may change."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import StrictBool

from riskcalc.scenario.fields import COMMON_PRACTICE, Table, default, default_number, needed, optional
from riskcalc.scenario.series import Yearly
from riskcalc.scenario.texts import Days, Months, NamedEntries, Text, Windows
from riskcalc.scenario.uncertain import Number, Uncertain
from riskcalc.uncertainty.quantity import Quantity

#: Wide enough for every currency; what is too much in a strong one is said by `scenario.crosschecks`.
Price = Uncertain(0, 1_000_000, unit="per kWh")
Growth = Uncertain(-0.3, 0.5, unit="share/year")


class Rate(Table):
    """One price level of the tariff and when it holds."""

    import_price_per_kwh: Annotated[Quantity, Price] = needed(
        "price of a kWh from the grid, tax included", title="Import price"
    )
    windows: Windows | None = optional(
        "windows of the day in which it holds", "all the time no other rate claims", title="Hours of the rate"
    )
    days: Days | None = optional("days on which it holds", "all days", title="Days of the rate")
    months: Months | None = optional("months in which it holds", "all months", title="Months of the rate")


class Block(Table):
    """What a kWh costs more, or less, once the use of the period has passed a threshold."""

    above_kwh: Annotated[float, Number(0, 10_000_000, unit="kWh")] = needed(
        "use of the period above which the block begins, in kWh", title="Threshold of the block"
    )
    extra_per_kwh: Annotated[Quantity, Uncertain(-1_000_000, 1_000_000, unit="per kWh")] = needed(
        "what each kWh above it costs on top of the rate and of the blocks below; negative if it costs less",
        title="Extra price of the block",
    )


class Series(Table):
    """Prices that change every half hour, from a file: their shape around the mean of each rate."""

    file: Text = needed(
        "CSV file with the columns time and price_per_kwh, a year or more", title="File of the price series"
    )
    export_follows: StrictBool = default(
        False,
        "does the export price follow the same shape",
        "one export price all day unless given",
        title="Export price follows the series",
    )


class Tariff(Table):
    """What electricity costs today."""

    name: Text = default("", "name of the tariff, for the report", title="Name of the tariff")
    rates: Annotated[dict[str, Rate], NamedEntries] = needed(
        "at least one rate, such as [tariff.rates.day]", title="Rates"
    )
    blocks: Annotated[dict[str, Block], NamedEntries] = default(
        {},
        "blocks of use with a price of their own, such as [tariff.blocks.second]",
        "none unless given",
        title="Blocks of use",
    )
    block_period: Literal["month", "year"] = default(
        "month", "period after which the count of a block starts anew", title="Period of the blocks"
    )
    series: Series | None = optional(
        "prices that change every half hour, from a file", "each rate has one price", title="Price series"
    )
    standing_charge_per_day: Annotated[Quantity, Uncertain(0, 1_000_000)] = default_number(
        0.0, "fixed charge per day; the kit never saves it", "no standing charge unless given", title="Standing charge"
    )
    export_price_per_kwh: Annotated[Quantity, Uncertain(-1_000_000, 1_000_000, unit="per kWh")] = default_number(
        0.0, "what a kWh sent to the grid earns", "nothing is paid unless given", title="Export price"
    )


class Prices(Table):
    """How prices may change, in nominal terms (money of the day)."""

    discount_rate_per_year: Annotated[Quantity, Uncertain(-0.05, 0.5, unit="share/year")] = needed(
        "nominal discount rate: what the money could earn elsewhere, such as 0.045", title="Nominal discount rate"
    )
    savings_rate_per_year: Annotated[Quantity, Uncertain(-0.05, 0.5, unit="share/year")] | None = optional(
        "nominal interest of the savings account that a purchase is compared with, after tax",
        "the account earns the discount rate, so that saving is worth nothing by definition",
        title="Interest of the savings account",
    )
    trend_per_year: Annotated[Quantity, Growth] = default_number(
        0.02, "long-run growth of the electricity price", COMMON_PRACTICE, title="Trend of electricity prices"
    )
    persistence: Annotated[Quantity, Uncertain(-0.95, 0.95)] = default_number(
        0.3,
        "how much of a year's departure from the trend is left in the next year",
        title="Persistence of price changes",
    )
    spread: Annotated[Quantity, Uncertain(0, 0.5, unit="share/year")] = default_number(
        0.04, "standard deviation of the yearly change", title="Spread of price changes"
    )
    jump_chance_per_year: Annotated[Quantity, Uncertain(0, 1, unit="share/year")] = default_number(
        0.05, "chance of a sudden jump in a year", title="Chance of a price jump"
    )
    jump_mean: Annotated[Quantity, Uncertain(-0.95, 3, unit="share")] = default_number(
        0.2, "mean size of a jump", title="Mean price jump"
    )
    jump_spread: Annotated[Quantity, Uncertain(0, 2, unit="share")] = default_number(
        0.1, "standard deviation of a jump", title="Spread of price jumps"
    )
    export_correlation: Annotated[float, Number(-1, 1)] = default(
        0.5,
        "correlation between the yearly changes of import and export price",
        title="Import and export price correlation",
    )
    rate_correlation: Annotated[float, Number(-1, 1)] = default(
        1.0,
        "correlation between the yearly changes of the dearest import rate and of the others",
        "all rates move together unless given",
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
        "the same inflation every year unless given",
        title="Spread of inflation",
    )
    inflation_correlation: Annotated[float, Number(-1, 1)] = default(
        0.0,
        "correlation between the yearly changes of the import price and of inflation",
        "independent unless given",
        title="Correlation of inflation",
    )
    inflation_per_year: Annotated[Quantity, Growth] = default_number(
        0.02, "growth of all other prices: upkeep, replacements", COMMON_PRACTICE, title="Inflation"
    )
