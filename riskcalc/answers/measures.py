"""What a claim measures: one figure for every draw."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from riskcalc.answers.assess import first_year_arrays
from riskcalc.answers.season import season_bills, season_energy
from riskcalc.dispatch import Flow
from riskcalc.scenario import Claim
from riskcalc.scenario.claims import PAYBACKS
from riskcalc.study.model import Assessment
from riskcalc.types import Floats

Measure = Callable[[Assessment], Floats]

#: A month that takes less than this from the grid counts as one without; our own choice, a tenth of a kilowatt-hour.
NO_GRID_USE_KWH = 0.1

#: Rows of the monthly energy behind first-year figures that can be asked of some months.
FLOW_OF = {
    "reachable_demand_kwh": (Flow.DEMAND_REACHABLE,),
    "demand_kwh": (Flow.DEMAND_REACHABLE, Flow.DEMAND_WIRED),
    "import_kwh": (Flow.GRID_IMPORT,),
    "export_kwh": (Flow.GRID_EXPORT,),
    "solar_available_kwh": (Flow.PV_AVAILABLE,),
    "solar_used_kwh": (Flow.PV_USED,),
    "solar_to_load_kwh": (Flow.PV_TO_LOAD,),
    "battery_to_load_kwh": (Flow.BATTERY_TO_LOAD,),
    "grid_to_battery_kwh": (Flow.GRID_TO_BATTERY,),
    "battery_throughput_kwh": (Flow.BATTERY_DISCHARGE,),
    "losses_kwh": (Flow.LOSSES,),
    "unmet_kwh": (Flow.UNMET,),
}

OF_BILL = ("bill_cut_share", "saving", "bill_without", "bill_with")

#: Measures that money enters; all others depend on energy alone.
OF_MONEY = (
    "payback_years",
    "lasting_payback_years",
    "discounted_payback_years",
    "net_present_value",
    "saving_per_year",
    *OF_BILL,
)


def measure_of(claim: Claim, assessment: Assessment) -> Measure | None:
    """Return the function that measures a claim in any assessment of the same draws, None where nothing does.

    What does not depend on prices (the energy of a season) is worked out once, here.
    """
    name = claim.measure
    rows = tuple(np.array(claim.months or range(1, 13)) - 1)
    if beyond_horizon(claim, assessment.scenario.study.horizon_years):
        return None
    if name == "hours_bridged" and assessment.simulation.hours_bridged is None:
        return None
    if name in OF_BILL and claim.months is not None and assessment.scenario.tariff.blocks:
        return None  # blocks count the use of whole months or years and cannot be told by rate
    if name in OF_BILL:
        return _bill_measure(claim, assessment)
    if name in FLOW_OF:
        return lambda found: _monthly(found, *FLOW_OF[name], months=rows).sum(axis=0)
    measures: dict[str, Measure] = {
        "payback_years": lambda found: found.valuation.payback_years,
        "lasting_payback_years": lambda found: found.valuation.lasting_payback_years,
        "discounted_payback_years": lambda found: found.valuation.discounted_payback_years,
        "hours_bridged": lambda found: np.asarray(found.simulation.hours_bridged),
        "net_present_value": lambda found: found.valuation.net_present_value,
        "saving_per_year": lambda found: found.valuation.saving[: claim.years or 1].mean(axis=0),
        "demand_served_share": lambda found: _served_share(found, *FLOW_OF["demand_kwh"], months=rows),
        "reachable_demand_served_share": lambda found: _served_share(found, Flow.DEMAND_REACHABLE, months=rows),
        "months_without_grid_use": lambda found: _months_below(found, Flow.GRID_IMPORT, months=rows),
        "months_without_grid_use_within_reach": lambda found: _months_below(
            found, Flow.GRID_TO_LOAD, Flow.GRID_TO_BATTERY, months=rows
        ),
    }
    return measures.get(name, lambda found: first_year_arrays(found)[name])


def beyond_horizon(claim: Claim, horizon_years: int) -> bool:
    """Return whether a claim speaks of years that this run does not look at."""
    limit = claim.at_most if claim.at_most is not None else claim.at_least
    return (claim.years or 0) > horizon_years or (
        claim.measure in PAYBACKS and limit is not None and limit > horizon_years
    )


def _bill_measure(claim: Claim, assessment: Assessment) -> Measure:
    season = None if claim.months is None else season_energy(assessment, claim.months)

    def measured(found: Assessment) -> Floats:
        if season is None:
            without, with_kit = found.valuation.bill_without[0], found.valuation.bill_with[0]
        else:
            without, with_kit = season_bills(found.scenario, found.values, season)
        if claim.measure == "bill_cut_share":
            return np.divide(without - with_kit, without, out=np.zeros_like(without), where=without > 0.0)
        return {"saving": without - with_kit, "bill_without": without, "bill_with": with_kit}[claim.measure]

    return measured


def _monthly(assessment: Assessment, *flows: Flow, months: tuple[int, ...]) -> Floats:
    """Return the first year's energy of some flows together, (months, draws)."""
    kwh = assessment.simulation.first_year_monthly_kwh
    return sum(kwh[flow] for flow in flows)[list(months)]  # type: ignore[return-value, index]


def _served_share(assessment: Assessment, *demand: Flow, months: tuple[int, ...]) -> Floats:
    served = _monthly(assessment, Flow.PV_TO_LOAD, Flow.BATTERY_TO_LOAD, months=months).sum(axis=0)
    whole = _monthly(assessment, *demand, months=months).sum(axis=0)
    return np.divide(served, whole, out=np.zeros_like(whole), where=whole > 0.0)


def _months_below(assessment: Assessment, *flows: Flow, months: tuple[int, ...]) -> Floats:
    return (_monthly(assessment, *flows, months=months) < NO_GRID_USE_KWH).sum(axis=0).astype(float)
