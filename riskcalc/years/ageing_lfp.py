"""Capacity loss of a lithium iron phosphate cell.

Calendar: Naumann, Schimpe, Keil, Hesse & Jossen, Journal of Energy Storage 17 (2018) 153-169.
Cycles: Naumann, Spingler & Jossen, Journal of Power Sources 451 (2020) 227666. Both on a 3 Ah 26650 cell with graphite
anode. The fitted ranges below are from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.years.ageing_state import Range

Floats = NDArray[np.float64]

GAS_CONSTANT = 8.3144598
ACTIVATION_J_PER_MOL = 17126.0
REFERENCE_K = 298.15
SECONDS_PER_YEAR = 365.25 * 86400.0
EXPONENT = 0.5

TEMPERATURE_C = Range(0.0, 60.0, "C")
C_RATE = Range(0.2, 1.0, "1/h")


def calendar_rate(soc_mean: ArrayLike, temp_c: ArrayLike) -> Floats:
    """Return the calendar loss per square root of a year, share of new capacity.

    Notes
    -----
    loss = 1.2571e-5 exp(-17126 / R (1/T - 1/298.15)) (2.8575 (SOC - 0.5)^3 + 0.60225) sqrt(t), t in seconds.
    The charge is taken at its mean over the year; the law is cubic in it, so a battery that is full half the time and
    empty the other half ages a little faster than this says.
    """
    kelvin = TEMPERATURE_C.held(temp_c) + 273.15
    heat = np.exp(-ACTIVATION_J_PER_MOL / GAS_CONSTANT * (1.0 / kelvin - 1.0 / REFERENCE_K))
    charge = 2.8575 * (np.asarray(soc_mean) - 0.5) ** 3 + 0.60225
    return 1.2571e-5 * heat * charge * np.sqrt(SECONDS_PER_YEAR)


def cycle_rate(depth: ArrayLike, c_rate: ArrayLike) -> Floats:
    """Return the cycle loss per square root of a full equivalent cycle, share of new capacity.

    loss = (0.0630 C + 0.0971) (4.0253 (DOC - 0.6)^3 + 1.0923) sqrt(FEC), in percent in the paper; no temperature term.
    """
    current = 0.0630 * C_RATE.held(c_rate) + 0.0971
    return current * (4.0253 * (np.asarray(depth) - 0.6) ** 3 + 1.0923) / 100.0
