"""Refuse to print figures that contradict one another."""

from __future__ import annotations

import numpy as np

from riskcalc.pages.data import CASH_LEVELS, SKETCH_LEVELS, WEEK_STEPS, ReportData

#: Shares that must agree are computed from the same draws; only rounding may part them.
SHARE_TOLERANCE = 1e-9


def check_report(report: ReportData) -> None:
    """Raise if an array has the wrong shape, a figure is not finite, or two figures disagree.

    Raises
    ------
    ValueError
        Naming every fault found.
    """
    faults = [*_shape_faults(report), *_share_faults(report), *_first_year_faults(report)]
    if faults:
        raise ValueError("report: " + "; ".join(faults))


def _shape_faults(report: ReportData) -> list[str]:
    horizon = report.horizon_years
    expected = {
        "payback.years": (report.payback.years, (horizon,)),
        "payback.share_within": (report.payback.share_within, (horizon,)),
        "payback.discounted_within": (report.payback.discounted_within, (horizon,)),
        "cash.years": (report.cash.years, (horizon + 1,)),
        "cash.cash": (report.cash.cash, (len(CASH_LEVELS), horizon + 1)),
        "cash.share_above_zero": (report.cash.share_above_zero, (horizon + 1,)),
        "worth.bin_edges": (report.worth.bin_edges, (len(report.worth.bin_share) + 1,)),
        **{f"months.{name}": (values, (12,)) for name, values in vars(report.months).items()},
        **{
            f"week {week.season}.{name}": (values, (WEEK_STEPS,))
            for week in report.weeks
            for name, values in vars(week).items()
            if isinstance(values, np.ndarray)
        },
        **{
            f"sketch of {row.key}": (row.sketch, SKETCH_LEVELS.shape)
            for row in report.assumptions
            if row.sketch is not None
        },
    }
    if report.draws_table is not None:
        table = report.draws_table
        draws = len(table.net_present_value)
        expected["draws_table.values"] = (table.values, (len(table.inputs), draws))
        expected["draws_table.payback_years"] = (np.nan_to_num(table.payback_years, posinf=0.0), (draws,))
    faults = [f"{name}: shape {v.shape}, not {shape}" for name, (v, shape) in expected.items() if v.shape != shape]
    return faults + [f"{name}: not finite" for name, (v, _) in expected.items() if not np.isfinite(v).all()]


def _share_faults(report: ReportData) -> list[str]:
    payback, worth = report.payback, report.worth
    faults = []
    if payback.never_share.value is None or worth.mean.value is None or worth.loss_probability.value is None:
        return ["never_share, worth.mean and worth.loss_probability must have a value"]
    if len(payback.share_within) and abs(payback.share_within[-1] + payback.never_share.value - 1) > SHARE_TOLERANCE:
        faults.append("payback: the share paid back within the horizon and the never-share do not make up 1")
    if (np.diff(payback.share_within) < -SHARE_TOLERANCE).any():
        faults.append("payback.share_within: falls from one year to the next")
    if abs(worth.bin_share.sum() - 1) > SHARE_TOLERANCE:
        faults.append("worth.bin_share: does not sum to 1")
    if not 1 <= report.headline_years <= report.horizon_years:
        faults.append(f"headline_years: {report.headline_years}, not within the horizon")
    return faults


def _first_year_faults(report: ReportData) -> list[str]:
    keys = [figure.key for figure in report.first_year]
    return [] if "saving" in keys else ['first_year: no figure with key "saving"']
