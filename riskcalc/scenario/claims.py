"""Table [[claims]]: what somebody has said about the purchase, to be checked in every future."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from riskcalc.scenario.complaints import Complaint, did_you_mean, listed, shown
from riskcalc.scenario.fields import Table, needed, optional
from riskcalc.scenario.texts import Months, Text
from riskcalc.scenario.uncertain import Number, Whole

#: Measures of the whole horizon, of the bill and of days and months, with what each counts; the first-year figures of
#: result.json come on top. Units are those of the scenario: its currency, kWh, hours, shares of 1.
MEASURES = {
    "payback_years": "years until the purchase has paid for itself",
    "lasting_payback_years": "years until it has paid for itself for good",
    "discounted_payback_years": "years until it has paid for itself with later money discounted",
    "net_present_value": "worth on the day of purchase",
    "saving_per_year": "yearly saving on the bill",
    "bill_cut_share": "share of the bill that goes away",
    "demand_served_share": "share of the demand that the kit serves, from sun or battery",
    "reachable_demand_served_share": "share of the demand within reach that the kit serves, from sun or battery",
    "months_without_grid_use": "months in which the home takes nothing from the grid",
    "months_without_grid_use_within_reach": "months in which what is plugged in and the charger take nothing "
    "from the grid",
    "hours_bridged": "hours of outages bridged",
}

#: Figures of the first year under their names in result.json.
FIRST_YEAR = (
    "saving",
    "bill_without",
    "bill_with",
    "demand_kwh",
    "reachable_demand_kwh",
    "import_kwh",
    "export_kwh",
    "solar_available_kwh",
    "solar_used_kwh",
    "solar_to_load_kwh",
    "battery_to_load_kwh",
    "grid_to_battery_kwh",
    "battery_throughput_kwh",
    "losses_kwh",
    "unmet_kwh",
    "short_hours",
    "short_days",
    "overload_minutes",
    "overload_kwh",
)

#: First-year figures and measures that can be asked of some months only.
BY_MONTH = (
    "bill_cut_share",
    "demand_served_share",
    "reachable_demand_served_share",
    "months_without_grid_use",
    "months_without_grid_use_within_reach",
    "saving",
    "bill_without",
    "bill_with",
    *(name for name in FIRST_YEAR if name.endswith("_kwh") and name != "overload_kwh"),
)

PAYBACKS = ("payback_years", "lasting_payback_years", "discounted_payback_years")


class Claim(Table):
    """One statement as it was published, and the figure that it comes down to."""

    sentence: Text = needed("the statement as it was published", title="Statement")
    measure: Text = needed("what is measured, such as payback_years or saving_per_year", title="Measure")
    at_least: Annotated[float, Number(-1e9, 1e9)] | None = optional(
        "least value that makes the statement true", "no lower limit", title="At least"
    )
    at_most: Annotated[float, Number(-1e9, 1e9)] | None = optional(
        "greatest value that makes the statement true", "no upper limit", title="At most"
    )
    months: Months | None = optional("months that are meant, 1 to 12", "the whole year", title="Months")
    years: Annotated[int, Whole(1, 60, unit="years")] | None = optional(
        "first years that are averaged", "the first", title="Years averaged"
    )


def claims_complaints(claims: tuple[Claim, ...]) -> Iterator[Complaint]:
    """Yield what does not fit within a claim."""
    for place, claim in enumerate(claims):
        at = ("claims", place)
        known = (*MEASURES, *FIRST_YEAR)
        if claim.measure not in known:
            accepted = "one of " + ", ".join(known)
            yield Complaint((*at, "measure"), shown(claim.measure), accepted, did_you_mean(claim.measure, known))
            continue
        given = [name for name in ("at_least", "at_most") if getattr(claim, name) is not None]
        if len(given) != 1:
            said = listed(given, joiner="and") if given else "neither"
            yield Complaint((*at, "at_least"), said, "one of at_least and at_most")
        if claim.months is not None and claim.measure not in BY_MONTH:
            yield Complaint((*at, "months"), shown(claim.months), f"nothing: {claim.measure} has no months")
        if claim.years is not None and claim.measure != "saving_per_year":
            yield Complaint((*at, "years"), shown(claim.years), "nothing: only saving_per_year is averaged over years")
