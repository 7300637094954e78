"""What is usual: a figure outside is possible, so it is questioned where the answer stands, not refused.

Ranges are wide on purpose: nine of ten homes and kits lie inside. Money is stated in US dollars and scaled by a rough
rate of exchange, so that a slip of ten or a hundred shows in every currency. "judgement" in a source means that we
drew the range ourselves, from what is named beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fnmatch import fnmatchcase

from riskcalc.errors import Question
from riskcalc.scenario.outages import bridges
from riskcalc.scenario.prices import CALIBRATED, HISTORY_OF_CURRENCY, path_spread
from riskcalc.scenario.schema import Scenario, unit_of
from riskcalc.scenario.uncertain import said_unit
from riskcalc.uncertainty.quantity import Fixed, Quantity, plain

SHEETS = "judgement, from data sheets of units on sale, 2025"
SHOPS = "judgement, from shop prices, 2025"
TARIFFS = "judgement; household prices of most countries lie there, IEA Energy Prices 2024, from memory"
USE = "national statistics of household use, such as EIA RECS 2020 and Ofgem's typical values, from memory"
HISTORY = "the shipped price histories (tables/SOURCES_prices.md)"
JUDGEMENT = "judgement"
SLIP = "Check the unit: the answer hangs on it."
GRID, EVERY = ("sockets", "plug_in", "whole_home", ""), ()

#: Units of a currency that one US dollar buys, early 2025, from memory and rounded; 1 for all that are not listed.
_RATES = """
AED:3.67 ARS:1000 BDT:120 BRL:6 CLP:950 CNY:7.2 COP:4200 CZK:23 DKK:7 EGP:50 HKD:7.8 HUF:380 IDR:16000 ILS:3.6 INR:86
ISK:138 JPY:150 KES:130 KRW:1430 LKR:295 MAD:10 MXN:20 MYR:4.4 NGN:1500 NOK:11 PEN:3.7 PHP:58 PKR:280 PLN:4 RON:4.7
RSD:110 RUB:90 SAR:3.75 SEK:10.5 THB:34 TRY:37 TWD:33 TZS:2600 UAH:42 UGX:3700 VND:25400 XAF:620 XOF:620 ZAR:18.5
"""
PER_DOLLAR = {pair[:3]: float(pair[4:]) for pair in _RATES.split()}


@dataclass(frozen=True)
class Usual:
    """The usual range of one key, `*` for any name in it; couplings it holds for, all unless named ("": no kit)."""

    key: str
    low: float
    high: float
    effect: str
    source: str
    couplings: tuple[str, ...] = EVERY


USUAL = (
    Usual("site.record_low_c", -50, 12, "It sets how many modules a string may have.", JUDGEMENT),
    Usual("site.design_high_c", 25, 52, "It sets the voltage of hot modules.", JUDGEMENT),
    Usual("site.resource_factor", 0.8, 1.2, "It scales all the light.", JUDGEMENT),
    Usual("site.weather.yearly_spread", 0.02, 0.12, "It sets how good and bad years can be.", JUDGEMENT),
    Usual("site.albedo", 0.1, 0.4, "Snow and sand reach 0.8, but not all year.", JUDGEMENT),
    Usual("home.annual_use_kwh", 500, 20_000, "The more you use, the more the kit saves.", USE, GRID),
    Usual("home.annual_use_kwh", 50, 6000, "It decides how often the supply runs short.", JUDGEMENT, ("off_grid",)),
    Usual("home.car_kwh_per_year", 0, 8000, "That is more than 40,000 km a year.", JUDGEMENT),
    Usual("home.car_charger_w", 1400, 22_000, "It sets how long the car charges.", SHEETS),
    Usual("home.surfaces.*.shading", 0, 0.5, "So little light rarely pays for a module.", JUDGEMENT),
    Usual("tariff.rates.*.import_price_per_kwh", 0.02, 1, SLIP, TARIFFS, GRID),
    Usual("tariff.rates.*.import_price_per_kwh", 0.05, 4, SLIP, JUDGEMENT, ("off_grid",)),
    Usual("tariff.export_price_per_kwh", -0.1, 0.6, "Every kWh sent to the grid earns it.", TARIFFS),
    Usual("tariff.blocks.*.extra_per_kwh", -0.5, 0.5, SLIP, TARIFFS),
    Usual("tariff.standing_charge_per_day", 0, 3, "It is in both bills; a kit never saves it.", TARIFFS),
    Usual("prices.discount_rate_per_year", 0, 0.15, "Later savings count for less.", JUDGEMENT),
    Usual("prices.trend_per_year", -0.03, 0.08, "It grows on itself over the whole horizon.", HISTORY),
    Usual("prices.inflation_per_year", -0.01, 0.15, "It grows on itself over the whole horizon.", JUDGEMENT),
    Usual("prices.spread", 0, 0.15, "It sets how far prices can run in either direction.", HISTORY),
    Usual("kit.module.power_w", 20, 760, SLIP, SHEETS),
    Usual("kit.soiling", 0, 0.1, "It is lost all year.", JUDGEMENT),
    Usual("kit.battery.capacity_kwh", 0.15, 6, SLIP, SHEETS, ("sockets", "plug_in")),
    Usual("kit.battery.capacity_kwh", 1.5, 40, SLIP, SHEETS, ("whole_home",)),
    Usual("kit.battery.capacity_kwh", 0.15, 60, SLIP, SHEETS, ("off_grid",)),
    Usual("kit.battery.*charge_efficiency", 0.85, 0.995, "It is lost at every charge.", SHEETS),
    Usual("kit.inverter.rating_w", 100, 5000, SLIP, SHEETS, ("sockets",)),
    Usual("kit.inverter.rating_w", 150, 4000, "Local codes cap it, often at 800 W.", SHEETS, ("plug_in",)),
    Usual("kit.inverter.rating_w", 1000, 30_000, SLIP, SHEETS, ("whole_home",)),
    Usual("kit.inverter.idle_w", 1, 80, "It runs day and night: 10 W are 88 kWh a year.", SHEETS),
    Usual("kit.inverter.standby_w", 0, 25, "It runs day and night: 10 W are 88 kWh a year.", SHEETS),
    Usual("kit.inverter.efficiency_*_load", 0.75, 0.985, "It is lost with every kWh.", SHEETS),
    Usual("kit.charger.efficiency", 0.78, 0.97, "It is lost at every charge.", SHEETS),
    Usual("kit.ageing.scale", 0.3, 4, "It sets when the battery is worn.", JUDGEMENT),
    Usual("kit.ageing.cycles_to_80_percent", 400, 12_000, "It sets when the battery is worn.", SHEETS),
    Usual("kit.ageing.calendar_life_years", 5, 30, "It sets when the battery is worn.", SHEETS),
    Usual("kit.ageing.electronics_life_years", 3, 40, "It sets when the kit has to be replaced.", JUDGEMENT),
    Usual("kit.ageing.failure_chance_per_year", 0, 0.15, "It sets when the kit has to be replaced.", JUDGEMENT),
    Usual("purchase.loan.rate_per_year", 0, 0.25, "It is paid on all that is borrowed.", JUDGEMENT),
    Usual("purchase.warranty_years", 0, 25, "Until then failures cost nothing.", SHEETS),
    Usual("tenure.stay_years", 0.5, 45, "It decides when the kit moves.", JUDGEMENT),
    Usual("tenure.moving_chance_per_year", 0, 0.5, "It decides when the kit moves.", JUDGEMENT),
    Usual("outages.per_year", 0, 400, "Each is worth something if the kit bridges it.", JUDGEMENT),
    Usual("outages.hours_each", 0.02, 72, "Each hour is worth something if the kit bridges it.", JUDGEMENT),
    Usual(
        "outages.value_per_kwh",
        0,
        40,
        "The worth of outages grows with it.",
        "judgement; CEER and Berkeley Lab surveys of households, from memory",
    ),
    Usual("alternative.price_per_m", 5, 300, "The cable is weighed at this price.", JUDGEMENT),
)


def questions(scenario: Scenario) -> tuple[Question, ...]:
    """Return what is possible in a scenario but unusual; for an uncertain number, the point that one future in ten passes."""
    return (*_single(scenario), *_joint(scenario))


def _single(scenario: Scenario) -> Iterator[Question]:
    coupling = "" if scenario.kit is None else scenario.kit.coupling
    for key, value, _ in scenario.leaves():
        quantity = Fixed(value=value) if isinstance(value, int | float) and not isinstance(value, bool) else value
        if not isinstance(quantity, Quantity) or not scenario.is_given(key):
            continue
        for usual in USUAL:
            if fnmatchcase(key, usual.key) and (not usual.couplings or coupling in usual.couplings):
                unit = unit_of(key, "{money}")
                scale = PER_DOLLAR.get(scenario.currency, 1.0) if "{money}" in unit else 1.0
                yield from _asked(
                    key, quantity, (usual.low * scale, usual.high * scale), unit, usual.effect, usual.source
                )


def _asked(
    key: str, quantity: Quantity, ends: tuple[float, float], unit: str, effect: str, source: str
) -> Iterator[Question]:
    low, high = (at(quantity, level) for level in (0.1, 0.9))
    if low < ends[0] or high > ends[1]:
        given = quantity.words() if quantity.is_uncertain else plain(quantity.support[0])
        usual = f"{plain(ends[0])} to {plain(ends[1])}{said_unit(unit)}"
        yield Question(key, given + said_unit(unit, given), usual, effect, source)


def at(quantity: Quantity, level: float) -> float:
    """Return the value that a share `level` of the futures stay below."""
    return float(quantity.quantile(level)) if quantity.is_uncertain else quantity.support[0]


def _joint(scenario: Scenario) -> Iterator[Question]:
    """Yield what is unusual about figures taken together, at their medians."""
    dollar = PER_DOLLAR.get(scenario.currency, 1.0)
    home, prices, tariff = scenario.home, scenario.prices, scenario.tariff
    use = at(home.annual_use_kwh, 0.5)
    yield from _ratio(
        "home.annual_use_kwh", use / home.occupants, (150, 9000), " kWh a year for each person",
        "The more you use, the more the kit saves.", USE,
    )  # fmt: skip
    dearest = max(at(rate.import_price_per_kwh, 0.5) for rate in tariff.rates.values())
    if dearest > 0:
        yield from _ratio(
            "tariff.export_price_per_kwh", at(tariff.export_price_per_kwh, 0.5) / dearest, (-1, 1.2),
            " times the dearest price of grid electricity", "A kWh sold would then be worth more than one saved.", TARIFFS,
        )  # fmt: skip
    if prices.import_path is None and prices.growth_path is None and prices.path_file is None:
        years = scenario.study.horizon_years
        yield from _ratio(
            "prices.spread", path_spread(at(prices.spread, 0.5), at(prices.persistence, 0.5), years), (0, 1.2),
            f" as standard deviation of the logarithm of the price after {years} years, with the persistence given",
            "Above 1.2 one future in six ends more than three times as dear as it began, before any trend.", HISTORY,
        )  # fmt: skip
        yield from _history(scenario)
    if scenario.kit is not None:
        yield from _kit(scenario, dollar)
        yield from _left_open(scenario)


def _history(scenario: Scenario) -> Iterator[Question]:
    """Ask whether prices should follow the shipped history of the country, where the defaults follow another's."""
    own = HISTORY_OF_CURRENCY.get(scenario.currency)
    left_open = not all(scenario.is_given(f"prices.{name}") for name in CALIBRATED.get(own or "", ()))
    if own and left_open and scenario.prices.history is None and scenario.home.supply == "grid":
        yield Question(
            "prices.history",
            "not given: prices change as in the United States",
            own,
            "British prices grew by 4.7 % a year from 1988 to 2025 and swung widely, American ones by 2.5 % or less.",
            HISTORY,
        )


def _kit(scenario: Scenario, dollar: float) -> Iterator[Question]:
    kit, purchase = scenario.kit, scenario.purchase
    assert kit is not None
    modules = sum(array.modules for array in kit.arrays.values())
    watts = modules * kit.module.power_w if kit.module else 0.0
    batteries = 0 if kit.battery is None else 1 + kit.battery.extra_batteries
    kwh = 0.0 if kit.battery is None else at(kit.battery.capacity_kwh, 0.5) * batteries
    if kit.battery is not None:
        one = kwh / batteries
        for name in ("charge_w", "discharge_w"):
            yield from _ratio(
                f"kit.battery.{name}", at(getattr(kit.battery, name), 0.5) / one / 1000, (0.1, 4),
                " times its capacity an hour", "Few cells bear more, and their life is not known beyond.", SHEETS,
            )  # fmt: skip
    if watts:
        yield from _ratio(
            "kit.inverter.rating_w", watts / kit.inverter.rating_w, (0.1, 3), " W of modules for each W of the inverter",
            "What the modules give beyond the inverter and the battery is lost.", SHEETS,
        )  # fmt: skip
    if purchase is None:
        return
    outlay = (
        (at(purchase.price, 0.5) + modules * at(purchase.module_price, 0.5))
        + max(batteries - 1, 0) * at(purchase.extra_battery_price, 0.5)
        + at(purchase.installation, 0.5)
    )
    incentive = at(purchase.incentive, 0.5)
    if incentive > 0 and outlay > 0:
        yield from _ratio(
            "purchase.incentive", incentive / outlay, (0, 0.8), " of the whole price",
            "The kit would then be a gift or more.", "judgement; grants of half to two thirds are known",
        )  # fmt: skip
    parts = kwh + watts / 1000
    yield from _ratio(
        "purchase.price", outlay / parts, (120 * dollar, 4500 * dollar),
        f" {scenario.currency} with installation for each kWh of battery and kW of modules"
        + (f" ({batteries} batteries: is the price of an extra battery missing?)" if batteries > 1 else ""),
        "Payback is in proportion to it.", SHOPS,
    )  # fmt: skip
    yield from _ratio(
        "purchase.upkeep_per_year", at(purchase.upkeep_per_year, 0.5) / outlay if outlay else 0.0, (0, 0.1),
        " of the price each year", "It is taken off the saving of every year.", JUDGEMENT,
    )  # fmt: skip


def _left_open(scenario: Scenario) -> Iterator[Question]:
    """Yield what was left to a default that decides by itself whether the kit does anything."""
    kit, outages = scenario.kit, scenario.outages
    assert kit is not None
    if kit.coupling.traits.between_mains and kit.runs_from_battery_on_mains is None:
        yield Question(
            "kit.runs_from_battery_on_mains",
            "not given: true is assumed",
            "true or false, by the manual",
            "Many units only pass the mains through while they are plugged in: then sun and battery save nothing.",
            JUDGEMENT,
        )
    if kit.coupling.traits.between_mains and kit.runs_from_battery_on_mains is False:
        yield Question(
            "kit.runs_from_battery_on_mains",
            "false",
            "true, if the unit is to save on the bill",
            "The unit only passes the mains through: sun and battery serve nothing but outages.",
            JUDGEMENT,
        )
    if kit.coupling == "plug_in" and kit.battery and kit.control == "meter" and kit.meter_lag_seconds is None:
        yield Question(
            "kit.meter_lag_seconds",
            "not given: 0 is assumed",
            "2 to 10 s, by the datasheet of unit and meter",
            "The unit would follow every load at once. A real one lets each rise pass to the grid for some seconds.",
            JUDGEMENT,
        )
    if outages is None:
        return
    if outages.kit_bridges is None and not kit.coupling.traits.between_mains:
        yield Question(
            "outages.kit_bridges",
            "not given: false is assumed",
            "true with a changeover switch and backup equipment, otherwise false",
            "The kit carries nothing while the supply is out, so outages are worth nothing here.",
            "a wired system has to disconnect itself from a dead grid, IEC 62116 and local codes",
        )
    if bridges(outages, kit.coupling) and outages.value_per_hour is None and outages.value_per_kwh is None:
        yield Question(
            "outages.value_per_hour",
            "not given: nothing",
            "what an hour, or a kWh, without power costs you",
            "Outages are counted, but worth nothing here.",
            JUDGEMENT,
        )


def _ratio(
    key: str, value: float, ends: tuple[float, float], unit: str, effect: str, source: str
) -> Iterator[Question]:
    if not ends[0] <= value <= ends[1]:
        yield Question(
            key, f"{plain(float(f'{value:.3g}'))}{unit}", f"{plain(ends[0])} to {plain(ends[1])}", effect, source
        )
