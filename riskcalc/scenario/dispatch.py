"""Table [dispatch]: how the kit is run."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from riskcalc.scenario.complaints import Complaint, did_you_mean, listed, shown
from riskcalc.scenario.fields import Table, absent, default, optional
from riskcalc.scenario.kit import Kit
from riskcalc.scenario.series import Monthly
from riskcalc.scenario.tariff import Tariff
from riskcalc.scenario.texts import MonthDay, Names, Windows
from riskcalc.scenario.uncertain import Number

#: Stands in place of figures that are to be found by search.
FOUND = "optimise"
MonthlyShare = Annotated[float | str | tuple[float, ...], Monthly(0, 1, unit="share", one_will_do=True, word=FOUND)]
#: Rates of a tariff with which targets can be found: the books of a search have a line for every rate and day.
MOST_RATES_SEARCHED = 11
ALL_HOURS = 24.0
#: What may be left to the search.
TO_BE_FOUND = ("target_share", "hold_back_share", "export_stored_above_share")


class Dispatch(Table):
    """How the kit is run."""

    charge_at: Names = default(
        (),
        "rates at which the battery is filled from the supply",
        absent("never unless given"),
        title="Rates to charge at",
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
        absent("nobody looks at a forecast unless given"),
        title="Skill of the sun forecast",
    )
    hold_back_share: MonthlyShare = default(
        0.0,
        "share of the capacity kept for the hours of the dearest rate; one number, one per month, or "
        '"optimise": the best for each month is found',
        absent("nothing is held back"),
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
        absent("stored energy stays in the home"),
        title="Rates to export stored energy at",
    )
    export_stored_above_share: MonthlyShare = default(
        0.0,
        "share of the capacity down to which stored energy is exported; one number, one per month, or "
        '"optimise": the best for each month is found',
        absent("all of it, where export_stored_at names a rate"),
        title="Kept from export",
    )
    export_stored_hours_per_day: Annotated[float, Number(0, 24, above=True, unit="h")] = default(
        24.0,
        "export stored energy in so many hours of each day only, those of the best export price at the rates of "
        "export_stored_at; of equal prices the later, when it is known what the home has left",
        absent("all hours of export_stored_at unless given"),
        title="Best hours to export in",
    )
    reserve_share: Annotated[float, Number(0, 1, unit="share")] = default(
        0.0, "share of the capacity kept for outages", absent("none"), title="Outage reserve"
    )
    off_hours: Windows | None = optional(
        "windows in which the inverter is switched off", "never switched off", title="Hours switched off"
    )
    cheapest_hours_per_day: Annotated[float, Number(0, 24, above=True, unit="h")] = default(
        24.0,
        "charge in so many hours of each day only, the cheapest of those at the rates of charge_at; of equal prices the "
        "earlier. Made for a price series",
        absent("all hours of charge_at unless given"),
        title="Cheapest hours to charge in",
    )


def dispatch_complaints(dispatch: Dispatch, tariff: Tariff | None, kit: Kit | None) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `dispatch`."""
    if kit is not None:
        yield from _with_kit(dispatch, kit)
    for name in ("charge_at", "discharge_at", "export_stored_at"):
        for rate in getattr(dispatch, name) or ():
            if tariff is not None and tariff.rates and rate not in tariff.rates:
                accepted = "names of rates: " + listed(tariff.rates, joiner="and")
                yield Complaint(("dispatch", name), shown(rate), accepted, did_you_mean(rate, tariff.rates))
    for rate in dispatch.discharge_at or ():
        if rate in dispatch.charge_at:
            yield Complaint(("dispatch", "discharge_at"), shown(rate), "rates that are not in charge_at as well")
    left_open = [name for name in TO_BE_FOUND if getattr(dispatch, name) == FOUND]
    if tariff is not None and left_open:
        name = left_open[0]
        if len(tariff.rates) > MOST_RATES_SEARCHED:
            accepted = f"numbers: with more than {MOST_RATES_SEARCHED} rates nothing can be found"
            yield Complaint(("dispatch", name), shown(FOUND), accepted)
    ends = {"solar_only_from": dispatch.solar_only_from, "solar_only_until": dispatch.solar_only_until}
    for name, value in ends.items():
        if value is None and any(ends.values()):
            yield Complaint(("dispatch", name), "nothing", "both solar_only_from and solar_only_until, or neither")
    yield from _hours_of_rates(dispatch)


def _hours_of_rates(dispatch: Dispatch) -> Iterator[Complaint]:
    if dispatch.cheapest_hours_per_day < ALL_HOURS and not dispatch.charge_at:
        accepted = "24 where charge_at names no rate: there is nothing to choose from"
        hint = "charge_at names the rates; with one price series over all, name all rates"
        yield Complaint(("dispatch", "cheapest_hours_per_day"), shown(dispatch.cheapest_hours_per_day), accepted, hint)
    if dispatch.export_stored_hours_per_day < ALL_HOURS and not dispatch.export_stored_at:
        accepted = "24 where export_stored_at names no rate: there is nothing to choose from"
        given = shown(dispatch.export_stored_hours_per_day)
        yield Complaint(("dispatch", "export_stored_hours_per_day"), given, accepted)
    for rate in dispatch.export_stored_at:
        at = ("dispatch", "export_stored_at")
        if rate in dispatch.charge_at and dispatch.cheapest_hours_per_day >= ALL_HOURS:
            accepted = "rates that are not in charge_at, or cheapest_hours_per_day, which leaves them some hours"
            yield Complaint(at, shown(rate), accepted)
        elif dispatch.discharge_at is not None and rate not in dispatch.discharge_at:
            yield Complaint(at, shown(rate), "rates of discharge_at: at others the battery gives nothing")


def _with_kit(dispatch: Dispatch, kit: Kit) -> Iterator[Complaint]:
    if dispatch.export_stored_at:
        given, at = shown(dispatch.export_stored_at), ("dispatch", "export_stored_at")
        if not kit.coupling.traits.may_export:
            accepted = "nothing: a kit of this coupling sends nothing to the grid"
            yield Complaint(at, given, accepted, "remove export_stored_at")
        elif kit.battery is None:
            yield Complaint(
                at, given, "nothing: the kit has no battery", "add [kit.battery], or remove export_stored_at"
            )
        elif kit.inverter.export_limit_w == 0:
            yield Complaint(at, given, "a kit that may export", "raise kit.inverter.export_limit_w")
    if not dispatch.charge_at:
        return
    given, at = shown(dispatch.charge_at), ("dispatch", "charge_at")
    if not kit.coupling.traits.on_grid:
        yield Complaint(at, given, "nothing: off grid there is no supply to charge from", "remove charge_at")
    elif kit.battery is None:
        yield Complaint(at, given, "nothing: the kit has no battery", "add [kit.battery], or remove charge_at")
    elif kit.charger is None:
        yield Complaint(at, given, "a kit with a charger", "add [kit.charger], or remove charge_at")
