"""Tables [dispatch], [purchase] and [study]: how it is run, what it costs, how the question is asked and computed."""

from __future__ import annotations

from typing import Annotated, Literal

from riskcalc.quantity import Quantity
from riskcalc.scenario.fields import Table, default, default_number, needed, optional
from riskcalc.scenario.series import Monthly
from riskcalc.scenario.texts import MonthDay, Names, Windows
from riskcalc.scenario.uncertain import Number, Uncertain, Whole

Money = Uncertain(0, 1e9)
OURS = "our own choice, see DEVELOPERS.md"


class Dispatch(Table):
    """How the kit is run."""

    charge_at: Names = default((), "rates at which the battery is filled from the supply", "never unless given")
    discharge_at: Names | None = optional("rates at which the battery serves loads", "all rates not in charge_at")
    target_share: Annotated[float | tuple[float, ...], Monthly(0, 1, unit="share", one_will_do=True)] = default(
        1.0, "share of the capacity to fill from the supply; one number, or one per month"
    )
    solar_only_from: MonthDay | None = optional("first day without charging from the supply", "charged all year")
    solar_only_until: MonthDay | None = optional("last day without charging from the supply", "charged all year")
    reserve_share: Annotated[float, Number(0, 1, unit="share")] = default(
        0.0, "share of the capacity kept for outages", "none"
    )
    off_hours: Windows | None = optional("windows in which the inverter is switched off", "never switched off")


class Loan(Table):
    """Money borrowed for the purchase, paid back in even yearly payments."""

    financed_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = needed("share of the outlay that is borrowed")
    rate_per_year: Annotated[Quantity, Uncertain(0, 0.5, unit="share/year")] = needed("nominal interest of the loan")
    term_years: Annotated[int, Whole(1, 40, unit="years")] = needed("years until it is paid back")


class Purchase(Table):
    """What it costs and what becomes of it."""

    price: Annotated[Quantity, Money] = needed("price of the kit, tax included")
    module_price: Annotated[Quantity, Money] = default_number(
        0.0, "price of each module, on top of price", "modules are within price unless given"
    )
    extra_battery_price: Annotated[Quantity, Money] = default_number(
        0.0, "price of each extra battery, on top of price", "extra batteries are within price unless given"
    )
    installation: Annotated[Quantity, Money] = default_number(
        0.0, "work, scaffolding, brackets, permits", "none unless given"
    )
    discount_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = default_number(
        0.0, "discount on the price of kit, modules and batteries", "none unless given"
    )
    incentive: Annotated[Quantity, Money] = default_number(
        0.0, "grant or rebate on the day of purchase", "none unless given"
    )
    loan: Loan | None = optional("money borrowed for it", "paid from savings")
    upkeep_per_year: Annotated[Quantity, Money] = default_number(
        0.0, "inspection, insurance, cleaning per year, at today's prices", "none unless given"
    )
    battery_replacement_price: Annotated[Quantity, Money] | None = optional(
        "price of a new battery, today's money, paid for each", "needed for when_worn = replace"
    )
    electronics_replacement_price: Annotated[Quantity, Money] | None = optional(
        "price of new electronics, today's money", "needed for when_worn = replace with electronics_life_years"
    )
    warranty_years: Annotated[Quantity, Uncertain(0, 40, unit="years")] = default_number(
        0.0, "years in which what fails or wears out is replaced free of charge", "none unless given"
    )
    when_worn: Literal["replace", "keep", "retire"] = default(
        "keep", "what happens when the battery is worn or the electronics fail", OURS
    )
    resale_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = default_number(
        0.0,
        "share of the price, modules and batteries included, that comes back at the end of the horizon",
        "nothing unless given",
    )
    disposal_cost: Annotated[Quantity, Money] = default_number(
        0.0, "cost of getting rid of it at its end, at today's prices", "none unless given"
    )


class Study(Table):
    """How the question is asked and computed."""

    horizon_years: Annotated[int, Whole(1, 60, unit="years")] = default(15, "years looked ahead")
    draws: Annotated[int, Whole(8, 1_048_576)] = default(1024, "futures drawn", OURS)
    seed: Annotated[int, Whole(0, 2**53)] = default(1, "seed of every random number", OURS)
    scrambles: Annotated[int, Whole(2, 64)] = default(8, "independent repetitions behind each standard error", OURS)
    pool_years: Annotated[int, Whole(1, 256)] = default(32, "weather and demand years in the pool", OURS)
    step_minutes: Literal[1, 5, 15, 30, 60] = default(1, "time step of demand in minutes", OURS)
    odds_within_years: Annotated[int, Whole(1, 60, unit="years")] | None = optional(
        "years within which it should pay back, for the headline odds", "the horizon"
    )
