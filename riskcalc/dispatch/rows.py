"""Layout of a lane group's workspace, and the one arithmetic primitive of the kernels.

A *lane group* is up to LANES draws that meet the same pool year. Everything the kernels touch for it stands in one
float64 array, row after row of LANES numbers. Rows are a constant distance apart and a loop over lanes is never longer
than a row (`min(lanes, LANES) & WHOLE` at the head of each function says so to the compiler), so the rows provably do
not overlap and the loops become vector instructions without any run-time check. Separate arrays would need a check for
each pair, and a loop of constant length would be unrolled before it is vectorised; both were measured to be slower.

Energy in the kernels is counted in W times one step, at the bus: `stored` is what the cells would still deliver to the
bus, Wh at the cells times discharge efficiency / step in hours. A step then needs no factor for time or discharge.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from numba import types
from numba.extending import intrinsic

from riskcalc.dispatch.flows import Billed, Flow
from riskcalc.dispatch.need import MOST_KINDS
from riskcalc.dispatch.request import MOST_BASES, MOST_INPUTS, MOST_PLANES, MOST_STEPS

LANES = 32
#: Numbers in the widest vector register of present processors; the lanes that run are a multiple of it.
VECTOR = 8
#: `lanes & WHOLE` tells the compiler that no lane is left over after whole vectors.
WHOLE = -VECTOR
FLOW_ROWS = len(Flow)
BILL_ROWS = len(Billed)
MONTHLY_ROWS = FLOW_ROWS * 12

#: A hair above 1, so that what mathematically is a full step does not round to a hair less than one.
ONE = 1.0 + 1e-15

#: Keeps 0 / 0 out: with nothing needed and nothing there, the inverter counts as on.
TINY = 1e-100

# The kit, one year, set by `kit_rows`; powers at the bus unless said otherwise.
(
    LINEAR,
    QUADRATIC,
    INVERSE_LINEAR,
    IDLE,
    RATING,
    RATING_SLACK,
    RATING_MOST,
    ALWAYS,
    GIVE,
    SOLAR_MOST,
    GIVE_MOST,
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
) = range(0 * LANES, 33 * LANES, LANES)

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
    SHORT_SLOTS,
    SHORT_DAYS,
    SHORT_TODAY,
) = range(33 * LANES, 44 * LANES, LANES)

# The day and the slot.
(
    CELLS_TODAY,
    BASE,
    ABOVE,
    ROOM,
    INPUT_POWER,
    SOLAR_AVAILABLE,
    SOLAR,
    SOLAR_STORED,
    SOLAR_POWER,
    REFILL,
    MOST,
    LIMIT,
    GIVE_NOW,
    TARGET,
    FREE,
    SLOT_DEMAND,
) = range(44 * LANES, 60 * LANES, LANES)

# Sums over the steps of a stretch, in W times steps, that of SOLAR_SUM in W times slots; what one lane loop of a step
# hands to the next; and the sum of what a slot leaves.
(
    DEMAND,
    WIRED,
    SOLAR_SUM,
    LEFT,
    DIRECT,
    FROM_CELLS,
    SOLAR_TO_CELLS,
    GRID_TO_CELLS,
    SUN_TO_LOAD,
    ON,
    TO_GRID,
    EXPORT,
    SERVED_NOW,
    SURPLUS_NOW,
    CHARGE_NOW,
    IDLE_NOW,
    SLOT_LEFT,
) = range(60 * LANES, 77 * LANES, LANES)

FIRST_SUM, END_OF_SUMS = DEMAND, SERVED_NOW

# Blocks of rows. TOP_WEIGHTS is a row of another kind: for each basis the largest weight of any lane today, and at its
# end the least rating of any lane.
FLOWS = SLOT_LEFT + LANES
BILLS = FLOWS + FLOW_ROWS * LANES
#: The month that runs. Its books stand together here, not among those of the year: rows 12 apart hinder one another in
#: the nearest cache, which cost as much as all other work between the steps.
THIS_MONTH = BILLS + BILL_ROWS * LANES
PLANE_WEIGHTS = THIS_MONTH + FLOW_ROWS * LANES
INPUT_LIMITS = PLANE_WEIGHTS + MOST_PLANES * LANES
TOP_WEIGHTS = INPUT_LIMITS + MOST_INPUTS * LANES
LEAST_RATING = TOP_WEIGHTS + MOST_BASES
WEIGHTS = TOP_WEIGHTS + LANES
LOADS = WEIGHTS + MOST_BASES * LANES
MONTHLY = LOADS + MOST_STEPS * LANES
#: Level and slope of the target of charging by need, by kind of day.
LEVELS = MONTHLY + MONTHLY_ROWS * LANES
SLOPES = LEVELS + MOST_KINDS * LANES
BILLED = SLOPES + MOST_KINDS * LANES


def workspace_size(rates: int) -> int:
    """Return the length of a lane group's workspace, a multiple of LANES."""
    return BILLED + BILL_ROWS * rates * LANES


if TYPE_CHECKING:

    def fma(a: float, b: float, c: float) -> float:
        """Return a * b + c with one rounding."""

else:

    @intrinsic
    def fma(_context, _a, _b, _c):
        """Return a * b + c with one rounding; said outright, so that no compiler decides it by the neighbourhood."""
        signature = types.float64(types.float64, types.float64, types.float64)

        def generate(_target, builder, _signature, arguments):
            return builder.fma(*arguments)

        return signature, generate
