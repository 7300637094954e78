"""What must hold inside a tariff: no time without a rate or with two, prices in the currency rather than in pence."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from typing import TYPE_CHECKING

from riskcalc.scenario.bill import Prices, Tariff
from riskcalc.scenario.complaints import Complaint
from riskcalc.scenario.currencies import STRONG_CURRENCIES
from riskcalc.scenario.place import Site
from riskcalc.uncertainty.quantity import Quantity, plain

if TYPE_CHECKING:
    from riskcalc.clock import LocalClock

#: Most that a kWh, and a day's standing charge, cost in a strong currency; beyond it pence or cents are meant.
MOST_PER_KWH, MOST_PER_DAY = 5.0, 20.0


def tariff_complaints(tariff: Tariff, *, site: Site | None, currency: str | None) -> Iterator[Complaint]:
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


def path_complaints(prices: Prices | None, *, years: int | None) -> Iterator[Complaint]:
    """Yield what is wrong with a given path of prices; paths start at `prices`."""
    if prices is None:
        return
    given = [name for name in ("import_path", "growth_path", "path_file") if getattr(prices, name) is not None]
    if len(given) > 1:
        yield Complaint(("prices", given[1]), " and ".join(given), "one of import_path, growth_path and path_file")
    for name, needed in (("import_path", years or 0), ("growth_path", (years or 0) - 1)):
        path = getattr(prices, name)
        if path is not None and len(path) < needed:
            accepted = f"at least {needed} numbers for a horizon of {years} years"
            yield Complaint(("prices", name), f"{len(path)} numbers", accepted)


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
