"""What must hold between keys and tables, once each of them is sound by itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from riskcalc.scenario.alternative import Alternative, alternative_complaints
from riskcalc.scenario.bill import Prices, Tariff
from riskcalc.scenario.bill_checks import path_complaints, tariff_complaints
from riskcalc.scenario.claims import Claim, claims_complaints
from riskcalc.scenario.complaints import Complaint, did_you_mean, listed, shown
from riskcalc.scenario.kit import Kit
from riskcalc.scenario.kit_checks import kit_complaints
from riskcalc.scenario.outages import Outages, outage_complaints
from riskcalc.scenario.place import Home, Site
from riskcalc.scenario.place_checks import home_complaints, site_complaints
from riskcalc.scenario.plans import FOUND, Dispatch, Purchase, Study
from riskcalc.scenario.tenure import Tenure, tenure_complaints

#: Rates of a tariff with which targets can be found: the books of a search have a line for every rate and day.
MOST_RATES_SEARCHED = 11
ALL_HOURS = 24.0
#: What may be left to the search.
TO_BE_FOUND = ("target_share", "hold_back_share", "export_stored_above_share")


@dataclass(frozen=True)
class Parts:
    """The tables that are sound by themselves; None for those that are absent or broken."""

    currency: str | None = None
    site: Site | None = None
    home: Home | None = None
    tariff: Tariff | None = None
    prices: Prices | None = None
    kit: Kit | None = None
    dispatch: Dispatch | None = None
    purchase: Purchase | None = None
    tenure: Tenure | None = None
    alternative: Alternative | None = None
    outages: Outages | None = None
    study: Study | None = None
    claims: tuple[Claim, ...] = ()
    present: frozenset[str] = field(default_factory=frozenset)


def cross_complaints(parts: Parts) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at the top of the scenario."""
    if parts.site is not None:
        yield from site_complaints(parts.site)
    if parts.home is not None:
        yield from home_complaints(parts.home, parts.kit)
    if parts.tariff is not None:
        yield from tariff_complaints(parts.tariff, site=parts.site, currency=parts.currency)
    yield from path_complaints(parts.prices, years=parts.study.horizon_years if parts.study else None)
    if parts.kit is not None:
        yield from kit_complaints(parts.kit, parts.home)
        yield from _supply(parts.kit, parts.home)
    if parts.kit is not None and parts.dispatch is not None:
        yield from _dispatch_with_kit(parts.dispatch, parts.kit)
    if parts.dispatch is not None:
        yield from _dispatch(parts.dispatch, parts.tariff)
    yield from _purchase(parts)
    if parts.tenure is not None:
        yield from tenure_complaints(parts.tenure, parts.kit)
    if parts.alternative is not None:
        yield from alternative_complaints(parts.kit)
    if parts.outages is not None:
        yield from outage_complaints(parts.outages, parts.kit)
    yield from claims_complaints(parts.claims)
    if parts.study is not None:
        within = parts.study.odds_within_years
        if within is not None and within > parts.study.horizon_years:
            accepted = f"a whole number from 1 to horizon_years ({parts.study.horizon_years})"
            yield Complaint(("study", "odds_within_years"), shown(within), accepted)


def _supply(kit: Kit, home: Home | None) -> Iterator[Complaint]:
    if home is not None and home.supply == "none" and kit.coupling != "off_grid":
        accepted = '"off_grid": the home has no supply from the grid (home.supply)'
        yield Complaint(("kit", "coupling"), shown(kit.coupling), accepted)


def _dispatch(dispatch: Dispatch, tariff: Tariff | None) -> Iterator[Complaint]:
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


def _dispatch_with_kit(dispatch: Dispatch, kit: Kit) -> Iterator[Complaint]:
    if dispatch.export_stored_at:
        given, at = shown(dispatch.export_stored_at), ("dispatch", "export_stored_at")
        if kit.coupling in ("sockets", "off_grid"):
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
    if kit.coupling == "off_grid":
        yield Complaint(at, given, "nothing: off grid there is no supply to charge from", "remove charge_at")
    elif kit.battery is None:
        yield Complaint(at, given, "nothing: the kit has no battery", "add [kit.battery], or remove charge_at")
    elif kit.charger is None:
        yield Complaint(at, given, "a kit with a charger", "add [kit.charger], or remove charge_at")


def _purchase(parts: Parts) -> Iterator[Complaint]:
    if "kit" in parts.present and "purchase" not in parts.present:
        yield Complaint(("purchase",), "nothing", "needed with [kit]: [purchase] with price = ...")
    if "purchase" in parts.present and "kit" not in parts.present:
        yield Complaint(("kit",), "nothing", "needed with [purchase]: the kit that is bought", "or remove [purchase]")
    purchase, kit = parts.purchase, parts.kit
    if purchase is None or kit is None or purchase.when_worn != "replace":
        return
    needs = {
        "battery_replacement_price": kit.battery is not None,
        "electronics_replacement_price": kit.ageing.electronics_life_years is not None
        or kit.ageing.failure_chance_per_year.support[1] > 0.0,
    }
    for name, is_needed in needs.items():
        if is_needed and getattr(purchase, name) is None:
            yield Complaint(("purchase", name), "nothing", 'needed for when_worn = "replace"')
