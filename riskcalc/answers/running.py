"""How the battery is run where the scenario left that to be found, as figures of result.json."""

from __future__ import annotations

from typing import Any

from riskcalc.study.forecast import KINDS_OF_DAY
from riskcalc.study.model import Assessment
from riskcalc.study.optimised import switch_dates


def running_figures(assessment: Assessment) -> dict[str, Any]:
    """Return what was found and what it is worth against the plain rule, {} where nothing was left to be found."""
    found = assessment.world.optimised
    if found is None:
        return {}
    rule, exports = found.running.by_need, bool(assessment.world.plan.export_stored_on.any())
    dates = switch_dates(found.running.solar_days)
    return {
        "running": {
            "forecasts": list(KINDS_OF_DAY) if found.forecasts else [],
            "target_share": found.running.target_share.tolist(),
            "solar_only_from": None if dates is None else dates[0],
            "solar_only_until": None if dates is None else dates[1],
            "hold_back_share": found.running.hold_back_share.tolist(),
            "export_stored_above_share": found.running.export_stored_above_share.tolist() if exports else None,
            "by_need": None if rule is None else {**vars(rule), "offset_share": rule.offset_share.tolist()},
            "draws": found.draws,
            "bill": found.bill,
            "bill_of_plain_rule": found.plain_bill,
        }
    }
