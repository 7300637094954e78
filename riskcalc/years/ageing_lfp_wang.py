"""Cycle loss of an older lithium iron phosphate cell, with temperature: a second opinion on the cycle term.

Wang et al., Journal of Power Sources 196 (2011) 3942-3948, 2.2 Ah 26650 cell. The tests ran for months, so calendar
loss is in the figures; the law has no term for a battery at rest, which makes it unfit as the only law of a unit that
cycles little.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from riskcalc.years.ageing_state import Range

Floats = NDArray[np.float64]

GAS_CONSTANT = 8.314
CELL_AH = 2.2
EXPONENT = 0.55

#: Pre-exponential factor at the four rates tested; between them it is interpolated linearly (ours).
RATES_TESTED = (0.5, 2.0, 6.0, 10.0)
FACTOR = (31630.0, 21681.0, 12934.0, 15512.0)

TEMPERATURE_C = Range(15.0, 60.0, "C")
C_RATE = Range(RATES_TESTED[0], RATES_TESTED[-1], "1/h")


def throughput_rate(temp_c: ArrayLike, c_rate: ArrayLike) -> Floats:
    """Return the loss per (Ah through the 2.2 Ah cell)^0.55, share of new capacity.

    loss[%] = B exp(-(31700 - 370.3 C) / (R T)) Ah^0.55, with B at C/2, 2C, 6C, 10C. Ah counts discharge (from memory).
    """
    rate = C_RATE.held(c_rate)
    kelvin = TEMPERATURE_C.held(temp_c) + 273.15
    return np.interp(rate, RATES_TESTED, FACTOR) * np.exp((-31700.0 + 370.3 * rate) / (GAS_CONSTANT * kelvin)) / 100.0


def cycle_rate(temp_c: ArrayLike, c_rate: ArrayLike) -> Floats:
    """Return the loss per (full equivalent cycle)^0.55: each puts one cell capacity through, 2.2 Ah."""
    return throughput_rate(temp_c, c_rate) * CELL_AH**EXPONENT
