"""Table [study]: how the question is asked and computed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from riskcalc.scenario.complaints import Complaint, shown
from riskcalc.scenario.fields import OURS, Table, default, optional
from riskcalc.scenario.kit import Kit
from riskcalc.scenario.uncertain import Bounds, Whole


class Study(Table):
    """How the question is asked and computed."""

    horizon_years: Annotated[int, Whole(1, 60, unit="years")] = default(15, "years looked ahead", title="Horizon")
    draws: Annotated[int, Whole(8, 1_048_576)] = default(1024, "futures drawn", OURS, title="Draws")
    seed: Annotated[int, Whole(0, 2**53)] = default(1, "seed of every random number", OURS, title="Seed")
    scrambles: Annotated[int, Whole(2, 64)] = default(
        8, "independent repetitions behind each standard error", OURS, title="Scrambles"
    )
    pool_years: Annotated[int, Whole(1, 256, unit="years")] = default(
        32, "weather and demand years in the pool", OURS, title="Years in the pool"
    )
    step_minutes: Annotated[Literal[1, 5, 15, 30, 60], Bounds(unit="minutes")] = default(
        1, "time step of demand in minutes", OURS, title="Time step"
    )
    language: Literal["en", "de"] = default("en", "language of the pages", OURS, title="Language")
    odds_within_years: Annotated[int, Whole(1, 60, unit="years")] | None = optional(
        "years within which it should pay back, for the headline odds",
        "the horizon",
        title="Years for the headline odds",
    )


def study_complaints(study: Study, kit: Kit | None = None) -> Iterator[Complaint]:
    """Yield everything that does not fit together; paths start at `study`."""
    within = study.odds_within_years
    if within is not None and within > study.horizon_years:
        accepted = f"a whole number from 1 to horizon_years ({study.horizon_years})"
        yield Complaint(("study", "odds_within_years"), shown(within), accepted)
    if study.step_minutes > 1 and kit is not None and kit.meter_lag_seconds:
        # Longer steps put minutes that are alike together, and with them the rises that the output follows late.
        yield Complaint(("study", "step_minutes"), shown(study.step_minutes), "1 with kit.meter_lag_seconds")
