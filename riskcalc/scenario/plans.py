"""Tables [dispatch], [purchase] and [study]: how it is run, what it costs, how the question is asked and computed."""

from __future__ import annotations

from typing import Annotated, Literal

from riskcalc.scenario.fields import Table, default, default_number, needed, optional
from riskcalc.scenario.series import Monthly
from riskcalc.scenario.texts import MonthDay, Names, Windows
from riskcalc.scenario.uncertain import Number, Uncertain, Whole
from riskcalc.uncertainty.quantity import Quantity

Money = Uncertain(0, 1e9)
OURS = "our own choice, see DEVELOPERS.md"


#: Stands in place of figures that are to be found by search.
FOUND = "optimise"
MonthlyShare = Annotated[float | str | tuple[float, ...], Monthly(0, 1, unit="share", one_will_do=True, word=FOUND)]


class Dispatch(Table):
    """How the kit is run."""

    charge_at: Names = default(
        (), "rates at which the battery is filled from the supply", "never unless given", title="Rates to charge at"
    )
    discharge_at: Names | None = optional(
        "rates at which the battery serves loads",
        "all rates not in charge_at; while on solar only, all",
        title="Rates to discharge at",
    )
    target_share: MonthlyShare = default(
        1.0,
        'share of the capacity to fill from the supply; one number, one per month, or "optimise": the best for each '
        "month, or of each household's own need, and the best season on solar only are found",
        title="Charging target",
    )
    sun_forecast_skill: Annotated[float, Number(0, 1, unit="share")] = default(
        0.0,
        'with target_share = "optimise": correlation, within a month, of the forecast of tomorrow\'s sun with what comes; '
        "0 = set by the month alone",
        "nobody looks at a forecast unless given",
        title="Skill of the sun forecast",
    )
    hold_back_share: MonthlyShare = default(
        0.0,
        "share of the capacity kept for the hours of the dearest rate; one number, one per month, or "
        '"optimise": the best for each month is found',
        "nothing is held back",
        title="Held back for the dearest rate",
    )
    solar_only_from: MonthDay | None = optional(
        "first day without charging from the supply", "charged all year", title="First day on solar only"
    )
    solar_only_until: MonthDay | None = optional(
        "last day without charging from the supply", "charged all year", title="Last day on solar only"
    )
    export_stored_at: Names = default(
        (),
        "rates at which stored energy is exported, after the loads; ask first whether the contract pays for it",
        "stored energy stays in the home",
        title="Rates to export stored energy at",
    )
    export_stored_above_share: MonthlyShare = default(
        0.0,
        "share of the capacity down to which stored energy is exported; one number, one per month, or "
        '"optimise": the best for each month is found',
        "all of it, where export_stored_at names a rate",
        title="Kept from export",
    )
    export_stored_hours_per_day: Annotated[float, Number(0, 24, above=True, unit="hours")] = default(
        24.0,
        "export stored energy in so many hours of each day only, those of the best export price at the rates of "
        "export_stored_at; of equal prices the later, when it is known what the home has left",
        "all hours of export_stored_at unless given",
        title="Best hours to export in",
    )
    reserve_share: Annotated[float, Number(0, 1, unit="share")] = default(
        0.0, "share of the capacity kept for outages", "none", title="Outage reserve"
    )
    off_hours: Windows | None = optional(
        "windows in which the inverter is switched off", "never switched off", title="Hours switched off"
    )
    cheapest_hours_per_day: Annotated[float, Number(0, 24, above=True, unit="hours")] = default(
        24.0,
        "charge in so many hours of each day only, the cheapest of those at the rates of charge_at; of equal prices the "
        "earlier. Made for a price series",
        "all hours of charge_at unless given",
        title="Cheapest hours to charge in",
    )


class Loan(Table):
    """Money borrowed for the purchase, paid back in even yearly payments."""

    financed_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = needed(
        "share of the outlay that is borrowed", title="Borrowed share"
    )
    rate_per_year: Annotated[Quantity, Uncertain(0, 0.5, unit="share/year")] = needed(
        "nominal interest of the loan", title="Loan interest"
    )
    term_years: Annotated[int, Whole(1, 40, unit="years")] = needed("years until it is paid back", title="Loan term")


class Purchase(Table):
    """What it costs and what becomes of it."""

    price: Annotated[Quantity, Money] = needed("price of the kit, tax included", title="Price of the kit")
    module_price: Annotated[Quantity, Money] = default_number(
        0.0, "price of each module, on top of price", "modules are within price unless given", title="Price of a module"
    )
    extra_battery_price: Annotated[Quantity, Money] = default_number(
        0.0,
        "price of each extra battery, on top of price",
        "extra batteries are within price unless given",
        title="Price of an extra battery",
    )
    installation: Annotated[Quantity, Money] = default_number(
        0.0, "work, scaffolding, brackets, permits", "none unless given", title="Installation"
    )
    discount_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = default_number(
        0.0, "discount on the price of kit, modules and batteries", "none unless given", title="Discount"
    )
    incentive: Annotated[Quantity, Money] = default_number(
        0.0, "grant or rebate on the day of purchase", "none unless given", title="Incentive"
    )
    loan: Loan | None = optional("money borrowed for it", "paid from savings", title="Loan")
    upkeep_per_year: Annotated[Quantity, Money] = default_number(
        0.0, "inspection, insurance, cleaning per year, at today's prices", "none unless given", title="Upkeep"
    )
    battery_replacement_price: Annotated[Quantity, Money] | None = optional(
        "price of a new battery, today's money, paid for each",
        "needed for when_worn = replace",
        title="Price of a new battery",
    )
    electronics_replacement_price: Annotated[Quantity, Money] | None = optional(
        "price of new electronics, today's money",
        "needed for when_worn = replace with electronics_life_years",
        title="Price of new electronics",
    )
    warranty_years: Annotated[Quantity, Uncertain(0, 40, unit="years")] = default_number(
        0.0, "years in which what fails or wears out is replaced free of charge", "none unless given", title="Warranty"
    )
    when_worn: Literal["replace", "keep", "retire"] = default(
        "keep", "what happens when the battery is worn or the electronics fail", OURS, title="When worn or failed"
    )
    resale_share: Annotated[Quantity, Uncertain(0, 1, unit="share")] = default_number(
        0.0,
        "share of the price, modules and batteries included, that comes back at the end of the horizon",
        "nothing unless given",
        title="Resale at the end",
    )
    disposal_cost: Annotated[Quantity, Money] = default_number(
        0.0, "cost of getting rid of it at its end, at today's prices", "none unless given", title="Disposal"
    )


class Study(Table):
    """How the question is asked and computed."""

    horizon_years: Annotated[int, Whole(1, 60, unit="years")] = default(15, "years looked ahead", title="Horizon")
    draws: Annotated[int, Whole(8, 1_048_576)] = default(1024, "futures drawn", OURS, title="Draws")
    seed: Annotated[int, Whole(0, 2**53)] = default(1, "seed of every random number", OURS, title="Seed")
    scrambles: Annotated[int, Whole(2, 64)] = default(
        8, "independent repetitions behind each standard error", OURS, title="Scrambles"
    )
    pool_years: Annotated[int, Whole(1, 256)] = default(
        32, "weather and demand years in the pool", OURS, title="Years in the pool"
    )
    step_minutes: Literal[1, 5, 15, 30, 60] = default(1, "time step of demand in minutes", OURS, title="Time step")
    odds_within_years: Annotated[int, Whole(1, 60, unit="years")] | None = optional(
        "years within which it should pay back, for the headline odds",
        "the horizon",
        title="Years for the headline odds",
    )
