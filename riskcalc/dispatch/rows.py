"""Layout of a lane group's workspace, and the one arithmetic primitive of the kernels.

A *lane group* is LANES draws that meet the same pool year. Everything the kernels touch for it stands in one float64 array, row
after row of LANES numbers: with every row at a constant distance from every other, the compiler knows that rows do not
overlap and turns the loops over lanes into vector instructions. (Separate arrays would need a run-time check for each pair.)

Energy in the kernels is counted in W times one step, at the bus: `stored` is what the cells would still deliver to the bus,
Wh at the cells times discharge efficiency / step in hours. A step then needs no factor for time or discharge.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir
from numba import types
from numba.extending import intrinsic

LANES = 16
MOST_STEPS = 60
MOST_BASES = 12
MOST_PLANES = 16
MOST_INPUTS = 16
MONTHLY_ROWS = 14 * 12

#: A hair above 1, so that what mathematically is a full step does not round to a hair less than one.
ONE = 1.0 + 1e-15

#: Keeps 0 / 0 out: with nothing needed and nothing there, the inverter counts as on.
TINY = 1e-100

#: Bases are weighted this many at a time; the number of weight rows is a multiple of it.
CHUNK = 3

# The kit, one year, set by `kit_rows`; powers at the bus unless said otherwise.
(
    LINEAR,
    QUADRATIC,
    INVERSE_LINEAR,
    IDLE,
    RATING,
    RATING_SLACK,
    GIVE,
    GIVE_SLACK,
    TO_STORED,
    CELLS,
    CAPACITY,
    FLOOR,
    STANDBY,
    STANDBY_ON,
    CHARGER,
    CHARGER_TO_STORED,
    SOCKET,
    EXPORT_MOST,
    SOLAR_EFFICIENCY,
    INVERSE_SOLAR,
    INVERSE_TO_STORED,
    INVERSE_DISCHARGE,
    INVERSE_CHARGER_TO_STORED,
    INVERSE_IDLE,
    ON_WITHOUT_IDLE,
    INVERSE_CAPACITY,
    HOUSEHOLD,
    CAR,
    HOME,
    MOVED,
) = range(0 * LANES, 30 * LANES, LANES)

# State that lives through the year.
(
    STORED,
    SHARE_SUM,
    SWING_SUM,
    LOWEST,
    HIGHEST,
    OVERLOAD_STEPS,
    OVERLOAD_ENERGY,
    ON_SUM,
) = range(30 * LANES, 38 * LANES, LANES)

# The day and the slot.
(
    CELLS_TODAY,
    BASE,
    ABOVE,
    ROOM,
    SOLAR_AVAILABLE,
    SOLAR,
    SOLAR_STORED,
    REFILL,
    MOST,
    GIVE_NOW,
    TARGET,
    DEMAND,
    WIRED,
    PEAK,
) = range(38 * LANES, 52 * LANES, LANES)

# Sums over the steps of a slot, in W times steps.
(
    LEFT,
    DIRECT,
    FROM_CELLS,
    SOLAR_TO_CELLS,
    GRID_TO_CELLS,
    SUN_TO_LOAD,
    ON,
    TO_GRID,
    EXPORT,
) = range(52 * LANES, 61 * LANES, LANES)

FIRST_SUM, END_OF_SUMS = LEFT, EXPORT + LANES

# Blocks of rows.
PLANE_WEIGHTS = END_OF_SUMS
INPUT_LIMITS = PLANE_WEIGHTS + MOST_PLANES * LANES
INPUT_POWERS = INPUT_LIMITS + MOST_INPUTS * LANES
WEIGHTS = INPUT_POWERS + MOST_INPUTS * LANES
LOADS = WEIGHTS + MOST_BASES * LANES
MONTHLY = LOADS + MOST_STEPS * LANES
BILLED = MONTHLY + MONTHLY_ROWS * LANES


def workspace_size(rates: int) -> int:
    """Return the length of a lane group's workspace, a multiple of LANES."""
    return BILLED + 3 * rates * LANES


@intrinsic
def fma(_context: Any, a: Any, b: Any, c: Any) -> Any:
    """a * b + c with one rounding; said outright, so that no compiler decides it by the neighbourhood."""
    signature = types.float64(types.float64, types.float64, types.float64)

    def generate(_target: Any, builder: ir.IRBuilder, _signature: Any, arguments: Any) -> Any:
        return builder.fma(*arguments)

    return signature, generate
