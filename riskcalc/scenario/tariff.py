"""Table [tariff]: what a kilowatt-hour costs today, hour by hour."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import StrictBool

from riskcalc.scenario.complaints import Complaint
from riskcalc.scenario.fields import Table, absent, default, default_number, needed, optional
from riskcalc.scenario.site import Site
from riskcalc.scenario.texts import STRONG_CURRENCIES, Days, Months, NamedEntries, Text, Windows
from riskcalc.scenario.uncertain import Number, Uncertain
from riskcalc.uncertainty.quantity import Quantity, plain

if TYPE_CHECKING:
    from riskcalc.clock import LocalClock

#: Wide enough for every currency; what is too much in a strong one is said by `tariff_complaints`.
Price = Uncertain(0, 1_000_000, unit="{money}/kWh")
#: Most that a kWh, and a day's standing charge, cost in a strong currency; beyond it pence or cents are meant.
MOST_PER_KWH, MOST_PER_DAY = 5.0, 20.0


class Rate(Table):
    """One price level of the tariff and when it holds."""

    import_price_per_kwh: Annotated[Quantity, Price] = needed(
        "price of a kWh from the grid, tax included", title="Today's price per kWh from the grid"
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
    extra_per_kwh: Annotated[Quantity, Uncertain(-1_000_000, 1_000_000, unit="{money}/kWh")] = needed(
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
        absent("one export price all day unless given"),
        title="Export price follows the series",
    )


class Tariff(Table):
    """What electricity costs today."""

    name: Text = default(
        "", "name of the tariff, for the report", absent("for the report only"), title="Name of the tariff"
    )
    rates: Annotated[dict[str, Rate], NamedEntries] = needed(
        "at least one rate, such as [tariff.rates.day]", title="Rates"
    )
    blocks: Annotated[dict[str, Block], NamedEntries] = default(
        {},
        "blocks of use with a price of their own, such as [tariff.blocks.second]",
        absent("none unless given"),
        title="Blocks of use",
    )
    block_period: Literal["month", "year"] = default(
        "month", "period after which the count of a block starts anew", title="Period of the blocks"
    )
    series: Series | None = optional(
        "prices that change every half hour, from a file", "each rate has one price", title="Price series"
    )
    standing_charge_per_day: Annotated[Quantity, Uncertain(0, 1_000_000, unit="{money}/day")] = default_number(
        0.0,
        "fixed charge per day; the kit never saves it",
        absent("no standing charge unless given"),
        title="Standing charge",
    )
    export_price_per_kwh: Annotated[Quantity, Uncertain(-1_000_000, 1_000_000, unit="{money}/kWh")] = default_number(
        0.0,
        "what a kWh sent to the grid earns",
        absent("nothing is paid unless given"),
        title="Price for power sent to the grid",
    )


def tariff_complaints(tariff: Tariff, site: Site | None, currency: str | None) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `tariff`."""
    if not tariff.rates:
        yield Complaint(("tariff", "rates"), "nothing", "at least one rate, such as [tariff.rates.day]")
    elif site is not None:
        yield from _rate_times(tariff, site.zone)
    if tariff.blocks and tariff.series is not None:
        accepted = "blocks or a series of prices, not both"
        yield Complaint(("tariff", "series"), "both", accepted, "remove [tariff.series] or [tariff.blocks...]")
    if currency in STRONG_CURRENCIES:
        for name, rate in tariff.rates.items():
            at = ("tariff", "rates", name, "import_price_per_kwh")
            yield from _too_dear(at, rate.import_price_per_kwh, MOST_PER_KWH, currency, "kWh")
        yield from _too_dear(
            ("tariff", "export_price_per_kwh"), tariff.export_price_per_kwh, MOST_PER_KWH, currency, "kWh"
        )
        for name, block in tariff.blocks.items():
            at = ("tariff", "blocks", name, "extra_per_kwh")
            yield from _too_dear(at, block.extra_per_kwh, MOST_PER_KWH, currency, "kWh")
        yield from _too_dear(
            ("tariff", "standing_charge_per_day"), tariff.standing_charge_per_day, MOST_PER_DAY, currency, "day"
        )


def _too_dear(
    path: tuple[str | int, ...], price: Quantity, most: float, currency: str | None, per: str
) -> Iterator[Complaint]:
    highest = price.practical_support[1]
    if highest > most:
        small = "pence" if currency == "GBP" else "cents"
        hint = f"{price.words()} looks like {small}; this key is in {currency} per {per}"
        if not price.is_uncertain:
            hint += f": {plain(highest / 100)}"
        yield Complaint(path, price.words(), f"at most {plain(most)} {currency} per {per}", hint)


def _rate_times(tariff: Tariff, zone: str) -> Iterator[Complaint]:
    """Let the tariff itself say what is wrong with the times of its rates."""
    from riskcalc.errors import InputError
    from riskcalc.tariff import is_remaining_time, rate_of_slot

    if len(tariff.rates) == 1 and all(is_remaining_time(rate) for rate in tariff.rates.values()):
        return
    try:
        rate_of_slot(tariff.rates, _finest_clock(zone))
    except InputError as error:
        for problem in error.problems:
            yield Complaint(tuple(problem.key.split(".")), problem.given, problem.accepted, problem.hint)


@lru_cache(maxsize=4)
def _finest_clock(zone: str) -> LocalClock:
    from riskcalc.clock import SLOT_CHOICES, local_clock

    return local_clock(zone, slot_minutes=SLOT_CHOICES[-1])
