"""What a year of dispatch gives back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch.terms import Billed, Flow

#: Share of a slot's demand that may stay unserved without the slot counting as short: the rounding of its sums.
SHORT_SHARE = 1e-6


@dataclass(frozen=True)
class DispatchOutcome:
    """One year of every draw; draws on the last axis.

    Attributes
    ----------
    monthly_kwh : float64 (len(Flow), 12, draws)
        Energy per wall-clock month, rows named by `Flow` [kWh].
    billed_kwh : float64 (len(Billed), rates, draws)
        Sum of rate weight times energy at each rate [kWh]: whole demand (reachable and wired), what the supply
        delivers (off grid: what the kit leaves unmet, to be bought otherwise), and export.
    stored_wh : float64 (draws,)
        Stored energy at the end of the year [Wh].
    mean_stored_share : float64 (draws,)
        Mean over the slots' ends of stored energy / capacity; 0 without a battery.
    mean_daily_swing : float64 (draws,)
        Mean over the days of (highest - lowest stored share at slots' ends); 0 without a battery.
    overload_minutes, overload_kwh : float64 (draws,)
        Time in which the reachable demand exceeds the inverter's rating, and the energy the inverter refuses for it:
        the whole demand of those steps with sockets, the excess over the rating otherwise; 0 without a kit at work.
    on_hours : float64 (draws,)
        Time the inverter was on [h].
    short_hours, short_days : float64 (draws,)
        Off grid, slots [h] and days in which some demand within reach is not served; else 0.
    """

    monthly_kwh: NDArray[np.float64]
    billed_kwh: NDArray[np.float64]
    stored_wh: NDArray[np.float64]
    mean_stored_share: NDArray[np.float64]
    mean_daily_swing: NDArray[np.float64]
    overload_minutes: NDArray[np.float64]
    overload_kwh: NDArray[np.float64]
    on_hours: NDArray[np.float64]
    short_hours: NDArray[np.float64]
    short_days: NDArray[np.float64]

    def yearly_kwh(self, flow: Flow) -> NDArray[np.float64]:
        """Return one flow's yearly energy, shape (draws,) [kWh]."""
        return self.monthly_kwh[flow].sum(axis=0)


def empty_outcome(draws: int, rates: int) -> DispatchOutcome:
    """Return an outcome of zeros for a kernel to fill."""
    return DispatchOutcome(
        monthly_kwh=np.zeros((len(Flow), 12, draws)),
        billed_kwh=np.zeros((len(Billed), rates, draws)),
        stored_wh=np.zeros(draws),
        mean_stored_share=np.zeros(draws),
        mean_daily_swing=np.zeros(draws),
        overload_minutes=np.zeros(draws),
        overload_kwh=np.zeros(draws),
        on_hours=np.zeros(draws),
        short_hours=np.zeros(draws),
        short_days=np.zeros(draws),
    )
