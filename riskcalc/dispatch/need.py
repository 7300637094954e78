"""Charging by need: targets that follow what each household uses and what its modules are expected to bring."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch.terms import Param
from riskcalc.types import Floats

#: Kinds of day that the kernels' workspace has room for: twelve months, weekdays and weekends.
MOST_KINDS = 24


@dataclass(frozen=True)
class UsualDay:
    """What a day of each of N kinds needs and brings on average; B demand bases, P planes.

    Attributes
    ----------
    need_wh : float64 (B, N)
        Demand within reach of a day while the cells serve, mean over all days of the kind; of days whose rank decides
        whether a basis is active only those where no share could change that [Wh].
    need_by_rank_wh : float64 (B, N)
        The same of the days whose rank decides [Wh].
    sun_wh, sun_per_light_wh : float64 (P, N)
        Energy at a plane's terminals in a day: mean, and change with the light that is forecast [Wh].
    """

    need_wh: Floats
    need_by_rank_wh: Floats
    sun_wh: Floats
    sun_per_light_wh: Floats


@dataclass(frozen=True)
class ChargeByNeed:
    """A rule for the target of charging, told from what a day of its kind needs and brings; N kinds, K pool years.

    Attributes
    ----------
    kind : int (slots,)
        Kind of the day that a slot's charging is for.
    light : float64 (slots,) or (K, slots)
        Forecast of that day's light, in standard deviations from the mean of its month; 0 without forecasts.
    usual : UsualDay
        What a day of its kind needs and brings.
    need_share, sun_share : float
        What of the need is charged for, and what of the sun is counted on.
    offset_share : float64 (N,)
        Share of the capacity charged beside that.
    """

    kind: NDArray[np.int64]
    light: Floats
    usual: UsualDay
    need_share: float
    sun_share: float
    offset_share: Floats

    def __post_init__(self) -> None:
        """Bring every array to its type; raise ValueError if one does not fit the others."""
        for name, kind in (("kind", np.int64), ("light", np.float64), ("offset_share", np.float64)):
            object.__setattr__(self, name, np.ascontiguousarray(getattr(self, name), dtype=kind))
        kinds = len(self.offset_share)
        if not 1 <= kinds <= MOST_KINDS or not 0 <= self.kind.min() <= self.kind.max() < kinds:
            raise ValueError(f"need: kind: up to {self.kind.max()} of {kinds}; accepted: at most {MOST_KINDS} kinds")
        for name, values in vars(self.usual).items():
            shape = values.shape
            if len(shape) != 2 or shape[1] != kinds:
                raise ValueError(f"need: {name}: shape {shape}; accepted: (.., {kinds})")
        if self.light.shape[-1:] != self.kind.shape or not np.isfinite(self.light).all():
            raise ValueError(f"need: light: shape {self.light.shape}; accepted: {self.kind.shape}, finite")

    def targets(
        self, rank_row: NDArray[np.int64], rank_below: NDArray[np.bool_], scale_row: NDArray[np.int64],
        params: Floats, plane_weight: Floats,
    ) -> Floats:  # fmt: skip
        """Return level and slope of the target for every kind of day and draw, (2, N, draws), in shares of the capacity.

        The first three are those of `DispatchInputs`, the last two of `dispatch_year`.

        Notes
        -----
        target = level - slope x light, kept between 0 and 1, with
        level = (floor + need share x need - sun share x mean sun) / capacity + offset and
        slope = sun share x sun per light / capacity. Limiting case: both shares 0 and offset 1 charge to full.
        """
        by_home, scale = np.equal(rank_row, 0)[:, None], params[int(Param.HOUSEHOLD_SCALE) + scale_row]
        share = np.where(by_home, params[Param.HOME_SHARE], params[Param.MOVED_SHARE])
        active = np.where(rank_below[:, None], share, 1.0 - share)
        need = _weighted(self.usual.need_wh, scale) + _weighted(self.usual.need_by_rank_wh, scale * active)
        sun = _weighted(self.usual.sun_wh, plane_weight)
        charged = params[Param.FLOOR_WH] + self.need_share * need - self.sun_share * sun
        capacity = np.where(params[Param.CAPACITY_WH] > 0.0, params[Param.CAPACITY_WH], np.inf)
        slope = self.sun_share * _weighted(self.usual.sun_per_light_wh, plane_weight) / capacity
        return np.stack([charged / capacity + self.offset_share[:, None], slope])

    def of_slots(self, slots: slice, years: slice) -> ChargeByNeed:
        """Return the rule for some slots and pool years."""
        light = self.light[slots] if self.light.ndim == 1 else self.light[years, slots]
        return replace(self, kind=self.kind[slots], light=light)


def _weighted(by_kind: Floats, weight: Floats) -> Floats:
    """Return the sum over rows of `by_kind` (rows, N) times `weight` (rows, draws), (N, draws).

    Row by row: a product of matrices would sum in an order that depends on how many draws there are.
    """
    total = np.zeros((by_kind.shape[1], weight.shape[1]))
    for row, factor in zip(by_kind, weight, strict=True):
        total += row[:, None] * factor
    return total
