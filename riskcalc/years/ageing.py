"""How a battery loses capacity from year to year: the laws, and how a loss grows when conditions change.

`aged` is the one entry: a law by name, the state so far, and what the period held. It works on arrays of draws;
conditions may differ in every draw and every period. A new law is an entry of `LAWS` here and its name in the scenario's
`kit.ageing.law`.

lfp: calendar Naumann, Schimpe, Keil, Hesse & Jossen, Journal of Energy Storage 17 (2018) 153-169; cycles Naumann,
Spingler & Jossen, Journal of Power Sources 451 (2020) 227666. Both on a 3 Ah 26650 cell with graphite anode.
nmc: Schmalstieg, Kaebitz, Ecker & Sauer, Journal of Power Sources 257 (2014) 325-334, on a 2.15 Ah 18650 cell with graphite
anode. The fitted ranges are from memory; outside them the value at the edge is used.
datasheet: a straight line in cycles to 80 % and in years to 80 % at rest, and their sum: the simplest reading that honours a
datasheet. No published law is behind it; measured losses start faster and slow down, so early years look better here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from riskcalc.types import Floats

GAS_CONSTANT = 8.3144598
LFP_ACTIVATION_J_PER_MOL = 17126.0
REFERENCE_K = 298.15
SECONDS_PER_YEAR = 365.25 * 86400.0
LFP_TEMPERATURE_C, LFP_C_RATE = (0.0, 60.0), (0.2, 1.0)

NMC_CELL_AH = 2.15
DAYS_PER_YEAR = 365.25
NMC_TEMPERATURE_C, NMC_VOLTAGE_V = (0.0, 60.0), (3.2, 4.2)
#: Resting voltage of such a cell by state of charge: from memory, rounded, no published source. The middle is the
#: paper's own 3.667 V, at which its cycle loss is least. An error of 0.05 V moves the calendar loss at 3.7 V by 9 %.
SOC_POINTS = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0)
RESTING_V = (3.00, 3.45, 3.57, 3.667, 3.90, 4.07, 4.18)

DATASHEET_LOSS = 0.2


@dataclass(frozen=True)
class AgeingState:
    """Capacity lost so far as a share of the capacity when new, each (draws,)."""

    calendar_loss: Floats
    cycle_loss: Floats

    @property
    def capacity_share(self) -> Floats:
        """Capacity left as a share of new, (draws,), never below 0."""
        return np.maximum(0.0, 1.0 - self.calendar_loss - self.cycle_loss)


@dataclass(frozen=True)
class Conditions:
    """What a period held, scalars or (draws,).

    `depth`: typical depth of a cycle, share of capacity. `soc_mean`: mean state of charge. `temp_c`: mean cell temperature
    [C]. `c_rate`: typical charge and discharge power over capacity [1/h]. The last two belong to the datasheet law, which
    needs the first of them; infinite years leave out calendar loss.
    """

    depth: ArrayLike
    soc_mean: ArrayLike
    temp_c: ArrayLike
    c_rate: ArrayLike
    cycles_to_80_percent: ArrayLike | None = None
    years_to_80_percent: ArrayLike = np.inf

    def __post_init__(self) -> None:
        """Refuse shares outside 0 to 1 and what is no number."""
        _check_range(1.0, "0 to 1", depth=self.depth, soc_mean=self.soc_mean)
        for name, values in (("temp_c", self.temp_c), ("c_rate", self.c_rate)):
            if not np.isfinite(values).all():
                raise ValueError(f"{name}: holds values that are not finite")


@dataclass(frozen=True)
class Law:
    """Loss = rate x amount^exponent under constant conditions: by time in years, and by full equivalent cycles."""

    calendar_rate: Callable[[Conditions], Floats]
    calendar_exponent: float
    cycle_rate: Callable[[Conditions], Floats]
    cycle_exponent: float


def aged(
    law: str,
    state: AgeingState,
    *,
    full_cycles: ArrayLike,
    scale: ArrayLike = 1.0,
    years: ArrayLike = 1.0,
    **conditions: ArrayLike,
) -> AgeingState:
    """Return the state after a period, losses (draws,).

    Parameters
    ----------
    law
        A name in `LAWS`.
    state
        Losses before the period.
    full_cycles
        Full equivalent cycles in the period (discharged energy over the capacity when new).
    scale
        Multiplies the loss under constant conditions (uncertainty of the law for this battery).
    years
        Length of the period.
    conditions
        Those of `Conditions`.

    Notes
    -----
    Calendar and cycle loss grow apart and add up; see `grown_loss` for changing conditions. Limits: no time and
    no cycles change nothing; scale 0 changes nothing.

    Raises
    ------
    ValueError
        For an unknown law, a share outside 0 to 1, negative cycles, years or scale, or a value that is no number.
    """
    if law not in LAWS:
        raise ValueError(f"law: {law!r}; accepted: {', '.join(LAWS)}")
    _check_range(np.inf, "0 or above", full_cycles=full_cycles, scale=scale, years=years)
    held, meant = LAWS[law], Conditions(**conditions)
    scale = np.asarray(scale, dtype=np.float64)
    calendar, cycle = held.calendar_rate(meant) * scale, held.cycle_rate(meant) * scale
    return AgeingState(
        grown_loss(state.calendar_loss, rate=calendar, amount=years, exponent=held.calendar_exponent),
        grown_loss(state.cycle_loss, rate=cycle, amount=full_cycles, exponent=held.cycle_exponent),
    )


def new_battery(draws: int) -> AgeingState:
    """Return the state of batteries fresh from the factory."""
    return AgeingState(np.zeros(draws), np.zeros(draws))


def grown_loss(loss: ArrayLike, *, rate: ArrayLike, amount: ArrayLike, exponent: float) -> Floats:
    """Return a loss that follows rate x amount^exponent under constant conditions, after `amount` more.

    Notes
    -----
    Conditions change from year to year, so the loss so far is first turned into the virtual time (or virtual number of
    cycles) that would have caused it under today's conditions, (loss / rate)^(1/exponent); then the amount is added::

        loss' = rate (virtual + amount)^exponent = (loss^(1/e) + rate^(1/e) amount)^e

    The right-hand form holds without dividing, so a rate of zero simply adds nothing. Splitting a period into parts
    under the same conditions does not change the result.
    """
    power = 1.0 / exponent
    grown = (np.asarray(loss) ** power + np.asarray(rate) ** power * np.asarray(amount)) ** exponent
    return np.maximum(loss, grown)  # rounding must not heal a battery


def lfp_calendar_rate(held: Conditions) -> Floats:
    """Return the calendar loss per square root of a year, share of new capacity.

    Notes
    -----
    loss = 1.2571e-5 exp(-17126 / R (1/T - 1/298.15)) (2.8575 (SOC - 0.5)^3 + 0.60225) sqrt(t), t in seconds.
    The charge is taken at its mean over the year; the law is cubic in it, so a battery that is full half the time and
    empty the other half ages a little faster than this says.
    """
    kelvin = np.clip(held.temp_c, *LFP_TEMPERATURE_C) + 273.15
    heat = np.exp(-LFP_ACTIVATION_J_PER_MOL / GAS_CONSTANT * (1.0 / kelvin - 1.0 / REFERENCE_K))
    charge = 2.8575 * (np.asarray(held.soc_mean) - 0.5) ** 3 + 0.60225
    return 1.2571e-5 * heat * charge * np.sqrt(SECONDS_PER_YEAR)


def lfp_cycle_rate(held: Conditions) -> Floats:
    """Return the cycle loss per square root of a full equivalent cycle, share of new capacity.

    loss = (0.0630 C + 0.0971) (4.0253 (DOC - 0.6)^3 + 1.0923) sqrt(FEC), in percent in the paper; no temperature term.
    """
    current = 0.0630 * np.clip(held.c_rate, *LFP_C_RATE) + 0.0971
    return current * (4.0253 * (np.asarray(held.depth) - 0.6) ** 3 + 1.0923) / 100.0


def resting_voltage_v(soc: ArrayLike) -> Floats:
    """Return the resting voltage of the cell at a state of charge (0..1)."""
    return np.interp(np.asarray(soc, dtype=np.float64), SOC_POINTS, RESTING_V)


def nmc_calendar_rate_per_day(voltage_v: ArrayLike, temp_c: ArrayLike) -> Floats:
    """Return alpha_cap, the loss per day^0.75: (7.543 V - 23.75) 1e6 exp(-6976 / T), T in kelvin.

    The line crosses zero at 3.149 V; below 3.2 V the value at 3.2 V is used, so a battery never recovers by resting.
    """
    kelvin = np.clip(temp_c, *NMC_TEMPERATURE_C) + 273.15
    return (7.543 * np.clip(voltage_v, *NMC_VOLTAGE_V) - 23.75) * 1e6 * np.exp(-6976.0 / kelvin)


def nmc_cycle_rate_per_ah(voltage_v: ArrayLike, depth: ArrayLike) -> Floats:
    """Return beta_cap, the loss per square root of an Ah through the cell, in and out.

    7.348e-3 (V - 3.667)^2 + 7.600e-4 + 4.081e-3 DOD, V the (quadratic) mean voltage while cycling.
    """
    return 7.348e-3 * (np.clip(voltage_v, *NMC_VOLTAGE_V) - 3.667) ** 2 + 7.600e-4 + 4.081e-3 * np.asarray(depth)


def nmc_calendar_rate(held: Conditions) -> Floats:
    """Return the calendar loss per year^0.75 at the resting voltage of the mean charge."""
    return nmc_calendar_rate_per_day(resting_voltage_v(held.soc_mean), held.temp_c) * DAYS_PER_YEAR**0.75


def nmc_cycle_rate(held: Conditions) -> Floats:
    """Return the cycle loss per square root of a full equivalent cycle: 2.15 Ah in and 2.15 Ah out."""
    return nmc_cycle_rate_per_ah(resting_voltage_v(held.soc_mean), held.depth) * np.sqrt(2.0 * NMC_CELL_AH)


def datasheet_calendar_rate(held: Conditions) -> Floats:
    """Return the loss per year at rest, share of new capacity; infinite years = none."""
    return DATASHEET_LOSS / _positive(held.years_to_80_percent, "years_to_80_percent")


def datasheet_cycle_rate(held: Conditions) -> Floats:
    """Return the loss per full equivalent cycle, share of new capacity; infinite cycles = none."""
    if held.cycles_to_80_percent is None:
        raise ValueError("cycles_to_80_percent: the datasheet law needs it")
    return DATASHEET_LOSS / _positive(held.cycles_to_80_percent, "cycles_to_80_percent")


LAWS: Mapping[str, Law] = {
    "lfp": Law(lfp_calendar_rate, 0.5, lfp_cycle_rate, 0.5),
    "nmc": Law(nmc_calendar_rate, 0.75, nmc_cycle_rate, 0.5),
    "datasheet": Law(datasheet_calendar_rate, 1.0, datasheet_cycle_rate, 1.0),
}


def _positive(values: ArrayLike, name: str) -> Floats:
    values = np.asarray(values, dtype=np.float64)
    if not (values > 0.0).all():
        raise ValueError(f"{name}: must be above 0")
    return values


def _check_range(highest: float, accepted: str, **given: ArrayLike) -> None:
    for name, raw in given.items():
        values = np.asarray(raw, dtype=np.float64)
        if not ((values >= 0.0) & (values <= highest) & np.isfinite(values)).all():
            raise ValueError(f"{name}: lowest {np.min(values):g}, highest {np.max(values):g}; accepted: {accepted}")
