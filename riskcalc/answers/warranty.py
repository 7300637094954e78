"""What a longer warranty is worth: the same futures once more, with some years of it added."""

from __future__ import annotations

from typing import Any

import numpy as np

from riskcalc.study.model import Assessment, evaluated, part_of_design

#: Years added, and futures that are followed once more.
YEARS_LONGER, DRAWS_FOLLOWED = 5.0, 128


def warranty_figures(assessment: Assessment) -> dict[str, Any]:
    """Return what `YEARS_LONGER` more years of warranty add to the net present value on average, over all futures.

    Repairs that need not be paid, batteries renewed for nothing, and savings that a failed kit would not have brought.
    {} where nothing is bought, or nothing fails in the futures followed. The standard error is that of the mean of the
    differences future by future, 0 to `DRAWS_FOLLOWED` of them.
    """
    scenario, key = assessment.scenario, "purchase.warranty_years"
    if scenario.purchase is None:
        return {}
    kept = np.arange(0, assessment.draws, max(1, assessment.draws // DRAWS_FOLLOWED))
    values = {name: drawn[kept] for name, drawn in assessment.values.items()}
    values[key] = values[key] + YEARS_LONGER
    _, money = evaluated(scenario, assessment.world, part_of_design(assessment.design, kept), values)
    gained = money.net_present_value - assessment.valuation.net_present_value[kept]
    if not gained.any():
        return {}
    error = float(gained.std(ddof=1)) / np.sqrt(len(kept)) if len(kept) > 1 else 0.0
    worth = {"value": float(gained.mean()), "standard_error": float(error)}
    return {"longer_warranty": {"years": YEARS_LONGER, "worth": worth, "helps_share": float((gained > 0.0).mean())}}
