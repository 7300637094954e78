"""What all draws share in a year of dispatch: pools of sun and demand, and the plan of the year's slots."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from riskcalc.dispatch.need import ChargeByNeed

DAYS = 365
HOURS = 8760
MONTHS = 12
#: Tariff rates that the books have room for: a few of every day.
MOST_RATES = 4096


class PoolArrays(NamedTuple):
    """The arrays of `DispatchInputs` in the form numba takes."""

    solar_w: NDArray[np.float32]
    shines: NDArray[np.bool_]
    run_w: NDArray[np.float32]
    run_minutes: NDArray[np.uint8]
    first_run: NDArray[np.int64]
    wired_w: NDArray[np.float32]
    input_of_plane: NDArray[np.int64]
    rank_row: NDArray[np.int64]
    rank_below: NDArray[np.bool_]
    scale_row: NDArray[np.int64]
    day_rank: NDArray[np.float64]
    charge_allowed: NDArray[np.float64]


class PlanArrays(NamedTuple):
    """The arrays of `SlotPlan` in the form numba takes."""

    month: NDArray[np.int64]
    day: NDArray[np.int64]
    start_minute: NDArray[np.int64]
    rate: NDArray[np.int64]
    rate_weight: NDArray[np.float64]
    discharge_on: NDArray[np.int64]
    inverter_on: NDArray[np.int64]
    grid_charge_on: NDArray[np.int64]
    target_share: NDArray[np.float64]
    reserve_share: NDArray[np.float64]
    export_stored_on: NDArray[np.int64]
    export_stored_above_share: NDArray[np.float64]
    output_share: NDArray[np.float64]
    stretch_ends: NDArray[np.bool_]
    kind: NDArray[np.int64]
    light: NDArray[np.float64]


@dataclass(frozen=True)
class DispatchInputs:
    """Pools of sun and demand, shared by all draws; K pool years, P planes, B demand bases.

    Demand within reach comes in *runs*: stretches of minutes within a slot in which every basis keeps its power. Within
    a run the balance of a kit is linear in time until its cells are full or empty, so a run needs one step.
    `slots` may cover less than a year (the first weeks, say); then the plan must have as many slots.

    Attributes
    ----------
    solar_w : float32 (K, P, periods)
        DC power at each plane's terminals, mean over each period of `sun_minutes` of the standard-time year [W].
    run_w : float32 (runs, B)
        Demand the kit can reach in each run, those of a slot one after the other [W].
    run_minutes : uint8 (runs,)
        Length of each run; those of a slot add up to the slot.
    first_run : int (K, slots + 1)
        The runs of slot s of pool year k are first_run[k, s] up to, but without, first_run[k, s + 1].
    wired_w : float32 (K, B, slots)
        Demand out of reach, mean over the slot [W].
    input_of_plane : int (P,)
        The solar input each plane is wired to.
    rank_row : int (B,)
        Whose days a basis follows: -1 every day, 0 at home, 1 moved.
    rank_below : bool (B,)
        True: the basis is active on days whose rank is below the draw's share, False: on the others.
    scale_row : int (B,)
        0 = household scale, 1 = car scale, 2 = base scale, 3 = small scale.
    day_rank : float64 (K, 2, 365)
        Rank of each wall-clock day for "at home" and "moved"; -1 is below any share.
    charge_allowed : float64 (K, 365)
        1 on days when the cells may be charged, 0 on days when they are too cold.
    sun_minutes : int
        Length of a period of `solar_w`: a divisor or a multiple of the slot. Default 60.
    step_minutes : int
        Length of a row of a trace; within it runs may stand in any order. Default 1.
    """

    solar_w: NDArray[np.float32]
    run_w: NDArray[np.float32]
    run_minutes: NDArray[np.uint8]
    first_run: NDArray[np.int64]
    wired_w: NDArray[np.float32]
    input_of_plane: NDArray[np.int64]
    rank_row: NDArray[np.int64]
    rank_below: NDArray[np.bool_]
    scale_row: NDArray[np.int64]
    day_rank: NDArray[np.float64]
    charge_allowed: NDArray[np.float64]
    sun_minutes: int = 60
    step_minutes: int = 1

    def __post_init__(self) -> None:
        """Bring every array to the kernel's type, without copying what already has it."""
        for name, kind in (
            ("solar_w", np.float32),
            ("run_w", np.float32),
            ("run_minutes", np.uint8),
            ("first_run", np.int64),
            ("wired_w", np.float32),
            ("input_of_plane", np.int64),
            ("rank_row", np.int64),
            ("rank_below", np.bool_),
            ("scale_row", np.int64),
            ("day_rank", np.float64),
            ("charge_allowed", np.float64),
        ):
            object.__setattr__(self, name, np.ascontiguousarray(getattr(self, name), dtype=kind))
        self._check()

    def _check(self) -> None:
        years, slots = self.first_run.shape[0], self.first_run.shape[1] - 1
        bases, planes = self.run_w.shape[1], self.solar_w.shape[1]
        expected: tuple[tuple[str, tuple[int, ...], tuple[int, ...]], ...] = (
            ("solar_w", self.solar_w.shape[:1], (years,)),
            ("run_minutes", self.run_minutes.shape, self.run_w.shape[:1]),
            ("wired_w", self.wired_w.shape, (years, bases, slots)),
            ("input_of_plane", self.input_of_plane.shape, (planes,)),
            ("rank_row", self.rank_row.shape, (bases,)),
            ("rank_below", self.rank_below.shape, (bases,)),
            ("scale_row", self.scale_row.shape, (bases,)),
            ("day_rank", self.day_rank.shape, (years, 2, DAYS)),
            ("charge_allowed", self.charge_allowed.shape, (years, DAYS)),
        )
        for name, shape, accepted in expected:
            if shape != accepted:
                raise ValueError(f"inputs: {name}: shape {shape}; accepted: {accepted}")
        if bases < 1:
            raise ValueError("inputs: run_w needs at least one basis (all zero if nothing is reachable)")
        if np.any(np.diff(self.first_run, axis=1) < 1) or not 0 <= self.first_run.min() <= self.first_run.max() <= len(
            self.run_w
        ):
            raise ValueError(f"inputs: first_run: accepted: rising, at least one run a slot, 0 to {len(self.run_w)}")
        if np.any(self.run_minutes < 1):
            raise ValueError("inputs: run_minutes: accepted: 1 or more")
        if np.any((self.rank_row < -1) | (self.rank_row > 1)):
            raise ValueError("inputs: rank_row: accepted: -1, 0, 1")
        if np.any((self.scale_row < 0) | (self.scale_row > 3)):
            raise ValueError("inputs: scale_row: accepted: 0, 1, 2, 3")

    @property
    def years(self) -> int:
        """Number of pool years."""
        return self.first_run.shape[0]

    @property
    def slots(self) -> int:
        """Number of slots in each pool year."""
        return self.first_run.shape[1] - 1

    @property
    def bases(self) -> int:
        """Number of demand bases."""
        return self.run_w.shape[1]

    @cached_property
    def slot_run_minutes(self) -> NDArray[np.int64]:
        """Sum of the runs of every slot, (K, slots) [min]; worked out once."""
        until = np.concatenate([[0], np.cumsum(self.run_minutes, dtype=np.int64)])
        return np.asarray(until[self.first_run[:, 1:]] - until[self.first_run[:, :-1]])

    @cached_property
    def shines(self) -> NDArray[np.bool_]:
        """Whether any plane has sun in each period, (K, periods); worked out once."""
        return read_only(sun_shines(self.solar_w))

    def slot_mean_w(self, year: int) -> NDArray[np.float64]:
        """Return mean demand within reach of each slot of a pool year, (B, slots) [W]."""
        first = self.first_run[year]
        runs = slice(int(first[0]), int(first[-1]))
        minutes = self.run_minutes[runs].astype(np.float64)
        sums = np.add.reduceat(self.run_w[runs] * minutes[:, None], first[:-1] - first[0], axis=0)
        return np.ascontiguousarray((sums / self.slot_run_minutes[year][:, None]).T)

    def of_slots(self, slots: slice, year: int) -> DispatchInputs:
        """Return the inputs of some slots of one pool year, as copies that may not be written, like pools."""
        years, first = slice(year, year + 1), self.first_run[year, slots.start : slots.stop + 1]
        runs = slice(int(first[0]), int(first[-1]))
        return replace(
            self,
            solar_w=read_only(self.solar_w[years]),
            run_w=read_only(self.run_w[runs]),
            run_minutes=read_only(self.run_minutes[runs]),
            first_run=read_only(first[None] - first[0]),
            wired_w=read_only(self.wired_w[years, :, slots]),
            day_rank=read_only(self.day_rank[years]),
            charge_allowed=np.array(self.charge_allowed[years]),
        )

    def arrays(self) -> PoolArrays:
        """Return the arrays as a named tuple."""
        return PoolArrays(*(locked(getattr(self, name)) for name in PoolArrays._fields))


def sun_shines(solar_w: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Return whether any plane has sun in each period, (K, periods), from `DispatchInputs.solar_w`."""
    shines = np.zeros((solar_w.shape[0], solar_w.shape[2]), dtype=bool)
    for plane in range(solar_w.shape[1]):
        shines |= solar_w[:, plane] > 0.0
    return shines


def locked(array: NDArray[Any]) -> NDArray[Any]:
    """Return a view that may not be written: the kernels are compiled for such arrays, and for no others."""
    view = array.view()
    view.flags.writeable = False
    return view


def read_only(array: NDArray[Any]) -> NDArray[Any]:
    """Return a copy that may not be written."""
    own = np.array(array)
    own.flags.writeable = False
    return own


#: Arrays of a plan that run over its slots and nothing else.
_BY_SLOT = (
    *("month", "day", "start_minute", "rate", "rate_weight", "discharge_on", "inverter_on", "grid_charge_on"),
    *("reserve_share", "export_stored_on", "export_stored_above_share", "output_share"),
)


@dataclass(frozen=True)
class SlotPlan:
    """Calendar, tariff and switching of each slot, shared by all draws; every array has shape (slots,) unless said.

    Attributes
    ----------
    slot_minutes : int
        Length of a slot.
    month, day : int
        Wall-clock month 0..11 and day 0..364.
    start_minute : int
        Minute of the standard-time year at which the slot begins, which tells its sun.
    rates : int
        Number of tariff rates; default: as many as `rate` names.
    rate : int
        Index of the tariff rate.
    rate_weight : float64
        Factor on billed energy; bill = price * sum(weight * energy). Default 1.
    discharge_on : int
        1: the cells may serve loads. Default 1.
    inverter_on : int
        0: the inverter is switched off, no idle draw; the sun still charges the cells. Default 1.
    grid_charge_on : int
        1: the cells are charged from the grid up to `target_share`; they serve no load meanwhile. Default 0.
    target_share : float64 (slots,) or (K, slots)
        Share of the capacity up to which the grid charges; with K rows, that of each pool year. Default 1.
    reserve_share : float64
        Share of the capacity kept back; the higher of this and the kit's floor holds. Default 0.
    export_stored_on : int
        1: what the inverter has left goes to the grid, sun first, then cells, where they may serve loads and are not
        charged from the grid. Default 0.
    export_stored_above_share : float64
        Share of the capacity down to which stored energy is sold. Default 0.
    output_share : float64
        Share of the inverter's rating that a unit on the home's wires (plug-in, whole home) may give. Default 1.
    lag_minutes : float
        Time by which the output of a unit on the home's wires follows a rising load, at most 1, the shortest run of
        demand; see `trace.follow_late`. Where stored energy is sold nothing is followed. Default 0.
    need : ChargeByNeed
        Takes the place of `target_share`: targets that follow each draw's own need and sun.
    """

    slot_minutes: int
    month: NDArray[np.int64]
    day: NDArray[np.int64]
    start_minute: NDArray[np.int64]
    rate: NDArray[np.int64]
    rate_weight: NDArray[np.float64] = field(default=None)  # type: ignore[arg-type]
    discharge_on: NDArray[np.int64] = field(default=None)  # type: ignore[arg-type]
    inverter_on: NDArray[np.int64] = field(default=None)  # type: ignore[arg-type]
    grid_charge_on: NDArray[np.int64] = field(default=None)  # type: ignore[arg-type]
    target_share: NDArray[np.float64] = field(default=None)  # type: ignore[arg-type]
    reserve_share: NDArray[np.float64] = field(default=None)  # type: ignore[arg-type]
    export_stored_on: NDArray[np.int64] = field(default=None)  # type: ignore[arg-type]
    export_stored_above_share: NDArray[np.float64] = field(default=None)  # type: ignore[arg-type]
    output_share: NDArray[np.float64] = field(default=None)  # type: ignore[arg-type]
    rates: int = 0
    lag_minutes: float = 0.0
    need: ChargeByNeed | None = None

    def __post_init__(self) -> None:
        """Fill defaults, bring every array to the kernel's type and check ranges."""
        slots = len(self.month)
        for name, kind, default, low, high in (
            ("month", np.int64, None, 0, MONTHS - 1),
            ("day", np.int64, None, 0, DAYS - 1),
            ("start_minute", np.int64, None, 0, 60 * HOURS - 1),
            ("rate", np.int64, None, 0, MOST_RATES - 1),
            ("rate_weight", np.float64, 1.0, -np.inf, np.inf),
            ("discharge_on", np.int64, 1, 0, 1),
            ("inverter_on", np.int64, 1, 0, 1),
            ("grid_charge_on", np.int64, 0, 0, 1),
            ("target_share", np.float64, 1.0, 0, 1),
            ("reserve_share", np.float64, 0.0, 0, 1),
            ("export_stored_on", np.int64, 0, 0, 1),
            ("export_stored_above_share", np.float64, 0.0, 0, 1),
            ("output_share", np.float64, 1.0, 0, 1),
        ):
            given = getattr(self, name)
            values = np.full(slots, default, dtype=kind) if given is None else np.ascontiguousarray(given, dtype=kind)
            by_year = name == "target_share" and values.ndim == 2 and len(values) > 0
            if values.shape[-1:] != (slots,) or (values.ndim != 1 and not by_year):
                raise ValueError(f"plan: {name}: shape {values.shape}; accepted: ({slots},)")
            if not np.all((values >= low) & (values <= high)):
                raise ValueError(f"plan: {name}: {values.min()} to {values.max()}; accepted: {low} to {high}")
            object.__setattr__(self, name, values)
        if not 0.0 <= self.lag_minutes <= 1.0:
            raise ValueError(f"plan: lag_minutes: {self.lag_minutes}; accepted: 0 to 1")
        met = int(self.rate.max()) + 1
        if self.rates not in (0,) and self.rates < met:
            raise ValueError(f"plan: rate: up to {met - 1}; accepted: 0 to {self.rates - 1}")
        object.__setattr__(self, "rates", self.rates or met)
        if self.need is not None and len(self.need.kind) != slots:
            raise ValueError(f"plan: need: {len(self.need.kind)} slots; accepted: {slots}")

    @property
    def slots(self) -> int:
        """Number of slots."""
        return len(self.month)

    @property
    def stretch_ends(self) -> NDArray[np.bool_]:
        """Whether a stretch ends with the slot, (slots,): slots of one month, rate and weight are booked in one sum."""
        ends = np.ones(self.slots, dtype=bool)
        ends[:-1] = False
        for decides in (self.month, self.rate, self.rate_weight):
            ends[:-1] |= decides[1:] != decides[:-1]
        return ends

    def of_slots(self, slots: slice, years: slice = slice(None)) -> SlotPlan:
        """Return the plan of some slots, with what it says of some pool years only."""
        cut: dict[str, Any] = {name: getattr(self, name)[slots] for name in _BY_SLOT}
        target = self.target_share[slots] if self.target_share.ndim == 1 else self.target_share[years, slots]
        need = None if self.need is None else self.need.of_slots(slots, years)
        return replace(self, target_share=target, need=need, **cut)

    def arrays(self) -> PlanArrays:
        """Return the arrays as a named tuple, `target_share` and `light` with one row or as many as pool years."""
        kind = np.zeros(self.slots, dtype=np.int64) if self.need is None else self.need.kind
        light = np.zeros((1, self.slots)) if self.need is None else np.atleast_2d(self.need.light)
        made: dict[str, Any] = {"kind": kind, "light": light, "target_share": np.atleast_2d(self.target_share)}
        return PlanArrays(*(locked(made[name] if name in made else getattr(self, name)) for name in PlanArrays._fields))

    def need_targets(
        self, inputs: DispatchInputs, params: NDArray[np.float64], plane_weight: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Return `ChargeByNeed.targets` of the draws, (2, kinds, draws); without such a rule no kinds."""
        if self.need is None:
            return np.zeros((2, 0, params.shape[1]))
        return self.need.targets(inputs.rank_row, inputs.rank_below, inputs.scale_row, params, plane_weight)
